"""Voice leading of exact notes: fifths and octaves that a graced line makes with the other parts.

Conventions: a sounding note is (begins, ends, staff place, MIDI number) in quarters; a fault is (moment, part). Two
voices are parallel where both move to the next note at one moment, or from one note of the other part to its next as
heard at its strokes, and stand a perfect fifth, octave or unison apart before and after (common practice).

Public: new_parallels, parallels, Sounding.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from gracewright.taste.beside import Voice

Sounding = tuple[Fraction, Fraction, int, int]
SILENT = (-1, -1)


def new_parallels(
    plain: Sequence[Sounding], graced: Sequence[Sounding], voices: Sequence[Voice]
) -> frozenset[tuple[Fraction, str]]:
    """Parallels of the graced line that the plain line does not have at the same moment."""
    return parallels(graced, voices) - parallels(plain, voices) if voices else frozenset()


def parallels(line: Sequence[Sounding], voices: Sequence[Voice]) -> frozenset[tuple[Fraction, str]]:
    """Every moment at which the line runs in fifths or octaves with a voice.

    >>> tune = [(Fraction(0), Fraction(1), 32, 67), (Fraction(1), Fraction(2), 33, 69)]
    >>> bass = Voice("Bass", (Fraction(0), Fraction(1)), (Fraction(1), Fraction(2)), ((28, 60), (29, 62)))
    >>> parallels(tune, [bass]) == {(Fraction(1), "Bass")}
    True
    """
    found = set()
    starts = [note[0] for note in line]
    for voice in voices:
        first = max(1, bisect_right(voice.starts, line[0][0]))
        for number in range(first, len(voice.starts)):
            moment = voice.starts[number]
            if moment >= line[-1][1]:
                break
            old = voice.pitches[number - 1] if voice.ends[number - 1] >= moment else SILENT
            new = voice.pitches[number]
            if old == SILENT or old[1] == new[1]:
                continue
            at = bisect_right(starts, moment) - 1
            here = _pitch(line, at, moment)
            struck = bisect_right(starts, voice.starts[number - 1]) - 1
            there = _pitch(line, struck, voice.starts[number - 1])
            just_before = here
            if starts[at] == moment:
                just_before = _pitch(line, at - 1, moment, ending=True)
            if _perfect(there, here, old, new) or _perfect(just_before, here, old, new):
                found.add((moment, voice.name))
    return frozenset(found)


def _pitch(line: Sequence[Sounding], at: int, moment: Fraction, *, ending: bool = False) -> tuple[int, int]:
    if at < 0:
        return SILENT
    _, end, place, midi = line[at]
    return (place, midi) if (end >= moment if ending else end > moment) else SILENT


def _perfect(there: tuple[int, int], here: tuple[int, int], old: tuple[int, int], new: tuple[int, int]) -> bool:
    if SILENT in (there, here) or there[1] == here[1]:
        return False
    before, after = _interval(there, old), _interval(here, new)
    return before == after and before in ((0, 0), (4, 7))


def _interval(one: tuple[int, int], two: tuple[int, int]) -> tuple[int, int]:
    """Places and semitones within the octave, the lower note first whichever voice has it."""
    places, semitones = one[0] - two[0], one[1] - two[1]
    if places < 0 or (places == 0 and semitones < 0):
        places, semitones = -places, -semitones
    return places % 7, semitones % 12
