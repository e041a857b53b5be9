"""Manners are tables that a player can read, copy and get wrong with a clear answer."""

import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

from gracewright.errors import BadInput, TableError
from gracewright.taste import load_manner, manners
from gracewright.taste.manner import COMMON, build, kinds, rules

HERE = Path(str(files("gracewright.taste")))


def test_the_four_manners_are_there():
    assert {"english", "french", "german", "italian"} <= set(manners())


@pytest.mark.parametrize("name", manners())
def test_every_line_names_a_source_or_says_common_practice(name):
    table = tomllib.loads((HERE / "manners" / f"{name}.toml").read_text(encoding="utf-8"))
    lines = [*table.get("weights", ()), *table.get("kinds", {}).values()]

    assert all(line["source"] for line in lines)
    manner = load_manner(name)
    assert manner.set_by in ("hand", "learned", "hand and learned")
    assert ("learned" in manner.set_by) == bool(manner.learned_from)


def test_rules_name_only_features_and_graces_that_exist():
    assert len(rules()) >= 60
    assert {rule.kind for rule in rules().values()} <= set(kinds())


def test_french_music_has_set_graces_and_italian_music_passages():
    """Facts of the trade (common practice, no source): French set signs, Italian running passages."""
    french, italian = load_manner("french"), load_manner("italian")

    assert len(french.kinds) > len(italian.kinds)
    assert italian.bias["division"][0] > french.bias["division"][0] + 2
    assert french.ratio is not None
    assert italian.ratio is None


def test_a_copied_manner_may_differ_in_one_line(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text(
        'like = "french"\nid = "mine"\ntitle = "Mine"\n'
        'weights = [{ rule = "shake-dotted", weight = 2.5, source = "common practice" }]\n',
        encoding="utf-8",
    )
    manner = load_manner(str(mine))
    weight = {weight.rule.id: weight.weight for weight in manner.weights}

    assert weight["shake-dotted"] == 2.5
    assert len(weight) == len(load_manner("french").weights)
    assert manner.source == "danglebert1689"


def test_an_unknown_manner_is_refused_with_the_names():
    with pytest.raises(BadInput, match=r"choose one of .*french"):
        load_manner("martian")


def test_a_manner_that_is_no_toml_is_refused(tmp_path):
    broken = tmp_path / "broken.toml"
    broken.write_text("id = ", encoding="utf-8")
    with pytest.raises(BadInput, match="not valid TOML"):
        load_manner(str(broken))


def test_an_unknown_rule_is_told_by_name():
    table = dict(tomllib.loads((HERE / "manners" / "french.toml").read_text(encoding="utf-8")))
    table["weights"] = [{"rule": "shake-on-tuesdays", "weight": 1.0, "source": COMMON}]
    with pytest.raises(TableError, match="shake-on-tuesdays"):
        build(table, "mine.toml")


def test_learned_weights_are_laid_over_those_set_by_hand():
    """The hand-set table stays readable by itself; what no score carries costs more than by hand, not less."""
    hand, whole = load_manner("french", learned=False), load_manner("french")

    assert not hand.learned
    assert {"any", "shake", "mordent"} <= set(whole.learned)
    assert [weight.source for weight in whole.weights] == [weight.source for weight in hand.weights]
    assert whole.bias["accent"][0] < hand.bias["accent"][0]
    assert "scores" in whole.learned_from


def test_a_player_may_lift_what_is_learned(tmp_path):
    mine = tmp_path / "mine.toml"
    plain = tmp_path / "plain.toml"
    table = 'like = "german"\nid = "mine"\ntitle = "Mine"\nlearned = "suites"\n'
    mine.write_text(table + "lift = { shake = 1.5 }\n", encoding="utf-8")
    plain.write_text(table, encoding="utf-8")
    lifted, sober = load_manner(str(mine)), load_manner(str(plain))

    assert lifted.bias["shake"][0] == pytest.approx(sober.bias["shake"][0] + 1.5)
    assert lifted.bias["division"] == sober.bias["division"]


def test_an_unknown_table_of_learned_weights_is_told(tmp_path):
    mine = tmp_path / "mine.toml"
    mine.write_text('like = "german"\nid = "mine"\ntitle = "Mine"\nlearned = "venus"\n', encoding="utf-8")
    with pytest.raises(TableError, match="learned"):
        load_manner(str(mine))
