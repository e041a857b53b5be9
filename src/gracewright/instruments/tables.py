"""Read instrument tables (TOML), ours and the user's own.

Conventions: a table's pitches are sounding, except in ``fingerings/*.toml``, which are named from the instrument whose
lowest note is ``seven_fingers``; they are moved to where the lowest note of the instrument at hand lies.

Public: load_instrument, instruments, build.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any, TypeVar

from gracewright.errors import BadInput, TableError
from gracewright.instruments.model import LEVELS, Fingering, Instrument, Mordent, Place, Shake, Vibrato
from gracewright.pitch import Pitch

Table = Mapping[str, Any]
T = TypeVar("T")
_HERE = resources.files("gracewright.instruments")


@cache
def instruments() -> tuple[str, ...]:
    """Names of the instruments we have tables for, recorders first, alto before all.

    >>> instruments()[:2]
    ('alto-recorder', 'soprano-recorder')
    """
    order = ("alto-recorder", "soprano-recorder", "tenor-recorder", "bass-recorder", "voice-flute")
    names = {entry.name.removesuffix(".toml") for entry in (_HERE / "tables").iterdir() if entry.name.endswith(".toml")}
    return (*(name for name in order if name in names), *sorted(names - set(order)))


@cache
def load_instrument(name: str) -> Instrument:
    """An instrument by name, or from a TOML file of the user's own (a path that ends in ``.toml``).

    Raises BadInput for a name nobody knows or a file that cannot be read, TableError for a table with a fault.

    >>> load_instrument("voice-flute").low
    Pitch('D4')
    """
    if name in instruments():
        return build(_table(name, (_HERE / "tables" / f"{name}.toml").read_text(encoding="utf-8")), name)
    if not name.endswith(".toml"):
        remedy = f"choose one of {', '.join(instruments())}, or give a TOML file of your own"
        raise BadInput(f"no instrument is called {name!r}", remedy=remedy)
    try:
        text = Path(name).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise BadInput("this instrument table cannot be read", file=name, remedy="see CONTRIBUTING") from fault
    return build(_table(name, text), name)


def build(table: Table, where: str) -> Instrument:
    """An instrument from a parsed table. Raises TableError."""
    reader = Reader(table, where)
    compass, comfort = reader.section("compass"), reader.section("comfortable")
    low, high = reader.pitch(compass, "low"), reader.pitch(compass, "high")
    if low.midi >= high.midi:
        raise TableError(where, "compass", "low below high", f"{low} and {high}")
    breath = table.get("breath")
    fingering = table.get("fingerings", "")
    fingers = read_fingerings(fingering, low) if fingering else Fingers({}, {}, {}, {})
    return Instrument(
        id=reader.word(table, "id"), name=reader.word(table, "name"), kind=reader.word(table, "kind"),
        tone=reader.word(table, "tone"), low=low, high=high,
        comfortable=(reader.pitch(comfort, "low"), reader.pitch(comfort, "high")),
        extreme=reader.pitch(compass, "extreme"),
        octave=int(reader.section("written").get("octave", 0)), clefs=tuple(reader.section("written").get("clefs", ())),
        written=reader.word(reader.section("written"), "words"),
        breath=(reader.number(breath, "comfortable"), reader.number(breath, "most")) if breath else None,
        strokes=reader.by_level("strokes"), tongued=reader.by_level("tongued"),
        shortest=reader.numbers("shortest", ("mordent",)), factors=reader.numbers("fingers", ("none_known",)),
        missing=reader.places("missing"), weak=reader.places("weak"), shake_places=reader.places("shakes"),
        cautions=tuple(reader.word(reader.section("cautions"), key) for key in ("strain", "breath", "hearing")
                       if key in reader.section("cautions")),
        sources={key: (str(part["source"]), str(part["known"])) for key, part in table.items()
                 if isinstance(part, dict) and "source" in part},
        fingerings=fingers.notes, shakes=fingers.shakes, mordents=fingers.mordents, vibratos=fingers.vibratos,
    )  # fmt: skip


class Reader:
    """Takes values from a table and says which entry is at fault."""

    def __init__(self, table: Table, where: str) -> None:
        self.table, self.where = table, where

    def section(self, name: str) -> Table:
        part = self.table.get(name)
        if not isinstance(part, dict):
            raise TableError(self.where, f"[{name}]", "a section", part)
        return part

    def pitch(self, part: Table, key: str) -> Pitch:
        try:
            return Pitch.parse(str(part[key]))
        except (KeyError, ValueError):
            raise TableError(self.where, key, "a pitch like F#5", part.get(key)) from None

    def number(self, part: Table, key: str) -> float:
        value = part.get(key)
        if isinstance(value, bool) or not isinstance(value, int | float) or value <= 0:
            raise TableError(self.where, key, "a number above 0", value)
        return float(value)

    def word(self, part: Table, key: str) -> str:
        value = part.get(key)
        if not isinstance(value, str) or not value:
            raise TableError(self.where, key, "some words", value)
        return value

    def by_level(self, name: str) -> dict[str, float]:
        return {level: self.number(self.section(name), level) for level in LEVELS}

    def numbers(self, name: str, needed: tuple[str, ...]) -> dict[str, float]:
        part = self.section(name)
        keys = {*needed, *(key for key in part if key not in ("source", "known"))}
        return {key: self.number(part, key) for key in sorted(keys)}

    def places(self, name: str) -> tuple[Place, ...]:
        found = []
        for entry in self.table.get(name, ()):
            low = self.pitch(entry, "pitch" if "pitch" in entry else "from")
            high = self.pitch(entry, "to") if "to" in entry else low
            factor = self.number(entry, "factor") if "factor" in entry else 1.0
            words = (self.word(entry, "why"), self.word(entry, "source"), self.word(entry, "known"))
            found.append(Place(low, high, *words, factor))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Fingers:
    """The four fingering tables, keyed by sounding MIDI numbers."""

    notes: dict[int, Fingering]
    shakes: dict[tuple[int, int], Shake]
    mordents: dict[tuple[int, int], Mordent]
    vibratos: dict[int, Vibrato]


@cache
def read_fingerings(name: str, low: Pitch) -> Fingers:
    """The fingerings called ``name``, moved so that all holes closed sounds ``low``. Raises TableError."""
    path = _HERE / "fingerings" / f"{name}.toml"
    if not path.is_file():
        raise TableError(name, "fingerings", "the name of a table in fingerings/", name)
    text = path.read_text(encoding="utf-8")
    seven = Pitch.parse(_table(name, text)["seven_fingers"])
    shift = low.midi - seven.midi
    table = _table(name, _renamed(text, low.diatonic - seven.diatonic, shift))

    def key(text: str) -> int:
        return Pitch.parse(text).midi + shift

    def each(kind: str, make: Callable[[Table], T]) -> list[tuple[Table, T]]:
        try:
            return [(entry, make(entry)) for entry in table.get(kind, ())]
        except KeyError as fault:
            raise TableError(name, kind, "every entry to have it", fault.args[0]) from fault

    return Fingers(
        {key(entry["pitch"]): made for entry, made in each("note", _fingering)},
        {(key(entry["main"]), key(entry["upper"])): made for entry, made in each("shake", _shake)},
        {(key(entry["lower"]), key(entry["main"])): made for entry, made in each("mordent", _mordent)},
        {key(entry["pitch"]): made for entry, made in each("vibrato", _vibrato)},
    )


def _renamed(text: str, diatonic: int, chromatic: int) -> str:
    """Note names in remarks (``f#''``) as we write names (F#5), moved as the instrument lies."""

    def moved(match: re.Match[str]) -> str:
        return str(Pitch.parse(f"{match[1]}{3 + len(match[2])}").transposed(diatonic, chromatic))

    return re.sub(r"\b([a-g][#b]?)('{1,4})", moved, text)


def _fingering(entry: Table) -> Fingering:
    return Fingering(entry["holes"], entry["source"], entry["known"], entry.get("use", ""), entry.get("remark", ""),
                     entry.get("bell", False), entry.get("cross", False),
                     tuple(_fingering(other) for other in entry.get("other", ())))  # fmt: skip


def _shake(entry: Table) -> Shake:
    return Shake(
        entry["rating"], entry.get("low", ""), entry.get("high", ""), tuple(entry.get("fingers", ())), entry["source"],
        entry["known"], entry.get("start", ""), entry.get("finish", ""), entry.get("half_hole", False),
        entry.get("closing_raises", False), entry.get("tuning", ""), entry.get("remark", ""), entry.get("turn", ""),
        tuple((other["low"], other["high"], other["use"]) for other in entry.get("other", ())),
    )  # fmt: skip


def _mordent(entry: Table) -> Mordent:
    return Mordent(entry["rating"], entry["hold"], entry["tap"], tuple(entry["fingers"]), entry["source"],
                   entry["known"], entry.get("remark", ""))  # fmt: skip


def _vibrato(entry: Table) -> Vibrato:
    return Vibrato(entry["how"], entry.get("possible", True), entry["source"], entry["known"])


def _table(where: str, text: str) -> Table:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise TableError(where, "the file", "TOML", str(fault)) from fault
