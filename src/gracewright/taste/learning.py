"""Learn a manner from scores that carry graces: which features of a place go with which grace.

A manner learned is a manner like any other: the same planner reads it. It holds one weight a feature for graces of any
kind, one for every kind seen often enough, and new weights for the rules of the manner it starts from; all are drawn
towards that manner so that little evidence changes little. Fitted by penalised maximum likelihood over {no grace,
kinds}.

Conventions: weights are log-odds against no grace, shifted so that at 0 the plan is as dense as the scores were.

Public: Marked, Learned, marked_score, without_graces, kind_of, fit, LEAST, marked_from, marked_with,
logits_of.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from gracewright.taste.features import FEATURES
from gracewright.taste.growth import SHORT_BAR
from gracewright.taste.manner import ANY, Manner, kinds
from gracewright.taste.scores import rule_values
from gracewright.taste.sites import Floats, Ints, sites_of

LEAST: Final = 8
"""A kind must be seen so often to be learned."""
PULL: Final = 20.0
"""How strongly weights are drawn to the manner they start from (precision of the prior; own choice, see the bench)."""
OWN_PULL: Final = 40.0
"""The same for what each kind has of its own beyond what all graces share."""
BARE: Final = -3.0
"""Log-odds from which a kind starts that nothing is known of."""
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
    """A fitted manner: for each kind a bias, a weight for each feature and for each rule of the base manner; ``shared``
    holds for every kind, ``own`` is what a kind adds."""

    base: Manner
    kinds: tuple[str, ...]
    bias: Floats
    shared: Floats  # (SINGLES,)
    own: Floats  # (kinds, SINGLES)
    rules: Floats  # (weights of the base manner,)
    spacing: dict[str, float]
    density: dict[str, float]
    counts: dict[str, int]
    scores: tuple[str, ...]

    @property
    def features(self) -> Floats:
        """(kinds, SINGLES): all that a feature says for a kind."""
        return self.own + self.shared


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
    graces = {there.note: there.grace for there in page_graces(piece, found)}
    return marked_with(name, graces, plain, found, base)


def marked_with(name: str, graces: Mapping[str, Grace], plain: Piece, found: Study, base: Manner) -> Marked:
    """The same from graces by tone id."""
    sites = sites_of(plain, found)
    labels = np.full(len(sites.tones), -1, dtype=np.int64)
    names = tuple(kinds())
    for note, grace in graces.items():
        kind = kind_of(grace)
        labels[sites.index[note]] = names.index(kind) if kind else -2
    seconds = [float(bar.length) * 60 / float(found.tempo) for bar in plain.bars]
    return Marked(
        name, sites.values[:, 1:], rule_values(sites, base), labels, sites.gap, sites.phrase,
        sum(min(1.0, one / SHORT_BAR) for one in seconds), found.slow,
    )  # fmt: skip


def fit(
    scores: Sequence[Marked], base: Manner, *, pull: float = PULL, own_pull: float = OWN_PULL,
    start: Learned | None = None,
) -> Learned:  # fmt: skip
    """Fit a manner. ``start`` is an earlier fit to begin the search from. Raises BadInput where the scores hold too
    few graces to learn from."""
    names = tuple(kinds())
    labels = np.concatenate([score.labels for score in scores])
    counts = {name: int((labels == number).sum()) for number, name in enumerate(names)}
    learnt = tuple(
        name for name in names if (counts[name] >= LEAST or name in base.learned) and name in base.bias
    )  # little is learned of what is rare, but what was known of it before stays
    if counts["shake"] < LEAST:
        raise BadInput(f"these {len(scores)} scores carry only {sum(counts.values())} graces that can be learned from",
                       remedy=f"give scores with at least {LEAST} shakes")  # fmt: skip
    rows = np.isin(labels, [-1, *(names.index(name) for name in learnt)])
    features = np.concatenate([score.features for score in scores])[rows]
    rules = np.concatenate([score.rules for score in scores])[rows]
    target = np.zeros(int(rows.sum()), dtype=np.int64)
    for number, name in enumerate(learnt, start=1):
        target[labels[rows] == names.index(name)] = number
    prior = Block.of(base, learnt)
    found = prior.fitted(features, rules, target, pull, own_pull, Block.again(start, learnt) if start else None)
    ruled = np.array([weight.weight for weight in base.weights])
    for own, block in zip(prior.mine, found.rules, strict=True):
        ruled[own] = block
    made = Learned(base, learnt, found.bias, found.shared, found.own, ruled, dict(base.spacing), {}, counts,
                   tuple(score.name for score in scores))  # fmt: skip
    return _calibrated(made, scores)


@dataclass(frozen=True, eq=False)
class Block:
    """The weights of a fit: ``bias`` (kinds,), ``shared`` (SINGLES,) for any grace, ``own`` (kinds, SINGLES) for each
    kind besides, ``rules`` for each kind; ``mine`` which weights of the base manner are each kind's."""

    bias: Floats
    shared: Floats
    own: Floats
    rules: tuple[Floats, ...]
    mine: tuple[NDArray[np.bool_], ...]

    @staticmethod
    def of(base: Manner, learnt: Sequence[str]) -> Block:
        """The weights of a manner, to which a fit is drawn."""
        mine = tuple(np.array([w.rule.kind == name for w in base.weights], dtype=bool) for name in learnt)
        ruled = np.array([weight.weight for weight in base.weights])
        taught = [name in base.learned for name in learnt]
        bias = [base.bias[name][0] if known else BARE for name, known in zip(learnt, taught, strict=True)]
        shared = np.array([base.learned.get(ANY, {}).get(feature, 0.0) for feature in SINGLES])
        own = np.array([[base.learned.get(name, {}).get(feature, 0.0) for feature in SINGLES] for name in learnt])
        return Block(np.array(bias), shared, own, tuple(ruled[own_rules] for own_rules in mine), mine)

    @staticmethod
    def again(start: Learned, learnt: Sequence[str]) -> Block:
        """Where an earlier fit ended."""
        at = [start.kinds.index(name) for name in learnt]
        mine = tuple(np.array([w.rule.kind == n for w in start.base.weights], dtype=bool) for n in learnt)
        rules = tuple(start.rules[own] for own in mine)
        return Block(start.bias[at], start.shared, start.own[at], rules, mine)

    def flat(self) -> Floats:
        """All weights in one row."""
        return np.concatenate([self.bias, self.shared, self.own.ravel(), *self.rules])

    def shaped(self, point: Floats) -> Block:
        """A row of weights in this block's shape."""
        count, width = self.own.shape
        sizes = [count, width, count * width, *(len(block) for block in self.rules)]
        bias, shared, own, *rules = np.split(point, np.cumsum(sizes)[:-1])
        return Block(bias, shared, own.reshape(count, width), tuple(rules), self.mine)

    def logits(self, features: Floats, rules: Floats) -> Floats:
        """(tones, kinds): log-odds of each kind against no grace."""
        found = features @ (self.own + self.shared).T + self.bias
        for number, own in enumerate(self.mine):
            found[:, number] += rules[:, own] @ self.rules[number]
        logits: Floats = found
        return logits

    def fitted(
        self, features: Floats, rules: Floats, target: Ints, pull: float, own_pull: float, start: Block | None
    ) -> Block:
        """Penalised maximum likelihood, drawn to this block."""
        count = len(self.bias)
        prior = self.flat()
        free = self.shaped(np.ones(len(prior)))
        stiff = np.concatenate([0.05 * free.bias, pull * free.shared, own_pull * free.own.ravel(),
                                *(pull * block for block in free.rules)])  # fmt: skip
        hot = np.eye(count + 1)[target]

        def loss(point: Floats) -> tuple[float, Floats]:
            logits = np.concatenate([np.zeros((len(target), 1)), self.shaped(point).logits(features, rules)], axis=1)
            logits -= logits.max(axis=1, keepdims=True)
            shares = np.exp(logits)
            shares /= shares.sum(axis=1, keepdims=True)
            away = point - prior
            value = -np.log(np.maximum((shares * hot).sum(axis=1), 1e-300)).sum() + 0.5 * (stiff * away**2).sum()
            error = (shares - hot)[:, 1:]
            own = error.T @ features
            ruled = [error[:, number] @ rules[:, mine] for number, mine in enumerate(self.mine)]
            slopes = np.concatenate([error.sum(axis=0), own.sum(axis=0), own.ravel(), *ruled])
            return float(value), slopes + stiff * away

        first = start.flat() if start is not None else prior
        found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": 300, "ftol": 1e-6})
        return self.shaped(found.x)


def logits_of(learned: Learned, score: Marked) -> Floats:
    """(tones, kinds) scores of a marked score under a learned manner."""
    mine = tuple(np.array([w.rule.kind == name for w in learned.base.weights], dtype=bool) for name in learned.kinds)
    rules = tuple(learned.rules[own] for own in mine)
    return Block(learned.bias, learned.shared, learned.own, rules, mine).logits(score.features, score.rules)


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
