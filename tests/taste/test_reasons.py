"""Reasons are the rules and features that decided, in words."""

from gracewright.taste import load_manner, make_plan
from gracewright.taste.features import FEATURES, PAIRS
from gracewright.taste.reasons import why_learned
from gracewright.taste.scores import scores_of
from gracewright.taste.sites import sites_of


def test_what_was_learned_is_told_by_the_features_that_hold(menuet):
    piece, study = menuet
    manner, sites = load_manner("german"), sites_of(piece, study)
    scores = scores_of(sites, manner)
    told = [why_learned(sites, scores, manner, site, "shake") for site in range(len(sites.tones))]

    assert any(told)
    for site, reasons in enumerate(told):
        for reason in reasons:
            spoken = reason.rstrip(".").partition("this is so: ")[2].split("; ")
            held = {words for name, words in FEATURES.items() if sites.on(name)[site] > 0}
            assert set(spoken) <= held


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
