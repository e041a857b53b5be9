"""What a realisation must know of each note of the solo line, gathered in one pass over the piece.

Conventions: there is a context for every tone of the line named by the study, made when it is first asked for. The
accidentals in force are those that stand earlier in the same bar on the same staff, small notes included. ``previous``
and ``following`` are the neighbours in the line, also across a rest (``rest_before``, ``rest_after`` tell).

Public: contexts, Surroundings, Speed, chord_of.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import lcm
from typing import Final, Protocol

from gracewright.graces.model import Context
from gracewright.graces.neighbours import neighbour
from gracewright.pitch import Pitch, class_from_fifths, fifths_of
from gracewright.score import Note, Piece, Tone, part_of, tones
from gracewright.score.lines import alter_in, mark_accidental
from gracewright.score.ticks import ticks_of
from gracewright.study.model import Harmony, Quality, Study
from gracewright.study.numerals import member_fifths


class Speed(Protocol):
    """What a realisation asks of an instrument."""

    def rate(self, level: str, lower: Pitch, upper: Pitch, /) -> float:
        """Full strokes a second between two notes."""
        ...

    def least(self, level: str, /) -> float:
        """Seconds of the shortest note."""
        ...


class Surroundings(Mapping[str, Context]):
    """Tone id → context, each worked out when it is first asked for."""

    def __init__(self, piece: Piece, study: Study, instrument: Speed, level: str, tempo: Fraction | None,
                 source: str) -> None:  # fmt: skip
        self.piece, self.study, self.instrument, self.level, self.source = piece, study, instrument, level, source
        self.line = tones(piece, study.solo)
        self._index = {tone.id: i for i, tone in enumerate(self.line)}
        self._found: dict[str, Context] = {}
        self._least = instrument.least(level)
        self._states = _states(piece, study.solo, self.line)
        self._slurred = _slurred(self.line)
        self._transpose = piece.part(part_of(study.solo)[0]).transpose
        self._bass = tones(piece, study.bass, lowest=True) if study.bass else ()
        self._changes = sorted((words.onset, words.tempo) for words in piece.words if words.tempo)
        self._tempo = tempo
        self._harmony = _at([h.onset for h in study.harmony], self.line)
        self._keys = _at([k.onset for k in study.keys], self.line)
        self._basses = _at([tone.onset for tone in self._bass], self.line)
        self._tempi = _at([onset for onset, _ in self._changes], self.line)

    def __len__(self) -> int:
        return len(self.line)

    def __iter__(self) -> Iterator[str]:
        return iter(self._index)

    def __contains__(self, tone_id: object) -> bool:
        return tone_id in self._index

    def __getitem__(self, tone_id: str) -> Context:
        if tone_id not in self._found:
            self._found[tone_id] = self._context(self._index[tone_id])
        return self._found[tone_id]

    def slurred_in(self, tone_id: str) -> bool:
        """Whether a slur leads into the tone."""
        return self._slurred[self._index[tone_id]]

    def _context(self, i: int) -> Context:
        piece, study, line, tone = self.piece, self.study, self.line, self.line[i]
        before = line[i - 1] if i else None
        after = line[i + 1] if i + 1 < len(line) else None
        chord = study.harmony[self._harmony[i]] if self._harmony[i] >= 0 else None
        below = self._bass[self._basses[i]] if self._basses[i] >= 0 else None
        context = Context(
            pitch=tone.pitch,
            onset=tone.onset,
            length=tone.length,
            key=study.keys[self._keys[i]].key if self._keys[i] >= 0 else study.home,
            fifths=piece.bars[tone.bar].fifths,
            quarter=self._quarter(i),
            previous=before.pitch if before else None,
            previous_length=before.length if before and not tone.rest_before else Fraction(0),
            following=after.pitch if after else None,
            rest_after=tone.rest_after > 0,
            rest_before=tone.rest_before > 0,
            tied=len(tone.ids) > 1,
            ternary=tone.length.numerator % 3 == 0,
            bar_state=self._states[i],
            harmony=_chord(chord.root, chord.quality) if chord is not None and tone.onset < chord.end else (),
            bass=below.pitch if below is not None and below.end > tone.onset else None,
            least=self._least,
            slurred_in=self._slurred[i],
            source=self.source,
            head=piece.by_id[tone.id].length if len(tone.ids) > 1 else Fraction(0),
            rest_length=max(Fraction(0), min(tone.rest_after, piece.bars[tone.bar].end - tone.end)),
            transpose=self._transpose,
        )
        return replace(context, rate=self.instrument.rate(self.level, context.pitch, neighbour(context, 1)))

    def _quarter(self, i: int) -> Fraction:
        """Seconds of a quarter: the tempo asked for, else the page's from its place on, else the study's."""
        if self._tempo is not None:
            return Fraction(60) / self._tempo
        place = self._tempi[i]
        return Fraction(60) / Fraction(self._changes[place][1] if place >= 0 else self.study.tempo)


def contexts(
    piece: Piece, study: Study, instrument: Speed, level: str, *, tempo: Fraction | None = None, source: str = ""
) -> Surroundings:
    """The surroundings of every tone of the study's solo line, by its id. ``tempo`` is in quarters a minute."""
    return Surroundings(piece, study, instrument, level, tempo, source)


def _states(piece: Piece, solo: str, line: Sequence[Tone]) -> list[Mapping[int, int]]:
    """Accidentals in force before each tone: staff place → alteration."""
    part, staff = part_of(solo)
    wanted = {tone.id: i for i, tone in enumerate(line)}
    states: list[Mapping[int, int]] = [{}] * len(line)
    bar, state, alters = -1, dict[int, int](), [0] * 7
    pending: list[Pitch] = []
    pending_onset = Fraction(-1)
    for note in _notes(piece.by_part[part], staff):
        if note.bar != bar:
            bar, state, pending = note.bar, {}, []
            alters = [alter_in(piece.bars[bar].fifths, step) for step in range(7)]
        if note.onset != pending_onset:
            for pitch in pending:
                mark_accidental(state, pitch, alters)
            pending, pending_onset = [], note.onset
        for small in note.marks.before:
            mark_accidental(state, small.pitch, alters)
        if note.id in wanted:
            states[wanted[note.id]] = dict(state) if state else _EMPTY
        assert note.pitch is not None
        pending += [note.pitch, *(small.pitch for small in note.marks.after)]
    return states


_EMPTY: Final[Mapping[int, int]] = {}


def _notes(notes: Iterable[Note], staff: int) -> Iterable[Note]:
    return (note for note in notes if note.pitch is not None and (not staff or note.staff == staff))


def _at(onsets: Sequence[Fraction], line: Sequence[Tone]) -> list[int]:
    """For each tone the index of the last onset that is not after it, -1 where there is none."""
    if not onsets:
        return [-1] * len(line)
    divisions = lcm(*{onset.denominator for onset in onsets}, *{tone.onset.denominator for tone in line})
    starts = [ticks_of(onset, divisions) for onset in onsets]
    found, i, last = [], -1, len(starts) - 1
    for tone in line:
        at = ticks_of(tone.onset, divisions)
        while i < last and starts[i + 1] <= at:
            i += 1
        found.append(i)
    return found


@cache
def _chord(root: str, quality: Quality) -> tuple[str, ...]:
    return tuple(class_from_fifths(member) for member in member_fifths(fifths_of(root), quality))


def chord_of(harmony: Harmony) -> tuple[str, ...]:
    """Pitch classes of a harmony, root first.

    >>> from gracewright.pitch import Key
    >>> chord_of(Harmony(Fraction(0), Fraction(1), "F#", "augmented sixth", "Ab", 1, Key.parse("C minor"), "Ger65"))
    ('F#', 'Ab', 'C', 'Eb')
    """
    return _chord(harmony.root, harmony.quality)


def _slurred(line: Sequence[Tone]) -> list[bool]:
    """Whether a slur leads into each tone."""
    found, open_slurs = [False] * len(line), set[str]()
    for i, (before, tone) in enumerate(pairwise(line), start=1):
        open_slurs = (open_slurs - set(before.marks.slur_stops)) | set(before.marks.slur_starts)
        found[i] = bool(open_slurs) and not tone.rest_before
    return found
