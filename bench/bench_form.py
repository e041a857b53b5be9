"""Sequences, written-out repeats and hemiolas against forty passages marked by hand (tests/outside/gold_form.toml).

    python bench/bench_form.py            the table
    python bench/bench_form.py --faults   what was missed and what was found without a mark, one line each
    python bench/bench_form.py --faults tune     of one half only

A sequence counts as found where it shares more than half of the time that the two cover together and moves in the
same direction; a repeat where both its first statement and its return do; a hemiola where the bars are the same.
Doubtful marks count neither for nor against. "tune" is the half the finder was set on, "report" the other.

Below it: dances of labelled suites guessed with title and words hidden, and how many movements that are no dance (or
none of ours) got a name all the same.
"""

from __future__ import annotations

import os
import re
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from gracewright.score import Piece, find_solo, read, tones
from gracewright.study.dance import Dance, guess_dance
from gracewright.study.hemiola import find_hemiolas
from gracewright.study.material import Material, gather
from gracewright.study.returns import find_returns
from gracewright.study.sequences import find_sequences

ROOT = Path(__file__).resolve().parents[1]
OPEN = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared")) / "data" / "open"
GOLD = ROOT / "tests" / "outside" / "gold_form.toml"
KINDS = ("sequences", "repeats", "hemiolas")
PLACE = r"(\d+)(?:\+([\d/]+))?"
SEQUENCE = re.compile(rf"{PLACE} ([\d/]+)q x(\d+) (-?\d+)(\??)")
REPEAT = re.compile(rf"{PLACE}\.\.{PLACE} = {PLACE}\.\.{PLACE} ([a-z ]+)(\??)")
Span = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Mark:
    """Something marked or found: the spans it takes, its sign (direction or kind), whether doubtful."""

    spans: tuple[Span, ...]
    word: str
    told: str
    doubtful: bool = False


@dataclass
class Tally:
    hit: int = 0
    missed: int = 0
    extra: int = 0
    kind_right: int = 0
    faults: list[str] = field(default_factory=list)

    def f1(self) -> float:
        return 2 * self.hit / max(1, 2 * self.hit + self.missed + self.extra)


def passages() -> list[dict[str, Any]]:
    """The marked passages, in order."""
    found: list[dict[str, Any]] = tomllib.loads(GOLD.read_text(encoding="utf-8"))["passage"]
    return found


def _time(piece: Piece, bar: str, more: str | None) -> Fraction:
    index = int(bar)
    start = piece.bars[index].onset if index < len(piece.bars) else piece.length
    return start + Fraction(more or 0)


def marked(piece: Piece, passage: dict[str, Any], kind: str, later: bool = False) -> list[Mark]:
    """The marks of one kind, with those ``seen_later`` where asked. Raises ValueError where one cannot be read."""
    found = []
    for entry in [*passage[kind], *(passage.get("seen_later", {}).get(kind, ()) if later else ())]:
        text = str(entry)
        if kind == "hemiolas":
            bar = int(text.rstrip("?"))
            found.append(Mark(((piece.bars[bar].onset, piece.bars[bar + 1].end),), "", text, text.endswith("?")))
            continue
        parts = (SEQUENCE if kind == "sequences" else REPEAT).fullmatch(text)
        if parts is None:
            raise ValueError(f"{passage['file']}: {text!r} is no mark")
        if kind == "sequences":
            start = _time(piece, parts[1], parts[2])
            end = start + Fraction(parts[3]) * int(parts[4])
            found.append(Mark(((start, end),), "up" if int(parts[5]) > 0 else "down", text, bool(parts[6])))
        else:
            times = [_time(piece, parts[n], parts[n + 1]) for n in (1, 3, 5, 7)]
            spans = ((times[0], times[1]), (times[2], times[3]))
            found.append(Mark(spans, parts[9], text, bool(parts[10])))
    return found


def heard(material: Material, passage: dict[str, Any], kind: str) -> list[Mark]:
    """What the study finds inside the passage."""
    piece = material.piece
    first, last = passage["bars"]
    low, high = piece.bars[first].onset, piece.bars[last].end
    if kind == "sequences":
        found = [
            Mark(((s.start, s.end),), "up" if s.step > 0 else "down",
                 f"{place(piece, s.start)} {s.legs[0].end - s.legs[0].start}q x{len(s.legs)} {s.step}")
            for s in find_sequences(material)
        ]  # fmt: skip
    elif kind == "repeats":
        found = [
            Mark((r.again, r.first), r.kind, f"{_span(piece, r.again)} = {_span(piece, r.first)} {r.kind}")
            for r in find_returns(material)
        ]  # fmt: skip
    else:
        found = [Mark(((h.start, h.end),), "", place(piece, h.start)) for h in find_hemiolas(material)]
    return [mark for mark in (_clipped(mark, low, high) for mark in found) if mark is not None]


def _clipped(mark: Mark, low: Fraction, high: Fraction) -> Mark | None:
    """A finding cut at the edges of the passage, None where less than half of it lies inside."""
    spans = tuple((max(low, begin), min(high, end)) for begin, end in mark.spans)
    inside = all(2 * (b - a) >= end - begin for (a, b), (begin, end) in zip(spans, mark.spans, strict=True))
    return replace(mark, spans=spans) if inside else None


def place(piece: Piece, time: Fraction) -> str:
    """A time as the gold set writes it."""
    bar = next((bar for bar in reversed(piece.bars) if bar.onset <= time), piece.bars[0])
    return str(bar.index) if bar.onset == time else f"{bar.index}+{time - bar.onset}"


def _span(piece: Piece, span: Span) -> str:
    end = str(len(piece.bars)) if span[1] == piece.length else place(piece, span[1])
    return f"{place(piece, span[0])}..{end}"


def shared(one: Span, other: Span) -> float:
    """How much of the time the two cover together is common to both."""
    common = min(one[1], other[1]) - max(one[0], other[0])
    return float(max(Fraction(0), common) / (max(one[1], other[1]) - min(one[0], other[0])))


def same(one: Mark, other: Mark, kind: str) -> bool:
    if kind == "sequences" and one.word != other.word:
        return False
    least = 0.99 if kind == "hemiolas" else 0.5
    return all(shared(a, b) >= least for a, b in zip(one.spans, other.spans, strict=True))


def compare(tally: Tally, gold: Sequence[Mark], found: Sequence[Mark], kind: str, name: str) -> None:
    """Match marks and findings one to one, the sure marks first."""
    left = list(found)
    for mark in sorted(gold, key=lambda mark: mark.doubtful):
        match = max(
            (other for other in left if same(mark, other, kind)), default=None,
            key=lambda other: sum(shared(a, b) for a, b in zip(mark.spans, other.spans, strict=True)),
        )  # fmt: skip
        if match is not None:
            left.remove(match)
        if mark.doubtful:
            continue
        tally.hit += match is not None
        tally.missed += match is None
        tally.kind_right += match is not None and match.word == mark.word
        if match is None:
            tally.faults.append(f"missed  {name}: {mark.told}")
    for other in left:
        if not any(mark.doubtful and all(shared(a, b) > 0.25 for a, b in zip(mark.spans, other.spans, strict=True))
                   for mark in gold):  # fmt: skip
            tally.extra += 1
            tally.faults.append(f"extra   {name}: {other.told}")


def measure(half: str, later: bool) -> dict[str, Tally]:
    """Tallies of one half, by kind; ``later``: with the marks overlooked at first."""
    tallies = {kind: Tally() for kind in KINDS}
    for passage in passages():
        if passage["half"] != half:
            continue
        piece = read(OPEN / passage["file"])
        material = gather(piece)
        for kind, tally in tallies.items():
            compare(tally, marked(piece, passage, kind, later), heard(material, passage, kind), kind,
                    Path(passage["file"]).stem[-40:])  # fmt: skip
    return tallies


DANCES = {
    "allemand": "allemande", "courant": "courante", "corrent": "courante", "saraband": "sarabande", "gigue": "gigue",
    "gique": "gigue", "menuet": "minuet", "passepied": "passepied", "gavotte": "gavotte", "bouree": "bourrée",
    "bourree": "bourrée", "borea": "bourrée", "loure": "loure",
}  # fmt: skip
UNSEEN = ("BWV812", "BWV814", "BWV816", "BWV1011", "BWV1013", "wq", "K00", "K01", "K02", "K03", "F0")
"""Beginnings of the movements that report how dances are guessed; the others were looked at."""


def dances() -> list[tuple[bool, str, Dance]]:
    """Whether seen, the true dance ("" for none) and the guess, for each movement."""
    found = []
    for path in sorted([*OPEN.glob("dcml_*/musicxml/*.musicxml"), *OPEN.glob("roman_text/wtc*.musicxml")]):
        name = path.stem.lower()
        if "double" in name or "agrements" in name or "kleine_geist" in str(path) or "pergolesi" in str(path):
            continue
        piece = replace(read(path), title="", words=())
        true = next((dance for part, dance in DANCES.items() if part in name), "")
        found.append((not path.name.startswith(UNSEEN), true, guess_dance(piece, tones(piece, find_solo(piece)))))
    return found


def dance_rows() -> None:
    """The table of guessed dances."""
    guessed = dances()
    print(f"\n{'dances, title hidden':24}{'dances':>8}{'right':>8}{'others':>8}{'named':>8}")
    for name, seen in (("looked at", True), ("unseen", False)):
        real = [(true, guess) for here, true, guess in guessed if here == seen and true]
        other = [guess for here, true, guess in guessed if here == seen and not true]
        print(f"    {name:20}{len(real):8}{sum(true == guess.name for true, guess in real):8}{len(other):8}"
              f"{sum(bool(guess.name) for guess in other):8}")  # fmt: skip
    print("    sure by itself: right of all that were named")
    for low, high in ((0.0, 0.55), (0.55, 0.7), (0.7, 1.01)):
        those = [true == guess.name for _, true, guess in guessed if guess.name and low <= guess.confidence < high]
        print(f"    {low:.2f} to {min(1.0, high):.2f}        {sum(those):8} of {len(those)}")


def main(arguments: Sequence[str]) -> None:
    if not OPEN.exists():
        print("The open data is not here (set GRACEWRIGHT_SHARED); nothing was measured.")
        return
    print(f"{'':24}{'marked':>8}{'found':>8}{'missed':>8}{'extra':>8}{'F1':>8}{'kind':>8}")
    for half, later in (("tune", False), ("report", False), ("tune", True), ("report", True)):
        print(f"{half}, {'with the marks seen later' if later else 'first marks'}")
        for kind, tally in measure(half, later).items():
            share = f"{tally.kind_right / max(1, tally.hit):8.2f}" if kind == "repeats" else ""
            print(f"    {kind:20}{tally.hit + tally.missed:8}{tally.hit:8}{tally.missed:8}{tally.extra:8}"
                  f"{tally.f1():8.3f}{share}")  # fmt: skip
            if "--faults" in arguments and later and (half in arguments or len(arguments) == 1):
                print("\n".join(f"        {fault}" for fault in sorted(tally.faults)))
    dance_rows()


if __name__ == "__main__":
    main(sys.argv[1:])
