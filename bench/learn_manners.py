"""Fit the learned weights of the manners we ship, from open scores that carry graces.

    python bench/learn_manners.py               from all of them, into src/gracewright/taste/manners/learned
    python bench/learn_manners.py --tuning      from the tuning half only, to look at the other in bench_taste.py

First *masters* is fitted to everything, then each manner to its own scores, drawn to masters. Only weights leave here,
no score does. What was learned from is told in each file.
"""

import argparse
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from gracewright.taste.learning import SINGLES, Learned, fit
from gracewright.taste.manner import ANY, Manner, load_manner
from gracewright.taste.manner_text import feature_lines
from marked_data import Case, cases
from study_data import OPEN, ROOT

LEARNED = ROOT / "src" / "gracewright" / "taste" / "manners" / "learned"
BASE = "german"
"""The manner whose rules and kinds ``masters`` starts from."""
PULL, OWN_PULL = 15.0, 50.0
NEAR, OWN_NEAR = 100.0, 150.0
"""How strongly a manner is drawn to masters."""
UNSEEN = {"others": 1.6, "division": 2.2}
"""What kinds that no score carries cost besides what is set by hand, on the scale of the learned ones (own choice);
passages have no sign, so that their absence says less."""
SMALL = 0.12
LIFT = {"french": {"others": 0.9}, "german-suites": {"others": 0.8}}
"""As the manners themselves say."""


@dataclass(frozen=True)
class School:
    """A manner we ship: the table it is fitted over, what it is fitted to, and how that is told."""

    manner: str
    sets: tuple[str, ...]
    told: str


SCHOOLS = {
    "suites": School("french", ("dcml_bach_en_fr_suites", "dcml_bach_solo"),
                     "J. S. Bach's English and French suites and solo pieces"),
    "berlin": School("german", ("dcml_cpe_bach_keyboard", "dcml_wf_bach_sonatas"),
                     "keyboard pieces by C. P. E. and W. F. Bach"),
    "scarlatti": School("italian", ("dcml_scarlatti_sonatas", "scarlatti_kern"), "D. Scarlatti's sonatas"),
    "galant": School("galant", ("polish_continuo", "dcml_pergolesi_stabat_mater"),
                     "concerted pieces with figured bass from the 17th and 18th centuries"),
}  # fmt: skip
"""Learned table → school."""
EVERYBODY = "marked scores of J. S., C. P. E. and W. F. Bach, D. Scarlatti and of pieces with figured bass"


def learn(found: Sequence[Case], start: dict[str, Learned] | None = None, schools: Sequence[str] = tuple(SCHOOLS)) -> (
        dict[str, Learned]):  # fmt: skip
    """Masters and the schools; ``start`` is an earlier result to begin the search from."""
    before = start or {}
    base = load_manner(BASE, learned=False)
    lessons = [case.lesson(base) for case in found]
    masters = fit(lessons, base, pull=PULL, own_pull=OWN_PULL, start=before.get("masters"))
    learnt = {"masters": masters}
    for name in schools:
        school = SCHOOLS[name]
        hand = drawn_to(load_manner(school.manner, learned=False), masters)
        own = [case.lesson(hand) for case in found if case.corpus in school.sets]
        learnt[name] = fit(own, hand, pull=NEAR, own_pull=OWN_NEAR, start=before.get(name))
    return learnt


def drawn_to(manner: Manner, masters: Learned) -> Manner:
    """A manner set by hand with the weights of masters in place of its own, where masters has any."""
    ruled = {weight.rule.id: float(value) for weight, value in zip(masters.base.weights, masters.rules, strict=True)}
    biases = dict(zip(masters.kinds, masters.bias, strict=True))
    bias = {kind: (float(biases.get(kind, entry[0])), entry[1]) for kind, entry in manner.bias.items()}
    weights = tuple(replace(weight, weight=ruled.get(weight.rule.id, weight.weight)) for weight in manner.weights)
    return replace(manner, bias=bias, weights=weights, learned=tables(masters))


def tables(learned: Learned) -> dict[str, dict[str, float]]:
    """The learned weights of features, by kind."""
    rows = {ANY: learned.shared, **dict(zip(learned.kinds, learned.own, strict=True))}
    return {kind: {name: float(value) for name, value in zip(SINGLES, row, strict=True)} for kind, row in rows.items()}


def manner_of(name: str, learned: Learned) -> Manner:
    """A manner as it would be loaded with this table of learned weights in the place of its own."""
    shipped, hand = load_manner(name), load_manner(name, learned=False)
    lift, found = LIFT.get(name, {}), drawn_to(hand, learned)
    bias = {kind: (shipped.bias[kind][0], source) for kind, (_, source) in found.bias.items()}
    for kind in learned.kinds:
        weight, source = found.bias.get(kind, (0.0, ""))
        if kind in bias:
            bias[kind] = weight + lift.get(kind, lift.get("others", 0.0)), source
    return replace(found, bias=bias, spacing=learned.spacing, density=shipped.density)


def text(learned: Learned, told: str) -> str:
    """The table of learned weights as TOML."""
    total = sum(learned.counts[kind] for kind in learned.kinds)
    lines = [
        "# Learned weights, in log-odds: above 0 a reason for a grace, below 0 against. They are laid over a manner",
        "# set by hand: `kinds` and `rules` replace its weights, `learned` adds weights of features.",
        "# Written by bench/learn_manners.py; do not edit by hand.", "",
        f'learned_from = "{told} ({len(learned.scores)} scores, {total} graces)"',
        "",
        "[unseen]  # taken from kinds that these scores do not carry (own choice)",
        *(f"{kind} = {value}" for kind, value in UNSEEN.items()), "",
        "[kinds]  # before any rule speaks",
        *(f"{kind} = {value:.2f}" for kind, value in zip(learned.kinds, learned.bias, strict=True)), "",
        "[spacing]  # how much rarer close graces are than chance would have them",
        *(f"{key} = {value}" for key, value in learned.spacing.items()), "", "[rules]",
    ]  # fmt: skip
    rules = zip(learned.base.weights, learned.rules, strict=True)
    lines += [f"{weight.rule.id} = {value:.2f}" for weight, value in rules if weight.rule.kind in learned.kinds]
    return "\n".join([*lines, *feature_lines(learned, SMALL)]) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tuning", action="store_true")
    asked = parser.parse_args()
    if not OPEN.is_dir():
        print(f"skipped: no shared data at {os.fspath(OPEN)}")
        return
    found = learn(cases(False if asked.tuning else None))
    LEARNED.mkdir(exist_ok=True)
    for name, learned in found.items():
        told = EVERYBODY if name == "masters" else SCHOOLS[name].told
        path = Path(LEARNED / f"{name}.toml")
        path.write_text(text(learned, told), encoding="utf-8")
        print(f"{path.relative_to(ROOT)}: {len(learned.scores)} scores, "
              f"{sum(learned.counts[kind] for kind in learned.kinds)} graces, {', '.join(learned.kinds)}")  # fmt: skip


if __name__ == "__main__":
    main()
