"""Which source speaks for a piece: the user's choice, else the manner's, else the composer's own, else nobody.

Conventions: a composer who wrote a table speaks for his own music; where nothing is known common practice is played
and the remark says how to choose.

Public: Speaking, speaking_source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from gracewright.graces.signs import plain
from gracewright.graces.sources import load_source, sources
from gracewright.score import Piece

SPAN: Final = 60
"""Years: a source whose first and last year are together this far from the piece's date is too far. Our choice."""
YEAR: Final = re.compile(r"1[4-8]\d\d")


@dataclass(frozen=True, slots=True)
class Speaking:
    """``source`` is empty where common practice is played; ``why`` is a sentence for the user."""

    source: str
    why: str


def speaking_source(piece: Piece, *, named: str = "", manner: str = "", school: str = "") -> Speaking:
    """The source that speaks. ``named`` is the user's choice, ``manner`` the source of the chosen manner, ``school``
    (french, german, italian, english, spanish) narrows a choice by date. Raises BadInput for an unknown name."""
    if named:
        return Speaking(load_source(named).id, "chosen by you")
    composer = _of_composer(piece.composer)
    if composer:
        source = load_source(composer)
        return Speaking(composer, f"{source.author} explained his signs himself ({source.where or source.title})")
    if manner:
        return Speaking(load_source(manner).id, "the source of the chosen manner")
    dated = _of_date(piece.date, school)
    if dated:
        return Speaking(dated, f"the {school} source nearest to {piece.date}")
    return Speaking("", "nothing tells whose signs these are: common practice; choose a source with --signs-by")


def _of_composer(composer: str) -> str:
    """The source whose author the composer is: the forenames that the score gives must agree, and a surname alone
    must be one author's only."""
    given = plain(composer).split()
    same = [name for name in sources() if _author(name)[-1:] and _author(name)[-1] in given]
    fitting = [name for name in same if _forenames_agree(_author(name)[:-1], given)]
    if fitting:
        return fitting[0]
    alone = all(word.isdigit() or word == _author(same[0])[-1] for word in given) if same else False
    return same[0] if alone and len(same) == 1 else ""


def _author(source: str) -> list[str]:
    return [word for word in plain(load_source(source).author.split("(")[0]).split() if word != "de"]


def _forenames_agree(forenames: list[str], given: list[str]) -> bool:
    """Whether the forenames in the score (written out or as initials) are this author's, in order.

    >>> _forenames_agree(["johann", "sebastian"], ["j", "s", "bach"]), _forenames_agree(["leopold"], ["w", "mozart"])
    (True, False)
    """
    others = [word for word in given if len(word) == 1 or word in forenames]
    wanted = iter(forenames)
    return bool(others) and all(any(word in (name, name[0]) for name in wanted) for word in others)


def _of_date(date: str, school: str) -> str:
    """The source of a school nearest to the first year in the date field, within reach."""
    year = YEAR.search(date)
    if year is None or not school:
        return ""
    distance = {
        name: abs(load_source(name).first - int(year[0])) + abs(load_source(name).last - int(year[0]))
        for name in sources()
        if load_source(name).school == school and any(entry.sure for entry in load_source(name).entries)
    }
    best = min(distance, key=lambda name: (distance[name], name), default="")
    return best if best and distance[best] <= SPAN else ""
