"""The manner that suits a piece is told from its page; what schools composers belong to is common practice."""

from dataclasses import replace

import pytest

from gracewright.taste import load_manner, manner_for
from gracewright.taste.schools import _table


@pytest.mark.parametrize(
    ("composer", "title", "manner"),
    [
        ("Bach, Johann Sebastian", "", "german-suites"),
        ("C. P. E. Bach", "", "german"),
        ("J. C. Bach", "", "galant"),
        ("Scarlatti, Domenico", "", "italian"),
        ("Jean-Philippe Rameau", "", "french"),
        ("H. Purcell", "", "english"),
        ("G. F. Händel", "", "german"),
        ("", "Suite BWV 812", "german-suites"),
        ("", "Sonata RV 50", "italian"),
    ],
)
def test_the_composer_or_his_catalogue_decides(adagio, composer, title, manner):
    piece, study = adagio
    suited = manner_for(replace(piece, composer=composer, title=title), study)
    assert suited.manner == manner
    assert "names" in suited.why or "number" in suited.why


def test_a_dance_without_a_name_is_french_and_all_else_mixed(adagio):
    piece, study = adagio
    nameless = replace(piece, composer="", title="")

    assert manner_for(nameless, replace(study, dance="sarabande")).manner == "french"
    assert manner_for(nameless, replace(study, dance="")).manner == "german"


def test_every_manner_of_the_table_is_there():
    for school in _table()["school"]:
        assert load_manner(school["manner"]).id == school["manner"]
