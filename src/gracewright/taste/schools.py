"""Which manner suits a piece, from what stands on its page.

Conventions: the table ``schools.toml`` names the composers of the shelf; who is not named there is not guessed at.

Public: Suited, manner_for.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from gracewright.score import Piece
from gracewright.study.model import Study


@dataclass(frozen=True, slots=True)
class Suited:
    """A manner and, as the end of a sentence, why it suits."""

    manner: str
    why: str


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("gracewright.taste").joinpath("schools.toml").read_text(encoding="utf-8"))


def manner_for(piece: Piece, study: Study) -> Suited:
    """The manner of the composer whom the page names, or whose catalogue its title cites; else the French one for a
    dance, else the mixed one."""
    table = _table()
    words = _plain(piece.composer).split()
    for school in table["school"]:
        if set(school["names"]) & set(words) and _given(school, words):
            return Suited(school["manner"], f"the page names {school['told']}")
    letters = {found.upper() for found in re.findall(r"\b([A-Za-z]{1,3})\.? ?\d+", piece.title.replace("_", " "))}
    for school in table["school"]:
        if not words and letters & set(school.get("catalogues", ())):
            return Suited(school["manner"], f"the number in the title is one of {school['told']}")
    if study.dance in table["dances"]:
        return Suited(table["dance_manner"], f"it is a {study.dance}, a dance of the French suite")
    return Suited(table["default"], table["unknown_why"] if words else table["default_why"])


def _given(school: Mapping[str, Any], words: list[str]) -> bool:
    """Do the forenames agree, where the school asks for them?"""
    rest = [word for word in words if word not in school["names"]]
    spoken = " ".join(rest)
    return "given" not in school or any(f" {spoken}".startswith(f" {first}") for first in school["given"])


def _plain(name: str) -> str:
    """Small letters without accents, dots and commas.

    >>> _plain("Bach, J. S."), _plain("Händel")
    ('bach j s', 'handel')
    """
    letters = unicodedata.normalize("NFKD", name.lower())
    kept = "".join(char for char in letters if not unicodedata.combining(char))
    return " ".join(re.sub(r"[^a-z ]", " ", kept).split())
