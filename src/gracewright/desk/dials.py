"""The dials: what can be turned, within which bounds, and how a turn from the page becomes new ``Wishes``.

Conventions: the page sends JSON; everything is checked here, once, and refused with one sentence.

Public: CHOICES, turned, choices_for_page, wishes_json, wishes_from_json.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any, Final

from gracewright.desk.words import author
from gracewright.errors import BadInput
from gracewright.graces import sources
from gracewright.instruments import LEVELS, instruments, load_instrument
from gracewright.job import Wishes
from gracewright.sound import temperaments
from gracewright.taste import load_manner, manners

PITCHES: Final = (
    (392, "392, French chamber"), (415, "415, low pitch"), (440, "440, today's"), (465, "465, choir pitch"),
)  # fmt: skip
BOUNDS: Final = {"richness": (0.0, 10.0), "a": (350.0, 500.0), "tempo": (10.0, 400.0)}
MOST_POINTS: Final = 200
CHOICES: Final[Mapping[str, Callable[[], tuple[str, ...]]]] = {
    "manner": manners,
    "instrument": instruments,
    "level": lambda: tuple(LEVELS),
    "signs": lambda: ("read", "ignore"),
    "signs_by": lambda: ("", *sources()),
    "temperament": temperaments,
    "transpose": lambda: ("", "fit"),
}
"""Dials with a list of settings."""


def turned(wishes: Wishes, changes: Mapping[str, Any]) -> Wishes:
    """The wishes after some dials were turned. Raises BadInput where a dial or its setting is unknown.

    >>> turned(Wishes(), {"richness": 7, "curve": [["0", 1.5]]}).curve
    ((Fraction(0, 1), 1.5),)
    """
    for name, value in changes.items():
        if name in CHOICES:
            wishes = set_to(wishes, name, listed(name, value))
        elif name == "tempo":
            exact = None if value is None else Fraction(number(name, value)).limit_denominator(100)
            wishes = replace(wishes, tempo=exact)
        elif name in BOUNDS:
            wishes = set_to(wishes, name, number(name, value))
        elif name == "curve":
            wishes = replace(wishes, curve=curve(value))
        elif name == "continuo" and isinstance(value, bool):
            wishes = replace(wishes, continuo=value)
        else:
            raise BadInput(f"there is no dial {name!r}")
    return wishes


def set_to(wishes: Wishes, name: str, value: Any) -> Wishes:
    """One dial set; the value has been checked."""
    return replace(wishes, **{name: value})


def listed(name: str, value: object) -> str:
    settings = CHOICES[name]()
    if not isinstance(value, str) or value not in settings:
        known = ", ".join(setting for setting in settings if setting)
        raise BadInput(f"the dial {name} has no setting {value!r}", remedy=f"choose one of {known}")
    return value


def number(name: str, value: object) -> float:
    low, high = BOUNDS[name]
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise BadInput(f"the dial {name} goes from {low:g} to {high:g}, not to {value!r}")
    return float(value)


def curve(value: object) -> tuple[tuple[Fraction, float], ...]:
    """Points of the richness curve from ``[["onset", factor], …]``; onsets are exact, factors in [0, 2]."""
    if not isinstance(value, list) or len(value) > MOST_POINTS:
        raise BadInput(f"the curve is a list of at most {MOST_POINTS} points")
    points: dict[Fraction, float] = {}
    for point in value:
        try:
            onset, factor = Fraction(str(point[0])), float(point[1])
        except (TypeError, ValueError, IndexError, KeyError, ZeroDivisionError):
            raise BadInput("a point of the curve is a time and a factor") from None
        if not 0 <= factor <= 2 or onset < 0:
            raise BadInput("a factor of the curve lies between 0 and 2")
        points[onset] = factor
    return tuple(sorted(points.items()))


def choices_for_page() -> dict[str, list[dict[str, str]]]:
    """Every list of settings with the words the page shows."""
    by_author = [{"id": name, "words": author(name)} for name in sources()]
    return {
        "manner": [{"id": name, "words": load_manner(name).title} for name in manners()],
        "instrument": [{"id": name, "words": load_instrument(name).name} for name in instruments()],
        "level": [{"id": name, "words": name} for name in LEVELS],
        "signs_by": [{"id": "", "words": "the manner's own"}, *by_author],
        "temperament": [{"id": name, "words": name.replace("-", " ")} for name in temperaments()],
        "transpose": [{"id": "", "words": "where it stands"}, {"id": "fit", "words": "moved to lie well"}],
        "a": [{"id": str(hertz), "words": words} for hertz, words in PITCHES],
    }


def wishes_json(wishes: Wishes) -> dict[str, Any]:
    """Wishes as JSON; times and tempo as exact strings."""
    return {
        "manner": wishes.manner, "instrument": wishes.instrument, "level": wishes.level, "richness": wishes.richness,
        "curve": [[str(onset), factor] for onset, factor in wishes.curve], "signs": wishes.signs,
        "signs_by": wishes.signs_by, "solo": wishes.solo, "bass": wishes.bass,
        "tempo": None if wishes.tempo is None else str(wishes.tempo), "a": wishes.a,
        "temperament": wishes.temperament, "continuo": wishes.continuo, "transpose": wishes.transpose,
        "paper": wishes.paper,
    }  # fmt: skip


def wishes_from_json(data: Mapping[str, Any]) -> Wishes:
    """Inverse of :func:`wishes_json`; dials whose setting is no longer known fall back to their default.

    >>> wishes = Wishes(richness=3.0, tempo=Fraction(151, 2))
    >>> wishes_from_json(wishes_json(wishes)) == wishes
    True
    """
    tempo = data.get("tempo")
    wishes = Wishes(
        solo=str(data.get("solo", "")), bass=str(data.get("bass", "")), paper=str(data.get("paper", "a4")),
        transpose=str(data.get("transpose", "")), tempo=None if tempo is None else Fraction(tempo),
    )
    for name in (*CHOICES, "richness", "curve", "a", "continuo"):
        if name in data:
            try:
                wishes = turned(wishes, {name: data[name]})
            except BadInput:
                continue
    return wishes
