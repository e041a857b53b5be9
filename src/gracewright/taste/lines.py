"""Words in which a plan names places and graces, and reads them again.

Conventions: pitches are written as players write them, c' for middle C, c'' above, C below c; a sharp is #, a flat b
(``bb'`` is B flat); a name like Bb4 is read too. A bar whose printed number occurs before is named ``8 (2)``.

Public: bar_names, pitch_words, read_pitch, grace_words, read_grace, time_words, read_time.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import Final, Literal
from weakref import WeakValueDictionary

from gracewright.errors import BadInput
from gracewright.graces import Grace, vocabulary
from gracewright.pitch import Pitch, name_of
from gracewright.score import Piece

_HELMHOLTZ: Final = re.compile(r"([a-gA-G])(#{0,3}|b{0,3})('*|,*)")
_COMMA: Final = re.compile(r",(?![,*])")  # not one that lowers a note, as in C,*1/2
ALTERS: Final = {-2: "double flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double sharp"}
ENDINGS: Final[dict[str, Literal["turned", "anticipation"]]] = {
    "turned ending": "turned", "anticipated ending": "anticipation",
}  # fmt: skip
DIRECTIONS: Final[dict[str, Literal["above", "below"]]] = {"from above": "above", "from below": "below"}
STARTS: Final[dict[str, Literal["upper", "main", "lower"]]] = {
    "from the upper note": "upper", "from the main note": "main", "from the lower note": "lower",
}  # fmt: skip
SIZES: Final[dict[str, Literal["short", "long", "passing", "single", "double"]]] = {
    "short": "short", "long": "long", "passing": "passing", "single": "single", "double": "double",
}  # fmt: skip

_names: dict[int, tuple[str, ...]] = {}
_pieces: WeakValueDictionary[int, Piece] = WeakValueDictionary()


def bar_names(piece: Piece) -> tuple[str, ...]:
    """The name of every bar: its printed number, made distinct."""
    if _pieces.get(id(piece)) is not piece:
        seen: dict[str, int] = {}
        made = []
        for bar in piece.bars:
            seen[bar.number] = seen.get(bar.number, 0) + 1
            made.append(bar.number if seen[bar.number] == 1 else f"{bar.number} ({seen[bar.number]})")
        _names[id(piece)] = tuple(made)
        _pieces[id(piece)] = piece
    return _names[id(piece)]


@cache
def pitch_words(pitch: Pitch) -> str:
    """As a player writes it.

    >>> [pitch_words(Pitch.parse(name)) for name in ("C4", "F#5", "Bb3", "G2")]
    ["c'", "f#''", 'bb', 'G']
    """
    name = name_of(pitch.step, pitch.alter)
    if pitch.octave >= 3:
        return name[0].lower() + name[1:] + "'" * (pitch.octave - 3)
    return name + "," * (2 - pitch.octave)


def read_pitch(words: str) -> Pitch:
    """Inverse of :func:`pitch_words`; also Bb4. Raises BadInput.

    >>> read_pitch("bb'"), read_pitch("F#5")
    (Pitch('Bb4'), Pitch('F#5'))
    """
    match = _HELMHOLTZ.fullmatch(words)
    if match is None:
        try:
            return Pitch.parse(words)
        except ValueError:
            raise BadInput(f"{words!r} is not a note", remedy="write it like g'' or bb'") from None
    letter, signs, marks = match.groups()
    octave = 3 + marks.count("'") if letter.islower() else 2 - marks.count(",")
    return Pitch(octave, "CDEFGAB".index(letter.upper()), signs.count("#") - signs.count("b"))


def grace_words(grace: Grace | None) -> str:
    """A grace in full, so that it can be read again.

    >>> grace_words(Grace("shake", lean=True, upper_alter=-1))
    'shake, leaning start, upper note flat'
    """
    if grace is None:
        return "nothing"
    parts = [grace.words]
    if grace.start and grace.id == "appoggiatura":
        parts.append(f"from the {grace.start} note")
    if grace.upper_alter is not None:
        parts.append(f"upper note {ALTERS[grace.upper_alter]}")
    if grace.lower_alter is not None:
        parts.append(f"lower note {ALTERS[grace.lower_alter]}")
    if grace.entry:
        parts.append(f"after {grace.entry}")
    if grace.notes:
        parts.append("notes " + " ".join(f"{pitch_words(pitch)}*{share}" for pitch, share in grace.notes))
    return ", ".join(parts)


def read_grace(words: str) -> Grace | None:
    """Inverse of :func:`grace_words`. Raises BadInput naming the words that are not understood.

    >>> read_grace("shake, turned ending") == Grace("shake", ending="turned"), read_grace("nothing")
    (True, None)
    """
    first, *parts = [part.strip() for part in _COMMA.split(words)]
    if first in ("nothing", "plain", ""):
        return None
    name = first.replace(" ", "-")
    if name not in vocabulary():
        raise BadInput(f"no grace is called {first!r}", remedy=f"choose one of {_spoken_vocabulary()}")
    grace = {"id": name}
    fields: dict[str, object] = {}
    for part in parts:
        fields.update(_field(part))
    return Grace(**grace, **fields)  # type: ignore[arg-type]


def _spoken_vocabulary() -> str:
    return ", ".join(name.replace("-", " ") for name in vocabulary())


def _field(part: str) -> dict[str, object]:
    if part == "leaning start":
        return {"lean": True}
    if part == "quickening":
        return {"accelerate": True}
    for table, field in ((ENDINGS, "ending"), (DIRECTIONS, "direction"), (STARTS, "start"), (SIZES, "size")):
        if part in table:
            return {field: table[part]}
    for which in ("upper", "lower"):
        if part.startswith(f"{which} note "):
            spoken = part.removeprefix(f"{which} note ")
            found = next((alter for alter, name in ALTERS.items() if name == spoken), None)
            if found is not None:
                return {f"{which}_alter": found}
    if part.startswith("after "):
        return {"entry": part.removeprefix("after ")}
    if part.startswith("notes "):
        return {"notes": tuple(_share(item) for item in part.removeprefix("notes ").split())}
    remedy = f"the forms are: leaning start, quickening, {', '.join([*ENDINGS, *DIRECTIONS, *STARTS, *SIZES])}"
    raise BadInput(f"{part!r} is no form of a grace", remedy=remedy)


def _share(item: str) -> tuple[Pitch, Fraction]:
    name, _, share = item.partition("*")
    try:
        return read_pitch(name), Fraction(share)
    except (ValueError, ZeroDivisionError):
        raise BadInput(f"{item!r} is not a note with its share", remedy="write it like g''*1/4") from None


def time_words(time_through: int) -> str:
    """
    >>> [time_words(n) for n in (1, 2, 3, 4, 11, 22)]
    ['1st time', '2nd time', '3rd time', '4th time', '11th time', '22nd time']
    """
    ending = "th" if time_through % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(time_through % 10, "th")
    return f"{time_through}{ending} time"


def read_time(words: str) -> int:
    """1 for ``1st time``; 0 for every time."""
    match = re.fullmatch(r"(\d+)(st|nd|rd|th) time", words)
    return int(match[1]) if match else 0
