"""The played result: every part unfolded in the order as played, the solo line with its graces.

Conventions: a plain version has no placed graces and still plays the signs that stand on the page (``signs=False``
leaves them silent). A note tied over the end of a passage that is not followed by its continuation stops there.

Public: Placed, perform.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import lcm

from gracewright.graces.inequality import Inequality, Span, uneven
from gracewright.graces.model import Grace, Pass, PlayedNote, Realised, Version
from gracewright.graces.page import page_graces, page_remarks, unread_signs
from gracewright.graces.realise import realise
from gracewright.graces.surroundings import Speed, Surroundings, contexts
from gracewright.pitch import Pitch
from gracewright.score import Note, Piece, Tone, part_of, tones
from gracewright.study.model import Segment, Study

KEPT_OF_PREVIOUS = Fraction(1, 3)
"""A note keeps at least this share of itself when the next grace takes time from it."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A grace at a tone in one time through; ``grace`` None leaves the note bare whatever the page says.

    ``choice`` indexes the plan's choices, -1 where there is none.
    """

    time_through: int
    note: str
    grace: Grace | None
    choice: int = -1


@dataclass(frozen=True, slots=True)
class _Held:
    """A sounding note of any part on the page, ties joined."""

    part: str
    id: str
    onset: Fraction
    end: Fraction
    pitch: Pitch
    slurred: bool
    page: Fraction  # written onset
    bar: int
    last_bar: int


def perform(
    piece: Piece,
    study: Study,
    placed: Sequence[Placed],
    instrument: Speed,
    level: str = "intermediate",
    *,
    tempo: Fraction | None = None,
    inequality: Inequality | Fraction | None = None,
    source: str = "",
    signs: bool = True,
) -> Version:
    """Play the whole piece as written in ``study.order``, all parts, with these graces on the solo line.

    ``inequality`` (a ratio, or an :class:`Inequality`) makes stepwise pairs of the solo line and of the bass long-short
    as the metre has it; ``page_onset`` of a note so moved stays the written one.
    """
    places = contexts(piece, study, instrument, level, tempo=tempo, source=source)
    line = tones(piece, study.solo)
    uneven_spans = _uneven(piece, study, line, inequality, tempo)
    read = page_graces(piece, study, source=source) if signs else ()
    on_page = {g.note: g.grace for g in read}
    chosen = {(p.time_through, p.note): p for p in placed}
    others = _others(piece, study.solo, line)
    if inequality is not None and study.bass:
        below = _uneven(piece, study, tones(piece, study.bass, lowest=True), inequality, tempo)
        others = [_moved(held, below) for held in others]
    order = study.order or (Segment(0, len(piece.bars) - 1, 1),)
    passes, notes = [], list[PlayedNote]()
    hand = _Hand(piece, study.solo, line, uneven_spans, places, on_page, chosen)
    at = Fraction(0)
    for index, segment in enumerate(order):
        start, end = piece.bars[segment.first_bar].onset, piece.bars[segment.last_bar].end
        joined_in = index > 0 and order[index - 1].last_bar + 1 == segment.first_bar
        goes_on = index + 1 < len(order) and order[index + 1].first_bar == segment.last_bar + 1
        window = _Window(
            segment.first_bar, segment.last_bar, start, end, at - start, segment.time_through, joined_in, goes_on
        )
        passes.append(Pass(segment.first_bar, segment.last_bar, segment.time_through, start, at, end - start))
        notes += [window.play(held) for held in others if window.sounds(held.bar, held.last_bar)]
        hand.play(window)
        at += end - start
    notes += hand.played
    ticks = lcm(*{note.onset.denominator for note in notes})
    notes.sort(key=lambda note: (note.onset.numerator * (ticks // note.onset.denominator), note.part, -note.pitch.midi))
    remarks = (*page_remarks(piece, study, read), *unread_signs(piece, study, source=source)) if signs else ()
    return Version(study.solo, tuple(passes), tuple(notes), hand.explanations, remarks)


def _uneven(
    piece: Piece, study: Study, line: Sequence[Tone], how: Inequality | Fraction | None, tempo: Fraction | None
) -> Mapping[str, Span]:
    if how is None:
        return {}
    asked = how if isinstance(how, Inequality) else Inequality(Fraction(how))
    return uneven(piece, line, asked, Fraction(60) / (tempo or study.tempo))


@dataclass(frozen=True, slots=True)
class _Window:
    """A passage as played: whole bars, from ``start`` to ``end`` on the page, moved by ``shift``."""

    first_bar: int
    last_bar: int
    start: Fraction
    end: Fraction
    shift: Fraction
    time_through: int
    joined_in: bool  # the bar before was played before it
    goes_on: bool  # the bar after is played after it

    def sounds(self, bar: int, last_bar: int) -> bool:
        """Whether a note that stands in these bars begins here, or comes in tied from bars that were not played."""
        return self.first_bar <= bar <= self.last_bar or (bar < self.first_bar <= last_bar and not self.joined_in)

    def span(self, bar: int, last_bar: int, onset: Fraction, end: Fraction) -> tuple[Fraction, Fraction]:
        """The part of a page span that this passage sounds."""
        if bar < self.first_bar:
            onset = max(onset, self.start)
        if last_bar > self.last_bar and not self.goes_on:
            end = min(end, self.end)
        return onset, end

    def play(self, held: _Held) -> PlayedNote:
        onset, end = self.span(held.bar, held.last_bar, held.onset, held.end)
        page = held.page if held.bar >= self.first_bar else self.start
        return PlayedNote(
            held.part, onset + self.shift, end - onset, held.pitch, held.id, page, self.time_through,
            slurred=held.slurred,
        )  # fmt: skip


class _Hand:
    """Plays the solo line passage after passage; knows what it played last, since a grace may take time from it."""

    def __init__(
        self,
        piece: Piece,
        solo: str,
        line: Sequence[Tone],
        uneven_spans: Mapping[str, Span],
        places: Surroundings,
        on_page: Mapping[str, Grace],
        chosen: Mapping[tuple[int, str], Placed],
    ) -> None:
        self.solo, self.uneven, self.places = solo, uneven_spans, places
        self.on_page, self.chosen = on_page, chosen
        self.line = [(tone, tone.bar if len(tone.ids) == 1 else piece.by_id[tone.ids[-1]].bar) for tone in line]
        self.played: list[PlayedNote] = []
        self.explanations: dict[int, str] = {}

    def play(self, window: _Window) -> None:
        for tone, last_bar in self.line:
            if window.sounds(tone.bar, last_bar):
                self._play(tone, window, window.span(tone.bar, last_bar, tone.onset, tone.end))

    def _play(self, tone: Tone, window: _Window, span: tuple[Fraction, Fraction]) -> None:
        choice = self.chosen.get((window.time_through, tone.id))
        grace = choice.grace if choice is not None else self.on_page.get(tone.id)
        onset, length = span[0], span[1] - span[0]
        if tone.id in self.uneven and length == tone.length:
            onset, length = self.uneven[tone.id]
        at = onset + window.shift
        if grace is None or span[0] > tone.onset:
            self.played.append(
                PlayedNote(self.solo, at, length, tone.pitch, tone.id, span[0], window.time_through,
                           slurred=self.places.slurred_in(tone.id))
            )  # fmt: skip
            return
        context = self.places[tone.id]
        if length != tone.length:
            cut = span[1] - span[0] != tone.length
            context = replace(context, length=length, following=None if cut else context.following)
        realised = realise(grace, context)
        index = choice.choice if choice is not None else -1
        if index >= 0:
            self.explanations.setdefault(index, realised.explanation)
        if realised.from_previous:
            realised = _fitted(realised, self.played[-1] if self.played else None, at)
            _shorten(self.played, at - realised.from_previous)
        stretch = (span[1] - span[0]) / length
        self.played += [
            PlayedNote(
                self.solo, at + note.onset, note.length, note.pitch, tone.id, span[0] + note.onset * stretch,
                window.time_through, index, note.main, note.slurred, note.bend, note.swell,
            )
            for note in realised.notes
        ]  # fmt: skip


def _fitted(realised: Realised, before: PlayedNote | None, onset: Fraction) -> Realised:
    """Early notes made quicker where what lies before them, short already, could not keep its share."""
    allowed = onset if before is None else onset - before.end + before.length * (1 - KEPT_OF_PREVIOUS)
    if realised.from_previous <= allowed:
        return realised
    factor = allowed / realised.from_previous
    if factor <= 0:
        late = tuple(note for note in realised.notes if note.onset >= 0)
        return replace(realised, notes=late, from_previous=Fraction(0))
    notes = tuple(
        replace(note, onset=note.onset * factor, length=note.length * factor) if note.onset < 0 else note
        for note in realised.notes
    )
    return replace(realised, notes=notes, from_previous=allowed)


def _shorten(played: list[PlayedNote], limit: Fraction) -> None:
    """The last note cut where the next grace begins."""
    if played and played[-1].end > limit:
        played[-1] = replace(played[-1], length=limit - played[-1].onset)


def _others(piece: Piece, solo: str, line: Sequence[Tone]) -> list[_Held]:
    """Every sounding note that is not of the solo line, ties joined.

    Other voices on the solo's own staff are named ``PART/0``, so that nobody takes them for the line.
    """
    ours = {note_id for tone in line for note_id in tone.ids}
    part, staff = part_of(solo)
    found: list[_Held] = []
    open_ties: dict[tuple[str, int, Pitch], int] = {}
    for note in piece.notes:
        if note.pitch is None or not note.length or note.cue or note.id in ours:
            continue
        name = note.part
        if note.part == part:
            name = f"{part}/{note.staff}" if staff and note.staff != staff else f"{part}/0"
        key = (note.part, note.staff, note.pitch)
        at = open_ties.pop(key, -1) if note.tie_in else -1
        if at >= 0 and found[at].end == note.onset:
            found[at] = replace(found[at], end=note.end, last_bar=note.bar)
        else:
            at = len(found)
            found.append(
                _Held(name, note.id, note.onset, note.end, note.pitch, _slurred(note), note.onset, note.bar, note.bar)
            )
        if note.tie_out:
            open_ties[key] = at
    return found


def _moved(held: _Held, spans: Mapping[str, Span]) -> _Held:
    span = spans.get(held.id)
    return held if span is None else replace(held, onset=span.onset, end=span.onset + span.length)


def _slurred(note: Note) -> bool:
    return bool(note.marks.slur_stops) and not note.marks.slur_starts
