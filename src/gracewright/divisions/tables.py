"""The figures and styles of divisions, read from ``tables/*.toml`` and checked as they are read.

Conventions: a figure's ``steps`` are scale steps from its first note (notes of the chord where ``chord``);
``weights`` are whole numbers, each note's share of ``total``; ``to`` is where it leads.

Public: Figure, Group, Style, figures, groups, load_style, styles.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import accumulate, pairwise
from typing import Any, Final

from gracewright.errors import BadInput, TableError

TABLES: Final = files("gracewright.divisions") / "tables"
KNOWN: Final = ("text", "memory", "doubtful", "composed")


@dataclass(frozen=True, slots=True)
class Group:
    """Figures of one kind, with the words for the player and where the kind comes from."""

    id: str
    words: str
    source: str
    where: str
    known: str


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: see the conventions above."""

    index: int
    group: str
    steps: tuple[int, ...]
    weights: tuple[int, ...]
    to: int
    chord: bool
    starts: tuple[int, ...]  # shares before each note
    total: int
    least: int  # the smallest weight
    open: bool  # may go on to any note near enough

    @property
    def name(self) -> str:
        """As the table writes it, with its group: ``run 0 1 2 > 3``."""
        notes = " ".join(str(s) if w == 1 else f"{s}:{w}" for s, w in zip(self.steps, self.weights, strict=True))
        target = " >" if self.open else f" {self.to}" if self.chord else f" > {self.to}"
        return f"{self.group} {notes}{target}"


@dataclass(frozen=True, slots=True, eq=False)
class Style:
    """Tastes of one manner. Densities are notes a second; the rest are costs and worths on one scale."""

    id: str
    title: str
    bare: float
    growth: float
    strength: float
    even: float
    home: float
    spread: float
    leaping: float
    returning: float
    onward: float
    triplets: float
    worth: Mapping[str, float]
    source: str

    def density(self, richness: float) -> float:
        """Notes a second aimed at."""
        return self.bare + self.growth * richness


@cache
def groups() -> Mapping[str, Group]:
    """All kinds of figures by id."""
    return {
        entry["id"]: Group(entry["id"], entry["words"], entry["source"], entry["where"], entry["known"])
        for entry in _entries()
    }


@cache
def figures() -> tuple[Figure, ...]:
    """All figures, mirrored ones included, each once.

    >>> [figure.name for figure in figures() if figure.group == "passing"][:2]
    ['passing 0 1 > 2', 'passing 0 -1 > -2']
    """
    found: list[Figure] = []
    seen: set[tuple[tuple[int, ...], tuple[int, ...], int, bool, bool]] = set()
    for entry in _entries():
        for text in entry["figures"]:
            steps, weights, to, chord, leads_on = _parse(entry["id"], text)
            for sign in (1, -1) if entry["mirror"] else (1,):
                shape = (tuple(sign * step for step in steps), weights, sign * to, chord)
                if (*shape, leads_on) not in seen:
                    seen.add((*shape, leads_on))
                    starts = (0, *accumulate(weights))
                    sums = starts[:-1], starts[-1], min(weights)
                    found.append(Figure(len(found), entry["id"], *shape, *sums, leads_on))
    return tuple(found)


def _entries() -> list[dict[str, Any]]:
    table = tomllib.loads((TABLES / "formulas.toml").read_text(encoding="utf-8"))
    entries: list[dict[str, Any]] = table["group"]
    for entry in entries:
        missing = {"id", "words", "source", "where", "known", "mirror", "figures"} - set(entry)
        if missing:
            raise TableError("formulas.toml", str(entry.get("id")), f"the fields {sorted(missing)}", "none")
        if entry["known"] not in KNOWN:
            raise TableError("formulas.toml", entry["id"], f"known to be one of {KNOWN}", entry["known"])
    return entries


def _parse(group: str, text: str) -> tuple[tuple[int, ...], tuple[int, ...], int, bool, bool]:
    body, arrow, to = text.partition(">")
    try:
        pairs = [(int(step), int(weight or 1)) for step, _, weight in (word.partition(":") for word in body.split())]
        target = int(to) if to.strip() else 0 if arrow else pairs.pop()[0]
    except (ValueError, IndexError) as fault:
        raise TableError("formulas.toml", group, "a figure like '0 1:2 0 > -1'", text) from fault
    if not pairs or pairs[0][0] != 0 or any(weight < 1 for _, weight in pairs):
        raise TableError("formulas.toml", group, "a figure that begins with 0 and has whole shares", text)
    steps = [step for step, _ in pairs]
    leads_on = bool(arrow) and not to.strip()
    row = steps if leads_on else [*steps, target]
    if any(one == other for one, other in pairwise(row)) and len(steps) > 1:
        raise TableError("formulas.toml", group, "no note struck twice running", text)
    return tuple(steps), tuple(weight for _, weight in pairs), target, leads_on or not arrow, leads_on


def styles() -> tuple[str, ...]:
    """Ids of the styles there are, sorted.

    >>> styles()
    ('english', 'french', 'german', 'italian')
    """
    folder = TABLES / "styles"
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")))


@cache
def load_style(name: str) -> Style:
    """The style of that id, or the one a finer name belongs to (``italian-slow`` → italian). Raises BadInput."""
    known = styles()
    style_id = next((one for one in known if name == one or name.startswith(one + "-")), "")
    if not style_id:
        raise BadInput(f"no style of divisions is called {name!r}", remedy=f"choose one of {', '.join(known)}")
    file = f"styles/{style_id}.toml"
    table = tomllib.loads((TABLES / "styles" / f"{style_id}.toml").read_text(encoding="utf-8"))
    try:
        density, taste, worth = table["density"], table["taste"], table["worth"]
        style = Style(
            style_id, table["title"], density["bare"], density["growth"], density["strength"], taste["even"],
            taste["home"], taste["spread"], taste["leaping"], taste["returning"], taste["onward"], taste["triplets"],
            worth, taste["source"],
        )  # fmt: skip
    except KeyError as fault:
        raise TableError(file, str(fault), "a value", "none") from fault
    if set(worth) != set(groups()):
        raise TableError(file, "worth", f"one number for each of {sorted(groups())}", sorted(worth))
    return style
