"""Which upper and lower neighbour a note has here.

Conventions: steps are scale steps from the host's own pitch (1 upper neighbour, -1 lower, -2 third below). The
alteration of a neighbour comes from the first of these that speaks: what the page or the player prescribes, an
accidental earlier in the bar on that very line or space, the sounding chord, the degrees of the local key (with the
raised leading note below the tonic and above the raised sixth in minor), which fall back on the signature. No
neighbour of our own making lies an augmented second or a unison away (common practice, no source).

Public: neighbour, walk, alter_at, ALTERS.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from gracewright.graces.model import Context
from gracewright.pitch import FIFTHS, SEMITONES, Key, Pitch, parse_class

ALTERS: Final[Mapping[str, int]] = {
    "sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2,
    "natural-sharp": 1, "natural-flat": -1,
}  # fmt: skip
"""Names of printed accidentals → alteration."""

_NOTHING: Final[Mapping[int, int]] = {}


def neighbour(context: Context, step: int, written: int | None = None, rule: str = "scale") -> Pitch:
    """The pitch ``step`` scale steps from the host, by the rule above.

    ``written`` is a prescribed alteration. ``rule`` is how a source wants its lower neighbour: ``scale``, or always a
    ``semitone below``.

    >>> from fractions import Fraction as F
    >>> host = Context(Pitch.parse("A4"), F(0), F(1), Key.parse("A minor"), 0)
    >>> neighbour(host, -1), neighbour(host, 1), neighbour(host, -2)
    (Pitch('G#4'), Pitch('B4'), Pitch('F#4'))
    """
    if step == 0:
        return context.pitch
    if written is not None:
        told = Pitch.at(context.pitch.diatonic + step, written)
        if told.midi != context.pitch.midi:  # a unison is no neighbour, even in print
            return told
    if step in (1, -1):
        return _beside(context, context.pitch, step, rule)
    pitch = context.pitch
    for _ in range(abs(step)):
        pitch = _beside(context, pitch, 1 if step > 0 else -1, "scale")
    return pitch


def alter_at(pitch: Pitch, step: int, semitones: int) -> int:
    """The alteration of the letter ``step`` places away that makes the distance so many semitones.

    >>> alter_at(Pitch.parse("D5"), -1, 1), alter_at(Pitch.parse("E5"), 1, 2)
    (1, 1)
    """
    natural = Pitch.at(pitch.diatonic + step)
    return pitch.midi + (semitones if step > 0 else -semitones) - natural.midi


def walk(context: Context, start: Pitch, goal: Pitch) -> tuple[Pitch, ...]:
    """The scale notes strictly between two pitches, in order from ``start``.

    >>> from fractions import Fraction as F
    >>> host = Context(Pitch.parse("C5"), F(0), F(1), Key.parse("C major"), 0)
    >>> walk(host, Pitch.parse("C5"), Pitch.parse("F5"))
    (Pitch('D5'), Pitch('E5'))
    """
    way = 1 if goal.diatonic > start.diatonic else -1
    found = []
    pitch = start
    for _ in range(abs(goal.diatonic - start.diatonic) - 1):
        pitch = _beside(context, pitch, way, "scale")
        found.append(pitch)
    return tuple(found)


def _beside(context: Context, pitch: Pitch, way: int, rule: str) -> Pitch:
    place = pitch.diatonic + way
    octave, step = divmod(place, 7)
    if place in context.bar_state:
        alter = context.bar_state[place]
    else:
        chord = _chord_alters(context.harmony) if context.harmony else _NOTHING
        alter = chord[step] if step in chord else _degree(context.key, pitch.step, pitch.alter, way)
    midi = 12 * (octave + 1) + SEMITONES[step] + alter
    gap = (midi - pitch.midi) * way
    if way < 0 and rule == "semitone below":
        return Pitch(octave, step, alter + gap - 1)
    if gap > 2:
        return Pitch(octave, step, alter - way * (gap - 2))
    if gap < 1:
        return Pitch(octave, step, alter + way * (1 - gap))
    return Pitch(octave, step, alter)


@lru_cache(maxsize=4096)
def _degree(key: Key, step: int, alter: int, way: int) -> int:
    """Alteration of the letter beside a note in a key, leading note raised where the tune goes to or from it."""
    beside = (step + way) % 7
    plain = key.alter_of(beside)
    if key.mode == "major":
        return plain
    leading_step, leading_alter = parse_class(key.leading)
    if beside != leading_step:
        return plain
    here = FIFTHS[step] + 7 * alter
    from_tonic = way < 0 and here == key.tonic_fifths
    from_raised_sixth = way > 0 and here == key.tonic_fifths + 3
    return leading_alter if from_tonic or from_raised_sixth else plain


@lru_cache(maxsize=1024)
def _chord_alters(harmony: tuple[str, ...]) -> Mapping[int, int]:
    return dict(parse_class(name) for name in harmony)
