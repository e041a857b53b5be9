"""Learn a manner from scores that carry graces: which features of a place go with which grace.

A manner learned is a manner like any other: the same planner reads it. For every kind seen often enough it holds one
weight a feature, and new weights for the rules of the manner it starts from; all are drawn towards that manner (zero
for features) so that little evidence changes little. Fitted by penalised maximum likelihood over {no grace, kinds}.

Conventions: weights are log-odds against no grace, shifted so that at 0 the plan is as dense as the scores were.

Public: Marked, Learned, marked_score, without_graces, kind_of, fit, LEAST, marked_from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from gracewright.errors import BadInput
from gracewright.graces import Grace, page_graces
from gracewright.score import Piece, read
from gracewright.study import Study, study
from gracewright.taste.growth import SHORT_BAR
from gracewright.taste.manner import Manner, kinds
from gracewright.taste.scores import rule_values
from gracewright.taste.sites import FEATURES, Floats, Ints, sites_of

LEAST: Final = 8
"""A kind must be seen so often to be learned."""
PULL: Final = 1.0
"""How strongly weights are drawn to the manner they start from (precision of the prior; own choice, see the bench)."""
ALIKE: Final = {
    "shake": "shake", "appoggiatura-shake": "shake", "turned-shake": "shake",
    "appoggiatura-mordent": "appoggiatura-below", "turn-after": "turn",
}  # fmt: skip
SINGLES: Final = tuple(name for name in FEATURES if name != "always")


@dataclass(frozen=True, eq=False)
class Marked:
    """What one marked score teaches: features (tones, FEATURES without ``always``), values of the base manner's rules
    (tones, weights), the kind on each tone (index into ``names``, -1 none, -2 a grace no kind stands for)."""

    name: str
    features: Floats
    rules: Floats
    labels: Ints
    gap: Floats
    phrase: Ints
    bars: float
    slow: bool


@dataclass(frozen=True, eq=False)
class Learned:
    """A fitted manner: for each kind a bias, a weight for each feature and for each rule of the base manner."""

    base: Manner
    kinds: tuple[str, ...]
    bias: Floats
    features: Floats  # (kinds, SINGLES)
    rules: Floats  # (weights of the base manner,)
    spacing: dict[str, float]
    density: dict[str, float]
    counts: dict[str, int]
    scores: tuple[str, ...]


def without_graces(piece: Piece) -> Piece:
    """The same piece as if its page carried no grace: signs, small notes and wavy lines are left out."""

    notes = tuple(
        replace(note, marks=replace(note.marks, signs=(), before=(), after=(), wavy=()))
        if note.marks.signs or note.marks.before or note.marks.after or note.marks.wavy
        else note
        for note in piece.notes
    )
    return replace(piece, notes=notes, document=None)


def kind_of(grace: Grace) -> str:
    """The kind that stands for a grace, empty where none does.

    >>> kind_of(Grace("appoggiatura", direction="below", size="long")), kind_of(Grace("turn-after"))
    ('appoggiatura-below', 'turn')
    """
    if grace.id == "appoggiatura":
        if grace.direction == "below":
            return "appoggiatura-below"
        return {"passing": "passing-appoggiatura", "short": "short-appoggiatura"}.get(grace.size, "appoggiatura-above")
    name = ALIKE.get(grace.id, grace.id)
    return name if name in kinds() else ""


def marked_score(path: Path, base: Manner, *, solo: str = "", bass: str = "") -> Marked:
    """Read one score, set its graces aside, and study what is left. Raises BadInput."""
    piece = read(path)
    plain = without_graces(piece)
    found = study(plain, solo=solo, bass=bass)
    return marked_from(path.name, piece, plain, found, base)


def marked_from(name: str, piece: Piece, plain: Piece, found: Study, base: Manner) -> Marked:
    """The same from a piece with its graces, the piece without, and the study of the latter."""
    sites = sites_of(plain, found)
    labels = np.full(len(sites.tones), -1, dtype=np.int64)
    names = tuple(kinds())
    for there in page_graces(piece, found):
        kind = kind_of(there.grace)
        labels[sites.index[there.note]] = names.index(kind) if kind else -2
    seconds = [float(bar.length) * 60 / float(found.tempo) for bar in piece.bars]
    return Marked(
        name, sites.values[:, 1:], rule_values(sites, base), labels, sites.gap, sites.phrase,
        sum(min(1.0, one / SHORT_BAR) for one in seconds), found.slow,
    )  # fmt: skip


def fit(scores: Sequence[Marked], base: Manner, *, pull: float = PULL) -> Learned:
    """Fit a manner. Raises BadInput where the scores hold too few graces to learn from."""
    names = tuple(kinds())
    labels = np.concatenate([score.labels for score in scores])
    counts = {name: int((labels == number).sum()) for number, name in enumerate(names)}
    learnt = tuple(name for name in names if counts[name] >= LEAST and name in base.bias)
    if "shake" not in learnt:
        raise BadInput(f"these {len(scores)} scores carry only {sum(counts.values())} graces that can be learned from",
                       remedy=f"give scores with at least {LEAST} shakes")  # fmt: skip
    rows = np.isin(labels, [-1, *(names.index(name) for name in learnt)])
    features = np.concatenate([score.features for score in scores])[rows]
    rules = np.concatenate([score.rules for score in scores])[rows]
    target = np.zeros(int(rows.sum()), dtype=np.int64)
    for number, name in enumerate(learnt, start=1):
        target[labels[rows] == names.index(name)] = number
    mine = [np.array([w.rule.kind == name for w in base.weights], dtype=bool) for name in learnt]
    prior = np.array([weight.weight for weight in base.weights])
    bias, weights, rule_weights = _fit(features, rules, target, mine, prior, pull)
    made = Learned(base, learnt, bias, weights, rule_weights, dict(base.spacing), {}, counts,
                   tuple(score.name for score in scores))  # fmt: skip
    return _calibrated(made, scores)


def _fit(
    features: Floats, rules: Floats, target: Ints, mine: list[NDArray[np.bool_]], prior: Floats, pull: float
) -> tuple[Floats, Floats, Floats]:
    """Penalised maximum likelihood. Rules of kinds that are not learned keep their prior."""
    count, width = len(mine), features.shape[1]
    hot = np.eye(count + 1)[target]
    columns = [rules[:, own] for own in mine]
    sizes = [1 + width + int(own.sum()) for own in mine]
    cuts = np.cumsum([0, *sizes])
    start = np.concatenate([np.concatenate([[-3.0], np.zeros(width), prior[own]]) for own in mine])
    free = np.concatenate([np.concatenate([[0.05], np.ones(size - 1)]) for size in sizes]) * pull

    def parts(point: Floats) -> list[tuple[Floats, Floats, Floats]]:
        found = []
        for number in range(count):
            block = point[cuts[number] : cuts[number + 1]]
            found.append((block[0], block[1 : 1 + width], block[1 + width :]))
        return found

    def loss(point: Floats) -> tuple[float, Floats]:
        logits = np.zeros((len(target), count + 1))
        for number, (bias, own, ruled) in enumerate(parts(point)):
            logits[:, number + 1] = bias + features @ own + columns[number] @ ruled
        logits -= logits.max(axis=1, keepdims=True)
        shares = np.exp(logits)
        shares /= shares.sum(axis=1, keepdims=True)
        away = point - start
        value = -np.log(np.maximum((shares * hot).sum(axis=1), 1e-300)).sum() + 0.5 * (free * away**2).sum()
        error = shares - hot
        slopes = [
            np.concatenate([[error[:, n + 1].sum()], error[:, n + 1] @ features, error[:, n + 1] @ columns[n]])
            for n in range(count)
        ]
        return float(value), np.concatenate(slopes) + free * away

    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": 300})
    blocks = parts(found.x)
    ruled = prior.copy()
    for own, (_, _, block) in zip(mine, blocks, strict=True):
        ruled[own] = block
    return np.array([block[0] for block in blocks]), np.stack([block[1] for block in blocks]), ruled


def logits_of(learned: Learned, score: Marked) -> Floats:
    """(tones, kinds) scores of a marked score under a learned manner."""
    found = learned.bias + score.features @ learned.features.T
    for number, name in enumerate(learned.kinds):
        own = np.array([weight.rule.kind == name for weight in learned.base.weights], dtype=bool)
        found[:, number] += score.rules[:, own] @ learned.rules[own]
    logits: Floats = found
    return logits


def _calibrated(learned: Learned, scores: Sequence[Marked]) -> Learned:
    """Shift the biases so that as many tones stand above 0 as bore graces; measure density and spacing."""
    best = np.concatenate([logits_of(learned, score).max(axis=1) for score in scores])
    graced = np.concatenate([score.labels != -1 for score in scores])
    shift = float(np.quantile(best, 1 - graced.mean()))
    density = {}
    for name, slow in (("slow", True), ("lively", False)):
        chosen = [score for score in scores if score.slow == slow]
        graces = sum(int((score.labels != -1).sum()) for score in chosen)
        bars = sum(score.bars for score in chosen)
        density[name] = round(graces / bars, 3) if bars else learned.base.density[name]
    return replace(learned, bias=learned.bias - shift, density=density, spacing=_spacing(learned, scores))


def _spacing(learned: Learned, scores: Sequence[Marked]) -> dict[str, float]:
    """How much rarer graces stand next to one another than chance would have them, as log-odds, 0 at least."""
    found = {}
    for name, steps in (("next", 1), ("second", 2)):
        seen = {True: 0.5, False: 0.5}
        due = {True: 0.5, False: 0.5}
        for score in scores:
            shares = np.exp(logits_of(learned, score))
            shares /= 1 + shares.sum(axis=1, keepdims=True)
            families = [kinds()[kind].family for kind in learned.kinds]
            joint = shares[:-steps].T @ shares[steps:]
            for one, first in enumerate(families):
                for two, second in enumerate(families):
                    due[first == second] += float(joint[one, two])
            known = tuple(kinds())
            for one, two in zip(score.labels[:-steps], score.labels[steps:], strict=True):
                if one >= 0 and two >= 0:
                    same = kinds()[known[one]].family == kinds()[known[two]].family
                    seen[same] += 1
        for same, word in ((True, "same"), (False, "other")):
            found[f"{name}_{word}"] = round(float(np.clip(np.log(due[same] / seen[same]), 0, 3)), 2)
    return found
