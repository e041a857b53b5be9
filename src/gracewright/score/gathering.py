"""What the parts of a MusicXML document say, gathered before bars and notes get their exact times.

Conventions: times are integer ticks, ``Reading.divisions`` to the quarter.

Public: RawBar, Event, Reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from gracewright.score.model import Clef, FigureItem, Meter, Part, Placement, Sign, SmallNote
from gracewright.score.musicxml_note import RawNote


@dataclass(slots=True)
class RawBar:
    """What the parts say of a bar, gathered."""

    number: str
    implicit: bool = False
    ticks: int = 0
    uneven: str = ""  # a part whose bar is shorter or longer than the others'
    meter: Meter | None = None
    fifths: int | None = None
    mode: str = ""
    repeat_start: bool = False
    repeat_end: int = 0
    ending_start: tuple[int, ...] = ()
    ending_stop: bool = False
    jumps: list[str] = field(default_factory=list)
    double: bool = False
    final: bool = False
    system_break: bool = False


@dataclass(slots=True)
class Event:
    """A note with its place: bar and ticks from the start of the bar."""

    raw: RawNote
    element: int
    bar: int
    at: int
    ticks: int
    id: str
    before: tuple[SmallNote, ...] = ()
    after: tuple[SmallNote, ...] = ()


@dataclass(slots=True)
class Reading:
    """The state of one reading."""

    name: str
    divisions: int
    bars: list[RawBar] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    events: list[list[Event]] = field(default_factory=list)
    clefs: list[list[tuple[int, int, Clef]]] = field(default_factory=list)
    figures: list[tuple[str, int, int, int, tuple[FigureItem, ...], bool]] = field(default_factory=list)
    words: list[tuple[str, int, int, str, str, Placement, Fraction | None]] = field(default_factory=list)
    signs: list[tuple[int, int, int, int, Sign]] = field(default_factory=list)  # part, bar, at, staff, sign
    places: dict[str, int] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    count: int = 0
    left_aside: bool = False  # a part that this program added was met
