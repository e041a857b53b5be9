"""``Study``: what the music is doing.

Conventions: times as in :mod:`gracewright.score.model` (exact quarters from the start of the score as written);
pitch classes, pitches and keys as in :mod:`gracewright.pitch`; confidences and strengths are floats in [0, 1].

Public: Study, Harmony, KeySpan, Cadence, Phrase, Breath, Sequence, Leg, Repeat, Segment, NoteRole, Cue, Hemiola.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from html import escape
from typing import Literal

from gracewright.pitch import Key, Pitch
from gracewright.score import Piece
from gracewright.study.overview import overview_svg

Quality = Literal[
    "major", "minor", "diminished", "augmented", "dominant seventh", "minor seventh", "major seventh",
    "minor-major seventh", "half-diminished seventh", "diminished seventh", "augmented sixth",
]
CadenceKind = Literal["authentic-perfect", "authentic-imperfect", "half", "phrygian", "deceptive", "evaded"]
Role = Literal[
    "chord", "passing", "neighbour", "suspension", "appoggiatura", "escape", "anticipation", "pedal", "free",
]


@dataclass(frozen=True, slots=True)
class Harmony:
    """A chord over a stretch of the page."""

    onset: Fraction
    length: Fraction
    root: str  # pitch class
    quality: Quality
    bass: str  # pitch class
    inversion: int  # 0..3
    key: Key
    numeral: str
    figures: tuple[str, ...] = ()  # proposed figured bass, e.g. ("6", "5")
    confidence: float = 0.0

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class KeySpan:
    """A stretch in one key; ``margin`` is how far it leads the ``runner_up`` (0.5 is a draw)."""

    onset: Fraction
    length: Fraction
    key: Key
    margin: float
    runner_up: Key
    evidence: str


@dataclass(frozen=True, slots=True)
class Cadence:
    """``penultimate`` and ``arrival`` are ids of solo tones (empty where the solo rests); ``dominant_onset`` is where
    the penultimate dominant begins."""

    onset: Fraction  # of the arrival
    kind: CadenceKind
    strength: float
    key: Key
    dominant_onset: Fraction
    penultimate: str
    arrival: str
    hemiola: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Breath:
    """A place to breathe inside a phrase: after the solo tone ``after``, which sounds until ``onset``."""

    after: str
    onset: Fraction
    seconds: float  # played since the breath before, or since the phrase began
    reason: str


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase from its first note to the harmony on which it comes to rest."""

    start: Fraction
    end: Fraction
    seconds: float
    breath_after: str = ""  # id of the solo tone after which to breathe
    reason: str = ""
    goal: Fraction = Fraction(0)  # onset of the harmony on which the phrase comes to rest
    breaths: tuple[Breath, ...] = ()  # places to breathe inside it, where it is longer than a breath


@dataclass(frozen=True, slots=True)
class Leg:
    """One statement of a sequence's pattern."""

    start: Fraction
    end: Fraction
    shift: int  # staff places from the first leg


@dataclass(frozen=True, slots=True)
class Sequence:
    """A pattern stated again and again, each time a step of so many staff places away."""

    legs: tuple[Leg, ...]
    step: int  # staff places from leg to leg
    exact: bool
    with_bass: bool

    @property
    def start(self) -> Fraction:
        return self.legs[0].start

    @property
    def end(self) -> Fraction:
        return self.legs[-1].end


@dataclass(frozen=True, slots=True)
class Repeat:
    """A passage heard again: ``kind`` sign, written, varied, da capo, dal segno, petite reprise, refrain, echo."""

    kind: str
    first: tuple[Fraction, Fraction]
    again: tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Segment:
    """A run of whole bars in the order as played. ``time_through`` counts how often these bars sound (1, 2 …)."""

    first_bar: int
    last_bar: int  # inclusive
    time_through: int


@dataclass(frozen=True, slots=True)
class NoteRole:
    """What one solo tone does. ``interval`` is its interval above the bass as figures count (1..9), 0 without bass."""

    note: str  # tone id
    onset: Fraction
    pitch: Pitch
    role: Role
    metre_weight: float  # 1 downbeat, 0.5 half bar … in powers of two
    dissonance: float
    prepared: bool
    resolved: bool
    interval: int
    harmony: int  # index into Study.harmony, -1 where none
    degree: int  # scale degree 1..7 in the local key, 0 for a note foreign to it


@dataclass(frozen=True, slots=True)
class Cue:
    """A candidate for expression at a tone: long, high point, chromatic step, leap, sigh, diminished seventh …"""

    note: str
    kind: str
    weight: float


@dataclass(frozen=True, slots=True)
class Hemiola:
    """Two bars of three heard as three of two."""

    start: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True)
class Imitation:
    """A figure of one line that the other takes up: it begins at ``start`` in the ``leader`` and at ``entry`` in the
    other line, ``step`` staff places away (octaves included), and agrees for ``length``."""

    leader: Literal["solo", "bass"]
    start: Fraction
    entry: Fraction
    length: Fraction
    step: int


@dataclass(frozen=True, slots=True)
class WalkingBass:
    """A stretch in which the bass walks on in equal notes of ``value`` quarters, mostly by step."""

    start: Fraction
    end: Fraction
    value: Fraction


@dataclass(frozen=True)
class Study:
    """What the music is doing; all times are quarters on the page as written."""

    solo: str  # part id
    bass: str  # part id, empty for a lone melody
    home: Key
    harmony: tuple[Harmony, ...]
    keys: tuple[KeySpan, ...]
    cadences: tuple[Cadence, ...]
    phrases: tuple[Phrase, ...]
    sequences: tuple[Sequence, ...]
    repeats: tuple[Repeat, ...]
    order: tuple[Segment, ...]
    roles: tuple[NoteRole, ...]
    cues: tuple[Cue, ...]
    tension: tuple[tuple[Fraction, float], ...]
    hemiolas: tuple[Hemiola, ...]
    dance: str  # guessed dance or movement type, empty where none
    dance_confidence: float
    slow: bool
    tempo: Fraction  # quarter notes a minute, from the page or guessed
    remarks: tuple[str, ...] = ()
    imitations: tuple[Imitation, ...] = ()
    walking: tuple[WalkingBass, ...] = ()
    piece: Piece | None = field(default=None, repr=False, compare=False)  # what was studied, for a picture of it

    @cached_property
    def role_of(self) -> Mapping[str, NoteRole]:
        return {role.note: role for role in self.roles}

    def harmony_at(self, onset: Fraction) -> Harmony | None:
        """The harmony sounding at a time, or None."""
        return next((h for h in reversed(self.harmony) if h.onset <= onset < h.end), None)

    def key_at(self, onset: Fraction) -> Key:
        """The local key at a time; the home key where nothing is known."""
        return next((k.key for k in reversed(self.keys) if k.onset <= onset), self.home)

    def _repr_html_(self) -> str:
        """For a notebook: the picture of the whole piece where it is known, and what was found as a table."""
        rows = [
            ("Home key", str(self.home)),
            ("Keys", ", ".join(f"{span.key} from {span.onset}" for span in self.keys)),
            ("Cadences", ", ".join(f"{c.kind} in {c.key} at {c.onset}" for c in self.cadences)),
            ("Phrases", ", ".join(f"{phrase.start} to {phrase.end}" for phrase in self.phrases)),
            ("Sequences", ", ".join(f"{len(s.legs)} legs from {s.start}" for s in self.sequences)),
            ("Type and tempo", f"{self.dance or 'unknown'}, a quarter note = {float(self.tempo):.0f}"),
        ]
        cells = "".join(f"<tr><th>{name}</th><td>{escape(words) or 'none'}</td></tr>" for name, words in rows)
        picture = overview_svg(self, self.piece) if self.piece is not None else ""
        return f"{picture}<table><caption>Study; times in quarters from the start</caption>{cells}</table>"
