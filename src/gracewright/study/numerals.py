"""Roman numerals and chord members: a chord named as its key hears it.

Conventions: members and roots are on the line of fifths; numerals are upper case for major, lower case for minor,
with ``o``, ``%`` (half-diminished) and ``+``, figures of the inversion after them, and ``/`` before the degree a
dominant is applied to. In minor the leading-note chords are written ``#viio``.

Public: MEMBERS, member_fifths, numeral, figures_of, inversion_figures, place_of.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from gracewright.pitch import Key, fifths_of
from gracewright.study.model import Quality

MEMBERS: Final[dict[Quality, tuple[int, ...]]] = {
    "major": (0, 4, 1),
    "minor": (0, -3, 1),
    "diminished": (0, -3, -6),
    "augmented": (0, 4, 8),
    "dominant seventh": (0, 4, 1, -2),
    "minor seventh": (0, -3, 1, -2),
    "major seventh": (0, 4, 1, 5),
    "minor-major seventh": (0, -3, 1, 5),
    "half-diminished seventh": (0, -3, -6, -2),
    "diminished seventh": (0, -3, -6, -9),
    "augmented sixth": (0, -10, -6, -9),
}
"""Fifths from the root to root, third, fifth, seventh. The augmented sixth is named from its raised note (F# A C Eb
has its root at F#, third Ab), as Roman analysis does."""

TRIADS: Final = frozenset({"major", "minor", "diminished", "augmented"})
_DEGREES: Final = {
    "major": {0: "I", 2: "II", 4: "III", -1: "IV", 1: "V", 3: "VI", 5: "VII", -5: "bII", -3: "bIII", -4: "bVI",
              -2: "bVII", 6: "#IV", 7: "#I", 8: "#V", 9: "#II", 10: "#VI"},
    "minor": {0: "I", 2: "II", -3: "III", -1: "IV", 1: "V", -4: "VI", -2: "VII", 5: "#VII", 3: "#VI", -5: "bII",
              4: "#III", 6: "#IV", -6: "bV", 7: "#I"},
}  # fmt: skip
_AT_HOME: Final = {
    "major": {0: "Mj", 2: "mzo%", 4: "mz", -1: "Mjm", 1: "MDm", 3: "mz", 5: "o%d"},
    "minor": {0: "mwM", 2: "o%mz", -3: "Mj+", -1: "mzMD", 1: "MDmz", -4: "Mj", -2: "MD", 5: "od%", 3: "o%", -5: "Mj"},
}  # fmt: skip
_LETTER: Final[dict[Quality, str]] = {
    "major": "M", "minor": "m", "diminished": "o", "augmented": "+", "dominant seventh": "D", "minor seventh": "z",
    "major seventh": "j", "minor-major seventh": "w", "half-diminished seventh": "%", "diminished seventh": "d",
    "augmented sixth": "A",
}  # fmt: skip


place_of: Final = cache(fifths_of)
"""Place of a note name on the line of fifths, remembered."""


@cache
def member_fifths(root: int, quality: Quality) -> tuple[int, ...]:
    """Root, third, fifth (and seventh) on the line of fifths.

    >>> member_fifths(1, "dominant seventh")
    (1, 5, 2, -1)
    """
    return tuple(root + member for member in MEMBERS[quality])


def inversion_figures(quality: Quality, inversion: int) -> str:
    """Figures of an inversion: "", "6", "64" for triads, "7", "65", "43", "42" for sevenths."""
    return ("", "6", "64", "")[inversion] if quality in TRIADS else ("7", "65", "43", "42")[inversion]


@cache
def numeral(root: int, quality: Quality, inversion: int, key: Key) -> str:
    """The chord in its key.

    >>> g = Key.parse("G minor")
    >>> numeral(2, "dominant seventh", 0, g), numeral(3, "dominant seventh", 1, g), numeral(6, "diminished", 1, g)
    ('V7', 'V65/V', '#viio6')
    """
    degree = root - key.tonic_fifths
    figures = inversion_figures(quality, inversion)
    if quality == "augmented sixth":
        return "Ger65" if inversion == 1 else "Ger" + figures
    letter = _LETTER[quality]
    if letter not in _AT_HOME[key.mode].get(degree, ""):
        applied = _applied(degree, quality, figures, key)
        if applied:
            return applied
    return _cased(_DEGREES[key.mode].get(degree, "?"), quality) + figures


def _applied(degree: int, quality: Quality, figures: str, key: Key) -> str:
    if quality in ("major", "dominant seventh"):
        target, name = degree - 1, "V"
    elif quality in ("diminished", "half-diminished seventh", "diminished seventh"):
        target, name = degree - 5, _cased("VII", quality)
    else:
        return ""
    home = _AT_HOME[key.mode].get(target, "")
    if target == 0 or not home or home[0] in "o%":
        return ""
    below = _DEGREES[key.mode][target]
    return f"{name}{figures}/{below.lower() if home[0] == 'm' else below}"


def _cased(degree: str, quality: Quality) -> str:
    signs = degree.rstrip("IV")
    body = degree[len(signs) :]
    if quality in ("minor", "minor seventh", "minor-major seventh"):
        return signs + body.lower()
    if quality in ("diminished", "diminished seventh"):
        return signs + body.lower() + "o"
    if quality == "half-diminished seventh":
        return signs + body.lower() + "%"
    if quality == "augmented":
        return signs + body + "+"
    if quality == "major seventh":
        return signs + body + "M"
    return signs + body


@cache
def figures_of(bass: int, members: tuple[int, ...], signature: int) -> tuple[str, ...]:
    """Figured bass that a continuo player would expect over a bass note, altered against the printed signature.

    Common practice, no source. Under two flats:

    >>> figures_of(6, (2, 6, 3, 0), -2), figures_of(2, (2, 6, 3), -2)
    (('6', '5'), ('#',))
    """
    letters = {(fifths * 4) % 7: fifths for fifths in members}
    own = (bass * 4) % 7
    above = {((letter - own) % 7) + 1: fifths for letter, fifths in letters.items()}
    above.pop(1, None)
    numbers = set(above)
    shown = {
        frozenset({3, 5}): (), frozenset({3, 6}): (6,), frozenset({4, 6}): (6, 4), frozenset({3, 5, 7}): (7,),
        frozenset({3, 5, 6}): (6, 5), frozenset({3, 4, 6}): (4, 3), frozenset({2, 4, 6}): (4, 2),
    }.get(frozenset(numbers), tuple(sorted(numbers, reverse=True)))  # fmt: skip
    low, high = signature - 1, signature + 5
    altered = {n: "#" if f > high else "b" if f < low else "" for n, f in above.items()}
    result = []
    for number in sorted({*shown, *(n for n in numbers if altered[n])}, reverse=True):
        sign = altered.get(number, "")
        result.append(sign if number == 3 and sign and 3 not in shown else f"{sign}{number}")
    return tuple(result)
