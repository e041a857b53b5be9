"""Learned weights of the study, read once from ``data/study``.

The files hold counts and weights only, learned by ``scripts/learn_study.py`` from expert labels of open scores; each
names its origin. Numbers are stored as whole thousandths in rows of text, so that a file stays readable and small.

Public: Layer, Weights, weights, using, QUALITIES.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np

from gracewright.errors import TableError
from gracewright.study.frames import Floats
from gracewright.study.model import Quality

QUALITIES: Final[tuple[Quality, ...]] = (
    "major", "minor", "diminished", "augmented", "dominant seventh", "minor seventh", "major seventh",
    "minor-major seventh", "half-diminished seventh", "diminished seventh", "augmented sixth",
)  # fmt: skip


@dataclass(frozen=True)
class Layer:
    """A log-linear scorer with an optional hidden layer: ``score = act(x @ first + bias) @ second + out``."""

    first: Floats
    bias: Floats
    second: Floats | None
    out: Floats | None

    def scores(self, x: Floats) -> Floats:
        return self.finish(x @ self.first)

    def finish(self, hidden: Floats) -> Floats:
        """Scores from inputs already multiplied by ``first``, in whatever shape, features last."""
        hidden = hidden + self.bias
        if self.second is None or self.out is None:
            return hidden
        return np.asarray(np.maximum(hidden, 0, out=hidden) @ self.second + self.out, dtype=np.float32)


@dataclass(frozen=True)
class Weights:
    """All that was learned, by name."""

    layers: dict[str, Layer]
    tables: dict[str, Floats]
    numbers: dict[str, float]


_others: list[Path] = []


@cache
def weights() -> Weights:
    """The shipped weights. Raises TableError where a file is damaged."""
    layers: dict[str, Layer] = {}
    tables: dict[str, Floats] = {}
    numbers: dict[str, float] = {}
    shipped = files("gracewright").joinpath("data", "study").iterdir()
    texts = {file.name: file for file in shipped if file.name.endswith(".toml")}
    texts |= {file.name: file for folder in _others for file in folder.glob("*.toml")}
    for file, text in sorted(texts.items()):
        for name, entry in tomllib.loads(text.read_text(encoding="utf-8")).items():
            if not isinstance(entry, dict):
                continue
            if "first" in entry:
                layers[name] = _layer(file, name, entry)
            elif "rows" in entry:
                tables[name] = _matrix(file, name, entry["rows"])
            else:
                numbers |= {f"{name}.{key}": float(n) for key, n in entry.items() if isinstance(n, int | float)}
    return Weights(layers, tables, numbers)


@contextmanager
def using(folder: Path) -> Iterator[None]:
    """Read weights from a folder in the place of shipped files of the same name: for measuring on works that the
    shipped weights were learned from."""
    _others.append(folder)
    weights.cache_clear()
    try:
        yield
    finally:
        _others.remove(folder)
        weights.cache_clear()


def _layer(file: str, name: str, entry: dict[str, Any]) -> Layer:
    first = _matrix(file, name, entry["first"])
    bias = _matrix(file, name, [entry["bias"]])[0]
    if first.shape[1] != len(bias):
        raise TableError(file, name, f"{first.shape[1]} biases", len(bias))
    if "second" not in entry:
        return Layer(first, bias, None, None)
    return Layer(first, bias, _matrix(file, name, entry["second"]), _matrix(file, name, [entry["out"]])[0])


def _matrix(file: str, name: str, rows: list[str]) -> Floats:
    try:
        return np.array([row.split() for row in rows], dtype=np.float32) / np.float32(1000)
    except ValueError:
        raise TableError(file, name, "rows of whole numbers, equally long", rows[:1]) from None
