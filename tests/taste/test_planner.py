"""The rules that hold always, growth, locks, and the dial of richness."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from gracewright.graces import chord_of, perform
from gracewright.score import tones
from gracewright.taste import load_manner, make_plan, manners, placed
from gracewright.taste.sites import sites_of

DIAL = (0, 0.5, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)


def by_pass(plan, time_through):
    return {choice.note: choice for choice in plan.choices if choice.time_through == time_through and choice.grace}


@pytest.mark.parametrize("name", manners())
def test_more_richness_never_means_fewer_graces(movement, alto, name):
    piece, found = movement
    counts = [len(make_plan(piece, found, load_manner(name), alto, richness=richness).choices) for richness in DIAL]

    assert all(before <= after for before, after in pairwise(counts))
    assert counts[-1] > counts[0]


@pytest.mark.parametrize("name", manners())
def test_a_repeat_is_never_poorer_than_the_first_time(movement, alto, name):
    piece, found = movement
    for richness in DIAL:
        plan = make_plan(piece, found, load_manner(name), alto, richness=richness)
        assert len(by_pass(plan, 2)) >= len(by_pass(plan, 1))


def test_richness_nought_plays_only_the_page(menuet, alto):
    piece, found = menuet
    plan = make_plan(piece, found, load_manner("french"), alto, richness=0)

    assert plan.choices
    assert {choice.origin for choice in plan.choices} == {"page"}


@pytest.mark.parametrize("richness", [0, 2, 5, 10])
def test_signs_on_the_page_are_honoured(menuet, alto, richness):
    """A sign that stands on a note is what that note gets, every time through, and nothing of ours."""
    piece, found = menuet
    signed = {tone.id for tone in tones(piece, found.solo) if tone.marks.signs}
    plan = make_plan(piece, found, load_manner("german"), alto, richness=richness)

    assert signed
    assert signed == {choice.note for choice in plan.choices if choice.origin == "page"}
    assert not any(choice.note in signed and choice.origin == "ours" for choice in plan.choices)


@pytest.mark.parametrize("name", manners())
def test_two_shakes_never_run(movement, alto, name):
    piece, found = movement
    line = [tone.id for tone in tones(piece, found.solo)]
    plan = make_plan(piece, found, load_manner(name), alto, richness=10, signs="ignore")
    for time_through in (1, 2):
        shaken = {note for note, choice in by_pass(plan, time_through).items() if "shake" in choice.grace.id}
        assert shaken
        assert not any(one in shaken and two in shaken for one, two in pairwise(line))


@pytest.mark.parametrize("name", manners())
def test_every_strong_cadence_has_its_shake_or_a_reason(movement, alto, name):
    """Common practice, no source: cadences always."""
    piece, found = movement
    plan = make_plan(piece, found, load_manner(name), alto, richness=4)
    line = [tone.id for tone in tones(piece, found.solo)]
    strong = [cadence for cadence in found.cadences if cadence.strength >= 0.5 and cadence.penultimate]
    assert strong
    for cadence in strong:
        end = line.index(cadence.arrival) if cadence.arrival else line.index(cadence.penultimate) + 1
        near = set(line[max(0, end - 5) : end])
        shaken = any(c.note in near and c.grace and "shake" in c.grace.id for c in plan.choices)
        told = any(place.note in near and place.why for place in plan.bare)
        assert shaken or told or any(c.note in near for c in plan.choices), cadence


def test_an_appoggiatura_makes_a_dissonance_and_resolves_it(adagio, alto):
    """Against the bass the note leaned on is a second, fourth, seventh or ninth and the written note is not; or it is
    at least foreign to the chord (six to five over a triad)."""
    piece, found = adagio
    plan = make_plan(piece, found, load_manner("german"), alto, richness=9)
    basses = tones(piece, found.bass, lowest=True)
    leaning = [c for c in plan.choices if c.grace and c.grace.id == "appoggiatura" and c.grace.size == "long"]
    assert leaning
    for choice in leaning:
        bass = next(tone for tone in reversed(basses) if tone.onset <= choice.onset)
        if bass.end <= choice.onset:
            continue
        step = 1 if choice.grace.direction == "above" else -1
        above = (choice.pitch.diatonic - bass.pitch.diatonic) % 7
        assert above in (0, 2, 4, 5)
        if (above + step) % 7 not in (1, 3, 6):
            chord = {name[0] for name in chord_of(found.harmony_at(choice.onset))}
            assert "CDEFGAB"[(choice.pitch.step + step) % 7] not in chord


@pytest.mark.parametrize("name", manners())
def test_nothing_is_too_short_to_play(movement, alto, name):
    piece, found = movement
    plan = make_plan(piece, found, load_manner(name), alto, richness=10, level="beginner")
    version = perform(piece, found, placed(plan), alto, "beginner", source=plan.signs_by)
    quarter = 60 / float(found.tempo)
    plain = min(float(tone.length) for tone in tones(piece, found.solo)) * quarter
    shortest = min(alto.least("beginner", family) for family in ("mordent", "appoggiatura", "slide", "turn"))
    ours = {index for index, choice in enumerate(plan.choices) if choice.origin == "ours"}
    lengths = [float(note.length) * quarter for note in version.notes if note.choice in ours]
    assert lengths
    assert min(lengths) >= min(plain, 0.85 * shortest)


def test_the_same_input_gives_the_same_plan(adagio, alto):
    piece, found = adagio
    one = make_plan(piece, found, load_manner("italian"), alto, richness=6)
    make_plan(piece, found, load_manner("italian"), alto, richness=10)
    sites_of(piece, found).kept.clear()
    assert one == make_plan(piece, found, load_manner("italian"), alto, richness=6)


def test_locks_survive_a_new_plan(adagio, alto):
    from dataclasses import replace

    piece, found = adagio
    plan = make_plan(piece, found, load_manner("french"), alto, richness=6)
    kept = next(choice for choice in plan.choices if choice.origin == "ours")
    gone = next(choice for choice in reversed(plan.choices) if choice.origin == "ours" and choice.note != kept.note)
    locked = [replace(choice, lock="keep") if choice == kept else choice for choice in plan.choices]
    locked = [replace(choice, lock="never", grace=None) if choice == gone else choice for choice in locked]
    again = make_plan(piece, found, load_manner("german"), alto, richness=9, locks=replace(plan, choices=tuple(locked)))
    after = {(choice.note, choice.time_through): choice for choice in again.choices}

    assert after[kept.note, kept.time_through].grace == kept.grace
    assert after[kept.note, kept.time_through].lock == "keep"
    assert after[gone.note, gone.time_through].grace is None


def test_a_curve_moves_graces_to_where_it_is_high(adagio, alto):
    piece, found = adagio
    half = piece.length / 2
    rising = make_plan(piece, found, load_manner("french"), alto, curve=((Fraction(0), 0.2), (piece.length, 2.0)))
    falling = make_plan(piece, found, load_manner("french"), alto, curve=((Fraction(0), 2.0), (piece.length, 0.2)))

    def early(plan):
        return sum(choice.onset < half for choice in plan.choices) / len(plan.choices)

    assert early(falling) > early(rising)


def test_every_choice_tells_why_and_what_else(movement, alto):
    piece, found = movement
    plan = make_plan(piece, found, load_manner("french"), alto, richness=6)
    ours = [choice for choice in plan.choices if choice.origin == "ours"]

    assert all(choice.reasons and choice.source and 0 <= choice.strength <= 1 for choice in ours)
    assert all(choice.reasons[0].endswith(".") and choice.reasons[0][0].isupper() for choice in ours)
    assert sum(len(choice.alternatives) == 2 for choice in ours) > len(ours) / 2
    assert all(other.effect for choice in ours for other in choice.alternatives)


@pytest.mark.parametrize("name", ["french", "german", "italian-slow", "english"])
def test_a_plan_leaves_nothing_behind_for_the_next(name, alto, adagio):
    """Same input, same plan: again on the same study, after other plans of it, and on a fresh one."""
    piece, found = adagio
    first = make_plan(piece, found, load_manner(name), alto, richness=9)
    make_plan(piece, found, load_manner("italian"), alto, richness=10, signs="ignore")
    again = make_plan(piece, found, load_manner(name), alto, richness=9)
    other = replace(piece)
    fresh = make_plan(other, replace(found), load_manner(name), alto, richness=9)

    assert again == first
    assert fresh == first
