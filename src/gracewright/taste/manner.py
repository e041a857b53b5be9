"""Manners: ways of playing, each a TOML table of weights that a player can read and copy.

Conventions: a *kind* is what the planner may choose (``kinds.toml``), a *rule* says where a kind wants to stand or not
(``rules.toml``), a *weight* says how much a manner heeds a rule; 1 is a good reason, 3 all but an order. A manner may
be built on another by ``like = "NAME"`` and then gives only what differs. ``learned = "NAME"`` lays the weights of
``manners/learned/NAME.toml``, fitted to scores that carry graces, over those set by hand.

Public: Manner, Kind, Rule, Weight, load_manner, manners, kinds, rules, build, ANY.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from gracewright.errors import BadInput, TableError
from gracewright.taste.features import FEATURES

COMMON: Final = "common practice"
ANY: Final = "any"
"""Heading of the learned weights that hold for every learned kind."""
FAMILIES: Final = ("bare", "shake", "leaning", "small", "division")
"""What stands in for what in the spacing rules; 0 is no grace."""
INEQUALITY: Final = {"none": None, "gentle": Fraction(3, 2), "standard": Fraction(2), "strong": Fraction(3)}
"""Ratio of long to short; facts of the French rule as told in docs/manners.md."""
_HERE = files("gracewright.taste")


@dataclass(frozen=True, slots=True)
class Kind:
    """A grace the planner may choose, as ``kinds.toml`` explains."""

    id: str
    grace: str
    family: str
    notes: int
    first: int
    last: int
    seconds: float
    bold: float
    effect: str
    direction: str = ""
    size: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """Where a kind wants to stand, or not. ``when`` are features that must hold, ``unless`` those that must not."""

    id: str
    kind: str
    when: tuple[str, ...]
    unless: tuple[str, ...]
    says: str
    sources: tuple[str, ...] = ()
    known: str = "memory"


@dataclass(frozen=True, slots=True)
class Weight:
    """How much a manner heeds a rule, and on whose word."""

    rule: Rule
    weight: float
    source: str
    by_hand: float = 0.0  # before scores had their say


@dataclass(frozen=True)
class Manner:
    """A way of playing.

    ``source`` is the id of the source whose sign table speaks; ``density`` graces a bar at richness 5; ``growth`` the
    shares of the richness for each time through and what legs, written repeats and the climax add; ``shake`` how
    shakes are begun and ended; ``spacing`` what it costs to stand close; ``bias`` what each kind brings before any rule
    speaks; ``learned`` for each kind the weight of single features, ``any`` for all kinds that are named there, as
    fitted to the scores that ``learned_from`` tells of; ``by_hand`` the bias before that; ``which`` tells whether the
    scores or the hand-set weights (``hand``) choose between kinds, where a grace is wanted.

    >>> load_manner("french").source, load_manner("italian").kinds[-1]
    ('danglebert1689', 'division')
    """

    id: str
    title: str
    about: str
    region: str
    years: str
    source: str
    inequality: str
    set_by: str
    density: Mapping[str, float]
    growth: Mapping[str, float]
    shake: Mapping[str, Any]
    spacing: Mapping[str, float]
    bias: Mapping[str, tuple[float, str]]
    weights: tuple[Weight, ...]
    notes: tuple[str, ...] = ()
    where: str = field(default="", compare=False)
    learned: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    learned_from: str = ""
    by_hand: Mapping[str, float] = field(default_factory=dict)
    which: str = "learned"

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds this manner uses."""
        return tuple(self.bias)

    @property
    def ratio(self) -> Fraction | None:
        """Ratio of long to short of unequal notes, None where notes stay equal."""
        return INEQUALITY[self.inequality]


@cache
def kinds() -> Mapping[str, Kind]:
    """Everything the planner may choose from, by id."""
    table = tomllib.loads((_HERE / "kinds.toml").read_text(encoding="utf-8"))
    return {entry["id"]: Kind(**entry) for entry in table["kind"]}


@cache
def rules() -> Mapping[str, Rule]:
    """Every placement rule we ship, by id."""
    table = tomllib.loads((_HERE / "rules.toml").read_text(encoding="utf-8"))
    return {entry["id"]: _rule("rules.toml", entry) for entry in table["rule"]}


def _rule(where: str, entry: Mapping[str, Any]) -> Rule:
    name = str(entry.get("id", "a rule"))
    if entry.get("grace") not in kinds():
        raise TableError(where, name, f"grace to be one of {', '.join(kinds())}", entry.get("grace"))
    when = [str(feature) for feature in entry.get("when", ())]
    for feature in when:
        if feature.removeprefix("not ") not in FEATURES:
            raise TableError(where, name, "a feature known to the planner (docs/manners.md)", feature)
    wanted = tuple(feature for feature in when if not feature.startswith("not "))
    unwanted = tuple(feature.removeprefix("not ") for feature in when if feature.startswith("not "))
    says = str(entry.get("says", "")) or _spoken(wanted, unwanted)
    return Rule(name, entry["grace"], wanted, unwanted, says, tuple(entry.get("sources", ())),
                str(entry.get("known", "memory")))  # fmt: skip


def _spoken(wanted: tuple[str, ...], unwanted: tuple[str, ...]) -> str:
    parts = [FEATURES[feature] for feature in wanted] + [f"it is not so that {FEATURES[name]}" for name in unwanted]
    return " and ".join(parts) or "any note may have it"


@cache
def manners() -> tuple[str, ...]:
    """Names of the manners we ship.

    >>> {"english", "french", "german", "italian"} <= set(manners())
    True
    """
    folder = _HERE / "manners"
    return tuple(sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml")))


@cache
def load_manner(name: str, *, learned: bool = True) -> Manner:
    """A manner by name, or from a TOML file of the player's own (a path that ends in ``.toml``).

    Without ``learned`` only what is set by hand. Raises BadInput for a name nobody knows or a file that cannot be read,
    TableError for a table with a fault.
    """
    table, where = _table(name)
    if isinstance(table.get("learned"), str):
        table = _with_learned(table, where) if learned else {**table, "learned": {}}
    return build(table, where)


def _table(name: str, depth: int = 0) -> tuple[dict[str, Any], str]:
    """The parsed table, laid over the one it is like; ``stated`` is what was set by hand where ``learned`` was said."""
    if name in manners():
        text = (_HERE / "manners" / f"{name}.toml").read_text(encoding="utf-8")
    elif name.endswith(".toml"):
        try:
            text = Path(name).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as fault:
            raise BadInput("this manner cannot be read", file=name, remedy="see docs/manners.md") from fault
    else:
        remedy = f"choose one of {', '.join(manners())}, or give a TOML file of your own"
        raise BadInput(f"no manner is called {name!r}", remedy=remedy)
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise BadInput(f"this manner is not valid TOML ({fault})", file=name) from fault
    own = "learned" in table
    like = table.pop("like", "")
    if like:
        if depth > 4:
            raise TableError(name, "like", "manners that are not each other's model", like)
        base, _ = _table(str(like), depth + 1)
        table = _over(base, table)
    if own:
        table["stated"] = {"kinds": dict(table.get("kinds", {})), "weights": list(table.get("weights", ()))}
    return table, name


def _with_learned(table: dict[str, Any], where: str) -> dict[str, Any]:
    """The table with the weights of ``manners/learned/`` over its own. What its scores do not carry stays as it is;
    ``lift`` is added to what they do."""
    name = str(table["learned"])
    file = _HERE / "manners" / "learned" / f"{name}.toml"
    if not file.is_file():
        raise TableError(where, "learned", "the name of a table of learned weights, or tables of weights", name)
    found = tomllib.loads(file.read_text(encoding="utf-8"))
    made = {**table, "learned": found["learned"], "learned_from": found["learned_from"]}
    for part in ("density", "spacing"):
        made[part] = {**table.get(part, {}), **found.get(part, {})}
    lift, unseen = table.get("lift", {}), found.get("unseen", {})
    if not isinstance(lift, Mapping):
        raise TableError(where, "lift", "a table of kinds and numbers, `others` for the rest", lift)
    every = _number(where, "lift.others", lift.get("others", 0.0))
    fitted = {kind: w + _number(where, f"lift.{kind}", lift.get(kind, every)) for kind, w in found["kinds"].items()}
    stated = {kind: entry["weight"] for kind, entry in table["stated"]["kinds"].items()}
    made["kinds"] = {}
    for kind, entry in table.get("kinds", {}).items():
        own = _number(where, f"kinds.{kind}", entry.get("weight"))
        weight = own - unseen.get(kind, unseen.get("others", 0.0))
        if kind in fitted:  # who changes a weight set by hand changes the learned one by as much
            weight = fitted[kind] + own - stated.get(kind, own)
        made["kinds"][kind] = {**entry, "weight": weight, "by_hand": own}
    before = {entry["rule"]: entry["weight"] for entry in table["stated"]["weights"]}
    made["weights"] = []
    for entry in table.get("weights", ()):
        rule, own = entry.get("rule"), _number(where, "weights", entry.get("weight"))
        weight = found["rules"].get(rule, own) if own == before.get(rule, own) else own
        made["weights"].append({**entry, "weight": weight, "by_hand": own})
    return made


def _over(base: dict[str, Any], table: dict[str, Any]) -> dict[str, Any]:
    """``table`` laid over ``base``: sections key by key, weights rule by rule."""
    made = {**base, **table}
    for name in ("density", "growth", "shake", "spacing", "kinds"):
        made[name] = {**base.get(name, {}), **table.get(name, {})}
    kept = {entry["rule"]: entry for entry in base.get("weights", ())}
    kept.update({entry["rule"]: entry for entry in table.get("weights", ())})
    made["weights"] = list(kept.values())
    made["rule"] = [*base.get("rule", ()), *table.get("rule", ())]
    return made


def build(table: Mapping[str, Any], where: str) -> Manner:
    """A manner from a parsed table. Raises TableError.

    >>> build({"id": "mine"}, "mine.toml")
    Traceback (most recent call last):
    ...
    gracewright.errors.TableError: mine.toml, title: expected words, found None.
    """
    for key in ("id", "title", "about", "region", "years", "source"):
        if not isinstance(table.get(key), str):
            raise TableError(where, key, "words", table.get(key))
    inequality = table.get("inequality", "none")
    if inequality not in INEQUALITY:
        raise TableError(where, "inequality", f"one of {', '.join(INEQUALITY)}", inequality)
    known = {**rules(), **{entry["id"]: _rule(where, entry) for entry in table.get("rule", ())}}
    bias, by_hand_too = {}, {}
    for name, entry in table.get("kinds", {}).items():
        if name not in kinds():
            raise TableError(where, f"kinds.{name}", f"one of {', '.join(kinds())}", name)
        bias[name] = (_number(where, f"kinds.{name}", entry.get("weight")), str(entry.get("source", COMMON)))
        by_hand_too[name] = float(entry.get("by_hand", bias[name][0]))
    if "shake" not in bias:
        raise TableError(where, "kinds", "at least the shake, which cadences ask for", list(bias))
    weights = []
    for entry in table.get("weights", ()):
        rule = known.get(entry.get("rule"))
        if rule is None:
            raise TableError(where, "weights", "a rule of taste/rules.toml or of this table", entry.get("rule"))
        if rule.kind in bias:
            weight = _number(where, rule.id, entry.get("weight"))
            by_hand = _number(where, rule.id, entry.get("by_hand", weight))
            weights.append(Weight(rule, weight, str(entry.get("source", COMMON)), by_hand))
    numbers = {name: _numbers(where, table, name, needed) for name, needed in _NEEDED.items()}
    return Manner(
        table["id"], table["title"], table["about"], table["region"], table["years"], table["source"], inequality,
        str(table.get("set_by", "hand")), numbers["density"], numbers["growth"], _shake(where, table),
        numbers["spacing"], bias, tuple(weights), tuple(str(note) for note in table.get("notes", ())), where,
        _learned(where, table), str(table.get("learned_from", "")), by_hand_too, str(table.get("which", "learned")),
    )  # fmt: skip


def _learned(where: str, table: Mapping[str, Any]) -> dict[str, dict[str, float]]:
    """Weights of single features, as ``gracewright learn`` writes them: ``[learned.shake]`` with one line a feature."""
    found: dict[str, dict[str, float]] = {}
    for kind, entries in table.get("learned", {}).items():
        if kind not in kinds() and kind != ANY:
            raise TableError(where, f"learned.{kind}", f"any, or one of {', '.join(kinds())}", kind)
        for feature, value in entries.items():
            if feature not in FEATURES:
                raise TableError(where, f"learned.{kind}", "features we know (docs/manners.md)", feature)
            found.setdefault(kind, {})[feature] = _number(where, f"learned.{kind}.{feature}", value)
        found.setdefault(kind, {})
    return found


_NEEDED: Final = {
    "density": ("slow", "lively"),
    "growth": ("once", "first", "again", "further", "written_again", "leg", "climax", "theme", "arc"),
    "spacing": ("next_same", "next_other", "second_same", "second_other"),
}


def _number(where: str, entry: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not -50 <= value <= 50:
        raise TableError(where, entry, "a number between -50 and 50", value)
    return float(value)


def _numbers(where: str, table: Mapping[str, Any], name: str, needed: tuple[str, ...]) -> dict[str, float]:
    part = table.get(name, {})
    return {key: _number(where, f"{name}.{key}", part.get(key)) for key in needed}


def _shake(where: str, table: Mapping[str, Any]) -> dict[str, Any]:
    part = {"lean_seconds": 0.7, "turned": "rising", "anticipation": "never", **table.get("shake", {})}
    _number(where, "shake.lean_seconds", part["lean_seconds"])
    if part["turned"] not in ("rising", "always", "never"):
        raise TableError(where, "shake.turned", "rising, always or never", part["turned"])
    if part["anticipation"] not in ("falling-cadence", "never"):
        raise TableError(where, "shake.anticipation", "falling-cadence or never", part["anticipation"])
    return part
