"""What a manner thinks of every kind of grace on every tone, before rules that hold always and before spacing.

Conventions: a score is the kind's own weight, plus the weight of every rule that holds there times how far it holds
(features lie in [0, 1]), plus the learned weights of the features that hold there. Tones alike in their surroundings
draw towards their common mean, so that one motif gets one treatment; tones alike in rhythm agree on how much they want
a grace at all.

Public: Scores, scores_of, rule_values, heard_again, learned_table.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.taste.features import COLUMN, FEATURES
from gracewright.taste.manner import ANY, Manner, kinds
from gracewright.taste.sites import Floats, Ints, Sites

TOGETHER: Final = 0.3
"""How far tones of one motif are drawn to their mean (own choice, see the bench)."""
IN_STEP: Final = 0.5
"""How far the wish for any grace is drawn to the mean of tones alike in rhythm (own choice, see the bench)."""


BY_HAND: Final = 1.5
"""How much a unit of what is set by hand parts the kinds, where the hand chooses between them (own choice)."""


@dataclass(frozen=True, eq=False)
class Scores:
    """``kinds`` (tones, kinds of the manner); ``rules`` (tones, weights of the manner): what each rule contributes;
    ``learned`` (features, kinds): the learned weights."""

    kinds: Floats
    rules: Floats
    learned: Floats


def scores_of(sites: Sites, manner: Manner) -> Scores:
    """The scores; kept with the table of sites."""
    found, _ = sites.keep(("scores", id(manner)), lambda: (_make(sites, manner), manner))
    return found


def rule_values(sites: Sites, manner: Manner) -> Floats:
    """(tones, weights): how far each rule of a manner holds on each tone, before its weight."""
    held = np.ones((len(sites.tones), len(manner.weights)))
    for column, weight in enumerate(manner.weights):
        for feature in weight.rule.when:
            held[:, column] *= sites.values[:, COLUMN[feature]]
        for feature in weight.rule.unless:
            held[:, column] *= 1 - sites.values[:, COLUMN[feature]]
    return held


def heard_again(sites: Sites, manner: Manner) -> Floats:
    """(tones, kinds): what the rules about passages heard before add where a repeat sign brings the bars again."""

    def make() -> tuple[Floats, Manner]:
        lift = np.zeros((len(sites.tones), len(manner.kinds)))
        for weight in manner.weights:
            if "again" in weight.rule.when:
                held = weight.weight * (1 - sites.on("again"))
                for feature in weight.rule.when:
                    held = held * (1 if feature == "again" else sites.on(feature))
                for feature in weight.rule.unless:
                    held = held * (1 - sites.on(feature))
                lift[:, manner.kinds.index(weight.rule.kind)] += held
        return lift, manner

    found, _ = sites.keep(("again", id(manner)), make)
    return found


def learned_table(manner: Manner, names: Sequence[str]) -> Floats:
    """(FEATURES, kinds): learned weights; those for any grace go to every kind that was learned."""
    table = np.zeros((len(FEATURES), len(names)))
    for column, kind in enumerate(names):
        if kind in manner.learned:
            for heading in (ANY, kind):
                for feature, weight in manner.learned.get(heading, {}).items():
                    table[COLUMN[feature], column] += weight
    return table


def _make(sites: Sites, manner: Manner) -> Scores:
    names = {kind: column for column, kind in enumerate(manner.kinds)}
    rules = rule_values(sites, manner) * np.array([weight.weight for weight in manner.weights])
    of_kind = np.zeros((len(manner.weights), len(names)))
    for row, weight in enumerate(manner.weights):
        of_kind[row, names[weight.rule.kind]] = 1
    learned = learned_table(manner, manner.kinds)
    by_kind = rules @ of_kind + sites.values @ learned + np.array([bias for bias, _ in manner.bias.values()])
    drawn = _drawn_together(by_kind, sites.motif)
    taught = np.array([kind in manner.learned or not manner.learned for kind in manner.kinds])
    drawn[:, taught] = _in_step(drawn[:, taught], sites.rhythm)
    if manner.which == "hand" and manner.learned:
        drawn = _chosen_by_hand(drawn, sites, manner, taught)
    return Scores(drawn, rules, learned)


def _chosen_by_hand(drawn: Floats, sites: Sites, manner: Manner, taught: NDArray[np.bool_]) -> Floats:
    """Scores say where a grace is wanted, what is set by hand which: kinds differ by what the hand thinks of them.
    Passages are no matter of signs and stay as they are."""
    held = rule_values(sites, manner)
    hand = np.tile([manner.by_hand[kind] for kind in manner.kinds], (len(drawn), 1))
    for column, weight in enumerate(manner.weights):
        hand[:, manner.kinds.index(weight.rule.kind)] += held[:, column] * weight.by_hand
    hand = _drawn_together(hand, sites.motif)
    graces = np.array([kinds()[kind].family != "division" for kind in manner.kinds])
    where = drawn[:, taught].max(axis=1, keepdims=True)
    found = drawn.copy()
    found[:, graces] = where + BY_HAND * (hand[:, graces] - hand[:, graces].max(axis=1, keepdims=True))
    return found


def _drawn_together(by_kind: Floats, motif: Ints) -> Floats:
    if not len(by_kind):
        return by_kind
    drawn: Floats = (1 - TOGETHER) * by_kind + TOGETHER * _means(by_kind, motif)
    return drawn


def _in_step(by_kind: Floats, rhythm: Ints) -> Floats:
    if not len(by_kind):
        return by_kind
    best = by_kind.max(axis=1, keepdims=True)
    drawn: Floats = by_kind + IN_STEP * (_means(best, rhythm) - best)
    return drawn


def _means(values: Floats, groups: Ints) -> Floats:
    """The mean of each row's group, in its place."""
    count = int(groups.max()) + 1
    sums = np.zeros((count, values.shape[1]))
    np.add.at(sums, groups, values)
    means: Floats = (sums / np.bincount(groups, minlength=count)[:, None])[groups]
    return means
