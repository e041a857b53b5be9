"""Measures of a study against a truth table, as the open data's own ``metrics.py`` defines them.

Share of quarters on which two readings agree; events matched one to one within one quarter. Spelling counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from gracewright.study import Study
from study_data import KINDS

Span = tuple[float, float, str]
CADENCES = {"authentic-perfect": "PAC", "authentic-imperfect": "IAC", "half": "HC", "phrygian": "HC",
            "deceptive": "DC", "evaded": "EC"}  # fmt: skip


@dataclass
class Tally:
    """Sums over pieces: agreed and labelled quarters, and matched, true and found events."""

    spans: dict[str, list[float]] = field(default_factory=dict)
    events: dict[str, list[int]] = field(default_factory=dict)

    def share(self, name: str) -> float:
        hit, total = self.spans.get(name, [0.0, 0.0])
        return hit / total if total else float("nan")

    def f1(self, name: str) -> float:
        match, true, found = self.events.get(name, [0, 0, 0])
        return 2 * match / (true + found) if true + found else float("nan")

    def add_spans(self, name: str, truth: Sequence[Span], found: Sequence[Span]) -> None:
        hit, total = agreement(truth, found)
        sums = self.spans.setdefault(name, [0.0, 0.0])
        sums[0] += hit
        sums[1] += total

    def add_events(self, name: str, truth: Sequence[float], found: Sequence[float]) -> None:
        sums = self.events.setdefault(name, [0, 0, 0])
        for at, value in enumerate((matched(truth, found), len(truth), len(found))):
            sums[at] += value


def agreement(truth: Sequence[Span], found: Sequence[Span]) -> tuple[float, float]:
    hit = total = 0.0
    first = 0
    for begin, end, value in truth:
        if not value:
            continue
        total += end - begin
        while first < len(found) and found[first][1] <= begin:
            first += 1
        at = first
        while at < len(found) and found[at][0] < end:
            if found[at][2] == value:
                hit += max(0.0, min(end, found[at][1]) - max(begin, found[at][0]))
            at += 1
    return hit, total


def matched(truth: Sequence[float], found: Sequence[float], near: float = 1.0) -> int:
    pairs = sorted(
        (abs(a - b), i, j) for i, a in enumerate(truth) for j, b in enumerate(found) if abs(a - b) <= near + 1e-9
    )
    taken_true: set[int] = set()
    taken_found: set[int] = set()
    for _, i, j in pairs:
        if i not in taken_true and j not in taken_found:
            taken_true.add(i)
            taken_found.add(j)
    return len(taken_true)


def true_spans(rows: Iterable[dict[str, str]], name: str) -> list[Span]:
    spans = []
    for row in rows:
        if row["dur_q"]:
            value = row["root"] + "|" + KINDS.get(row["quality"], "") + "|" + (row["inversion"] or "0")
            begin = float(row["q"])
            spans.append((begin, begin + float(row["dur_q"]), value if name == "chord" else row[name]))
    return spans


def measure(tally: Tally, rows: list[dict[str, str]], study: Study) -> None:
    """Add one piece."""
    chords = study.harmony

    def spans(value: str) -> list[Span]:
        return [
            (float(h.onset), float(h.end), h.root if value == "root" else f"{h.root}|{h.quality}|{h.inversion}")
            for h in chords
        ]

    tally.add_spans("root", true_spans(rows, "root"), spans("root"))
    tally.add_spans("chord", true_spans(rows, "chord"), spans("chord"))
    keys = [(float(k.onset), float(k.onset + k.length), str(k.key)) for k in study.keys]
    tally.add_spans("key", true_spans(rows, "local_key"), keys)
    if any(row["cadence"] for row in rows):
        found = [(float(c.onset), CADENCES[c.kind]) for c in study.cadences]
        for name, kinds in (("perfect", {"PAC"}), ("authentic", {"PAC", "IAC"}), ("half", {"HC"})):
            true = [float(row["q"]) for row in rows if row["cadence"] in kinds]
            tally.add_events(name, true, [onset for onset, kind in found if kind in kinds])
    ends = sorted({float(row["q"]) for row in rows if "}" in row["phrase"] or "\\\\" in row["phrase"]})
    tally.add_events("phrase", ends, [float(phrase.goal) for phrase in study.phrases])
