"""What a realisation must know of each note of the solo line, gathered in one pass over the piece.

Conventions: a context is made for every tone of the line named by the study. The accidentals in force are those that
stand earlier in the same bar on the same staff, small notes included. ``previous`` and ``following`` are the
neighbours in the line, also across a rest (``rest_before``, ``rest_after`` tell).

Public: contexts, Speed, chord_of.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import pairwise
from typing import Final, Protocol

from gracewright.graces.model import Context
from gracewright.graces.neighbours import neighbour
from gracewright.pitch import Pitch, class_from_fifths, fifths_of
from gracewright.score import Note, Piece, Tone, part_of, tones
from gracewright.score.lines import alter_in, mark_accidental
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


def contexts(
    piece: Piece, study: Study, instrument: Speed, level: str, *, tempo: Fraction | None = None, source: str = ""
) -> dict[str, Context]:
    """Tone id → context, for every tone of the study's solo line. ``tempo`` is in quarters a minute."""
    line = tones(piece, study.solo)
    states = _states(piece, study.solo, line)
    quarters = _quarters(piece, study, line, tempo)
    basses = _basses(piece, study, line)
    least = instrument.least(level)
    harmony = _at([h.onset for h in study.harmony], line)
    keys = _at([k.onset for k in study.keys], line)
    slurred = _slurred(line)
    transpose = piece.part(part_of(study.solo)[0]).transpose
    found: dict[str, Context] = {}
    for i, tone in enumerate(line):
        before = line[i - 1] if i else None
        after = line[i + 1] if i + 1 < len(line) else None
        chord = study.harmony[harmony[i]] if harmony[i] >= 0 else None
        context = Context(
            pitch=tone.pitch,
            onset=tone.onset,
            length=tone.length,
            key=study.keys[keys[i]].key if keys[i] >= 0 else study.home,
            fifths=piece.bars[tone.bar].fifths,
            quarter=quarters[i],
            previous=before.pitch if before else None,
            previous_length=before.length if before and not tone.rest_before else Fraction(0),
            following=after.pitch if after else None,
            rest_after=tone.rest_after > 0,
            rest_before=tone.rest_before > 0,
            tied=len(tone.ids) > 1,
            ternary=tone.length.numerator % 3 == 0,
            bar_state=states[i],
            harmony=_chord(chord.root, chord.quality) if chord is not None and tone.onset < chord.end else (),
            bass=basses[i],
            least=least,
            slurred_in=slurred[i],
            source=source,
            head=piece.by_id[tone.id].length if len(tone.ids) > 1 else Fraction(0),
            rest_length=max(Fraction(0), min(tone.rest_after, piece.bars[tone.bar].end - tone.end)),
            transpose=transpose,
        )
        found[tone.id] = _with_rate(context, instrument, level)
    return found


def _with_rate(context: Context, instrument: Speed, level: str) -> Context:
    upper = neighbour(context, 1)
    return replace(context, rate=instrument.rate(level, context.pitch, upper))


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


def _quarters(piece: Piece, study: Study, line: Sequence[Tone], tempo: Fraction | None) -> list[Fraction]:
    """Seconds of a quarter at each tone: the tempo asked for, else the page's from its place on, else the study's."""
    if tempo is not None:
        return [Fraction(60) / tempo] * len(line)
    changes = sorted((words.onset, words.tempo) for words in piece.words if words.tempo)
    places = _at([onset for onset, _ in changes], line)
    return [Fraction(60) / Fraction(changes[i][1] if i >= 0 else study.tempo) for i in places]


def _at(onsets: Sequence[Fraction], line: Sequence[Tone]) -> list[int]:
    """For each tone the index of the last onset that is not after it, -1 where there is none."""
    found, i = [], -1
    for tone in line:
        while i + 1 < len(onsets) and onsets[i + 1] <= tone.onset:
            i += 1
        found.append(i)
    return found


def _basses(piece: Piece, study: Study, line: Sequence[Tone]) -> list[Pitch | None]:
    """The bass note sounding with each tone."""
    if not study.bass:
        return [None] * len(line)
    bass = tones(piece, study.bass, lowest=True)
    places = _at([tone.onset for tone in bass], line)
    found = zip(places, line, strict=True)
    return [bass[i].pitch if i >= 0 and bass[i].end > tone.onset else None for i, tone in found]


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
