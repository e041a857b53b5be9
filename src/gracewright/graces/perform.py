"""The played result: every part unfolded in the order as played, the solo line with its graces.

Conventions: a plain version has no placed graces and still plays the signs that stand on the page (``signs=False``
leaves them silent). A note tied over the end of a passage that is not followed by its continuation stops there.

Public: Placed, perform.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from gracewright.graces.inequality import Inequality, Span, uneven
from gracewright.graces.model import Context, Grace, GraceNote, Pass, PlayedNote, Realised, Version
from gracewright.graces.page import page_graces, page_remarks, unread_signs
from gracewright.graces.realise import realise
from gracewright.graces.surroundings import Speed, contexts
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
    passes, notes, explanations = [], list[PlayedNote](), dict[int, str]()
    at = Fraction(0)
    for index, segment in enumerate(order):
        start, end = piece.bars[segment.first_bar].onset, piece.bars[segment.last_bar].end
        joined_in = index > 0 and order[index - 1].last_bar + 1 == segment.first_bar
        goes_on = index + 1 < len(order) and order[index + 1].first_bar == segment.last_bar + 1
        window = _Window(start, end, at - start, segment.time_through, joined_in, goes_on)
        passes.append(Pass(segment.first_bar, segment.last_bar, segment.time_through, start, at, end - start))
        notes += [note for held in others for note in window.play(held)]
        notes += _solo(line, uneven_spans, study.solo, places, on_page, chosen, window, explanations)
        at += end - start
    notes.sort(key=lambda note: (note.onset, note.part, -note.pitch.midi))
    remarks = (*page_remarks(piece, study, read), *unread_signs(piece, study, source=source)) if signs else ()
    return Version(study.solo, tuple(passes), tuple(notes), explanations, remarks)


def _uneven(
    piece: Piece, study: Study, line: Sequence[Tone], how: Inequality | Fraction | None, tempo: Fraction | None
) -> Mapping[str, Span]:
    if how is None:
        return {}
    asked = how if isinstance(how, Inequality) else Inequality(Fraction(how))
    return uneven(piece, line, asked, Fraction(60) / (tempo or study.tempo))


@dataclass(frozen=True, slots=True)
class _Window:
    """A passage as played: from ``start`` to ``end`` on the page, moved by ``shift``."""

    start: Fraction
    end: Fraction
    shift: Fraction
    time_through: int
    joined_in: bool
    goes_on: bool

    def span(self, onset: Fraction, end: Fraction) -> tuple[Fraction, Fraction] | None:
        """The part of a page span that this passage sounds, or None."""
        if onset >= self.end or end <= self.start or (onset < self.start and self.joined_in):
            return None
        return max(onset, self.start), end if self.goes_on else min(end, self.end)

    def play(self, held: _Held) -> list[PlayedNote]:
        span = self.span(held.onset, held.end)
        if span is None:
            return []
        onset, end = span
        return [
            PlayedNote(
                held.part, onset + self.shift, end - onset, held.pitch, held.id, max(held.page, self.start),
                self.time_through, slurred=held.slurred,
            )
        ]  # fmt: skip


def _solo(
    line: Sequence[Tone],
    uneven_spans: Mapping[str, Span],
    solo: str,
    places: Mapping[str, Context],
    on_page: Mapping[str, Grace],
    chosen: Mapping[tuple[int, str], Placed],
    window: _Window,
    explanations: dict[int, str],
) -> list[PlayedNote]:
    """The solo line in one passage."""
    played: list[PlayedNote] = []
    for tone in line:
        span = window.span(tone.onset, tone.end)
        if span is None:
            continue
        choice = chosen.get((window.time_through, tone.id))
        grace = choice.grace if choice is not None else on_page.get(tone.id)
        context = places[tone.id]
        onset, end = span
        length = end - onset
        if tone.id in uneven_spans and length == tone.length:
            onset, length = uneven_spans[tone.id]
        if grace is None or span[0] > tone.onset:
            note = GraceNote(tone.pitch, Fraction(0), length, main=True, slurred=context.slurred_in)
            realised = Realised((note,), Fraction(0), "")
        else:
            if length != tone.length:
                cut = end - span[0] != tone.length
                context = replace(context, length=length, following=None if cut else context.following)
            realised = realise(grace, context)
        index = choice.choice if choice is not None else -1
        if index >= 0 and realised.explanation:
            explanations.setdefault(index, realised.explanation)
        if realised.from_previous:
            realised = _fitted(realised, played[-1] if played else None, onset + window.shift)
            played = _shortened(played, onset + window.shift - realised.from_previous)
        played += _of_realised(realised, tone, solo, onset, length, window, index if grace is not None else -1)
    return played


def _of_realised(
    realised: Realised, tone: Tone, solo: str, onset: Fraction, length: Fraction, window: _Window, choice: int
) -> list[PlayedNote]:
    """Played notes of one host; the page moment of each is where it stands in the written note."""
    written = window.span(tone.onset, tone.end)
    assert written is not None
    stretch = (written[1] - written[0]) / length
    return [
        PlayedNote(
            solo, onset + window.shift + note.onset, note.length, note.pitch, tone.id,
            written[0] + note.onset * stretch, window.time_through, choice, note.main, note.slurred, note.bend,
            note.swell,
        )
        for note in realised.notes
    ]  # fmt: skip


def _fitted(realised: Realised, before: PlayedNote | None, onset: Fraction) -> Realised:
    """Early notes made quicker where the note before them, short already, could not keep its share."""
    if before is None or before.end < onset:
        return realised
    allowed = before.length * (1 - KEPT_OF_PREVIOUS)
    if realised.from_previous <= allowed:
        return realised
    factor = allowed / realised.from_previous
    notes = tuple(
        replace(note, onset=note.onset * factor, length=note.length * factor) if note.onset < 0 else note
        for note in realised.notes
    )
    return replace(realised, notes=notes, from_previous=allowed)


def _shortened(played: list[PlayedNote], limit: Fraction) -> list[PlayedNote]:
    """The last note cut where the next grace begins; notes wholly after that point fall away."""
    while played and played[-1].onset >= limit:
        played = played[:-1]
    if played and played[-1].end > limit:
        played[-1] = replace(played[-1], length=limit - played[-1].onset)
    return played


def _others(piece: Piece, solo: str, line: Sequence[Tone]) -> list[_Held]:
    """Every sounding note that is not of the solo line, ties joined."""
    ours = {note_id for tone in line for note_id in tone.ids}
    part, staff = part_of(solo)
    found: list[_Held] = []
    open_ties: dict[tuple[str, int, Pitch], int] = {}
    for note in piece.notes:
        if note.pitch is None or not note.length or note.cue or note.id in ours:
            continue
        name = f"{note.part}/{note.staff}" if note.part == part and staff and note.staff != staff else note.part
        key = (note.part, note.staff, note.pitch)
        at = open_ties.pop(key, -1) if note.tie_in else -1
        if at >= 0 and found[at].end == note.onset:
            found[at] = replace(found[at], end=note.end)
        else:
            at = len(found)
            found.append(_Held(name, note.id, note.onset, note.end, note.pitch, _slurred(note), note.onset))
        if note.tie_out:
            open_ties[key] = at
    return found


def _moved(held: _Held, spans: Mapping[str, Span]) -> _Held:
    span = spans.get(held.id)
    return held if span is None else replace(held, onset=span.onset, end=span.onset + span.length)


def _slurred(note: Note) -> bool:
    return bool(note.marks.slur_stops) and not note.marks.slur_starts
