"""What a manner thinks of every kind of grace on every tone, before rules that hold always and before spacing.

Conventions: a score is the kind's own weight plus the weight of every rule that holds there, times how far it holds
(features lie in [0, 1]); tones alike in their surroundings draw towards their common mean, so that one motif gets one
treatment.

Public: Scores, scores_of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gracewright.taste.manner import Manner
from gracewright.taste.sites import COLUMN, Floats, Sites

TOGETHER: Final = 0.5
"""How far tones of one motif are drawn to their mean (own choice)."""


@dataclass(frozen=True, eq=False)
class Scores:
    """``kinds`` (tones, kinds of the manner); ``rules`` (tones, weights of the manner): what each rule contributes."""

    kinds: Floats
    rules: Floats


def scores_of(sites: Sites, manner: Manner) -> Scores:
    """The scores; kept with the table of sites."""
    found, _ = sites.keep(("scores", id(manner)), lambda: (_make(sites, manner), manner))
    return found


def _make(sites: Sites, manner: Manner) -> Scores:
    count = len(sites.tones)
    names = {kind: column for column, kind in enumerate(manner.kinds)}
    rules = np.zeros((count, len(manner.weights)))
    by_kind = np.zeros((count, len(names)))
    by_kind += np.array([bias for bias, _ in manner.bias.values()])
    for column, weight in enumerate(manner.weights):
        held = np.full(count, weight.weight)
        for feature in weight.rule.when:
            held *= sites.values[:, COLUMN[feature]]
        for feature in weight.rule.unless:
            held *= 1 - sites.values[:, COLUMN[feature]]
        rules[:, column] = held
        by_kind[:, names[weight.rule.kind]] += held
    return Scores(_drawn_together(by_kind, sites), rules)


def _drawn_together(by_kind: Floats, sites: Sites) -> Floats:
    if not len(by_kind):
        return by_kind
    groups = int(sites.motif.max()) + 1
    sizes = np.bincount(sites.motif, minlength=groups)
    means = np.zeros((groups, by_kind.shape[1]))
    np.add.at(means, sites.motif, by_kind)
    means /= sizes[:, None]
    drawn: Floats = (1 - TOGETHER) * by_kind + TOGETHER * means[sites.motif]
    return drawn
