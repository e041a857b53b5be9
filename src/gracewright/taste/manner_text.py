"""Write a learned manner as TOML, and tell in words what was learned.

Public: manner_text, feature_lines, report, weights_plot.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gracewright.taste.features import FEATURES
from gracewright.taste.learning import SINGLES, Learned
from gracewright.taste.manner import ANY
from gracewright.taste.sites import Floats

SMALL: Final = 0.05
"""Weights smaller than this are left out of the table."""
TOLD: Final = 5


def manner_text(learned: Learned, name: str, title: str, *, origin: str = "marked scores", about: str = "") -> str:
    """The manner as a TOML table that :func:`gracewright.taste.load_manner` reads."""
    base = learned.base
    total = sum(learned.counts[kind] for kind in learned.kinds)
    lines = [
        f"# {title}. Learned from {len(learned.scores)} scores with {total} graces; started from the manner {base.id}.",
        "# Weights are in the planner's own unit (log-odds): above 0 a reason for, below 0 against.", "",
        f'id = "{name}"', f'title = "{title}"',
        f'about = "{about or f"Learned from {len(learned.scores)} scores, starting from {base.id}."}"',
        f'region = "{base.region}"', f'years = "{base.years}"', f'source = "{base.source}"',
        f'inequality = "{base.inequality}"', 'set_by = "learned"', f'learned_from = "{origin}"', "",
        "weights = [  # rules of the manner it started from, with their new weights",
    ]  # fmt: skip
    for number, weight in enumerate(base.weights):
        if weight.rule.kind in learned.kinds:
            value = f"{learned.rules[number]:.2f}"
            lines.append(f'  {{ rule = "{weight.rule.id}", weight = {value}, source = "{origin}" }},')
    lines += ["]", "", "[density]  # graces a bar in these scores",
              *(f"{key} = {value}" for key, value in learned.density.items()), "",
              f"[growth]  # as in {base.id}", *(f"{key} = {value}" for key, value in base.growth.items()), "",
              f"[shake]  # as in {base.id}"]  # fmt: skip
    lines += [f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {value}"
              for key, value in base.shake.items()]  # fmt: skip
    lines += ["", "[spacing]  # how much rarer close graces are than chance would have them",
              *(f"{key} = {value}" for key, value in learned.spacing.items()), "", "[kinds]"]  # fmt: skip
    lines += [f'{kind} = {{ weight = {bias:.2f}, source = "{origin}" }}'
              for kind, bias in zip(learned.kinds, learned.bias, strict=True)]  # fmt: skip
    return "\n".join([*lines, *feature_lines(learned)]) + "\n"


def feature_lines(learned: Learned, small: float = SMALL) -> list[str]:
    """The learned weights of features, strongest first: ``any`` for graces of every kind, then each kind's own."""
    lines = []
    for heading, row in ((ANY, learned.shared), *zip(learned.kinds, learned.own, strict=True)):
        lines += ["", f"[learned.{heading}]"]
        order = sorted(range(len(SINGLES)), key=lambda column: -abs(row[column]))
        lines += [f"{_key(SINGLES[column])} = {row[column]:.2f}" for column in order if abs(row[column]) >= small]
    return lines


def _key(feature: str) -> str:
    """A feature as a key in TOML."""
    return f'"{feature}"' if "&" in feature else feature


def _news(learned: Learned) -> Floats:
    """(kinds, SINGLES): what the scores say of each feature beyond the manner that was started from."""
    known = learned.base.learned
    before = [[known.get(heading, {}).get(feature, 0.0) for feature in SINGLES] for heading in (ANY, *learned.kinds)]
    found: Floats = learned.features - np.array(before[1:]) - np.array(before[0])
    return found


ENOUGH: Final = 5
"""Of a kind with fewer graces nothing is claimed."""


def report(learned: Learned) -> str:
    """What was learned, in words: for every kind what speaks for it and what against, and how dense the scores are."""
    counts = ", ".join(f"{learned.counts[kind]} of kind {kind.replace('-', ' ')}" for kind in learned.kinds)
    rare = [kind for kind, count in learned.counts.items() if count and kind not in learned.kinds]
    lines = [f"Learned from {len(learned.scores)} scores: {counts}."]
    if rare:
        lines.append(f"Too rare to learn: {', '.join(kind.replace('-', ' ') for kind in rare)}.")
    dense = ", ".join(f"{value:g} a bar where the music is {key}" for key, value in learned.density.items())
    lines.append(f"Graces: {dense}.")
    for kind, row in zip(learned.kinds, _news(learned), strict=True):
        order = np.argsort(-row)
        wanted = [FEATURES[SINGLES[column]] for column in order[:TOLD] if row[column] > SMALL]
        shunned = [FEATURES[SINGLES[column]] for column in order[::-1][:TOLD] if row[column] < -SMALL]
        named = kind.replace("-", " ")
        if learned.counts[kind] < ENOUGH:
            count = learned.counts[kind] or "none"
            lines.append(f"{named[:1].upper()}{named[1:]}: {count} in these scores, too few to learn from; left as in "
                         "the manner that was started from.")  # fmt: skip
            continue
        lines.append(f"{named[:1].upper()}{named[1:]}: likes it where {'; '.join(wanted) or 'nothing stands out'}. "
                     f"Shuns it where {'; '.join(shunned) or 'nothing stands out'}.")  # fmt: skip
    return "\n".join(lines) + "\n"


def weights_plot(learned: Learned, most: int = 12) -> str:
    """The strongest weights of every kind as an SVG picture, one panel a kind. Needs matplotlib."""
    from io import StringIO

    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    count = len(learned.kinds)
    figure = Figure(figsize=(9, 3.2 * count), layout="constrained")
    FigureCanvasSVG(figure)
    panels = figure.subplots(count, 1, squeeze=False)[:, 0]
    for kind, panel, row in zip(learned.kinds, panels, _news(learned), strict=True):
        order = np.argsort(-np.abs(row))[:most][::-1]
        colours = ["#2a6f6b" if row[column] > 0 else "#a0522d" for column in order]
        panel.barh(range(len(order)), row[order], color=colours)
        panel.set_yticks(range(len(order)), [FEATURES[SINGLES[column]] for column in order], fontsize=8)
        panel.axvline(0, color="black", linewidth=0.8)
        panel.set_title(f"{kind.replace('-', ' ')} ({learned.counts[kind]} in the scores)", fontsize=10)
    picture = StringIO()
    figure.savefig(picture, format="svg", metadata={"Date": None})
    return picture.getvalue()
