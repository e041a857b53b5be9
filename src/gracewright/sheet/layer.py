"""One voice of one bar as MEI: notes, rests, tuplets and beams, properly nested.

Conventions: an ``Atom`` is one printed note, chord, rest or space, with its XML ready; groups are half-open ranges of
atom indexes.

Public: Atom, Group, layer_xml, beams_by_beat, beams_as_printed, drawn_id, tone_of, attributes, Accidentals, text,
tuplet_groups.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Final, Literal
from xml.sax.saxutils import escape, quoteattr

from gracewright.pitch import Pitch
from gracewright.score.lines import alter_in

ACCIDENTALS: Final = {-3: "tf", -2: "ff", -1: "f", 0: "n", 1: "s", 2: "x", 3: "xs"}
SILENT: Final = {-2: "ff", -1: "f", 1: "s", 2: "ss"}
"""Alteration → MEI's name where none is printed."""

_UNSAFE: Final = re.compile(r"[^A-Za-z0-9_.-]|_|--+|^[^A-Za-z_]")
_ESCAPE: Final = re.compile(r"_([0-9a-f]+)_")


def drawn_id(tone: str, tail: str = "") -> str:
    """An XML id for something drawn at a note: the note's own id made safe, and what it is.

    >>> drawn_id("P1:3 a", "t2.0"), tone_of(drawn_id("P1:3 a", "t2.0"))
    ('P1_3a_3_20_a--t2.0', ('P1:3 a', 't2.0'))
    """
    safe = _UNSAFE.sub(lambda found: "".join(f"_{ord(letter):x}_" for letter in found[0]), tone)
    return f"{safe}--{tail}" if tail else safe


def tone_of(drawn: str) -> tuple[str, str]:
    """The note a drawn id leads back to, and what was drawn there ("" for the note itself)."""
    safe, _, tail = drawn.partition("--")
    return _ESCAPE.sub(lambda found: chr(int(found[1], 16)), safe), tail


def attributes(values: Mapping[str, object]) -> str:
    """XML attributes; None and empty texts are left out."""
    return "".join(f" {name}={quoteattr(str(value))}" for name, value in values.items() if value not in (None, ""))


def text(value: str) -> str:
    """Text for XML, without characters that XML forbids."""
    return escape("".join(letter for letter in value if letter >= " " or letter in "\t\n"))


@dataclass(frozen=True, slots=True)
class Group:
    """A beam or tuplet over atoms ``start`` to ``end`` (exclusive)."""

    kind: Literal["tuplet", "beam"]
    start: int
    end: int
    extra: str = ""


@dataclass(frozen=True, slots=True)
class Atom:
    """One thing in a voice. ``flagged``: shorter than a quarter, so that it may be beamed."""

    xml: str
    onset: Fraction
    length: Fraction
    flagged: bool
    rest: bool
    beam: str = ""  # as printed: begin, continue, end
    tuplet: tuple[int, int] | None = None
    value: Fraction = Fraction(1)
    together: Fraction | None = None  # where the tuplet begins that is beamed as one, across beats


@dataclass(slots=True)
class Accidentals:
    """Which accidentals one bar of one staff needs. ``fifths`` is the printed signature."""

    fifths: int
    state: dict[int, int] = field(default_factory=dict)

    def of(self, pitch: Pitch, *, tied_in: bool = False, printed: bool = False) -> str:
        """The ``<accid>`` element of a note, and remember it. ``printed``: the page shows one in any case."""
        in_force = self.state.get(pitch.diatonic, alter_in(self.fifths, pitch.step))
        name = ACCIDENTALS.get(pitch.alter, "n")
        if tied_in:
            return f'<accid accid.ges="{SILENT[pitch.alter]}"/>' if pitch.alter in SILENT else ""
        if pitch.alter == in_force and not printed:
            return f'<accid accid.ges="{SILENT[pitch.alter]}"/>' if pitch.alter in SILENT else ""
        self.state[pitch.diatonic] = pitch.alter
        return f'<accid accid="{name}"/>'


def beams_as_printed(atoms: Sequence[Atom]) -> list[Group]:
    """Beams where the page begins and ends them."""
    groups, start = list[Group](), -1
    for index, atom in enumerate(atoms):
        if atom.beam == "begin":
            start = index
        elif atom.beam == "end" and start >= 0:
            groups.append(Group("beam", start, index + 1))
            start = -1
    return groups


def beams_by_beat(atoms: Sequence[Atom], beat: Fraction, offset: Fraction = Fraction(0)) -> list[Group]:
    """Runs of flagged notes within a beat. ``offset`` is where a pickup bar begins in the notional full bar."""
    groups, run = list[Group](), list[int]()

    def close() -> None:
        while run and atoms[run[-1]].rest:
            run.pop()
        if len(run) > 1:
            groups.append(Group("beam", run[0], run[-1] + 1))
        run.clear()

    place: Fraction | int | None = None
    for index, atom in enumerate(atoms):
        here = (atom.onset + offset) // beat if atom.together is None else -1 - atom.together
        if not atom.flagged or here != place or (atom.rest and not run):
            close()
        place = here
        if atom.flagged and not (atom.rest and not run):
            run.append(index)
    close()
    return groups


def tuplet_groups(atoms: Sequence[Atom]) -> list[Group]:
    """Runs of notes with the same time modification, cut where a group is full."""
    groups = list[Group]()
    start, printed, least = 0, Fraction(0), Fraction(64)
    for index, atom in enumerate(atoms):
        if atom.tuplet is None:
            continue
        if index == 0 or atoms[index - 1].tuplet != atom.tuplet or printed == 0:
            start, printed, least = index, Fraction(0), Fraction(64)
        num, base = atom.tuplet
        printed += atom.length * num / base
        least = min(least, atom.value)
        unit = printed / num
        full = unit.denominator & (unit.denominator - 1) == 0 and unit >= least
        ends = index + 1 == len(atoms) or atoms[index + 1].tuplet != atom.tuplet
        if full or ends:
            groups.append(Group("tuplet", start, index + 1, f' num="{num}" numbase="{base}"'))
            printed = Fraction(0)
    return groups


def layer_xml(atoms: Sequence[Atom], groups: Sequence[Group]) -> str:
    """The content of a ``<layer>``. A beam that crosses a tuplet's edge is cut there."""
    tuplets = [group for group in groups if group.kind == "tuplet"]
    edges = {edge for group in tuplets for edge in (group.start, group.end)}
    nested = list(tuplets)
    for group in groups:
        if group.kind == "beam":
            inner = any(t.start <= group.start and group.end <= t.end for t in tuplets)
            within = [edge for edge in sorted(edges) if group.start < edge < group.end]
            crossing = [] if inner else [edge for edge in within if _splits(edge, group, tuplets)]
            cuts = [group.start, *crossing, group.end]
            nested += [Group("beam", a, b) for a, b in pairwise(cuts) if b - a > 1]
    nested.sort(key=lambda group: (group.start, -group.end, group.kind == "beam"))
    out, open_groups = list[str](), list[Group]()
    for index, atom in enumerate(atoms):
        for group in nested:
            if group.start == index:
                out.append(f"<{group.kind}{group.extra}>")
                open_groups.append(group)
        out.append(atom.xml)
        while open_groups and open_groups[-1].end == index + 1:
            out.append(f"</{open_groups.pop().kind}>")
    return "".join(out)


def _splits(edge: int, beam: Group, tuplets: Sequence[Group]) -> bool:
    """Whether a tuplet with this edge reaches beyond the beam, so that the beam must be cut."""
    return any(edge in (t.start, t.end) and not (beam.start <= t.start and t.end <= beam.end) for t in tuplets)
