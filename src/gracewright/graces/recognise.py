"""Read a grace back from its notes: small or plain notes that spell an ornament are given its name again.

Conventions: as in :mod:`gracewright.graces.shape`; a figure is a row of scale steps from the main note with shares of
the host, notes before the beat apart.

Public: classify, recognise, same_grace, WrittenOut, written_out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Final

from gracewright.graces.model import Context, Ending, Grace, GraceNote
from gracewright.graces.shape import Mark, Shape, shape_of
from gracewright.pitch import Pitch
from gracewright.score import Tone

LEAN: Final = Fraction(3, 2)
"""A first note of a shake this much longer than the next is a leaning start. Our choice."""
VERY_QUICK: Final = Fraction(1, 8)
"""Quarters: even notes this quick that spell a grace are taken for one. Our choice."""
WRITTEN: Final = (
    "shake", "mordent", "turn", "turn-after", "turned-shake", "slide", "double-appoggiatura", "appoggiatura-mordent",
)  # fmt: skip
"""Graces that are looked for in plain notes."""
SHORT: Final = Fraction(1, 5)
"""A leaning note that takes no more of its host than this is a short one. Our choice."""

FIGURES: Final[dict[tuple[int | None, ...], Grace]] = {
    # steps from the main note: the grace that they spell
    (0, -1, 0): Grace("mordent", size="single"),
    (0, -1, 0, -1, 0): Grace("mordent", size="double"),
    (-1, 0, -1, 0): Grace("mordent", start="lower"),
    (1, 0, -1, 0): Grace("turn"),
    (-1, 0, 1, 0): Grace("turn", start="lower"),
    (0, 1, 0, -1, 0): Grace("turn", start="main"),
    (1, 0, 1, 0, -1, 0): Grace("turned-shake"),
    (-2, -1, 0): Grace("slide"),
    (-3, -1, 0): Grace("slide"),
    (-2, 0): Grace("slide"),
    (2, 1, 0): Grace("slide", direction="above"),
    (-1, 1, 0): Grace("double-appoggiatura"),
    (-2, 1, 0): Grace("double-appoggiatura"),
    (1, -1, 0): Grace("double-appoggiatura", direction="above"),
    (0, 1, 0): Grace("shake", size="short", start="main"),
    (1, 0, 1, 0): Grace("shake", size="short"),
    (0, None): Grace("aspiration"),
    (None, 0): Grace("suspension"),
}
LATE: Final[dict[tuple[int | None, ...], Grace]] = {
    # the same, where the main note comes first and lasts
    (0, 1, 0, -1, 0): Grace("turn-after"),
    (0, -1, 0, 1, 0): Grace("turn-after", start="lower"),
}


def classify(
    notes: Sequence[Mark], before: Sequence[Mark] = (), following: int | None = None
) -> Grace | None:
    """The grace that a figure spells, or None. ``following`` is the step of the next note from the main one.

    >>> half = Fraction(1, 2)
    >>> classify([Mark(1, half), Mark(0, half)]).words
    'appoggiatura, long, from above'
    """
    steps = tuple(note.step for note in notes)
    if before and steps == (0,):
        return _early(before)
    if len(notes) < 2 or not any(step == 0 for step in steps):
        return None
    if all(step == 0 for step in steps):
        return Grace("repeated-note") if len(steps) > 2 else None
    if steps[0] == 0 and steps in LATE and notes[0].share >= Fraction(1, 3):
        return LATE[steps]
    if steps == (-1, 0, -1, 0) and notes[0].share >= 2 * notes[1].share:
        return Grace("appoggiatura-mordent")
    if _swings(notes):
        return Grace("swinging-note")
    if steps == (1, 0, 1, 0, -1, 0) and notes[-1].share >= Fraction(1, 3):
        return FIGURES[steps]
    ending: Ending = "none"
    body = list(notes)
    if following not in (None, 0) and steps[-1] == following and steps[-2] == 0 and len(steps) > 4:
        ending, body = "anticipation", _full(notes[:-1])
    shake = _shake(body, ending)
    if shake is not None:
        return shake
    if steps in FIGURES:
        return FIGURES[steps]
    if len(steps) == 2:
        return _pair(notes, following)
    return _run(steps, following)


def recognise(notes: Sequence[GraceNote], context: Context) -> Grace | None:
    """The grace that sounding notes spell on their host, or None where they are the plain note or something else."""
    if len(notes) == 1 and notes[0].bend is not None:
        return Grace("finger-vibrato")
    if len(notes) == 1 and notes[0].swell:
        return Grace("swell")
    on_beat = [note for note in notes if note.onset >= 0]
    early = [note for note in notes if note.onset < 0]
    main = context.pitch.diatonic
    room = context.previous_length or context.length
    before = [Mark(note.pitch.diatonic - main, note.length / room) for note in early]
    marks: list[Mark] = []
    at = Fraction(0)
    for note in on_beat:
        if note.onset > at:
            marks.append(Mark(None, (note.onset - at) / context.length))
        marks.append(Mark(note.pitch.diatonic - main, note.length / context.length))
        at = note.onset + note.length
    if at < context.length:
        marks.append(Mark(None, 1 - at / context.length))
    following = context.following.diatonic - main if context.following and not context.rest_after else None
    return classify(marks, before, following)


def same_grace(asked: Grace, found: Grace | None) -> bool:
    """Whether a grace read back is the one that was asked for; what was left open may be anything.

    >>> same_grace(Grace("mordent"), Grace("mordent", size="single"))
    True
    """
    if found is None or asked.id != found.id:
        return False
    pairs = ((asked.direction, found.direction), (asked.size, found.size), (asked.start, found.start))
    return all(not a or a == b for a, b in pairs) and asked.lean == found.lean and asked.ending == found.ending


def _early(before: Sequence[Mark]) -> Grace | None:
    steps = [mark.step for mark in before]
    if steps in ([1], [-1]):
        return Grace("appoggiatura", direction="above" if steps[0] == 1 else "below", size="passing")
    return None


def _full(notes: Sequence[Mark]) -> list[Mark]:
    """The same notes as shares of what they fill."""
    total = sum((note.share for note in notes), Fraction(0))
    return [Mark(note.step, note.share / total) for note in notes]


def _swings(notes: Sequence[Mark]) -> bool:
    """Dotted swings between the main note and the one above, from the main note."""
    if len(notes) < 5 or any(note.step != i % 2 for i, note in enumerate(notes[:4])):
        return False
    return notes[0].share >= 2 * notes[1].share and notes[2].share >= 2 * notes[3].share


def _shake(notes: Sequence[Mark], ending: Ending) -> Grace | None:
    shape = shape_of(notes, Fraction(1), flexible=True)
    if shape.stroke not in ((1, 0), (0, 1), (0, -1)) or shape.count < 4:
        return None
    if shape.stroke == (0, -1):
        return None if shape.count == 5 or shape.head or shape.tail else Grace("mordent", size="long")
    tail = tuple(mark.step for mark in shape.tail)
    if tail == (1,) and shape.stroke == (0, 1) and not shape.head:
        return Grace("shake", start="main")
    if tail not in ((), (-1, 0), (1, -1, 0)):
        return None
    if ending == "none" and tail:
        ending = "turned"
    head = tuple(mark.step for mark in shape.head)
    lean = shape.lean >= LEAN * shape.quick
    if head in ((1, 0, -1, 0), (-1, 0), (0,), (-1,), ()):
        return _named(shape, head, lean, ending, notes)
    return None


def _named(
    shape: Shape, head: tuple[int | None, ...], lean: bool, ending: Ending, notes: Sequence[Mark]
) -> Grace | None:
    if head == (-1,):
        return Grace("appoggiatura-shake", direction="below", ending=ending)
    rest = notes[-1].share
    if not head and shape.count == 4 and not lean and ending != "anticipation" and (shape.tail or rest > shape.quick):
        return None  # too few strokes to be more than the figure that they spell
    return Grace(
        "shake",
        start="main" if head == (0,) or shape.stroke == (0, 1) else "",
        lean=lean,
        ending=ending,
        direction="above" if head == (1, 0, -1, 0) else "below" if head == (-1, 0) else "",
        accelerate=shape.quicken,
    )


def _pair(notes: Sequence[Mark], following: int | None) -> Grace | None:
    first, second = notes
    if second.step == 0 and first.step in (1, -1):
        return Grace("appoggiatura", direction="above" if first.step == 1 else "below",
                     size="short" if first.share <= SHORT else "long")  # fmt: skip
    if first.step != 0 or second.step is None or first.share < second.share:
        return None
    if following is not None and following == second.step:
        return Grace("anticipation")
    if following is not None and following * second.step > 0 and abs(following) > abs(second.step):
        return _run((0, second.step), following)
    if second.step in (1, 2):
        return Grace("accent")
    return Grace("fall") if second.step in (-1, -2) else None


def _run(steps: Sequence[int | None], following: int | None) -> Grace | None:
    """Passing notes to the next note, or a chord broken upwards into this one."""
    if following and steps[0] == 0:
        way = 1 if following > 0 else -1
        wanted = tuple(range(0, following, way))
        if tuple(steps) == wanted[: len(steps)] and (len(steps) == len(wanted) or len(steps) > 2):
            return Grace("passing-notes")
        return Grace("accent") if tuple(steps) == (0, 1) else Grace("fall") if tuple(steps) == (0, -1) else None
    rising = [step for step in steps if step is not None]
    if rising == sorted(rising) and rising[-1] == 0 and all(b - a >= 2 for a, b in pairwise(rising)):
        return Grace("arpeggio")
    return None


@dataclass(frozen=True, slots=True)
class WrittenOut:
    """A figure of plain notes that spells a grace: the tones, the note it ornaments, and the grace."""

    tones: tuple[str, ...]
    onset: Fraction
    length: Fraction
    pitch: Pitch
    grace: Grace


def written_out(line: Sequence[Tone], quick: Fraction = Fraction(1, 4)) -> tuple[WrittenOut, ...]:
    """Figures of notes no longer than ``quick`` quarters (with the longer note that they lead into or leave) that
    spell a grace, in order, none overlapping; a figure stays within a bar and between rests."""
    found: list[WrittenOut] = []
    at = 0
    while at < len(line):
        figure = next((f for f in _figures(line, at, quick)), None)
        if figure is None:
            at += 1
        else:
            found.append(figure)
            at += len(figure.tones)
    return tuple(found)


def _figures(line: Sequence[Tone], at: int, quick: Fraction) -> Sequence[WrittenOut]:
    """Figures that begin at a tone, the longest first."""
    end = at + 1
    while end < len(line) and line[end].bar == line[at].bar and not line[end].rest_before and end - at < 32:
        end += 1
    found = []
    for stop in range(end, at + 2, -1):
        tones = line[at:stop]
        if not _fills_a_value(tones):
            continue
        if sum(tone.length > quick for tone in tones) > 1:
            continue
        following = line[stop].pitch.diatonic if stop < len(line) and not line[stop].rest_before else None
        made = _figure_of(tones, following)
        if made is not None:
            found.append(made)
    return found


def _figure_of(tones: Sequence[Tone], following: int | None) -> WrittenOut | None:
    """The grace that a row of tones spells around the pitch that sounds longest in it, or around the next longest."""
    length = sum((tone.length for tone in tones), Fraction(0))
    sounding: dict[Pitch, Fraction] = {}
    for tone in tones:
        sounding[tone.pitch] = sounding.get(tone.pitch, Fraction(0)) + tone.length
    for main in sorted(sounding, key=lambda pitch: (-sounding[pitch], pitch != tones[-1].pitch))[:2]:
        marks = [Mark(tone.pitch.diatonic - main.diatonic, tone.length / length) for tone in tones]
        step = None if following is None else following - main.diatonic
        grace = classify(marks, (), step)
        if grace is not None and grace.id in WRITTEN and _stands_out(grace, tones):
            return WrittenOut(tuple(tone.id for tone in tones), tones[0].onset, length, main, grace)
    return None


def _fills_a_value(tones: Sequence[Tone]) -> bool:
    """Whether a row could stand for one written note: a plain or dotted value that begins where such values begin."""
    length = tones[-1].end - tones[0].onset
    whole = Fraction(4)
    while whole > length:
        whole /= 2
    return length in (whole, whole * Fraction(3, 2)) and tones[0].onset % (whole / 2) == 0


def _stands_out(grace: Grace, tones: Sequence[Tone]) -> bool:
    """Whether a figure is more than a stretch of running notes: it has a held note, or is a long shake, or is quick."""
    lengths = sorted(tone.length for tone in tones)
    held = lengths[-1] >= 2 * lengths[0]
    return held or (grace.id == "shake" and len(tones) >= 6) or lengths[-1] <= VERY_QUICK
