"""What a sign on the page means by the source that speaks.

Conventions: a sign may have several meanings in one source (one cross for every kind of shake). The place then
decides: direction of the tune, length, the source's own examples; the remark names the others. An open question is
left open: the grace carries the entry, common practice is played, and the remark tells both.

Public: Place, Read, read_by, closes, sign_of_line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from gracewright.graces.model import Ending, Grace
from gracewright.graces.signs import sign_kinds
from gracewright.graces.sources import Entry, Reading, load_source, short_name
from gracewright.graces.ways import entry_for, spelt_by
from gracewright.pitch import Pitch
from gracewright.score import Sign, SmallNote, Tone

LEAN_SECONDS: Final = 0.8
"""Seconds: the shortest shake that has time for a leaning start. Our choice."""
CLOSE_SECONDS: Final = 0.6
"""Seconds: the shortest shake that is closed without being asked to. Our choice."""
VIBRATO_SECONDS: Final = 0.8
"""Seconds: the shortest note for a vibrato (common practice: long notes only)."""


@dataclass(frozen=True, slots=True)
class Place:
    """A tone among its neighbours; ``quarter`` is the length of a quarter in seconds.

    ``into`` are the small notes that lead into it, ``out`` those that close it; ``transpose`` leads from the part's
    written pitches to the sounding ones.
    """

    tone: Tone
    previous: Tone | None
    after: Tone | None
    quarter: Fraction
    into: tuple[SmallNote, ...] = ()
    out: tuple[SmallNote, ...] = ()
    transpose: tuple[int, int] = (0, 0)

    def sounding_alter(self, step: int, printed: int | None) -> int | None:
        """The alteration of a neighbour that sounds where the page prints one, in a transposing part too."""
        if printed is None or self.transpose == (0, 0):
            return printed
        diatonic, chromatic = self.transpose
        return Pitch.at(self.tone.pitch.diatonic + step - diatonic, printed).transposed(diatonic, chromatic).alter

    @property
    def seconds(self) -> float:
        return float(self.tone.length * self.quarter)

    @property
    def rise_in(self) -> int:
        """Staff places from the note before to this one."""
        return self.tone.pitch.diatonic - self.previous.pitch.diatonic if self.previous else 0

    @property
    def rise_out(self) -> int:
        """Staff places from this note to the next, 0 where the line ends or rests."""
        return self.after.pitch.diatonic - self.tone.pitch.diatonic if self.after and not self.tone.rest_after else 0


@dataclass(frozen=True, slots=True)
class Read:
    """The grace that a sign is, what to say of it, and whose reading that is."""

    grace: Grace
    remark: str = ""
    source: str = "common practice"


def read_by(
    source: str, sign: Sign | Sequence[str], element: str, place: Place, plain: Grace | None = None
) -> Read | None:
    """The grace that a sign (or a set of sign kinds) is by a source, or None where it does not explain it.

    ``plain`` is what common practice makes of it: its direction binds, and it serves where the source knows the
    ornament but writes it with another sign.
    """
    kinds = sign_kinds(sign) if isinstance(sign, Sign) else tuple(sign)
    small = not isinstance(sign, Sign)
    entries = [
        entry for entry in load_source(source).entries
        if entry.means is not None and (set(kinds) & set(entry.kinds) or _marked(entry, element, sign, plain))
        and (not small or _leans(entry, plain))
    ]  # fmt: skip
    alone = [entry for entry in entries if not _joined(entry)]
    entries = alone or [entry for entry in entries if plain is not None and entry.means and entry.means.id == plain.id]
    if not entries:
        return _by_meaning(source, plain)
    ranked = sorted(entries, key=lambda entry: -_score(entry, kinds, element, place, plain))
    entry = ranked[0]
    grace = _on_page(entry, plain, small)
    if grace is None:
        return None
    others = [other.title for other in ranked[1:] if other.means != entry.means and other.title != entry.title]
    remarks = []
    if others:
        remarks.append(f"{short_name(source)} uses this sign also for {', '.join(dict.fromkeys(others))}")
    if entry.open_question:
        remarks.append(_question(entry))
    return Read(grace, "; ".join(remarks), source)


def _by_meaning(source: str, plain: Grace | None) -> Read | None:
    """The source's own way of an ornament that it signs otherwise."""
    entry = entry_for(source, plain) if plain is not None else None
    if entry is None or entry.means is None:
        return None
    assert plain is not None
    grace = replace(entry.means, direction=entry.means.direction or plain.direction)
    return Read(grace, f"{short_name(source)} writes the {entry.title} with another sign ({entry.sign})", source)


def _question(entry: Entry) -> str:
    told = [reading.remark or f"from the {reading.start} note, {reading.timing}" for reading in entry.readings]
    if len(told) == 1:
        told.append("as common practice has it")
    return f"{entry.title} in {short_name(entry.source)} is an open question ({'; or '.join(told)})"


def _on_page(entry: Entry, plain: Grace | None, small: bool) -> Grace | None:
    """What an entry means where the page has already said something: small notes have their pitches, and a turn set
    after its note is not one set over it. None where the entry does not know that."""
    means = entry.means
    assert means is not None
    if plain is None:
        return means
    if plain.id == means.id:
        return replace(means, direction=means.direction or plain.direction)
    if not small and (plain.id, means.id) != ("turn-after", "turn"):
        return means
    if any(_spells(reading, plain) for reading in entry.sure):
        return replace(plain, entry=entry.key)
    return means if small else None


def _spells(reading: Reading, plain: Grace) -> bool:
    spelt = spelt_by(reading)
    return spelt is not None and spelt.id == plain.id and spelt.direction in ("", plain.direction)


def _marked(entry: Entry, element: str, sign: Sign | Sequence[str], plain: Grace | None) -> bool:
    """Whether an entry is written with this very element and attributes, and means what the element usually does;
    signs that are named by their glyph only are never found so."""
    if not isinstance(sign, Sign) or element in ("other-ornament", "other-technical"):
        return False
    if entry.means is None or plain is None or plain.id != entry.means.id:
        return False
    for mark in entry.marks:
        name, *wanted = mark.split()
        pairs = [item.partition("=") for item in wanted]
        if name == element and "+" not in wanted and all(sign.attribute(key) == value for key, _, value in pairs):
            return True
    return False


def _joined(entry: Entry) -> bool:
    """Whether an entry is written with two signs together: one of them alone does not mean it."""
    together = any(" + " in mark and not mark.startswith("grace + grace") for mark in entry.marks)
    turned = entry.means is not None and "turn" in entry.kinds and len(entry.kinds) > 1
    return together or (turned and "turn" not in (entry.means.id if entry.means else "").split("-"))


def _leans(entry: Entry, plain: Grace | None) -> bool:
    """Whether an entry can be one small note before a note, from the side that is printed."""
    means = entry.means
    assert means is not None
    if plain is None or plain.id != "appoggiatura":
        return True
    if "appoggiatura" in means.id:
        return not means.direction or not plain.direction or means.direction == plain.direction
    return any(_spells(reading, plain) for reading in entry.sure)


def _score(entry: Entry, kinds: Sequence[str], element: str, place: Place, plain: Grace | None) -> float:
    means = entry.means
    assert means is not None
    score = 2.0 * len(set(kinds) & set(entry.kinds)) - 0.5 * len(set(entry.kinds) - set(kinds))
    score += any(mark.split()[0] == element for mark in entry.marks)
    score += 1.5 * bool(entry.sure)
    if plain is not None:
        score += 2 * (plain.id == means.id) + (plain.direction == means.direction) + (plain.size == means.size)
        score += plain.ending == means.ending
    if means.direction and (plain is None or ("appoggiatura" in means.id and "grace" not in element)):
        score += 1.5 if (means.direction == "below") == (place.rise_in > 0) else -1.5
    if means.id == "shake":
        score += _shake_score(means, place)
    return score + _example_score(entry, place)


def _shake_score(means: Grace, place: Place) -> float:
    """Of several shakes under one sign: the leaning one where the tune falls and time allows, the closed one where it
    rises (the usual advice of the sources that have several)."""
    score = 0.0
    if means.lean:
        score += 1 if place.seconds >= LEAN_SECONDS and place.rise_in <= 0 else -2
    if means.size == "short":
        score += 1 if place.seconds < LEAN_SECONDS / 2 else -1
    if means.ending == "turned":
        score += 0.5 if place.rise_out > 0 else -0.5
    return score


def _example_score(entry: Entry, place: Place) -> float:
    """How near the place is to the source's own examples."""
    best = -1.0
    for reading in entry.readings:
        score = -0.25 * abs(float(reading.value - place.tone.length)) if reading.value <= place.tone.length else -0.5
        if reading.previous is not None:
            score += 1 if reading.previous == -place.rise_in else -0.5
        if reading.following is not None:
            score += 1 if reading.following == place.rise_out else -0.5
        best = max(best, score)
    return best


def closes(sign: Sign, place: Place, source: str) -> Ending:
    """How a shake closes that the page leaves unclosed: as the source says, else by the tune that
    follows: turned before a rise, anticipated before a falling step (common practice, no source)."""
    if sign.attribute("two-note-turn") == "none":
        return "none"
    marked = bool(source) and load_source(source).closes == "marked"
    if marked or sign.element == "inverted-mordent" or place.seconds < CLOSE_SECONDS:
        return "none"
    return "turned" if place.rise_out > 0 else "anticipation" if place.rise_out == -1 else "none"


def sign_of_line(place: Place, source: str) -> Read | None:
    """A wavy line without another sign: what the source says, else a vibrato on a long note."""
    read = read_by(source, ("long-wavy",), "wavy-line", place) if source else None
    if read is not None:
        return read
    if place.seconds < VIBRATO_SECONDS:
        return Read(Grace("shake"), "a wavy line over a short note: taken for a shake")
    return Read(Grace("finger-vibrato"), "a wavy line alone is a vibrato here; some sources mean a long shake by it")
