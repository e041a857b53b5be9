"""Beats in the words of a player, the same in every plan, summary, sheet and remark.

Conventions: a beat counts from 1 at the bar's beginning; ``3½`` is half a beat after the third.

Public: beat_words, read_beat.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

from gracewright.errors import BadInput

PARTS: Final = {
    Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾", Fraction(1, 3): "⅓", Fraction(2, 3): "⅔",
    Fraction(1, 8): "⅛", Fraction(3, 8): "⅜", Fraction(5, 8): "⅝", Fraction(7, 8): "⅞", Fraction(1, 6): "⅙",
    Fraction(5, 6): "⅚",
}  # fmt: skip
_SPOKEN: Final = {shown: part for part, shown in PARTS.items()}
_BEAT: Final = re.compile(rf"(\d+)?(?:([{''.join(_SPOKEN)}])|\+(\d+/\d+))?")


def beat_words(beat: Fraction) -> str:
    """A beat as a player says it.

    >>> [beat_words(Fraction(beat)) for beat in ("5/2", "3", "7/3", "17/16")]
    ['2½', '3', '2⅓', '1+1/16']
    """
    whole, part = divmod(beat, 1)
    return f"{whole}{PARTS[part]}" if part in PARTS else f"{whole}+{part}" if part else str(whole)


def read_beat(words: str) -> Fraction:
    """Inverse of :func:`beat_words`; reads ``5/2`` and ``2.5`` too. Raises BadInput.

    >>> read_beat("2½") == read_beat("5/2") == read_beat("2.5") == Fraction(5, 2)
    True
    """
    match = _BEAT.fullmatch(words)
    try:
        if match is not None and words:
            return Fraction(match[1] or 0) + _SPOKEN.get(match[2], Fraction(0)) + Fraction(match[3] or 0)
        return Fraction(words)
    except (ValueError, ZeroDivisionError):
        raise BadInput(f"{words!r} is not a beat", remedy="write it like 3 or 3½ (or 7/2)") from None
