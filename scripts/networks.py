"""Train small log-linear scorers with one hidden layer, and write them as TOML.

A scorer gives every candidate (a root, a tonic) a score for each of a few kinds; candidates share the weights. It is
fitted by Adam on the probability of the right candidate and kind, with dropout and weight decay; seeds are fixed, so
that the same tables give the same weights.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float32]


@dataclass
class Example:
    """One piece: ``see`` makes inputs (rows, candidates, features); ``answer`` is candidate * kinds + kind."""

    see: Callable[[], Array]
    answer: NDArray[np.int64]
    weight: NDArray[np.float64]


@dataclass
class Scorer:
    features: int
    hidden: int
    kinds: int
    seed: int = 0
    parts: list[Array] = field(init=False)

    def __post_init__(self) -> None:
        random = np.random.default_rng(self.seed)
        first = random.normal(size=(self.features, self.hidden)) * np.sqrt(1 / self.features)
        second = random.normal(size=(self.hidden, self.kinds)) * np.sqrt(1 / self.hidden)
        zeros = np.zeros
        self.parts = [part.astype(np.float32) for part in (first, zeros(self.hidden), second, zeros(self.kinds))]

    def scores(self, x: Array) -> Array:
        """Scores of rows (rows, candidates, features), shape (rows, candidates * kinds)."""
        first, bias, second, out = self.parts
        return np.asarray(np.maximum(x @ first + bias, 0) @ second + out, dtype=np.float32).reshape(len(x), -1)

    def fit(self, examples: Sequence[Example], rounds: int, *, rate: float = 3e-3, decay: float = 1e-2,
            dropout: float = 0.4, batch: int = 128) -> Scorer:  # fmt: skip
        random = np.random.default_rng(self.seed)
        means = [np.zeros_like(part) for part in self.parts]
        squares = [np.zeros_like(part) for part in self.parts]
        step, done = 0, 0
        for _ in range(rounds):
            for number in random.permutation(len(examples)):
                example = examples[number]
                x, order = example.see(), random.permutation(len(example.answer))
                now = rate * (1 - done / (rounds * len(examples))) + 1e-5
                done += 1
                for begin in range(0, len(order), batch):
                    rows = order[begin : begin + batch]
                    if example.weight[rows].sum() <= 0:
                        continue
                    slopes = self._slopes(x[rows], example.answer[rows], example.weight[rows], dropout, random)
                    step += 1
                    for at, (part, slope) in enumerate(zip(self.parts, slopes, strict=True)):
                        means[at] = 0.9 * means[at] + 0.1 * slope
                        squares[at] = 0.999 * squares[at] + 0.001 * slope * slope
                        pace = (means[at] / (1 - 0.9**step)) / (np.sqrt(squares[at] / (1 - 0.999**step)) + 1e-8)
                        part -= np.float32(now) * (pace + (decay if at in (0, 2) else 0.0) * part)
        return self

    def _slopes(self, x: Array, answer: NDArray[np.int64], weight: NDArray[np.float64], dropout: float,
                random: np.random.Generator) -> list[Array]:  # fmt: skip
        first, bias, second, out = self.parts
        rows, candidates, features = x.shape
        flat = np.ascontiguousarray(x.reshape(-1, features), dtype=np.float32)
        before = flat @ first + bias
        kept = (random.random((rows, 1, self.hidden), dtype=np.float32) > dropout) / np.float32(1 - dropout)
        mask = ((before > 0).reshape(rows, candidates, -1) * kept).reshape(-1, self.hidden).astype(np.float32)
        hidden = before * mask
        score = (hidden @ second + out).reshape(rows, -1)
        chance = np.exp(score - score.max(axis=1, keepdims=True))
        chance /= chance.sum(axis=1, keepdims=True)
        chance[np.arange(rows), answer] -= 1
        chance *= (weight / weight.sum())[:, None]
        blame = chance.reshape(rows * candidates, -1).astype(np.float32)
        back = (blame @ second.T) * mask
        return [flat.T @ back, back.sum(axis=0), hidden.T @ blame, blame.sum(axis=0)]

    def toml(self, name: str) -> str:
        """The weights in whole thousandths."""
        first, bias, second, out = self.parts
        return (
            f"[{name}]\nbias = {line(bias)}\nout = {line(out)}\n"
            f"first = {rows(first)}\nsecond = {rows(second)}\n"
        )


def joined(scorers: Sequence[Scorer]) -> Scorer:
    """One scorer whose scores are the mean of several."""
    whole = Scorer(scorers[0].features, sum(s.hidden for s in scorers), scorers[0].kinds)
    first, bias, second, out = zip(*(s.parts for s in scorers), strict=True)
    whole.parts = [
        np.concatenate(first, axis=1), np.concatenate(bias), np.concatenate(second) / np.float32(len(scorers)),
        np.mean(out, axis=0),
    ]  # fmt: skip
    return whole


def line(values: Array) -> str:
    return '"' + " ".join(str(round(1000 * float(value))) for value in values) + '"'


def rows(matrix: Array) -> str:
    return "[\n" + "".join(f"  {line(row)},\n" for row in matrix) + "]"
