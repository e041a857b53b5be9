"""Train small networks with one hidden layer that answer several yes-or-no questions about a row; write them as TOML.

Fitted by Adam on the probability of the right answers, with dropout of inputs and hidden units and weight decay;
inputs are brought to one scale, which is folded into the first weights afterwards. Seeds are fixed, so that the same
tables give the same weights.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from networks import line, rows
from numpy.typing import NDArray

Array = NDArray[np.float32]
RATE: Final = 3e-3
BATCH: Final = 128
SHY: Final = -3.0  # answers begin at no


@dataclass(frozen=True)
class Fit:
    """How to fit: hidden units of each network, networks joined, rounds, dropout of inputs and of hidden, decay."""

    hidden: int = 24
    seeds: int = 4
    rounds: int = 20
    drop_input: float = 0.5
    drop: float = 0.3
    decay: float = 0.03


@dataclass
class Odds:
    """Weights of the first layer, its bias, weights of the second, its bias."""

    parts: list[Array]

    def scores(self, x: Array) -> Array:
        """Log odds of a yes to each question."""
        first, bias, second, out = self.parts
        return np.asarray(np.maximum(x @ first + bias, 0) @ second + out)

    def toml(self, name: str) -> str:
        """The weights in whole thousandths."""
        first, bias, second, out = self.parts
        return (
            f"[{name}]\nbias = {line(bias)}\nout = {line(out)}\n"
            f"first = {rows(first)}\nsecond = {rows(second)}\n"
        )


def fitted(x: Array, answer: Array, weight: Array, fit: Fit) -> Odds:
    """One network that joins ``fit.seeds`` of them. ``answer`` and ``weight`` are of shape (rows, questions)."""
    middle, spread = x.mean(axis=0), x.std(axis=0) + 0.05
    level = ((x - middle) / spread).astype(np.float32)
    found = [_train(level, answer, weight, fit, seed) for seed in range(fit.seeds)]
    first, bias, second, out = zip(*found, strict=True)
    joined = np.asarray(np.concatenate(first, axis=1) / spread[:, None], dtype=np.float32)
    moved = np.concatenate(bias) - middle @ joined
    return Odds([
        joined.astype(np.float32), moved.astype(np.float32),
        (np.concatenate(second) / len(found)).astype(np.float32), np.mean(out, axis=0).astype(np.float32),
    ])  # fmt: skip


def _train(x: Array, answer: Array, weight: Array, fit: Fit, seed: int) -> list[Array]:
    random = np.random.default_rng(seed)
    features, kinds = x.shape[1], answer.shape[1]
    parts = [
        (random.normal(size=(features, fit.hidden)) / np.sqrt(features)).astype(np.float32),
        np.zeros(fit.hidden, dtype=np.float32),
        (random.normal(size=(fit.hidden, kinds)) / np.sqrt(fit.hidden)).astype(np.float32),
        np.full(kinds, SHY, dtype=np.float32),
    ]  # fmt: skip
    means, squares = [np.zeros_like(part) for part in parts], [np.zeros_like(part) for part in parts]
    steps, step = fit.rounds * (len(x) // BATCH + 1), 0
    for _ in range(fit.rounds):
        order = random.permutation(len(x))
        for begin in range(0, len(x), BATCH):
            chosen = order[begin : begin + BATCH]
            slopes = _slopes(parts, x[chosen], answer[chosen], weight[chosen], fit, random)
            step += 1
            now = np.float32(RATE * (1 - step / steps) + 1e-5)
            for at, slope in enumerate(slopes):
                means[at] = 0.9 * means[at] + 0.1 * slope
                squares[at] = 0.999 * squares[at] + 0.001 * slope * slope
                pace = (means[at] / (1 - 0.9**step)) / (np.sqrt(squares[at] / (1 - 0.999**step)) + 1e-8)
                decay = fit.decay if at in (0, 2) else 0.0
                parts[at] = (parts[at] - now * (pace + decay * parts[at])).astype(np.float32)
    return parts


def _slopes(parts: list[Array], x: Array, answer: Array, weight: Array, fit: Fit,
            random: np.random.Generator) -> list[Array]:  # fmt: skip
    first, bias, second, out = parts
    kept = (random.random(x.shape, dtype=np.float32) > fit.drop_input) / np.float32(1 - fit.drop_input)
    x = x * kept
    before = x @ first + bias
    spared = (random.random(before.shape, dtype=np.float32) > fit.drop) / np.float32(1 - fit.drop)
    mask = ((before > 0) * spared).astype(np.float32)
    hidden = before * mask
    chance = 1 / (1 + np.exp(-np.clip(hidden @ second + out, -30, 30)))
    blame = ((chance - answer) * weight / len(x)).astype(np.float32)
    back = (blame @ second.T) * mask
    return [x.T @ back, back.sum(axis=0), hidden.T @ blame, blame.sum(axis=0)]
