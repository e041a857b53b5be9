"""Integer ticks for hot loops, and the way back to exact quarters.

Public: Times, ticks_of.
"""

from __future__ import annotations

from fractions import Fraction


class Times(dict[int, Fraction]):
    """Ticks → quarters, each worked out once.

    >>> times = Times(4)
    >>> times[6], times[6] is times[6]
    (Fraction(3, 2), True)
    """

    def __init__(self, divisions: int) -> None:
        super().__init__()
        self.divisions = divisions

    def __missing__(self, ticks: int) -> Fraction:
        found = self[ticks] = Fraction(ticks, self.divisions)
        return found


def ticks_of(time: Fraction, divisions: int) -> int:
    """Quarters in ticks; ``divisions`` must be a multiple of the denominator.

    >>> ticks_of(Fraction(3, 2), 4)
    6
    """
    return time.numerator * (divisions // time.denominator)
