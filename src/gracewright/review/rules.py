"""The table of rules, read from ``rules.toml`` and checked as it is read.

Public: Rule, rules.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Literal

from gracewright.errors import TableError


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: words for what is wrong and what to do, where it comes from, whose teaching is excepted."""

    id: str
    kind: Literal["fault", "remark"]
    what: str
    remedy: str
    source: str
    where: str
    known: str
    unless: tuple[str, ...]


@cache
def rules() -> Mapping[str, Rule]:
    """All rules by id.

    >>> rules()["fifths"].kind, rules()["fifths"].source
    ('fault', 'simpson1659')
    """
    text = (files("gracewright.review") / "rules.toml").read_text(encoding="utf-8")
    found: dict[str, Rule] = {}
    names = {field.name for field in fields(Rule)}
    for entry in tomllib.loads(text)["rule"]:
        if set(entry) != names:
            raise TableError("rules.toml", str(entry.get("id")), f"the fields {sorted(names)}", sorted(entry))
        if entry["kind"] not in ("fault", "remark"):
            raise TableError("rules.toml", entry["id"], "kind fault or remark", entry["kind"])
        found[entry["id"]] = Rule(**{**entry, "unless": tuple(entry["unless"])})
    return found
