"""The common vocabulary: what each grace is, and how common practice plays it (``vocabulary.toml``).

Conventions: a pattern is a row of marks as explained at the top of the table; its name is the set of things that must
be true of the grace and the place (``above``, ``short``, ``ternary`` …).

Public: GraceWord, vocabulary, word_of, pattern_for, Pattern.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any, Final

from gracewright.errors import BadInput, TableError
from gracewright.graces.shape import HOLD, Mark, Shape

TABLE: Final = "vocabulary.toml"
PLACE: Final = frozenset({"ternary"})
"""Needs that speak of the place and not of the grace."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A parsed pattern. ``before`` are marks taken from the note before, as shares of it; ``fill`` names what the
    place itself must give: ``next``, ``walk`` (the notes between), ``chord``, ``notes`` (the grace's own), or nothing.
    """

    needs: frozenset[str]
    shape: Shape
    before: tuple[Mark, ...] = ()
    fill: str = ""
    fill_share: Fraction = Fraction(0)


@dataclass(frozen=True)
class GraceWord:
    """One entry. ``element`` is the MusicXML element that best writes it, ``glyph`` its SMuFL code point if any."""

    id: str
    title: str
    also: tuple[str, ...]
    meaning: str
    element: str
    glyph: str = ""
    bend: tuple[float, float] | None = None
    swell: bool = False
    patterns: tuple[Pattern, ...] = field(default=(), repr=False)


@cache
def vocabulary() -> Mapping[str, GraceWord]:
    """Every grace the program knows, by id, in the order of the table.

    >>> vocabulary()["mordent"].title, "shake" in vocabulary()
    ('mordent', True)
    """
    text = files("gracewright.graces").joinpath(TABLE).read_text(encoding="utf-8")
    return {entry["id"]: _word(entry) for entry in tomllib.loads(text)["grace"]}


def word_of(grace_id: str) -> GraceWord:
    """The entry of that id. Raises BadInput for a grace that is not in the vocabulary."""
    found = vocabulary().get(grace_id)
    if found is None:
        raise BadInput(f"no grace is called {grace_id!r}", remedy=f"choose one of {', '.join(vocabulary())}")
    return found


@cache
def pattern_for(grace_id: str, facts: frozenset[str]) -> Pattern:
    """The pattern of a grace whose needs are all among the facts and that says most of the grace, then of the place."""
    word = word_of(grace_id)
    fitting = [pattern for pattern in word.patterns if pattern.needs <= facts]
    if not fitting:
        return word.patterns[0]
    return max(fitting, key=lambda pattern: (len(pattern.needs - PLACE), len(pattern.needs)))


def _word(entry: Mapping[str, Any]) -> GraceWord:
    bend = entry.get("bend")
    return GraceWord(
        entry["id"], entry["title"], tuple(entry["also"]), entry["meaning"], entry["element"], entry.get("glyph", ""),
        (float(bend[0]), float(bend[1])) if bend else None, bool(entry.get("swell", False)),
        tuple(_pattern(entry["id"], name, text) for name, text in entry["patterns"].items()),
    )  # fmt: skip


def _pattern(grace_id: str, name: str, text: str) -> Pattern:
    head: list[Mark] = []
    tail: list[Mark] = []
    before: list[Mark] = []
    strokes: list[Mark] = []
    inside = False
    fill, fill_share = "", Fraction(0)
    for token in text.split():
        bare = token.strip("()")
        if bare.split("=")[0] in ("next", "walk", "chord", "notes"):
            fill, _, share = bare.partition("=")
            fill_share = Fraction(share or 0)
            continue
        inside = inside or token.startswith("(")
        mark = _mark(grace_id, bare.removeprefix("before:"))
        if bare.startswith("before:"):
            before.append(mark)
        else:
            (strokes if inside else tail if strokes else head).append(mark)
        inside = inside and not token.endswith(")")
    if not strokes:
        return Pattern(frozenset(name.split()), Shape(tuple(head)), tuple(before), fill, fill_share)
    first, second = strokes
    if first.step is None or second.step is None:
        raise TableError(TABLE, grace_id, "two steps between the brackets", text)
    shape = Shape(
        tuple(head), (first.step, second.step), lean=max(first.share, Fraction(0)), tail=tuple(tail),
        quicken=first.step == second.step,
    )  # fmt: skip
    return Pattern(frozenset(name.split()), shape, tuple(before), fill, fill_share)


def _mark(grace_id: str, token: str) -> Mark:
    step, _, share = token.partition("=")
    try:
        if step.endswith("*"):
            return Mark(int(step[:-1]), HOLD)
        return Mark(None if step == "_" else int(step), Fraction(share or 0))
    except ValueError as fault:
        raise TableError(TABLE, grace_id, "a step such as -1, 0* or 1=1/2", token) from fault
