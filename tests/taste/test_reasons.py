"""Reasons are the rules and features that decided, in words."""

from gracewright.taste import load_manner, make_plan
from gracewright.taste.features import FEATURES, PAIRS
from gracewright.taste.reasons import LEARNED, MUSICAL, source_of, why_here
from gracewright.taste.scores import scores_of
from gracewright.taste.sites import sites_of


def test_where_no_rule_speaks_the_place_is_told_and_no_source_is_named(menuet):
    piece, study = menuet
    manner, sites = load_manner("german"), sites_of(piece, study)
    scores = scores_of(sites, manner)
    shakes = [column for column, weight in enumerate(manner.weights) if weight.rule.kind == "shake"]
    silent = [site for site in range(len(sites.tones)) if not (scores.rules[site, shakes] > 0).any()]

    assert silent
    for site in silent:
        *place, last = why_here(sites, scores, manner, site, "shake")
        held = {FEATURES[name].split(" and ")[0] for name in MUSICAL if sites.on(name)[site] > 0}
        assert all(reason[0].lower() + reason[1:].rstrip(".").split(" and ")[0] in held for reason in place)
        assert "masters" in last
        assert source_of(scores, manner, site, "shake") == LEARNED


def test_a_manner_set_by_hand_has_only_its_rules_to_tell(menuet, alto):
    piece, study = menuet
    plan = make_plan(piece, study, load_manner("german", learned=False), alto, richness=8, signs="ignore")

    assert plan.choices
    assert not any("masters" in reason for choice in plan.choices for reason in choice.reasons)


def test_pairs_hold_where_both_of_them_do(menuet):
    piece, study = menuet
    sites = sites_of(piece, study)
    for one, two in PAIRS:
        assert (sites.on(f"{one} & {two}") == sites.on(one) * sites.on(two)).all()
