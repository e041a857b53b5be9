"""Learn what a cadence and a phrase end look like, from the labelled open pieces.

    python scripts/learn_closes.py         writes src/gracewright/data/study/closes.toml, from all of them, and
                                           bench/weights/closes.toml, from the tuning half, with which the bench reports
    python scripts/learn_closes.py --try   writes nothing; prints how tuning works fare that were held out in turn

Run after learn_study.py: the features of a close are read from the harmony our own study finds, always with the
weights of the tuning half, so that some works are read as unseen ones will be. Two networks are learned: one sees a
beat by itself, the other what the first thought of the beats around it; the second learns from thoughts about works
that the first had not seen (works are dealt into ``FOLDS``). Each piece is seen with all its parts and with its outer
lines only. Five minutes on one core.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

ROOT: Final = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "bench"), str(ROOT / "scripts")]

from odds import Array, Fit, Odds, fitted  # noqa: E402

from gracewright.score import Piece, read  # noqa: E402
from gracewright.study.beats import Beats  # noqa: E402
from gracewright.study.cadences import find_cadences  # noqa: E402
from gracewright.study.closes import SORTS, Closes, close_features, mean_chance, sorts_of  # noqa: E402
from gracewright.study.harmony import harmonies, read_harmony  # noqa: E402
from gracewright.study.hemiola import find_hemiolas  # noqa: E402
from gracewright.study.material import gather  # noqa: E402
from gracewright.study.phrases import find_phrases  # noqa: E402
from gracewright.study.sequences import find_sequences  # noqa: E402
from gracewright.study.surroundings import surroundings  # noqa: E402
from gracewright.study.tables import using  # noqa: E402
from study_data import WEIGHTS, labelled, outer, quarters, truth  # noqa: E402
from study_measures import CADENCES, Tally  # noqa: E402

FOLDS: Final = 5
SHARED: Final = 0.2
FIRST: Final = Fit(hidden=24, seeds=6, drop_input=0.5, drop=0.3, decay=0.03, rounds=20)
AGAIN: Final = Fit(hidden=12, seeds=6, drop_input=0.4, drop=0.3, decay=0.05, rounds=10)
KINDS: Final = (("PAC",), ("PAC", "IAC"), ("HC",), ("DC", "EC"))
SHIPPED: Final = ROOT / "src" / "gracewright" / "data" / "study" / "closes.toml"
BENCH: Final = WEIGHTS / "closes.toml"
HEADER: Final = """\
# What cadences and phrase ends look like: weights in thousandths, learned by scripts/learn_closes.py from expert labels
# of open scores ({works} of bench/study_data.py). Weights only: no score, label or other data is stored here.
"""


@dataclass
class Labelled:
    """A piece in one texture: its beats, what is seen on each, and the answers."""

    path: Path
    piece: Piece
    work: str
    texture: str
    beats: Beats = field(init=False)
    seen: Array = field(init=False)
    answer: Array = field(init=False)
    weight: Array = field(init=False)
    fold: int = 0
    score: Array = field(init=False)

    def __post_init__(self) -> None:
        material = gather(self.piece)
        reading = read_harmony(self.piece, material.line, material.frames)
        self.beats = Beats(material, reading, find_sequences(material))
        self.seen = close_features(self.beats)
        times = self.beats.start / material.line.quarter
        self.table = truth(self.path)
        self.answer = np.zeros((len(times), len(SORTS)), dtype=np.float32)
        for row in self.table:
            at = int(np.abs(times - float(row["q"])).argmin())
            if abs(times[at] - float(row["q"])) <= 1:
                kinds = [row["cadence"] in names for names in KINDS]
                self.answer[at] = np.maximum(self.answer[at], [*kinds, is_end(row)])
        self.answer = softened(self.answer, times)
        self.known = any(row["cadence"] for row in self.table)
        self.weight = np.ones_like(self.answer)
        self.weight[:, :-1] = self.known


def softened(answer: Array, times: NDArray[np.float64]) -> Array:
    """Answers with a little of each given to the beats within a quarter: analysts differ by so much."""
    soft = answer.copy()
    for shift in (1, 2):
        near = ((times[shift:] - times[:-shift]) <= 1)[:, None]
        soft[shift:] = np.maximum(soft[shift:], SHARED * answer[:-shift] * near)
        soft[:-shift] = np.maximum(soft[:-shift], SHARED * answer[shift:] * near)
    return soft


def is_end(row: dict[str, str]) -> bool:
    """Whether a phrase ends on this row of a truth table."""
    return "}" in row["phrase"] or "\\\\" in row["phrase"]


def pieces(reporting: bool | None) -> list[Labelled]:
    found = []
    for path in labelled(reporting):
        piece, work = read(path), re.split(r"_|[abc]$", path.stem)[0]
        found.append(Labelled(path, piece, work, "all parts"))
        if "solo" not in path.parts[-3]:
            found.append(Labelled(path, outer(piece), work, "outer parts"))
    works = sorted({one.work for one in found})
    dealt = dict(zip(np.random.default_rng(3).permutation(works).tolist(), range(len(works)), strict=True))
    for one in found:
        one.fold = dealt[one.work] % FOLDS
    return found


def first_network(learned: list[Labelled]) -> Odds:
    return _network(learned, [one.seen for one in learned], FIRST)


def again_network(learned: list[Labelled]) -> Odds:
    """From scores that were made without the work they are about."""
    return _network(learned, [surroundings(one.beats, mean_chance(one.score)) for one in learned], AGAIN)


def _network(learned: list[Labelled], seen: list[Array], fit: Fit) -> Odds:
    answer, weight = np.concatenate([one.answer for one in learned]), np.concatenate([one.weight for one in learned])
    return fitted(np.concatenate(seen), answer, weight, fit)


def keep_scores(learned: list[Labelled]) -> None:
    """Give every piece the scores of a first network that has not seen its work."""
    for fold in range(FOLDS):
        unseen = first_network([one for one in learned if one.fold != fold])
        for one in learned:
            if one.fold == fold:
                one.score = unseen.scores(one.seen)
        print(f"  fold {fold + 1} of {FOLDS}", flush=True)


def attempt(learned: list[Labelled]) -> None:
    """Print how works fare whose labels neither network has seen."""
    keep_scores(learned)
    tallies: dict[str, Tally] = {}
    for fold in range(FOLDS):
        again = again_network([one for one in learned if one.fold != fold])
        for one in learned:
            if one.fold == fold:
                second = again.scores(surroundings(one.beats, mean_chance(one.score)))
                closes = sorts_of(one.beats, mean_chance(one.score, second))
                measure(tallies.setdefault(one.texture, Tally()), one, closes)
    for texture, tally in tallies.items():
        cells = (f"{name} {tally.f1(name):.3f}" for name in ("perfect", "authentic", "half", "phrase"))
        print(f"{texture:12}", *cells)


def measure(tally: Tally, one: Labelled, closes: Closes) -> None:
    """Add the cadences and phrases that come of some closes."""
    material = one.beats.material
    harmony = harmonies(material.line, material.frames, one.beats.reading)
    cadences = find_cadences(material, harmony, closes, find_hemiolas(material))
    if one.known:
        found = [(float(cadence.onset), CADENCES[cadence.kind]) for cadence in cadences]
        for name, kinds in zip(("perfect", "authentic", "half"), KINDS, strict=False):
            true = [float(row["q"]) for row in one.table if row["cadence"] in kinds]
            tally.add_events(name, true, [onset for onset, kind in found if kind in kinds])
    ends = sorted({float(row["q"]) for row in one.table if is_end(row)})
    phrases = find_phrases(material, closes, cadences, quarters("80"))
    tally.add_events("phrase", ends, [float(phrase.goal) for phrase in phrases])


def main() -> None:
    if "--try" in sys.argv:
        with using(WEIGHTS):
            attempt(pieces(reporting=False))
        return
    for reporting, works, target in ((False, "the tuning works", BENCH), (None, "all works", SHIPPED)):
        with using(WEIGHTS):
            learned = pieces(reporting)
        print(f"{works}: {len(learned)} pieces", flush=True)
        keep_scores(learned)
        again, first = again_network(learned), first_network(learned)
        text = HEADER.format(works=works) + first.toml("close") + again.toml("close_again")
        target.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
