"""The historical sources: one TOML table each in ``graces/tables/``, entry by entry what a sign means and how it goes.

Conventions: ``known`` says how sure we are: ``text`` (read in the source or in a text about it), ``memory`` (common
knowledge, not looked up), ``doubtful`` (uncertain, or two readings stand against each other). A grade says what a
printed example gives: A and A2 exact notes and lengths, B order, start and timing, C and D neither for sure. An entry
all of whose readings are doubtful is an open question: it is shown with its readings and never chosen in silence.

Public: Source, Entry, Reading, Name, load_source, is_source, sources, entry_of,
short_name.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from gracewright.errors import BadInput, TableError
from gracewright.graces.model import Grace, Timing
from gracewright.graces.shape import Mark, Shape, shape_of
from gracewright.graces.vocabulary import vocabulary
from gracewright.pitch import Pitch

FOLDER: Final = "tables"
OWN: Final = ".toml"
GRADES: Final = ("A", "A2", "B", "C", "D")
KNOWN: Final = ("text", "memory", "doubtful")


@dataclass(frozen=True, slots=True)
class Name:
    """A period name. ``lang``: fr, de, it, en, es, la."""

    lang: str
    text: str


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One way an entry is played, on the source's own example note.

    ``value`` is the example's length in quarters; ``notes`` are shares of it; ``before`` are shares of the note
    before; ``following`` is ``rest`` or ``tied`` or a step of the next note from this one, ``previous`` likewise.
    """

    number: int
    grade: str
    known: str
    pitch: Pitch
    value: Fraction
    timing: Timing
    start: str
    notes: tuple[Mark, ...]
    before: tuple[Mark, ...] = ()
    flexible: bool = False
    tied: bool = False
    printed: bool = False  # the lengths are the source's own
    previous: int | None = None
    following: int | None = None
    rest: bool = False
    tied_on: bool = False
    pace: str = ""  # fast or slow where the reading belongs to that alone
    remark: str = ""
    shape: Shape = field(default_factory=Shape, repr=False)


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One ornament of a source. ``means`` is the grace of the common vocabulary, None where it is not one note's grace.

    ``kinds`` name the sign's shape (``signs.toml``), ``glyphs`` SMuFL code points, ``marks`` how MusicXML writes it.
    """

    source: str
    id: str
    names: tuple[Name, ...]
    sign: str
    kinds: tuple[str, ...]
    glyphs: tuple[str, ...]
    marks: tuple[str, ...]
    on: str
    known: str
    means: Grace | None
    neighbour: str = "scale"
    neighbour_words: str = ""
    when: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
    placement: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()

    @property
    def key(self) -> str:
        """``SOURCE.ENTRY``, as :attr:`Grace.entry` names it."""
        return f"{self.source}.{self.id}"

    @property
    def title(self) -> str:
        """The first period name."""
        return self.names[0].text

    @property
    def sure(self) -> tuple[Reading, ...]:
        """The readings that may be played without asking, surest first."""
        sure = [reading for reading in self.readings if reading.known != "doubtful"]
        return tuple(sorted(sure, key=lambda reading: GRADES.index(reading.grade)))

    @property
    def open_question(self) -> bool:
        """Whether all that we have are doubtful readings."""
        return bool(self.readings) and not self.sure


@dataclass(frozen=True)
class Source:
    """A historical print. ``closes`` says when its shakes are closed: ``marked`` (only where a sign or small notes say
    so) or ``by the line`` (also unmarked, as the tune goes on)."""

    id: str
    author: str
    title: str
    year: str
    first: int
    last: int
    region: str
    school: str
    instrument: str
    where: str
    known: str
    closes: str
    placement: tuple[str, ...]
    taste: tuple[str, ...]
    remarks: tuple[str, ...]
    entries: tuple[Entry, ...]
    known_as: str = ""  # a short name, where the author's last word is not it

    def entry(self, entry_id: str) -> Entry:
        """The entry of that id. Raises BadInput."""
        for entry in self.entries:
            if entry.id == entry_id:
                return entry
        listed = ", ".join(entry.id for entry in self.entries)
        raise BadInput(f"{self.id} has no entry {entry_id!r}", remedy=f"choose one of {listed}")


@cache
def short_name(source_id: str) -> str:
    """A source as a player says it: surname and year, with initials where two authors share a surname.

    >>> short_name("danglebert1689"), short_name("cpebach1753"), short_name("compleatflutemaster1695")
    ("D'Anglebert (1689)", 'C. P. E. Bach (1753)', 'The Compleat Flute-Master (1695)')
    """
    book = load_source(source_id)
    if book.known_as:
        return f"{book.known_as} ({book.first})"
    names = book.author.split(" (")[0].split()
    shared = sum(load_source(other).author.split(" (")[0].split()[-1] == names[-1] for other in sources()) > 1
    initials = "".join(f"{name[0]}. " for part in names[:-1] for name in part.split("-")) if shared else ""
    return f"{initials}{names[-1]} ({book.first})"


@cache
def sources() -> tuple[str, ...]:
    """The ids of all sources, oldest first.

    >>> len(sources()), sources()[0]
    (45, 'ganassi1535')
    """
    folder = files("gracewright.graces").joinpath(FOLDER)
    names = [item.name.removesuffix(".toml") for item in folder.iterdir() if item.name.endswith(".toml")]
    return tuple(sorted(names, key=lambda name: (load_source(name).first, name)))


def is_source(name: str) -> bool:
    """Whether a word names a source: one of ours, or a table of the user's own.

    >>> is_source("jsbach1720"), is_source("./mine.toml"), is_source("common practice")
    (True, True, False)
    """
    return name in sources() or name.endswith(OWN)


@cache
def load_source(source_id: str) -> Source:
    """A source by its id, or a table of the user's own by its path (``./mine.toml``), which then is its id.

    Raises BadInput where there is none, TableError where its table has a fault.

    >>> load_source("jsbach1720").entry("cadence").means.id
    'turn'
    """
    if source_id.endswith(OWN):
        name, text = Path(source_id).name, _own_text(Path(source_id))
    else:
        name = f"{source_id}.toml"
        file = files("gracewright.graces").joinpath(FOLDER, name)
        if not source_id.isalnum() or not file.is_file():
            remedy = "`gracewright signs --sources` lists them; give a table of your own by its path"
            raise BadInput(f"no source is called {source_id!r}", remedy=remedy)
        text = file.read_text(encoding="utf-8")
    try:
        return _source(tomllib.loads(text), source_id)
    except tomllib.TOMLDecodeError as fault:
        raise BadInput(f"this table of signs is not TOML ({fault})", file=name) from None
    except KeyError as fault:
        raise TableError(name, "table", f"a value for {fault.args[0]!r}", None) from fault
    except (TypeError, ValueError, AttributeError) as fault:
        raise TableError(name, "table", "values like those of the tables we ship", str(fault)) from None


def _own_text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise BadInput(f"no source is called {str(path)!r}, and no table of your own lies there",
                       remedy="`gracewright signs --sources` lists ours") from None  # fmt: skip
    except (OSError, UnicodeDecodeError):
        raise BadInput("this table of signs cannot be read", file=str(path), remedy="give a path to TOML") from None


def entry_of(key: str) -> Entry:
    """The entry that ``SOURCE.ENTRY`` (or ``SOURCE.ENTRY.READING``) names. Raises BadInput."""
    own, found, rest = key.partition(f"{OWN}.")
    source, rest = (own + OWN, rest) if found else key.split(".", 1)
    return load_source(source).entry(rest.partition(".")[0])


def _source(table: Mapping[str, Any], source_id: str = "") -> Source:
    own = source_id or table["id"]
    entries = tuple(_entry(own, entry) for entry in table["entry"])
    return Source(
        own, table["author"], table["title"], table["year"], table["first"], table["last"], table["region"],
        table["school"], table["instrument"], table["where"], table["known"], table.get("closes", ""),
        tuple(table["placement"]), tuple(table["taste"]), tuple(table["remarks"]), entries,
        table.get("known_as", ""),
    )  # fmt: skip


def _entry(source: str, table: Mapping[str, Any]) -> Entry:
    key = f"{source}.{table['id']}"
    means = None
    if table["means"]:
        means = Grace(**table["means"], entry=key)
        if means.id not in vocabulary():
            raise TableError(f"{source}.toml", table["id"], "a grace of the common vocabulary", means.id)
    if table["known"] not in KNOWN:
        raise TableError(f"{source}.toml", table["id"], f"known as one of {', '.join(KNOWN)}", table["known"])
    return Entry(
        source, table["id"], tuple(Name(**name) for name in table["names"]), table["sign"], tuple(table["kinds"]),
        tuple(table["glyphs"]), tuple(table["marks"]), table["on"], table["known"], means,
        table.get("neighbour", "scale"), table.get("neighbour_words", ""), tuple(table.get("when", ())),
        tuple(table.get("rules", ())), tuple(table.get("placement", ())),
        tuple(_reading(key, n, reading) for n, reading in enumerate(table.get("reading", ()), 1)),
    )  # fmt: skip


def _reading(key: str, number: int, table: Mapping[str, Any]) -> Reading:
    pitch = Pitch.parse(table["pitch"])
    value = Fraction(table["value"]) * 4
    notes = _marks(key, table["notes"])
    flexible = bool(table.get("flexible", False))
    total = sum(note.share for note in notes)
    if total != 1:
        raise TableError(key, f"reading {number}", "shares that sum to 1", total)
    following = table.get("next", "")
    return Reading(
        number, table["grade"], table["known"], pitch, value, table["timing"], table["start"], notes,
        before=_marks(key, table.get("before", "")),
        flexible=flexible,
        tied=bool(table.get("tied", False)),
        printed=table.get("lengths") == "printed",
        previous=_step(pitch, table.get("previous", "")),
        following=_step(pitch, following),
        rest=following == "rest",
        tied_on=following.endswith("tied"),
        pace=table.get("pace", ""),
        remark=table.get("remark", ""),
        shape=shape_of(notes, value, flexible),
    )  # fmt: skip


def _step(pitch: Pitch, name: str) -> int | None:
    name = name.removesuffix(" tied")
    return None if name in ("", "rest") else Pitch.parse(name).diatonic - pitch.diatonic


def _marks(key: str, text: str) -> tuple[Mark, ...]:
    try:
        pairs = [token.split(":") for token in text.split()]
        return tuple(Mark(None if step == "_" else int(step), Fraction(share)) for step, share in pairs)
    except ValueError as fault:
        raise TableError(key, "notes", "steps and shares such as 1:1/8", text) from fault
