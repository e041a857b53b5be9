"""``Review``: faults and remarks about a version, ours or a student's.

Public: Review, Finding.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal


@dataclass(frozen=True, slots=True)
class Finding:
    """One fault or remark: where, which rule, by which source, what to do."""

    kind: Literal["fault", "remark"]
    rule: str
    bar: str
    time_through: int
    onset: Fraction  # quarters as written
    note: str
    what: str
    source: str
    remedy: str


@dataclass(frozen=True)
class Review:
    """All findings, faults and remarks, in the order as played."""

    findings: tuple[Finding, ...]

    @property
    def faults(self) -> tuple[Finding, ...]:
        return tuple(finding for finding in self.findings if finding.kind == "fault")
