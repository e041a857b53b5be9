"""``Piece``: what is on the page.

Conventions: every time is a ``Fraction`` in quarter notes from the start of the score *as written* (a pickup
begins at 0; first and second endings lie end to end). Pitches are *sounding*, spelled; ``Part.transpose`` leads
back to the written ones. A bar is named by its index in ``Piece.bars`` (0, 1, 2 …) inside the program and by
``Bar.number`` (what is printed) in words for the player. Values are immutable.

Public: Piece, Part, Bar, Note, SmallNote, Sign, Marks, Figure, FigureItem, Words, Tone, Clef, Meter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from gracewright.pitch import Pitch

if TYPE_CHECKING:
    from gracewright.score.document import Document
    from gracewright.score.midi_file import MidiFile

Placement = Literal["above", "below", ""]


@dataclass(frozen=True, slots=True)
class Sign:
    """An ornament sign as it stands on the page: the glyph, never its meaning.

    ``element`` is the MusicXML element (``trill-mark``, ``mordent`` = wavy line with the stroke, ``inverted-mordent`` =
    without, ``turn`` …), or ``words`` for a lone text such as ``+`` or ``t`` set over a note (in ``text``).
    ``attributes`` are the element's own attributes, sorted; ``accidental_above`` / ``accidental_below`` are the
    accidental marks that go with it (``sharp``, ``natural`` …), empty where there are none.
    """

    element: str
    text: str = ""
    smufl: str = ""
    placement: Placement = ""
    attributes: tuple[tuple[str, str], ...] = ()
    accidental_above: str = ""
    accidental_below: str = ""
    ours: bool = False

    def attribute(self, name: str) -> str:
        return dict(self.attributes).get(name, "")


@dataclass(frozen=True, slots=True)
class SmallNote:
    """A small note. ``value`` is its printed length in quarters; steal and make times are per cent, or None."""

    id: str
    pitch: Pitch
    value: Fraction
    slash: bool = False
    slurred: bool = False
    steal_previous: Fraction | None = None
    steal_following: Fraction | None = None
    make_time: Fraction | None = None
    accidental: str = ""
    signs: tuple[Sign, ...] = ()
    chord: bool = False
    ours: bool = False


@dataclass(frozen=True, slots=True)
class Marks:
    """What stands about a note besides its pitch and length; most notes share the one empty ``Marks()``."""

    signs: tuple[Sign, ...] = ()
    articulations: tuple[str, ...] = ()
    before: tuple[SmallNote, ...] = ()
    after: tuple[SmallNote, ...] = ()
    slur_starts: tuple[str, ...] = ()
    slur_stops: tuple[str, ...] = ()
    fermata: bool = False
    breath: bool = False
    lyrics: tuple[str, ...] = ()  # a syllable of each verse; one whose word goes on ends in a hyphen
    fingering: tuple[str, ...] = ()
    tuplet: tuple[int, int] | None = None  # (actual, normal), nested ones multiplied out
    accidental: str = ""  # as printed, cautionary ones too
    beam: str = ""  # begin, continue, end of the first beam
    wavy: tuple[str, ...] = ()  # wavy-line starts, continues, stops
    tremolo: int = 0
    arpeggio: bool = False


NO_MARKS = Marks()


@dataclass(frozen=True, slots=True)
class Note:
    """A note or rest (``pitch`` None). ``length`` is its sounding length, ``value`` the printed one without tuplet."""

    id: str
    part: str
    staff: int
    voice: str
    bar: int
    onset: Fraction
    length: Fraction
    pitch: Pitch | None
    value: Fraction = Fraction(1)
    dots: int = 0
    tie_in: bool = False
    tie_out: bool = False
    chord: bool = False  # a further note of the chord begun by the note before it
    cue: bool = False
    whole_bar: bool = False
    marks: Marks = NO_MARKS

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class Tone:
    """A sounding note of a line: a chain of tied notes counts as one. ``ids`` are the written notes, first first."""

    id: str
    ids: tuple[str, ...]
    bar: int
    onset: Fraction
    length: Fraction
    pitch: Pitch
    marks: Marks = NO_MARKS
    rest_before: Fraction = Fraction(0)
    rest_after: Fraction = Fraction(0)

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature. ``beats`` 3 over ``unit`` 4; compound signs such as 3+2/8 have their sum in ``beats``."""

    beats: int
    unit: int
    symbol: str = ""  # common, cut, or a single number
    measured: bool = True

    @property
    def length(self) -> Fraction:
        """Length of a full bar in quarters."""
        return Fraction(4 * self.beats, self.unit)

    @property
    def beat(self) -> Fraction:
        """The felt beat in quarters: a dotted one in 6/8, 9/8, 12/8, 6/4 …"""
        one = Fraction(4, self.unit)
        return one * 3 if self.beats % 3 == 0 and self.beats > 3 else one


@dataclass(frozen=True, slots=True)
class Clef:
    """A clef from its onset on; ``octave`` is how many octaves above its letter it sounds (8 below: -1)."""

    onset: Fraction
    staff: int
    sign: str
    line: int
    octave: int = 0


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar on the page. ``fifths`` is the sounding key signature; ``mode`` as printed or empty."""

    index: int
    number: str
    onset: Fraction
    length: Fraction
    meter: Meter
    fifths: int
    mode: str = ""
    pickup: bool = False
    repeat_start: bool = False
    repeat_end: int = 0  # times the passage is played, 0 where there is no closing sign
    endings: tuple[int, ...] = ()  # this bar stands under these ending numbers
    jumps: tuple[str, ...] = ()  # segno, coda, tocoda, dacapo, dalsegno, fine
    double_bar: bool = False
    final_bar: bool = False
    system_break: bool = False

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class FigureItem:
    """One figure: ``number`` 1..9 or None for an accidental alone; ``prefix``/``suffix`` in MusicXML words."""

    number: int | None
    prefix: str = ""
    suffix: str = ""
    extend: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """A column of figures at a time, top first."""

    part: str
    bar: int
    onset: Fraction
    length: Fraction
    items: tuple[FigureItem, ...]
    parentheses: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """A direction: words, dynamics, tempo (``kind`` words, dynamics, metronome, sound, symbol)."""

    part: str
    bar: int
    onset: Fraction
    kind: str
    text: str
    placement: Placement = ""
    tempo: Fraction | None = None  # quarter notes a minute


@dataclass(frozen=True, slots=True)
class Part:
    """A part. ``transpose`` (staff places, semitones) leads from the written to the sounding pitch."""

    id: str
    name: str
    staves: int = 1
    transpose: tuple[int, int] = (0, 0)
    clefs: tuple[Clef, ...] = ()
    group: str = ""
    instrument: str = ""


@dataclass(frozen=True)
class Piece:
    """What is on the page. ``notes`` are sorted by onset, then part order, staff, voice; rests included.

    ``remarks`` are sentences for the user: what a door could not carry, what was repaired.
    """

    title: str
    composer: str
    parts: tuple[Part, ...]
    bars: tuple[Bar, ...]
    notes: tuple[Note, ...]
    figures: tuple[Figure, ...] = ()
    words: tuple[Words, ...] = ()
    date: str = ""
    source: str = ""
    remarks: tuple[str, ...] = ()
    document: Document | None = field(default=None, compare=False, repr=False)
    heard: MidiFile | None = field(default=None, compare=False, repr=False)  # what was played, where it came from MIDI

    @cached_property
    def lines(self) -> dict[tuple[str, bool], tuple[Tone, ...]]:
        """Lines already drawn out of the notes, kept by :func:`gracewright.score.tones`."""
        return {}

    @cached_property
    def by_id(self) -> Mapping[str, Note]:
        return {note.id: note for note in self.notes}

    @cached_property
    def by_part(self) -> Mapping[str, tuple[Note, ...]]:
        groups: dict[str, list[Note]] = {part.id: [] for part in self.parts}
        for note in self.notes:
            groups[note.part].append(note)
        return {part: tuple(notes) for part, notes in groups.items()}

    @cached_property
    def length(self) -> Fraction:
        return self.bars[-1].end if self.bars else Fraction(0)

    def part(self, part_id: str) -> Part:
        """The part of that id. Raises KeyError."""
        for part in self.parts:
            if part.id == part_id:
                return part
        raise KeyError(part_id)

    def place_of(self, part_id: str) -> int:
        """The place of a part in ``parts``. Raises KeyError."""
        return self.parts.index(self.part(part_id))

    def beat_of(self, note_onset: Fraction, bar: int) -> Fraction:
        """Place in the bar, counted as a player counts: 1 is the downbeat, in units of the meter's denominator.

        A pickup bar is counted from the end of the notional full bar.
        """
        there = self.bars[bar]
        offset = note_onset - there.onset
        if there.pickup and there.length < there.meter.length:
            offset += there.meter.length - there.length
        return 1 + offset * Fraction(there.meter.unit, 4)

    def bar_at(self, onset: Fraction) -> Bar:
        """The bar in which a time lies; the first for times before it, the last for times after it."""
        return next((bar for bar in reversed(self.bars) if bar.onset <= onset), self.bars[0])
