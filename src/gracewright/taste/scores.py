"""What a manner thinks of every kind of grace on every tone, before rules that hold always and before spacing.

Conventions: a score is the kind's own weight plus the weight of every rule that holds there, times how far it holds
(features lie in [0, 1]); tones alike in their surroundings draw towards their common mean, so that one motif gets one
treatment.

Public: Scores, scores_of, rule_values, heard_again.
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


def _make(sites: Sites, manner: Manner) -> Scores:
    names = {kind: column for column, kind in enumerate(manner.kinds)}
    rules = rule_values(sites, manner) * np.array([weight.weight for weight in manner.weights])
    of_kind = np.zeros((len(manner.weights), len(names)))
    for row, weight in enumerate(manner.weights):
        of_kind[row, names[weight.rule.kind]] = 1
    by_kind = rules @ of_kind + np.array([bias for bias, _ in manner.bias.values()])
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
