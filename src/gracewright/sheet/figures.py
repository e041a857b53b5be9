"""Figures of a figured bass as SMuFL code points, so that all are drawn alike and struck figures are whole.

Public: figure_text.
"""

from __future__ import annotations

from typing import Final

from gracewright.score import FigureItem

DIGITS: Final = {0: 0xEA50, 1: 0xEA51, 2: 0xEA52, 3: 0xEA54, 4: 0xEA55, 5: 0xEA57, 6: 0xEA5B, 7: 0xEA5D, 8: 0xEA60,
                 9: 0xEA61}  # fmt: skip
RAISED: Final = {2: 0xEA53, 4: 0xEA56, 5: 0xEA58, 6: 0xEA5C, 7: 0xEA5E, 9: 0xEA62}
"""Figures with a stroke through them, which raise (5 and 7: common practice, some prints mean the diminished one)."""
SIGNS: Final = {"flat-flat": 0xEA63, "double-flat": 0xEA63, "flat": 0xEA64, "natural": 0xEA65, "sharp": 0xEA66,
                "double-sharp": 0xEA67, "sharp-sharp": 0xEA67, "plus": ord("+")}  # fmt: skip


def figure_text(item: FigureItem) -> str:
    """One figure as music-font text; "" for a bare continuation.

    >>> [hex(ord(letter)) for letter in figure_text(FigureItem(6, suffix="slash"))]
    ['0xea5c']
    >>> [hex(ord(letter)) for letter in figure_text(FigureItem(7, prefix="flat"))]
    ['0xea64', '0xea5d']
    """
    struck = item.suffix in ("slash", "backslash", "cross", "vertical") or item.prefix in ("slash", "backslash")
    out = chr(SIGNS[item.prefix]) if item.prefix in SIGNS else ""
    if item.number is not None:
        codes = RAISED if struck and item.number in RAISED else DIGITS
        out += "".join(chr(codes.get(digit, DIGITS[digit])) for digit in map(int, str(item.number)))
    return out + (chr(SIGNS[item.suffix]) if item.suffix in SIGNS else "")
