"""How a grace is to be played here: by the entry it names, else by the source that speaks, else by common practice.

Conventions: an open question (an entry all of whose readings are doubtful) is never decided in silence: common
practice is played and the remark says so, unless the grace names one reading as ``SOURCE.ENTRY.NUMBER``.

Public: Way, way_for, entry_for, reading_for, spelt_by.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Final

from gracewright.errors import BadInput
from gracewright.graces.layout import TURNED
from gracewright.graces.model import Context, Ending, Grace
from gracewright.graces.recognise import classify
from gracewright.graces.shape import HOLD, QUICK, Mark, Shape
from gracewright.graces.sources import Entry, Reading, entry_of, load_source, short_name
from gracewright.graces.vocabulary import Pattern, pattern_for

FAST: Final = 0.4
"""Seconds: a host no longer than this is in quick time. Our choice."""
SLOW: Final = 0.9
"""Seconds: a host at least this long is in slow time. Our choice."""
AT_END: Final = ("accent", "fall", "anticipation", "passing-notes")
"""Graces at the end of a note: one entry may have several of them, by the note that follows."""
SHAKES: Final = ("shake", "appoggiatura-shake")


@dataclass(frozen=True, slots=True)
class Way:
    """The pattern to play, the rule for the lower neighbour, who says so (empty: common practice), and a remark."""

    pattern: Pattern
    rule: str = "scale"
    by: str = ""
    remark: str = ""
    into_rest: bool = False  # the leaning note takes the whole written note, which then sounds in the rest


def way_for(grace: Grace, context: Context) -> Way:
    """The way to play a grace at its place. Raises BadInput where the entry it names is not there."""
    if grace.entry:
        entry = entry_of(grace.entry)
        number = grace.entry.count(".") > 1 and int(grace.entry.rsplit(".", 1)[1])
    elif context.source:
        grace = _sided(grace, context)
        found = entry_for(context.source, grace)
        if found is None:
            return _common(grace, context)
        entry, number = found, 0
    else:
        return _common(grace, context)
    if number:
        if number > len(entry.readings):
            raise BadInput(f"{entry.key} has {len(entry.readings)} readings, not {number}")
        if _possible(entry.readings[number - 1], context):
            return _by_reading(grace, context, entry, entry.readings[number - 1])
    reading = reading_for(entry, grace, context)
    if reading is None:
        way = _common(grace, context)
        asked = "an open question" if entry.open_question else "told in words only"
        remark = f"{entry.title} in {short_name(entry.source)} is {asked}: common practice"
        return replace(way, rule=entry.neighbour, remark=remark)
    return _by_reading(grace, context, entry, reading)


@lru_cache(maxsize=4096)
def entry_for(source: str, grace: Grace) -> Entry | None:
    """The entry of a source that fits a grace of the common vocabulary best, or None.

    >>> entry_for("jsbach1720", Grace("shake", ending="turned")).id
    'trillo_und_mordant'
    """
    best, most = None, -1
    for entry in load_source(source).entries:
        if entry.means is None or entry.means.id != grace.id or _contradicts(grace, entry.means):
            continue
        score = 2 * _likeness(grace, entry.means) + (1 if entry.sure else 0)
        if score > most:
            best, most = entry, score
    return best


def _contradicts(asked: Grace, means: Grace) -> bool:
    """Whether an entry says what the grace does not want: the other side, the other start."""
    sides = bool(asked.direction and means.direction and asked.direction != means.direction)
    starts = bool(asked.start and means.start and asked.start != means.start)
    sizes = not _size_fits(asked.size, means.size)
    more = asked.id == "shake" and bool((means.direction and not asked.direction)
                                        or (means.ending == "turned" and asked.ending == "none"))  # fmt: skip
    return sides or starts or sizes or more or (means.start == "main" and asked.start != "main")


def _size_fits(asked: str, meant: str) -> bool:
    """A short, passing or double one must be said to be so; a long one may be plain in the source; a plain or single
    one is the source's to decide."""
    if asked in ("short", "passing", "double"):
        return meant == asked
    return meant in ("", "long") if asked == "long" else True


def _likeness(asked: Grace, other: Grace) -> int:
    return (
        (asked.ending == other.ending) * 2 + (asked.lean == other.lean) * 2 + (asked.direction == other.direction)
        + (asked.size == other.size) + (asked.start == other.start) + (asked.accelerate == other.accelerate)
    )  # fmt: skip


def reading_for(entry: Entry, grace: Grace, context: Context) -> Reading | None:
    """The sure reading of an entry that fits the place best, or None where all are doubtful."""
    fitting = [reading for reading in entry.sure if _possible(reading, context)]
    if not fitting:
        return None
    if len(fitting) == 1:
        return fitting[0]
    return max(fitting, key=lambda reading: _fit(reading, grace, context))


def _possible(reading: Reading, context: Context) -> bool:
    if reading.rest:
        return context.rest_after and context.rest_length > 0
    return not reading.tied_on or (context.tied and 0 < context.head < context.length)


def _fit(reading: Reading, grace: Grace, context: Context) -> int:
    score = 6 * (reading.rest or reading.tied_on)
    spelt = spelt_by(reading)
    if spelt is not None:
        closing = spelt.id in AT_END and grace.id in AT_END
        score += 8 * (closing or spelt.id == grace.id)
        score += _likeness(grace, spelt) if spelt.id == grace.id and not closing else 0
    ternary = reading.value.numerator % 3 == 0
    score += 2 * (ternary == context.ternary)
    score += _nearness(reading.following, _step(context, following=True))
    score += _nearness(reading.previous, _step(context, following=False))
    if reading.pace:
        seconds = float(context.length * context.quarter)
        score += 1 if (seconds <= FAST if reading.pace == "fast" else seconds >= SLOW) else -9
    return score


def _step(context: Context, *, following: bool) -> int | None:
    other = context.following if following else context.previous
    return None if other is None else other.diatonic - context.pitch.diatonic


def _nearness(printed: int | None, here: int | None) -> int:
    if printed is None:
        return 0
    if here is None:
        return -2
    return 3 if printed == here else 1 if printed * here > 0 else -2


@lru_cache(maxsize=1024)
def spelt_by(reading: Reading) -> Grace | None:
    """The grace of the common vocabulary that a reading's own notes spell, or None."""
    return classify(reading.notes, reading.before, reading.following)


def _by_reading(grace: Grace, context: Context, entry: Entry, reading: Reading) -> Way:
    pattern = _reading_pattern(reading, grace.lean, grace.ending, grace.accelerate, grace.id)
    flip = _flipped(reading, context, grace)
    remark = "" if reading.known != "doubtful" else f"a doubtful reading of {short_name(entry.source)}"
    by = f"{short_name(entry.source)} has it ({entry.title}{', from memory' if reading.known == 'memory' else ''})"
    if grace.id == "appoggiatura" and grace.direction:
        pattern = _on_side(pattern, grace.direction)
    if context.ternary and reading.value.numerator % 3 and not pattern.shape.stroke:
        pattern = _thirds(pattern)
    if reading.tied_on and reading.notes[0].step is not None:
        share = context.head / context.length
        pattern = Pattern(frozenset(), Shape((pattern.shape.head[0]._replace(share=share), Mark(0, HOLD))))
    return Way(flip or pattern, entry.neighbour, by, remark, into_rest=reading.rest)


@lru_cache(maxsize=2048)
def _reading_pattern(reading: Reading, lean: bool, ending: Ending, accelerate: bool, grace_id: str) -> Pattern:
    """A reading as a pattern, with what the grace asks for beyond it."""
    shape = reading.shape
    if grace_id in SHAKES and shape.stroke is not None:
        tail = TURNED if ending == "turned" and not shape.tail else shape.tail
        wants_lean = lean and not shape.lean and not shape.head
        led_on = shape.printed and shape.printed[-1].step != 0
        stops = ending == "anticipation" and not led_on
        if tail != shape.tail or wants_lean or (accelerate and not shape.quicken) or stops:
            shape = replace(
                shape, tail=tail, lean=Fraction(1, 3) if wants_lean else shape.lean,
                quicken=accelerate or shape.quicken, printed=(),
                rest=shape.rest or (Fraction(1, 5) if stops else QUICK),
            )  # fmt: skip
    return Pattern(frozenset(), shape, reading.before)


@lru_cache(maxsize=512)
def _on_side(pattern: Pattern, direction: str) -> Pattern:
    """A leaning note that a source prints on one side only, on the side that is asked for."""
    way = 1 if direction == "above" else -1

    def turned(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
        return tuple(mark if not mark.step else mark._replace(step=abs(mark.step) * way) for mark in marks)

    shape = pattern.shape
    same = turned(shape.head) == shape.head and turned(pattern.before) == pattern.before
    if same or shape.stroke is not None:
        return pattern
    return replace(pattern, shape=replace(shape, head=turned(shape.head), printed=()), before=turned(pattern.before))


@lru_cache(maxsize=512)
def _thirds(pattern: Pattern) -> Pattern:
    """Where a source halves its own note and is silent about one that divides in three: two thirds (common practice,
    no source)."""
    half, thirds = Fraction(1, 2), Fraction(2, 3)
    if not pattern.shape.head or pattern.shape.head[0].share != half:
        return pattern
    first = pattern.shape.head[0]._replace(share=thirds)
    return replace(pattern, shape=replace(pattern.shape, head=(first, *pattern.shape.head[1:]), printed=()))


def _flipped(reading: Reading, context: Context, grace: Grace) -> Pattern | None:
    """What an example's neighbours decide, decided by the neighbours here: a third filled upwards in print is filled
    downwards where it falls; a grace that takes up the note before takes up the one that is there."""
    if reading.start == "leap" and reading.previous == reading.notes[0].step:
        here = _step(context, following=False)
        if here is not None and here < -1:
            marks = (Mark(here, reading.notes[0].share), *reading.notes[1:-1], Mark(0, HOLD))
            return Pattern(frozenset(), Shape(marks))
    if grace.id in ("passing-notes", "anticipation") and reading.following is not None:
        here = _step(context, following=True)
        if here is not None and here != reading.following:
            return pattern_for(grace.id, frozenset())
    return None


def _common(grace: Grace, context: Context) -> Way:
    pattern = pattern_for(grace.id, _facts(grace, context))
    if grace.id == "shake" and pattern.shape.stroke is not None:
        shape = _shaped(pattern.shape, grace.lean, grace.ending, grace.accelerate, context.ternary)
        pattern = Pattern(pattern.needs, shape)
    return Way(pattern)


def _sided(grace: Grace, context: Context) -> Grace:
    """A leaning note whose side is left open comes from where the tune comes from."""
    if grace.id != "appoggiatura" or grace.direction:
        return grace
    previous = context.previous
    return replace(grace, direction="below" if previous is not None and previous < context.pitch else "above")


def _facts(grace: Grace, context: Context) -> frozenset[str]:
    sided = _sided(grace, context)
    return _fact_set(sided.direction, sided.size, sided.start, context.ternary)


@lru_cache(maxsize=256)
def _fact_set(direction: str, size: str, start: str, ternary: bool) -> frozenset[str]:
    return frozenset(fact for fact in (direction, size, start, "ternary" if ternary else "") if fact)


@lru_cache(maxsize=256)
def _shaped(shape: Shape, lean: bool, ending: Ending, accelerate: bool, ternary: bool) -> Shape:
    """Lean, quickening and turned ending of a shake by common practice."""
    share = Fraction(1, 3) if ternary or ending != "none" else Fraction(1, 2)
    return replace(
        shape,
        lean=share if lean else QUICK,
        rest=Fraction(1, 5) if ending == "anticipation" else QUICK,
        tail=TURNED if ending == "turned" else (),
        quicken=accelerate,
    )
