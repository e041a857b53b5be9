"""``Grace`` (what is to be played on a note), its surroundings, and the ``Version`` that results.

Conventions: a grace is a value, never a class per kind. Its ``id`` belongs to the common vocabulary
(``graces/vocabulary.toml``, listed in ``docs/graces.md``); the source entry that says how it is played is named
``SOURCE.ENTRY``. Pattern notes are scale steps from the main note (1 upper neighbour, -1 lower, 0 main) with
fractions of the written note. Times of a ``Version`` are exact quarters in the order *as played*.

Public: Grace, Context, Realised, GraceNote, PlayedNote, Pass, Version.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from gracewright.pitch import Key, Pitch

Ending = Literal["none", "turned", "anticipation"]
Start = Literal["upper", "main", "lower", ""]
Timing = Literal["on beat", "before beat", "after"]


@dataclass(frozen=True, slots=True)
class Grace:
    """One grace. Fields that a family does not use keep their defaults.

    >>> Grace("shake", ending="turned", lean=True).words
    'shake, leaning start, turned ending'
    """

    id: str  # of the common vocabulary: shake, appoggiatura, mordent, turn, slide …
    entry: str = ""  # SOURCE.ENTRY of the source tables; empty for common practice
    start: Start = ""
    lean: bool = False  # the first note is held (appui)
    ending: Ending = "none"
    direction: Literal["above", "below", ""] = ""
    size: Literal["", "short", "long", "passing", "single", "double"] = ""
    accelerate: bool = False
    upper_alter: int | None = None  # alteration of the upper neighbour where the page or the player prescribes it
    lower_alter: int | None = None
    notes: tuple[tuple[Pitch, Fraction], ...] = ()  # explicit notes (divisions, small notes): pitch, share of the host

    @property
    def words(self) -> str:
        """In a player's words, as the plan file has it."""
        parts = [self.id.replace("-", " ")]
        if self.size:
            parts.append(self.size)
        if self.direction:
            parts.append(f"from {self.direction}")
        if self.start and self.id != "appoggiatura":
            parts.append(f"from the {self.start} note")
        if self.lean:
            parts.append("leaning start")
        if self.accelerate:
            parts.append("quickening")
        if self.ending != "none":
            parts.append({"turned": "turned ending", "anticipation": "anticipated ending"}[self.ending])
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Context:
    """Everything about the place that a realisation may ask for.

    ``bar_state`` maps a staff place (diatonic number) to the alteration in force from accidentals earlier in the bar;
    ``quarter`` is the length of a quarter note in seconds; ``rate`` the full strokes (upper and main) a second that
    instrument and player manage; ``least`` the shortest note in seconds.
    """

    pitch: Pitch
    onset: Fraction
    length: Fraction
    key: Key  # local key
    fifths: int  # printed signature
    quarter: Fraction = Fraction(1)
    previous: Pitch | None = None
    previous_length: Fraction = Fraction(0)
    following: Pitch | None = None
    rest_after: bool = False
    rest_before: bool = False
    tied: bool = False
    ternary: bool = False  # the host divides in three
    bar_state: Mapping[int, int] = field(default_factory=dict)
    harmony: tuple[str, ...] = ()  # pitch classes of the chord
    bass: Pitch | None = None
    rate: float = 5.0
    least: float = 0.06
    slurred_in: bool = False
    source: str = ""  # id of the source that speaks
    head: Fraction = Fraction(0)  # length of the first written note where the host is a chain of tied notes
    rest_length: Fraction = Fraction(0)  # length of the rest after, within the bar
    transpose: tuple[int, int] = (0, 0)  # of the part: staff places and semitones from written to sounding


@dataclass(frozen=True, slots=True)
class GraceNote:
    """One note of a realisation. ``onset`` is relative to the host's written onset (negative: before the beat)."""

    pitch: Pitch
    onset: Fraction
    length: Fraction
    main: bool  # True for the written note itself
    slurred: bool = True  # joined to the note before it (no new tongue stroke)
    bend: tuple[float, float] | None = None  # finger vibrato: depth in cents (negative: below), rate in Hz
    swell: bool = False


@dataclass(frozen=True, slots=True)
class Realised:
    """Notes with exact times, how much was taken from the note before, and one line for the player."""

    notes: tuple[GraceNote, ...]
    from_previous: Fraction
    explanation: str
    silence_after: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class PlayedNote:
    """A sounding note. ``host`` is the written note (tone id); ``choice`` indexes ``Plan.choices`` or is -1."""

    part: str
    onset: Fraction  # quarters as played
    length: Fraction
    pitch: Pitch
    host: str
    page_onset: Fraction  # quarters as written, of the same moment
    time_through: int
    choice: int = -1
    main: bool = True
    slurred: bool = False
    bend: tuple[float, float] | None = None
    swell: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class Pass:
    """A run of bars as played: where it lies on the page and where in the played order."""

    first_bar: int
    last_bar: int
    time_through: int
    page_onset: Fraction
    onset: Fraction
    length: Fraction


@dataclass(frozen=True)
class Version:
    """The played result over the whole order as played; every part's notes, sorted by onset then part."""

    solo: str
    passes: tuple[Pass, ...]
    notes: tuple[PlayedNote, ...]
    explanations: Mapping[int, str]  # choice index → how it is played
    remarks: tuple[str, ...] = ()

    @property
    def length(self) -> Fraction:
        last = self.passes[-1] if self.passes else None
        return last.onset + last.length if last else Fraction(0)
