"""What the terminal says after the main job: keys, cadences, what was added where, and why."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from gracewright.job import Work
from gracewright.score import beat_words
from gracewright.taste import Bare, Choice

TIMES: Final = {1: "1st time", 2: "2nd time", 3: "3rd time"}
MOST: Final = 60
"""Lines of choices before the summary points to the plan file."""
MOST_BARE: Final = 6
STRONG: Final = 0.66
WEAK: Final = 0.4
"""Cadences between are middling, as ``gracewright study`` calls them."""


def summary(work: Work) -> str:
    """The whole summary, one string of lines."""
    piece, found = work.piece, work.study
    title = piece.title or piece.source
    lines = [
        f"{title}: {found.home}, {len(piece.bars)} bars; {piece.part(found.solo.partition('/')[0]).name or found.solo}"
        + (" over a bass" if found.bass else " alone"),
        f"{work.manner.title}; {work.instrument.name}, {work.wishes.level}; richness {work.plan.richness:g}; "
        f"quarter note = {float(work.tempo):g}",
        "",
        "Keys:     " + "; ".join(f"{_bars(work, key.onset, key.onset + key.length)} {key.key}" for key in found.keys),
        "Cadences: " + ("; ".join(_cadences(work)) or "none found"),
        "",
        *_choices(work),
    ]
    lines += _bare(work)
    if work.partner is not None:
        line = work.partner.study.solo
        lines += ["", f"{piece.part(line.partition('/')[0]).name or line}:", *_choices(work.partner)]
        lines += _bare(work.partner)
    lines += _findings(work)
    if work.remarks:
        lines += ["", *(f"Note: {remark}" for remark in work.remarks)]
    return "\n".join(lines)


def _bare(work: Work) -> list[str]:
    """Strong places without a grace, each place once."""
    places: dict[tuple[str, Fraction], Bare] = {}
    for there in work.plan.bare:
        places.setdefault((there.bar, there.beat), there)
    if not places:
        return []
    lines = [f"  bar {there.bar}, beat {beat_words(there.beat)}, {TIMES.get(there.time_through, 'later')}: {there.why}"
             for there in list(places.values())[:MOST_BARE]]  # fmt: skip
    more = len(places) - MOST_BARE
    return ["", "Left bare:", *lines, *([f"  ... and {more} more: see plan.txt"] if more > 0 else [])]


def _findings(work: Work) -> list[str]:
    """What the review found, faults first, each sentence once."""
    found = sorted(work.review.findings, key=lambda finding: finding.kind != "fault")
    said: dict[tuple[str, str, str], list[str]] = {}
    for finding in found:
        bars = said.setdefault((finding.kind, finding.what, finding.remedy), [])
        if finding.bar not in bars:
            bars.append(finding.bar)
    if not said:
        return []
    lines = [f"  {kind}, bar {', '.join(bars)}: {what} {remedy}" for (kind, what, remedy), bars in said.items()]
    return ["", "Review:", *lines]


def _bars(work: Work, start: Fraction, end: Fraction) -> str:
    inside = [bar for bar in work.piece.bars if bar.onset < end and bar.end > start]
    first, last = inside[0].number, inside[-1].number
    return f"bar {first}" if first == last else f"bars {first}-{last}"


def _cadences(work: Work) -> list[str]:
    said = []
    for cadence in work.study.cadences:
        bar = next((bar for bar in reversed(work.piece.bars) if bar.onset <= cadence.onset), work.piece.bars[0])
        strength = "strong" if cadence.strength >= STRONG else "weak" if cadence.strength < WEAK else "middling"
        said.append(f"bar {bar.number} {cadence.kind.replace('-', ' ')} in {cadence.key} ({strength})")
    return said


def _choices(work: Work) -> list[str]:
    heard = max((run.time_through for run in work.study.order), default=1)
    page = _lines([choice for choice in work.plan.choices if choice.origin == "page"], heard)
    ours = _lines([choice for choice in work.plan.choices if choice.origin != "page"], heard)
    lines = ["On the page:", *page[:MOST]] if page else []
    lines += ["Added:" if ours else "Nothing added.", *ours[:MOST]]
    if len(ours) > MOST:
        lines.append(f"  ... and {len(ours) - MOST} more: see plan.txt")
    return lines


def _lines(choices: Sequence[Choice], heard: int) -> list[str]:
    """One line a place and grace, with the times through at which it is played; none where the piece is heard once."""
    grouped: dict[tuple[str, str], list[Choice]] = {}
    for choice in choices:
        if choice.grace is not None:
            grouped.setdefault((choice.note, choice.grace.words), []).append(choice)
    lines = []
    for (_, words), same in grouped.items():
        first = same[0]
        times = " and ".join(TIMES.get(choice.time_through, f"{choice.time_through}th time") for choice in same)
        if len(same) == heard:
            times = "both times" if heard == 2 else "each time"
        place = f"bar {first.bar}, beat {beat_words(first.beat)}" + (f", {times}" if heard > 1 else "")
        lines.append(f"  {place}: {words} on {first.pitch}. {' '.join(first.reasons[:1])}")
    return lines
