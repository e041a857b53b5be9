"""Learn what a cadence and a phrase end look like, from the tuning half of the labelled open pieces.

    python scripts/learn_closes.py         writes src/gracewright/data/study/closes.toml

Run after learn_study.py: the features of a close are read from the harmony our own study finds. One scorer learns
both: its kinds are the six kinds of arrival (none, perfect, imperfect, half, deceptive, evaded), each with and
without a phrase end. Three scorers from different seeds are joined into one, which halves the chance of a bad start.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

import numpy as np

ROOT: Final = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "bench"), str(ROOT / "scripts")]

from networks import Example, Scorer  # noqa: E402

from gracewright.score import Piece, read  # noqa: E402
from gracewright.study.closes import ARRIVALS, close_features  # noqa: E402
from gracewright.study.harmony import read_harmony  # noqa: E402
from gracewright.study.material import gather  # noqa: E402
from gracewright.study.sequences import find_sequences  # noqa: E402
from study_data import labelled, outer, truth  # noqa: E402

SEEDS: Final = 3
HIDDEN: Final = 24
LABELS: Final = ("", "PAC", "IAC", "HC", "DC", "EC")
TARGET: Final = ROOT / "src" / "gracewright" / "data" / "study" / "closes.toml"
HEADER: Final = """\
# What cadences and phrase ends look like: weights in thousandths, learned by scripts/learn_closes.py from expert labels
# of open scores (the tuning works of bench/study_data.py). Weights only: no score, label or other data is stored here.
"""


def example(path: Path, piece: Piece) -> Example:
    material = gather(piece)
    reading = read_harmony(piece, material.line, material.frames)
    seen = close_features(material, reading.chords, reading.columns, reading.keys.first, find_sequences(material))
    times = material.frames.start[reading.keys.first] / material.line.quarter
    table = truth(path)
    answer = np.zeros(len(times), dtype=np.int64)
    for row in table:
        at = int(np.abs(times - float(row["q"])).argmin())
        if abs(times[at] - float(row["q"])) > 1:
            continue
        if row["cadence"] in LABELS[1:]:
            answer[at] = 2 * LABELS.index(row["cadence"]) + answer[at] % 2
        if "}" in row["phrase"] or "\\\\" in row["phrase"]:
            answer[at] |= 1
    known = any(row["cadence"] for row in table)
    return Example(lambda: seen[:, None], answer, np.full(len(times), 1.0 if known else 0.3))


def main() -> None:
    examples = []
    for path in labelled(reporting=False):
        piece = read(path)
        examples.append(example(path, piece))
        if "solo" not in path.parts[-3]:
            examples.append(example(path, outer(piece)))
    features = examples[0].see().shape[2]
    options = {"rate": 2e-3, "decay": 3e-2, "dropout": 0.4, "batch": 64}
    found = [
        Scorer(features, HIDDEN, 2 * len(ARRIVALS), seed).fit(examples, 20, **options)  # type: ignore[arg-type]
        for seed in range(SEEDS)
    ]
    TARGET.write_text(HEADER + joined(found).toml("close"), encoding="utf-8")


def joined(scorers: list[Scorer]) -> Scorer:
    """One scorer whose scores are the mean of several."""
    whole = Scorer(scorers[0].features, sum(s.hidden for s in scorers), scorers[0].kinds)
    first, bias, second, out = zip(*(s.parts for s in scorers), strict=True)
    whole.parts = [
        np.concatenate(first, axis=1), np.concatenate(bias), np.concatenate(second) / len(scorers),
        np.mean(out, axis=0),
    ]  # fmt: skip
    return whole


if __name__ == "__main__":
    main()
