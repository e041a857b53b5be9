"""Learn the weights of the study's harmony from the labelled open pieces and from the chorales with Roman numerals in
music21's corpus.

    python scripts/learn_study.py          from the tuning works only; writes bench/weights/harmony.toml
    python scripts/learn_study.py --all    from all of them; writes src/gracewright/data/study/harmony.toml

The bench measures with the former, which never saw the reporting works; what is shipped learned from the latter too.

Chords are scored twice and keys once (see study/chords.py and study/keys.py). What a later scorer is given from an
earlier one is always made by a scorer that has not seen that work: works are dealt into ``FOLDS``. Each piece is seen
with all its parts and with its outer lines only. Needs the labelled tables (GRACEWRIGHT_SHARED); ten minutes.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

ROOT: Final = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "bench"), str(ROOT / "scripts")]

from networks import Example, Scorer, joined  # noqa: E402

from gracewright.pitch import fifths_of  # noqa: E402
from gracewright.score import Piece, read  # noqa: E402
from gracewright.study import chords as C  # noqa: E402
from gracewright.study import evidence as E  # noqa: E402
from gracewright.study import keys as K  # noqa: E402
from gracewright.study.frames import SHIFT, frames_of, timeline  # noqa: E402
from gracewright.study.pauses import line_view, pauses_of  # noqa: E402
from gracewright.study.tables import QUALITIES  # noqa: E402
from study_chorales import chorales  # noqa: E402
from study_data import KINDS, WEIGHTS, labelled, outer, truth  # noqa: E402

FOLDS: Final = 3
KEY_SEEDS: Final = 3  # scorers of keys joined into one: a single one may lead whole sections astray
CHORALE: Final = 2  # chorales are shown so many times: there are few of them
SHIPPED: Final = ROOT / "src" / "gracewright" / "data" / "study" / "harmony.toml"
MEASURED: Final = WEIGHTS / "harmony.toml"
HEADER: Final = """\
# Weights of the study's harmony, in thousandths. Learned by scripts/learn_study.py from expert labels of open scores
# (keyboard suites and sonatas, solo suites, sacred concertos, chorales: {works}).
# Weights only: no score, label or other data is stored here.
"""


class Labelled:
    """A piece in one texture with its frames, windows and answers."""

    def __init__(self, work: str, piece: Piece, table: Sequence[dict[str, str]]) -> None:
        self.work = work
        self.fold = -1
        line = timeline(piece)
        self.frames = frames = frames_of(piece, line)
        rows = [row for row in table if row["root"]]
        times = np.array([float(row["q"]) for row in rows])
        at = np.searchsorted(times, (frames.start + frames.end) / 2 / line.quarter, side="right") - 1
        self.weight = frames.length / line.quarter * (at >= 0)
        at = np.maximum(at, 0)
        self.root = np.array([fifths_of(row["root"]) + SHIFT for row in rows])[at]
        self.quality = np.array([QUALITIES.index(KINDS[row["quality"]]) for row in rows])[at]  # type: ignore[arg-type]
        self.inversion = np.array([int(row["inversion"] or 0) for row in rows])[at]
        tonic = np.array([fifths_of(row["local_key"].split()[0]) + SHIFT for row in rows])[at]
        minor = np.array([row["local_key"].endswith("minor") for row in rows])[at]
        self.key = 2 * np.clip(tonic - K.FIRST_TONIC, 0, K.TONICS - 1) + minor
        self.roots = C.roots_of(frames)
        self.beats = np.searchsorted(frames.beat, np.arange(int(frames.beat[-1]) + 1))
        self.signatures = np.array([bar.fifths for bar in piece.bars])[frames.bar[self.beats]]
        self.pauses = pauses_of(piece, line, frames)
        self.windows, self.facts = E.chord_windows(frames), E.frame_facts(frames)

    def first(self) -> Example:
        def see() -> Any:
            seen = np.stack([E.view(self.windows, root, E.REACH) for root in self.roots.tolist()], axis=1)
            facts = np.broadcast_to(self.facts[:, None], (*seen.shape[:2], self.facts.shape[1]))
            return np.concatenate([seen, facts], axis=2)

        index = self.root - self.roots[0]
        inside = (index >= 0) & (index < len(self.roots))
        return Example(see, np.where(inside, index, 0) * C.COUNT + self.quality, self.weight * inside)

    def keep_first(self, scorer: Scorer) -> None:
        self.score = K.log_softmax(scorer.scores(self.first().see()))
        self.field = E.chord_field(self.score, self.roots)

    def keys(self) -> Example:
        beats = self.beats
        seen = K.KeyView(
            E.key_windows(self.frames, beats, *E.whole_piece(self.frames)),
            E.key_field_windows(self.frames, beats, self.field), E.progressions(self.frames, beats, self.field),
            self.signatures, self.facts[beats, -1:], line_view(self.frames, beats, self.field, self.pauses),
        )  # fmt: skip
        tonics = range(K.FIRST_TONIC, K.FIRST_TONIC + K.TONICS)

        def see() -> Any:
            return np.stack([K.key_features(seen, tonic) for tonic in tonics], axis=1)

        return Example(see, self.key[beats], np.add.reduceat(self.weight, beats))

    def keep_keys(self, scorer: Scorer) -> None:
        score = K.log_softmax(scorer.scores(self.keys().see()))
        self.columns = K.key_path(
            self.frames, self.beats, score, self.signatures, self.pauses.chorale
        ).of_frames(self.frames)

    def second(self) -> Example:
        top = C.top_roots(self.score, self.roots)
        around = E.field_windows(self.frames, self.field)
        by_root = (self.score - self.score.max(axis=1, keepdims=True)).reshape(len(top), len(self.roots), C.COUNT)
        hit = self.roots[top] == self.root[:, None]

        def see() -> Any:
            seen: Any = None
            for index, root in enumerate(self.roots.tolist()):
                rows, columns = np.nonzero(top == index)
                if len(rows):
                    own = by_root[:, index]
                    part = C.second_features(self.windows, self.facts, around, self.columns, own, root, rows)
                    seen = np.zeros((*top.shape, part.shape[1]), dtype=np.float32) if seen is None else seen
                    seen[rows, columns] = part
            return seen

        return Example(see, hit.argmax(axis=1) * C.COUNT + self.quality, self.weight * hit.any(axis=1))

    def bass(self) -> Example:
        basses = E.bass_windows(self.frames)

        def see() -> Any:
            seen: Any = None
            for place in np.unique(self.root).tolist():
                rows = self.root == place
                part = C.inversion_features(basses[rows], self.facts[rows], place, self.quality[rows])
                seen = np.zeros((len(rows), 1, part.shape[1]), dtype=np.float32) if seen is None else seen
                seen[rows, 0] = part
            return seen

        return Example(see, self.inversion, self.weight * (self.quality != QUALITIES.index("augmented sixth")))


def fitted(examples: Sequence[Example], hidden: int, kinds: int, rounds: int, *, seeds: int = 1,
           **options: float) -> Scorer:  # fmt: skip
    features = examples[0].see().shape[2]
    return joined([
        Scorer(features, hidden, kinds, seed).fit(examples, rounds, **options) for seed in range(seeds)  # type: ignore[arg-type]
    ])  # fmt: skip


def often(pieces: Sequence[Labelled], examples: Sequence[Example]) -> list[Example]:
    """The examples, those of chorales so many times."""
    return [e for piece, e in zip(pieces, examples, strict=True) for _ in range(CHORALE if piece.pauses.chorale else 1)]


def deal(pieces: Sequence[Labelled]) -> None:
    works = sorted({piece.work for piece in pieces})
    for piece in pieces:
        piece.fold = works.index(piece.work) % FOLDS


def gathered(reporting: bool | None) -> list[Labelled]:
    """Every piece with all its parts and with its outer lines only; ``reporting`` picks one half, None both."""
    pieces = []
    for path in labelled(reporting):
        score = read(path)
        work, table = re.split(r"_|[abc]$", path.stem)[0], truth(path)
        pieces.append(Labelled(work, score, table))
        if "solo" not in path.parts[-3]:
            pieces.append(Labelled(work, outer(score), table))
    for chorale in chorales(None if reporting is None else not reporting):
        pieces.append(Labelled(chorale.name, chorale.piece, chorale.table))
        pieces.append(Labelled(chorale.name, outer(chorale.piece), chorale.table))
    deal(pieces)
    return pieces


def learn_chords(pieces: Sequence[Labelled]) -> Scorer:
    examples = [piece.first() for piece in pieces]

    def fit(fold: int) -> Scorer:
        kept = [(p, e) for p, e in zip(pieces, examples, strict=True) if p.fold != fold]
        return fitted(often(*zip(*kept, strict=True)), 32, C.COUNT, 12, decay=1e-3)

    for fold in range(FOLDS):
        unseen = fit(fold)
        for piece in pieces:
            if piece.fold == fold:
                piece.keep_first(unseen)
    return fit(-1)


def learn_keys(pieces: Sequence[Labelled]) -> Scorer:
    examples = [piece.keys() for piece in pieces]

    def fit(fold: int, seeds: int = 1) -> Scorer:
        kept = [(p, e) for p, e in zip(pieces, examples, strict=True) if p.fold != fold]
        options = {"rate": 2e-3, "decay": 3e-2, "dropout": 0.5, "batch": 64}
        return fitted(often(*zip(*kept, strict=True)), 16, 2, 8, seeds=seeds, **options)

    for fold in range(FOLDS):
        unseen = fit(fold)
        for piece in pieces:
            if piece.fold == fold:
                piece.keep_keys(unseen)
    return fit(-1, KEY_SEEDS)


def main() -> None:
    everything = "--all" in sys.argv
    pieces = gathered(None if everything else False)
    chord = learn_chords(pieces)
    print("first chords", flush=True)
    key = learn_keys(pieces)
    print("keys", flush=True)
    again = fitted(often(pieces, [piece.second() for piece in pieces]), 48, C.COUNT, 12)
    print("chords in keys", flush=True)
    bass = fitted(often(pieces, [piece.bass() for piece in pieces]), 24, 4, 8)
    works = "all works" if everything else "the tuning works"
    header = HEADER.format(works=f"{works} of bench/study_data.py")
    target = SHIPPED if everything else MEASURED
    target.parent.mkdir(exist_ok=True)
    layers = chord.toml("chord") + key.toml("key") + again.toml("chord_in_key") + bass.toml("inversion")
    target.write_text(header + layers, encoding="utf-8")


if __name__ == "__main__":
    main()
