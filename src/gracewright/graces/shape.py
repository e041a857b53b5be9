"""The shape of a grace: which steps it touches, in which order, and what may stretch.

A shape is made from a source's printed example (:func:`shape_of`) or by hand for common practice, and is laid out in
time over a host by :mod:`gracewright.graces.layout`.

Conventions: a *mark* is a scale step (None: silence) with a share of the host; share 0 means a quick note, as short
as fingers allow, and :data:`HOLD` the note that takes what is left. In a shape with strokes the marks before the
strokes are its head, those after them its tail.

Public: Mark, Shape, HOLD, shape_of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, NamedTuple

HOLD: Final = Fraction(-1)
QUICK: Final = Fraction(0)


class Mark(NamedTuple):
    """One note of a shape."""

    step: int | None
    share: Fraction = QUICK


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """Head, strokes and tail; compared by identity, which keeps the caches quick.

    Without ``stroke`` all marks stand in ``head`` and one of them holds. ``stroke`` are the two steps that alternate;
    ``count`` the notes of the strokes in the printed example, which grows and shrinks with the host. ``lean`` and
    ``rest`` are the shares of the first and last note of the strokes (0: a quick note). ``quick`` is the printed share
    of a quick note, ``value`` the printed length of the host in quarters.
    """

    head: tuple[Mark, ...] = ()
    stroke: tuple[int, int] | None = None
    count: int = 0
    lean: Fraction = QUICK
    rest: Fraction = QUICK
    tail: tuple[Mark, ...] = ()
    quicken: bool = False
    value: Fraction = Fraction(0)
    quick: Fraction = QUICK
    printed: tuple[Mark, ...] = ()  # the example as it stands, for hosts of the same value


def shape_of(notes: Sequence[Mark], value: Fraction, flexible: bool = False) -> Shape:
    """The shape of a printed example on a host of ``value`` quarters.

    >>> trill = [Mark(1, Fraction(1, 4)), *(Mark(s, Fraction(1, 8)) for s in (0, 1, 0, 1)), Mark(0, Fraction(1, 4))]
    >>> shape = shape_of(trill, Fraction(1))
    >>> shape.stroke, shape.count, shape.lean, shape.rest
    ((1, 0), 6, Fraction(1, 4), Fraction(1, 4))
    """
    printed = tuple(notes)
    shortest = min(note.share for note in notes)
    found = _strokes(printed, flexible)
    if found is None:
        return Shape(_figure(printed), value=value, quick=shortest, printed=printed)
    start, end = found
    run = printed[start:end]
    quickening = len({note.share for note in run[1:-1]}) > 1
    return Shape(
        head=tuple(Mark(n.step, n.share if n.share > shortest else QUICK) for n in printed[:start]),
        stroke=(_sounding(run[0]), _sounding(run[1])),
        count=len(run),
        lean=run[0].share if _leans(run, quickening, shortest) else QUICK,
        rest=QUICK if quickening or run[-1].share == shortest else run[-1].share,
        tail=tuple(Mark(n.step, n.share if n.share > shortest else QUICK) for n in printed[end:]),
        quicken=quickening,
        value=value,
        quick=shortest,
        printed=printed,
    )


def _leans(run: Sequence[Mark], quickening: bool, shortest: Fraction) -> bool:
    """Whether the first note of the strokes is held; where the strokes quicken, longer than the next and not of it."""
    if quickening:
        return run[0].step != 0 and run[0].share > run[1].share
    return run[0].share > shortest


def _sounding(mark: Mark) -> int:
    assert mark.step is not None, "silence is no stroke"
    return mark.step


def _strokes(notes: tuple[Mark, ...], flexible: bool) -> tuple[int, int] | None:
    """Start and end of the alternation in an example, or None where it has none worth the name."""
    best: tuple[int, int] | None = None
    for start in range(len(notes) - 1):
        a, b = notes[start].step, notes[start + 1].step
        if a is None or b is None or abs(a - b) > 3:
            continue
        end = start + 2
        while end < len(notes) and notes[end].step == (a, b)[(end - start) % 2]:
            if end - 1 > start + 1 and notes[end - 1].share > notes[end - 2].share:
                break  # a longer note inside is no stroke: the run ends with it
            end += 1
        while end > start + 1 and notes[end - 1].step != 0:
            end -= 1
        if a == 0 != b and start > 0 and end - start > 3:
            start += 1  # the main note before the first upper one belongs to the head
        if best is None or end - start > best[1] - best[0]:
            best = (start, end)
    if best is None:
        return None
    length = best[1] - best[0]
    uppers = sum(note.step == 1 for note in notes[best[0] : best[1]])
    prefixed = best[0] > 0 and uppers >= 2
    return best if length >= 4 and (flexible or uppers >= 3 or prefixed) else None


def _figure(notes: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """Marks of an example without strokes: quick notes, shares, and the main note that holds."""
    mains = [i for i, note in enumerate(notes) if note.step == 0]
    if not mains:
        return notes
    longest = max(notes[i].share for i in mains)
    hold = max(i for i in mains if notes[i].share == longest)
    shortest = min(note.share for note in notes)
    limit = Fraction(1, 4) if len(notes) > 2 else Fraction(1, 8)
    return tuple(
        Mark(note.step, HOLD) if i == hold
        else Mark(note.step, QUICK) if note.share <= min(limit, 2 * shortest) and note.step is not None
        else note
        for i, note in enumerate(notes)
    )  # fmt: skip
