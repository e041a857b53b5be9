"""Chorales by J. S. Bach against readings from outside: Roman numerals in music21's corpus (roots and keys, with and
without figures), and the sources' own figures (those we propose). On works no weight was learned from.

The floors lie below what ``bench/bench_study.py`` prints: they catch a broken reader, not a slightly worse one.
"""

import importlib.util
import os
import sys
from pathlib import Path

import pytest

from gracewright.score import read
from gracewright.study import study
from gracewright.study.tables import using

ROOT = Path(__file__).resolve().parents[2]
SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared"))
FIGURED = SHARED / "data" / "open" / "figured_bass_chorales" / "musicxml"
READ = ("riemenschneider012", "riemenschneider018", "riemenschneider020")


def load(name):
    spec = importlib.util.spec_from_file_location(name, ROOT / "bench" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def bench():
    data, _, chorales = (load(name) for name in ("study_data", "study_measures", "study_chorales"))
    with using(data.WEIGHTS):
        yield data, chorales


@pytest.fixture(scope="module")
def read_by_others(bench):
    return [chorale for chorale in bench[1].chorales(tuning=False) if chorale.name in READ]


def share(chorales, pieces, name):
    found = [chorales.shares(chorale, study(piece))[name] for chorale, piece in pieces]
    return sum(hit for hit, _ in found) / sum(total for _, total in found)


def test_roots_and_keys_of_chorales_agree(bench, read_by_others):
    pieces = [(chorale, chorale.piece) for chorale in read_by_others]

    assert share(bench[1], pieces, "root") >= 0.88
    assert share(bench[1], pieces, "key") >= 0.65


def test_figures_tell_the_roots_of_a_melody_and_bass(bench, read_by_others):
    """Two voices of four, with the figures an editor would write who hears the numerals."""
    data, chorales = bench
    thin = [(chorale, data.outer(chorale.piece)) for chorale in read_by_others]
    figured = [(chorale, chorales.with_figures(piece, chorale.table)) for chorale, piece in thin]

    assert share(chorales, figured, "root") >= max(0.90, share(chorales, thin, "root") + 0.05)


@pytest.mark.skipif(not FIGURED.exists(), reason="the figured chorales are not here")
def test_proposed_figures_are_those_of_the_sources(bench):
    pieces = [read(FIGURED / f"BWV_{name}_FB.musicxml") for name in ("113.08", "244.15", "36.08", "78.07")]
    found = [bench[1].figure_share(piece, study(bench[1].without_figures(piece)))[:2] for piece in pieces]

    assert sum(hit for hit, _ in found) / sum(total for _, total in found) >= 0.75
