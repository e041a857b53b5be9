"""``Instrument``: what can be played, how fast, and with which fingers.

Conventions: pitches are sounding and spelled; a rate is full strokes (upper and main note) of a shake a second; a
shortest note is in seconds. Holes are eight places, thumb first: ``0`` thumb closed, ``p`` pinched, ``1``-``7``
closed, ``-`` open, ``h`` half a hole, ``s`` shaded. ``source`` and ``known`` say how we know: ``text`` read,
``memory`` common practice not looked up, ``derived`` built from printed fingerings by the usual rule.

Public: Instrument, Fingering, Shake, Mordent, Vibrato, Place, LEVELS, BURST,
FINGERING_KEY.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from gracewright.pitch import Pitch

LEVELS: Final = ("beginner", "intermediate", "advanced", "virtuoso")
"""How quick the player's fingers are."""

BURST: Final = 0.65
"""A shake of two strokes may go this much quicker than the player's sustained one. Our choice, common practice."""

FINGERING_KEY: Final = (
    "0 thumb, 1 2 3 left hand, 4 5 6 7 right hand; a number: closed, - open, h half closed, s shaded, p thumb pinched"
)
"""How fingerings are to be read, for the foot of a page."""


@dataclass(frozen=True, slots=True)
class Fingering:
    """One way to finger a note."""

    holes: str
    source: str
    known: str
    use: str = ""
    remark: str = ""
    bell: bool = False
    cross: bool = False
    others: tuple[Fingering, ...] = ()

    @property
    def words(self) -> str:
        """As a player reads it: thumb, left hand, right hand.

        >>> Fingering("012-45h-", "modern charts", "text").words
        '0 12- 45h-'
        """
        return spaced(self.holes) + (", bell closed on the knee" if self.bell else "")


@dataclass(frozen=True, slots=True)
class Shake:
    """How a shake is fingered. ``rating`` good, usable, awkward, avoid or impossible; ``low`` and ``high`` are the
    two states while shaking (empty where there is none), ``start`` the true upper note where it must be taken apart
    and ``finish`` the true main note where the last note needs it. ``fingers`` move: ``1``-``7`` or ``thumb``."""

    rating: str
    low: str
    high: str
    fingers: tuple[str, ...]
    source: str
    known: str
    start: str = ""
    finish: str = ""
    half_hole: bool = False
    closing_raises: bool = False
    tuning: str = ""
    remark: str = ""
    turn: str = ""
    others: tuple[tuple[str, str, str], ...] = ()  # low, high, use

    @property
    def words(self) -> str:
        """One line for the player."""
        if not self.low:
            return f"no shake here: {self.remark}" if self.remark else "no shake here"
        which = " and ".join(self.fingers)
        hand = which if self.fingers == ("thumb",) else f"finger{'s' * (len(self.fingers) > 1)} {which}"
        parts = [f"start on {spaced(self.start)}" if self.start else "",
                 f"hold {spaced(self.low)} and beat {hand}",
                 f"finish on {spaced(self.finish)}" if self.finish else "", self.tuning, self.remark]  # fmt: skip
        return "; ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class Mordent:
    """How a mordent is fingered: hold one state, tap the fingers to the other."""

    rating: str
    hold: str
    tap: str
    fingers: tuple[str, ...]
    source: str
    known: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Vibrato:
    """How a finger vibrato is made on a note."""

    how: str
    possible: bool
    source: str
    known: str


@dataclass(frozen=True, slots=True)
class Place:
    """A note, or a run of notes, with something to say about it. ``factor`` slows shakes on it."""

    low: Pitch
    high: Pitch
    why: str
    source: str
    known: str
    factor: float = 1.0


@dataclass(frozen=True)
class Instrument:
    """An instrument with its player's usual means.

    >>> from gracewright.instruments import load_instrument
    >>> alto = load_instrument("alto-recorder")
    >>> alto.low, alto.high, alto.fingering(Pitch.parse("C#5"))
    (Pitch('F4'), Pitch('G6'), '0 12- 45h-')
    """

    id: str
    name: str
    kind: str  # recorder, traverso, oboe, violin
    tone: str  # which tone of gracewright.sound
    low: Pitch
    high: Pitch
    comfortable: tuple[Pitch, Pitch]
    extreme: Pitch  # highest note that ever occurs
    octave: int  # octaves from the written to the sounding note
    clefs: tuple[str, ...]
    written: str
    breath: tuple[float, float] | None  # seconds on one breath: comfortable, at most; None for strings
    strokes: Mapping[str, float]
    tongued: Mapping[str, float]  # tongued (bowed) notes a second, by level
    shortest: Mapping[str, float]  # seconds by family, for an advanced player
    factors: Mapping[str, float]
    missing: tuple[Place, ...] = ()
    weak: tuple[Place, ...] = ()
    shake_places: tuple[Place, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: Mapping[str, tuple[str, str]] = field(default_factory=dict)  # section of the table → source, known
    fingerings: Mapping[int, Fingering] = field(default_factory=dict)  # by MIDI number
    shakes: Mapping[tuple[int, int], Shake] = field(default_factory=dict)  # by MIDI numbers, lower first
    mordents: Mapping[tuple[int, int], Mordent] = field(default_factory=dict)  # lower, main
    vibratos: Mapping[int, Vibrato] = field(default_factory=dict)

    def rate(self, level: str, lower: Pitch, upper: Pitch) -> float:
        """Full strokes a second of a shake between two notes; 0.0 where no shake is possible.

        >>> from gracewright.instruments import load_instrument
        >>> alto = load_instrument("alto-recorder")
        >>> alto.rate("intermediate", Pitch.parse("D5"), Pitch.parse("E5"))  # one strong finger
        4.5
        >>> alto.rate("intermediate", Pitch.parse("F6"), Pitch.parse("G6"))  # fingers 3, 5 and 6 against each other
        0.0
        """
        return self.strokes[level] * self.ease(lower, upper)

    def ease(self, lower: Pitch, upper: Pitch) -> float:
        """Factor in [0, 1] on the player's best strokes for a shake between two notes."""
        size = self.factors.get("size", 1.0)
        shake = self.shake(lower, upper)
        if shake is not None:
            return size * self._ease_of(shake)
        ease = self.factors["none_known"]
        if upper.midi - lower.midi > 2:
            ease *= self.factors.get("wide", 1.0)
        for place in self.shake_places:
            if place.low.midi <= lower.midi and upper.midi <= place.high.midi:
                ease *= place.factor
        return size * ease

    def _ease_of(self, shake: Shake) -> float:
        if not shake.low:
            return 0.0
        factor = self.factors
        ease = factor["contrary"] if shake.rating == "avoid" else 1.0
        ease *= factor["two_fingers"] if len(shake.fingers) > 1 else 1.0
        names = {"6": "finger_6", "7": "finger_7", "thumb": "thumb"}
        ease *= min(factor[names.get(finger, "strong")] for finger in shake.fingers)
        ease *= factor["half_hole"] if shake.half_hole else 1.0
        return ease * (factor["closing_raises"] if shake.closing_raises else 1.0)

    def least(self, level: str, family: str = "mordent") -> float:
        """The shortest note, in seconds, that a player of this level makes clear in a grace of a family.

        >>> from gracewright.instruments import load_instrument
        >>> round(load_instrument("alto-recorder").least("advanced"), 3)
        0.06
        """
        return self.shortest.get(family, self.shortest["mordent"]) * self.strokes["advanced"] / self.strokes[level]

    def fingering(self, pitch: Pitch) -> str:
        """The usual fingering in words, empty where this instrument has no table."""
        found = self.fingerings.get(pitch.midi)
        return found.words if found else ""

    def shake(self, lower: Pitch, upper: Pitch) -> Shake | None:
        """The fingering of a shake, None where none is known."""
        return self.shakes.get((lower.midi, upper.midi))

    def shake_fingering(self, lower: Pitch, upper: Pitch) -> str:
        """How to finger a shake, in words; empty where nothing special is known.

        >>> from gracewright.instruments import load_instrument
        >>> load_instrument("alto-recorder").shake_fingering(Pitch.parse("E5"), Pitch.parse("F5"))
        'hold 0 -23 ---- and beat finger 3; finish on 0 1-- ----'
        """
        shake = self.shake(lower, upper)
        if shake is not None:
            return shake.words
        return "; ".join(
            place.why for place in self.shake_places if place.low.midi <= lower.midi and upper.midi <= place.high.midi
        )

    def vibrato(self, pitch: Pitch) -> Vibrato | None:
        return self.vibratos.get(pitch.midi)

    def weakness(self, pitch: Pitch) -> str:
        """Why a note is missing or weak, empty where it is neither."""
        return next((p.why for p in (*self.missing, *self.weak) if p.low.midi <= pitch.midi <= p.high.midi), "")

    def has(self, pitch: Pitch) -> bool:
        """Is the note within the compass and on the instrument?

        >>> from gracewright.instruments import load_instrument
        >>> [load_instrument("alto-recorder").has(Pitch.parse(name)) for name in ("E4", "F4", "F#6", "G6")]
        [False, True, False, True]
        """
        return self.low.midi <= pitch.midi <= self.high.midi and not any(p.low.midi == pitch.midi for p in self.missing)


def spaced(holes: str) -> str:
    """A fingering as players read it: thumb, left hand, right hand."""
    return f"{holes[0]} {holes[1:4]} {holes[4:]}"
