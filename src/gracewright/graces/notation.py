"""How a grace is written on the page: signs, small notes before and after.

Conventions: signs are ours (``ours=True``). A grace with a sign of its own gets the sign; one that is a leaning note
gets a small note at its true pitch; a neighbour that the reader could not guess from the signature and the bar gets
an accidental mark.

Public: Notated, sign_for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from gracewright.graces.model import Context, Grace
from gracewright.graces.neighbours import neighbour
from gracewright.graces.realise import realise
from gracewright.graces.signs import glyph_names
from gracewright.graces.vocabulary import word_of
from gracewright.pitch import Pitch
from gracewright.score import Sign, SmallNote
from gracewright.score.lines import alter_in

NAMES: Final = {2: "double-sharp", 1: "sharp", 0: "natural", -1: "flat", -2: "flat-flat"}
SMALL_VALUE: Final = Fraction(1, 4)
APPOGGIATURA_VALUE: Final = Fraction(1, 2)
STOLEN: Final = Fraction(25)
"""Per cent of the note before that a small note takes which is played before the next."""


@dataclass(frozen=True, slots=True)
class Notated:
    """What to print at the host. Ids of small notes are empty: the writer gives them."""

    signs: tuple[Sign, ...] = ()
    before: tuple[SmallNote, ...] = ()
    after: tuple[SmallNote, ...] = ()


def sign_for(grace: Grace, context: Context) -> Notated:
    """How to write a grace on the page.

    >>> from gracewright.pitch import Key
    >>> host = Context(Pitch.parse("C5"), Fraction(0), Fraction(1), Key.parse("C major"), 0)
    >>> sign_for(Grace("mordent"), host).signs[0].element
    'mordent'
    """
    word = word_of(grace.id)
    if grace.id in ("shake", "appoggiatura-shake", "turned-shake", "swinging-note"):
        return _shake(grace, context, word.element)
    if grace.id in ("appoggiatura", "appoggiatura-mordent", "double-appoggiatura", "small-notes"):
        return _leaning(grace, context)
    if word.element == "grace-after":
        return _closing(grace, context)
    if word.element in ("notes", "wedge", "arpeggiate", "tremolo", "slide"):
        return Notated()
    if word.element == "wavy-line":
        line = tuple(_wavy(end) for end in ("start", "stop"))
        return Notated(line)
    attributes = (("long", "yes"),) if grace.id == "mordent" and grace.size in ("double", "long") else ()
    element = _element(grace, word.element)
    smufl = glyph_names()[word.glyph] if element == "other-ornament" else ""
    sign = Sign(element, smufl=smufl, placement="above", attributes=attributes, ours=True)
    return Notated((_with_accidentals(sign, grace, context),))


def _wavy(end: str) -> Sign:
    return Sign("wavy-line", placement="above", attributes=(("number", "1"), ("type", end)), ours=True)


def _element(grace: Grace, element: str) -> str:
    if grace.start == "lower" and grace.id == "turn":
        return "inverted-turn"
    if grace.start == "lower" and grace.id == "turn-after":
        return "delayed-inverted-turn"
    return element


def _shake(grace: Grace, context: Context, element: str) -> Notated:
    if grace.direction or grace.size == "short":
        element = "inverted-mordent"
    after = _closing_notes(grace, context) if element == "trill-mark" or grace.ending == "anticipation" else ()
    sign = Sign(element, placement="above", attributes=_shake_attributes(grace, element, bool(after)), ours=True)
    signs: tuple[Sign, ...] = (_with_accidentals(sign, grace, context),)
    if grace.id == "turned-shake":
        signs = (*signs, Sign("turn", placement="above", ours=True))
    before: tuple[SmallNote, ...] = ()
    if grace.id == "appoggiatura-shake" and grace.direction == "below":
        before = (_small(_lower(grace, context), APPOGGIATURA_VALUE),)
    elif grace.lean or grace.id == "appoggiatura-shake":
        before = (_small(_upper(grace, context), APPOGGIATURA_VALUE),)
    return Notated(signs, before, after)


def _shake_attributes(grace: Grace, element: str, closed: bool) -> tuple[tuple[str, str], ...]:
    """What MusicXML can say of a shake's beginning and end; an open end is said too, so that no reader closes it."""
    told = {"start-note": "main" if grace.start == "main" else "upper"}
    if element == "inverted-mordent":
        if grace.direction and grace.id == "shake":
            told["approach"] = grace.direction
        if grace.ending == "turned":
            told["departure"] = "below"
        if grace.size == "short":
            told["long"] = "no"
    elif not closed:
        told["two-note-turn"] = "none"
    if grace.accelerate:
        told["accelerate"] = "yes"
    return tuple(sorted(told.items()))


def _closing_notes(grace: Grace, context: Context) -> tuple[SmallNote, ...]:
    if grace.ending == "turned":
        return _after_notes([_lower(grace, context), context.pitch])
    if grace.ending == "anticipation" and context.following is not None:
        return _after_notes([context.following])
    return ()


def _leaning(grace: Grace, context: Context) -> Notated:
    """Small notes before the host, at the pitches that the grace sounds."""
    notes = realise(grace, context).notes
    small = []
    for note in notes:
        if note.main:
            break
        small.append(note.pitch)
    short = grace.id != "appoggiatura-mordent" and (grace.size in ("short", "passing") or len(small) > 1)
    value = SMALL_VALUE if short else min(APPOGGIATURA_VALUE, context.length / 2)
    stolen = STOLEN if grace.size == "passing" else None
    before = tuple(
        SmallNote("", pitch, value, slash=grace.size == "short", slurred=True, steal_previous=stolen, ours=True)
        for pitch in small
    )
    signs = (Sign("mordent", placement="above", ours=True),) if grace.id == "appoggiatura-mordent" else ()
    return Notated(signs, before)


def _closing(grace: Grace, context: Context) -> Notated:
    """Small notes after the host."""
    return Notated(after=_after_notes([note.pitch for note in realise(grace, context).notes[1:]]))


def _after_notes(pitches: Sequence[Pitch]) -> tuple[SmallNote, ...]:
    """Small notes that close their host: they take their time from it."""
    return tuple(SmallNote("", pitch, SMALL_VALUE, steal_previous=STOLEN, slurred=True, ours=True) for pitch in pitches)


def _small(pitch: Pitch, value: Fraction = SMALL_VALUE) -> SmallNote:
    return SmallNote("", pitch, value, slurred=True, ours=True)


def _upper(grace: Grace, context: Context) -> Pitch:
    return neighbour(context, 1, grace.upper_alter)


def _lower(grace: Grace, context: Context) -> Pitch:
    return neighbour(context, -1, grace.lower_alter)


def _with_accidentals(sign: Sign, grace: Grace, context: Context) -> Sign:
    """The sign with accidental marks for neighbours that the page alone does not give."""
    sounding = {note.pitch for note in realise(grace, context).notes}
    upper, lower = _upper(grace, context), _lower(grace, context)
    above = _printed(upper, context) if upper in sounding and _unseen(upper, context) else ""
    below = _printed(lower, context) if lower in sounding and _unseen(lower, context) else ""
    if not above and not below:
        return sign
    return Sign(sign.element, sign.text, sign.smufl, sign.placement, sign.attributes, above, below, ours=True)


def _printed(pitch: Pitch, context: Context) -> str:
    """The accidental of a sounding pitch as the part's own notation has it."""
    diatonic, chromatic = context.transpose
    return NAMES.get(pitch.transposed(-diatonic, -chromatic).alter, "")


def _unseen(pitch: Pitch, context: Context) -> bool:
    return pitch.alter != context.bar_state.get(pitch.diatonic, alter_in(context.fifths, pitch.step))
