"""The planner's core against trying every plan there is."""

import itertools

import numpy as np
import pytest

from gracewright.taste.chain import COUNT, costs, count_at, penalties, solve

SPACING = {"next_same": 1.6, "next_other": 1.1, "second_same": 0.9, "second_other": 0.3}


def best_by_trying(score, near, price):
    """Total of the best plan and the plan itself, by exhaustion, from the rule as it is told."""
    table = penalties(SPACING)
    best = -np.inf, ()
    for plan in itertools.product(range(COUNT + 1), repeat=len(score)):
        total = sum(score[note, family] - (price if family else 0) for note, family in enumerate(plan))
        graced = [note for note, family in enumerate(plan) if family]
        for one, two in itertools.pairwise(graced):
            if two - one <= 2:
                state = plan[one] if two - one == 1 else COUNT + plan[one]
                cost = table[state, plan[two] - 1]
                total -= cost if cost >= 1e6 else cost * near[two]
        if total > best[0] + 1e-12:
            best = total, plan
    return best


@pytest.mark.parametrize("seed", range(8))
def test_the_plan_is_the_best_there_is(seed):
    random = np.random.default_rng(seed)
    score = random.normal(0.3, 1.5, (1, 6, COUNT + 1))
    score[:, :, 0] = 0
    near = random.uniform(0.2, 1, (1, 6))
    price = float(random.uniform(0, 1))

    solved = solve(score, near, np.array([price]), penalties(SPACING))
    total, plan = best_by_trying(score[0], near[0], price)

    assert tuple(solved.families[0].tolist()) == plan
    assert solved.best[0].max(axis=1) == pytest.approx([total] * 6)


def test_what_another_choice_is_worth_is_exact():
    """``best`` tells, for every note and family, the total of the best plan that has it."""
    random = np.random.default_rng(99)
    score = random.normal(0, 1, (1, 5, COUNT + 1))
    near = np.ones((1, 5))
    solved = solve(score, near, np.zeros(1), penalties(SPACING))
    for note, family in itertools.product(range(5), range(COUNT + 1)):
        only = score.copy()
        only[0, note, np.arange(COUNT + 1) != family] = -1e4
        total, _ = best_by_trying(only[0], near[0], 0.0)
        assert solved.best[0, note, family] == pytest.approx(total)


def test_a_higher_price_never_adds_a_grace():
    random = np.random.default_rng(5)
    score = random.normal(0.5, 1.5, (40, 16, COUNT + 1))
    near = random.uniform(0.15, 1, (40, 16))
    table = penalties(SPACING)
    counts = [count_at(score, np.full(40, price), costs(near, table)) for price in np.arange(-2, 4, 0.125)]

    assert all((after <= before).all() for before, after in itertools.pairwise(counts))
    assert counts[0].sum() > counts[-1].sum()


def test_two_shakes_never_run():
    score = np.zeros((1, 9, COUNT + 1))
    score[:, :, 1] = 50.0
    families = solve(score, np.ones((1, 9)), np.zeros(1), penalties(SPACING)).families[0]

    assert (families == 1).any()
    assert not ((families[1:] == 1) & (families[:-1] == 1)).any()
