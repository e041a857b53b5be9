"""Figured bass proposed where none is printed: what a continuo player needs to know over each bass note.

Conventions: figures count staff places above the bass note, 2 to 9, top first; what goes without saying is left out
(5 3 is nothing, 6 3 is 6, 6 5 3 is 6 5, 6 4 3 is 4 3, 6 4 2 is 4 2). An accidental beside a figure differs from the
signature; alone it belongs to the third. Common practice, no source.

Public: propose_figures, figures_over, figured_tones.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from typing import Final

from gracewright.pitch import FIFTHS, Pitch, fifths_of
from gracewright.score import Figure, FigureItem, Note, Piece, Tone, part_of, tones
from gracewright.score.lines import alter_in
from gracewright.study.model import Harmony, Study
from gracewright.study.numerals import member_fifths

SHOWN: Final = {
    frozenset({3, 5}): (), frozenset({3, 6}): (6,), frozenset({4, 6}): (6, 4), frozenset({3, 5, 7}): (7,),
    frozenset({3, 7}): (7,), frozenset({3, 5, 6}): (6, 5), frozenset({3, 4, 6}): (4, 3), frozenset({2, 4, 6}): (4, 2),
    frozenset({4, 5}): (4,), frozenset({4, 5, 7}): (4,),
    frozenset({3, 5, 9}): (9,), frozenset({3, 9}): (9,), frozenset({3, 6, 7}): (7,),
    frozenset({3}): (), frozenset({5}): (), frozenset({6}): (6,), frozenset(): (), frozenset({2, 4}): (4, 2),
    frozenset({5, 6}): (6, 5), frozenset({5, 7}): (7,), frozenset({7}): (7,),
}  # fmt: skip
MARK: Final = {1: "sharp", -1: "flat", 0: "natural", 2: "double-sharp", -2: "flat-flat"}
FULL: Final = 3  # upper notes from which the texture shows the chord by itself


def propose_figures(piece: Piece, study: Study) -> tuple[Figure, ...]:
    """Figures over every bass note that needs some, and where the chord changes over a held bass."""
    if not study.bass:
        return ()
    part, _ = part_of(study.bass)
    ground = tones(piece, study.bass, lowest=True)
    own = {note_id for tone in ground for note_id in tone.ids}
    upper = [n for n in piece.notes if n.pitch is not None and n.length and not n.cue and n.id not in own]
    onsets = [note.onset for note in upper]
    longest = max((note.length for note in upper), default=0)
    starts = [chord.onset for chord in study.harmony]
    found = []
    for tone in ground:
        before: tuple[FigureItem, ...] = ()
        first = bisect_right(starts, tone.onset) - 1
        for index in range(max(0, first), len(starts)):
            time = max(starts[index], tone.onset)
            if time >= tone.end:
                break
            low, high = bisect_left(onsets, time - longest), bisect_right(onsets, time)
            sounding = [note for note in upper[low:high] if note.end > time]
            bar = piece.bars[tone.bar]
            items = figures_over(
                tone.pitch, sounding, study.harmony[index], bar.fifths, quick=tone.length < bar.meter.beat
            )
            if items != before or (time == tone.onset and items):
                end = min(study.harmony[index].end, tone.end)
                found.append(Figure(part, tone.bar, time, end - time, items))
            before = items
    return tuple(figure for figure in found if figure.items)


def figures_over(
    bass: Pitch, sounding: Sequence[Note], chord: Harmony, fifths: int, *, quick: bool = False
) -> tuple[FigureItem, ...]:
    """Figures over one bass note; ``quick`` where it lasts less than a beat.

    In a full texture all that sounds counts, in a thin one the chord's notes. Where the texture is thin or leaves the
    chord open, the chord's own notes are added.
    """
    members = set(member_fifths(fifths_of(chord.root), chord.quality))
    above: dict[int, int] = {}
    foreign: set[int] = set()
    for note in sounding:
        if note.pitch is not None and (note.pitch.fifths in members or len(sounding) >= FULL):
            number = (note.pitch.diatonic - bass.diatonic) % 7 + 1
            above[number] = note.pitch.alter
            foreign |= {number} - {1} if note.pitch.fifths not in members else set()
    if (len(sounding) < FULL or not set(above) & {2, 4, 5, 6, 7}) and bass.fifths in members:
        for member in members:
            step = member * 4 % 7
            above.setdefault((step - bass.step) % 7 + 1, (member - FIFTHS[step]) // 7)
    above.pop(1, None)
    numbers = set(above)
    if 2 in numbers and not numbers & {4, 6} and 3 in numbers:
        numbers = numbers - {2} | {9}
        above[9] = above.pop(2)
    if {3, 4, 6} <= numbers and 4 in foreign:
        numbers.discard(4)
        del above[4]
    if numbers <= {3, 5} and chord.quality == "diminished" and chord.inversion == 0:
        numbers |= {5, 6}
    shown = SHOWN.get(frozenset(numbers), tuple(sorted(numbers, reverse=True)))
    altered = {n: alter for n, alter in above.items() if alter != alter_in(fifths, (bass.step + n - 1) % 7)}
    if bass.alter != alter_in(fifths, bass.step) and shown:
        altered.pop(3, None)
    elif 3 in altered and bass.fifths == fifths_of(chord.root):
        altered.pop(5, None)
        shown = tuple(number for number in shown if not (quick and number == 7))
    return tuple(_items(shown, altered))


def _items(shown: Iterable[int], altered: dict[int, int]) -> list[FigureItem]:
    items = []
    for number in sorted({*shown, *altered}, reverse=True):
        mark = MARK.get(altered[number], "") if number in altered else ""
        alone = number == 3 and mark and 3 not in shown
        items.append(FigureItem(None if alone else number, mark))
    return items


def figured_tones(ground: Sequence[Tone], figures: Sequence[Figure]) -> dict[str, Figure]:
    """The figure over the beginning of each bass tone that has one."""
    at = {figure.onset: figure for figure in figures}
    return {tone.id: at[tone.onset] for tone in ground if tone.onset in at}
