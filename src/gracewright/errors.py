"""What can go wrong, as one tree. This module imports nothing.

::

    GracewrightError
     ├─ BadInput        the user's file or words cannot be used: say what, where, and what to do (exit 2)
     │   ├─ UnsafeInput   refused without being read to the end (bombs, outside references, absurd sizes)
     │   └─ PlanMismatch  a plan that does not fit the score it is applied to
     ├─ EngravingFailed the engraving worker refused, crashed or ran out of time
     └─ TableError      one of our own or the user's TOML tables is wrong: file, entry, expected, got
"""


class GracewrightError(Exception):
    """The root of every error raised on purpose."""


class BadInput(GracewrightError):
    """Input that cannot be used, told in one sentence.

    >>> print(BadInput("two bars are numbered 8", file="a.musicxml", bar="8", part="Flute", remedy="renumber one"))
    a.musicxml, bar 8, part Flute: two bars are numbered 8; renumber one.
    """

    def __init__(
        self, what: str, *, file: str = "", bar: str = "", part: str = "", element: str = "", remedy: str = ""
    ) -> None:
        self.what, self.file, self.bar, self.part, self.element, self.remedy = what, file, bar, part, element, remedy
        places = [file, f"bar {bar}" if bar else "", f"part {part}" if part else "", f"<{element}>" if element else ""]
        where = ", ".join(place for place in places if place)
        sentence = f"{where}: {what}" if where else what
        sentence = f"{sentence}; {remedy}" if remedy else sentence
        super().__init__(sentence if sentence.endswith(".") else sentence + ".")


class UnsafeInput(BadInput):
    """Input refused before it is read to the end."""


class PlanMismatch(BadInput):
    """A plan that does not fit the score."""


class EngravingFailed(GracewrightError):
    """The engraving worker gave no page."""


class TableError(GracewrightError):
    """A knowledge table with a fault: which file, which entry, what was expected, what was found."""

    def __init__(self, table: str, entry: str, expected: str, found: object) -> None:
        self.table, self.entry, self.expected, self.found = table, entry, expected, found
        super().__init__(f"{table}, {entry}: expected {expected}, found {found!r}.")
