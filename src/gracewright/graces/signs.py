"""Look-up both ways: what a sign means in each source, and how each source signs an ornament.

Conventions: a *kind* is the shape of a sign, whatever it means (``signs.toml``); period names are compared without
accents or capitals.

Public: SignKind, Meaning, kinds, sign_kinds, look_up, glyph_names, plain.
"""

from __future__ import annotations

import tomllib
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from gracewright.errors import BadInput
from gracewright.graces.model import Grace
from gracewright.graces.sources import Entry, Source, load_source, sources
from gracewright.graces.vocabulary import vocabulary
from gracewright.score import Sign


@dataclass(frozen=True, slots=True)
class SignKind:
    """The shape of a sign. ``glyphs`` are (SMuFL code point, glyph name); ``marks`` how MusicXML writes it."""

    id: str
    words: str
    glyphs: tuple[tuple[str, str], ...]
    marks: tuple[str, ...]
    also: tuple[str, ...]
    common: Grace | None = None  # what common practice makes of it


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a sign means in one source, or how one source signs an ornament."""

    source: Source
    entry: Entry

    @property
    def doubt(self) -> str:
        """In a player's words, how sure we are of what is played; empty where it was read."""
        if self.entry.open_question:
            return "open question"
        return {"text": "", "memory": "from memory", "doubtful": "doubtful"}[self.entry.known]


@cache
def kinds() -> Mapping[str, SignKind]:
    """Every shape of sign by id.

    >>> kinds()["cross"].words
    'plain cross'
    """
    text = files("gracewright.graces").joinpath("signs.toml").read_text(encoding="utf-8")
    return {
        entry["id"]: SignKind(
            entry["id"], entry["words"], tuple(_glyph(glyph) for glyph in entry["glyphs"]), tuple(entry["marks"]),
            tuple(entry["also"]), Grace(**entry["common"]) if "common" in entry else None,
        )
        for entry in tomllib.loads(text)["kind"]
    }  # fmt: skip


def _glyph(text: str) -> tuple[str, str]:
    code, _, name = text.partition(" ")
    return code, name


@cache
def glyph_names() -> Mapping[str, str]:
    """SMuFL code point → glyph name, for the glyphs that a kind knows."""
    return {code: name for kind in kinds().values() for code, name in kind.glyphs}


@cache
def sign_kinds(sign: Sign) -> tuple[str, ...]:
    """The kinds that a sign on the page may be: by its glyph where one is named, else by its element.

    >>> sign_kinds(Sign("inverted-mordent", attributes=(("approach", "below"),)))
    ('wavy-hook-below',)
    """
    if sign.smufl:
        return tuple(kind.id for kind in kinds().values() if any(name == sign.smufl for _, name in kind.glyphs))
    best: dict[str, int] = {}
    for kind in kinds().values():
        fits = [len(mark.split()) for mark in kind.marks if _fits(mark, sign)]
        if fits:
            best[kind.id] = max(fits)
    most = max(best.values(), default=0)
    return tuple(kind for kind, size in best.items() if size == most)


def _fits(mark: str, sign: Sign) -> bool:
    element, *rest = mark.split()
    if sign.element in ("words", "stopped") and element == "words":
        return rest == [sign.text.strip().rstrip(".").lower()]
    if element != sign.element:
        return False
    return all(sign.attribute(name) == value for name, _, value in (item.partition("=") for item in rest))


def look_up(
    sign: str = "", *, ornament: str = "", source: str = "", school: str = "", years: tuple[int, int] | None = None
) -> tuple[Meaning, ...]:
    """Entries of the sources, oldest first, that fit everything asked.

    ``sign`` is a kind, its words, a SMuFL code point or glyph name, a MusicXML element, or the sign itself (``+``,
    ``tr``, ``,``); ``ornament`` a grace of the vocabulary or a period name; ``school`` french, german, italian,
    english or spanish; ``years`` the first and last year of a span that the source's own years must touch.
    Raises BadInput where a word is not known at all.

    >>> [(m.source.id, m.entry.title) for m in look_up("comma after the note", years=(1680, 1688))]
    [('marais1686', 'tremblement')]
    """
    asked_kinds = _kinds_named(sign) if sign else None
    asked_graces = _graces_named(ornament) if ornament else None
    chosen = [load_source(source)] if source else [load_source(name) for name in sources()]
    found = [
        Meaning(book, entry)
        for book in chosen
        if (not school or book.school == school) and _touches(book, years)
        for entry in book.entries
        if (asked_kinds is None or asked_kinds & set(entry.kinds))
        and (asked_graces is None or _is_ornament(entry, asked_graces, ornament))
    ]
    if asked_graces is not None and not asked_graces and not any(_named(entry, ornament) for entry in _all_entries()):
        raise BadInput(f"no ornament is called {ornament!r}", remedy="try its English name or a period name")
    return tuple(found)


def _touches(book: Source, years: tuple[int, int] | None) -> bool:
    return years is None or (book.first <= years[1] and book.last >= years[0])


def _is_ornament(entry: Entry, graces: frozenset[str], name: str) -> bool:
    return (entry.means is not None and entry.means.id in graces) or _named(entry, name)


def _named(entry: Entry, name: str) -> bool:
    """Whether a word is one of an entry's period names, whole or as a word in it."""
    asked = plain(name)
    return any(asked == plain(n.text) or f" {asked} " in f" {plain(n.text)} " for n in entry.names)


@cache
def _all_entries() -> tuple[Entry, ...]:
    return tuple(entry for name in sources() for entry in load_source(name).entries)


def _kinds_named(text: str) -> set[str]:
    asked = text.strip().lower()
    exact = [kind for kind in kinds().values() if asked in _words(kind)]
    found = exact or [kind for kind in kinds().values() if asked in kind.words.lower()]
    if not found:
        near = get_close_matches(asked, [kind.words for kind in kinds().values()], n=3)
        remedy = f"did you mean {' or '.join(near)}" if near else "try +, tr, comma or turn"
        raise BadInput(f"no sign is called {text!r}", remedy=remedy)
    return {kind.id for kind in found}


def _words(kind: SignKind) -> set[str]:
    glyphs: Iterable[str] = (part for glyph in kind.glyphs for part in (*glyph, _character(glyph[0])) if part)
    return {word.lower() for word in (kind.id, kind.words, *kind.marks, *kind.also, *glyphs)}


def _character(code: str) -> str:
    return chr(int(code.removeprefix("U+"), 16))


@cache
def _graces_named(text: str) -> frozenset[str]:
    """Graces of the vocabulary by id, title or another common name; empty where only a period name can be meant."""
    asked = plain(text)
    words = vocabulary().values()
    return frozenset(
        word.id for word in words if asked in (plain(word.id), plain(word.title)) or asked in map(plain, word.also)
    )


@cache
def plain(text: str) -> str:
    """Without accents, capitals, hyphens and points.

    >>> plain("Pincé (autre)")
    'pince autre'
    """
    bare = unicodedata.normalize("NFKD", text)
    bare = "".join(c if c.isalnum() else " " for c in bare if not unicodedata.combining(c))
    return " ".join(bare.lower().split())


def several(meanings: Sequence[Meaning]) -> tuple[str, ...]:
    """The different graces among meanings, by title, in order of appearance; more than one is a trap for the reader."""
    seen = dict.fromkeys(m.entry.means.id for m in meanings if m.entry.means is not None)
    return tuple(vocabulary()[grace].title for grace in seen)
