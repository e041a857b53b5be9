"""Laws of every passage, over random hosts: keys, chords, lengths, neighbours, tempos, moving basses."""

from fractions import Fraction as F
from itertools import pairwise

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from gracewright.divisions import Ground, divisions_for, styles
from gracewright.graces.model import Context
from gracewright.pitch import Key, Pitch, class_from_fifths

LENGTHS = (F(1, 2), F(1), F(3, 2), F(2), F(5, 2), F(3), F(4), F(6), F(2, 3))
TRIADS = {"major": ((0, 4, 1), (-1, 3, 0), (1, 5, 2), (3, 0, 4), (1, 5, 2, -1)),
          "minor": ((0, -3, 1), (-1, -4, 0), (1, 5, 2), (-3, 1, -2), (1, 5, 2, -1))}  # fmt: skip
"""Common chords by fifths from the tonic: I IV V vi V7; i iv V III V7."""


def in_octave(name, octave):
    return Pitch.parse(f"{name}{octave}")


@st.composite
def hosts(draw):
    """A context with its ground: host and next note in the key or the chord, bass moving at most twice."""
    key = Key(draw(st.integers(-4, 4)), draw(st.sampled_from(["major", "minor"])))
    chords = [
        tuple(class_from_fifths(key.tonic_fifths + fifths) for fifths in draw(st.sampled_from(TRIADS[key.mode])))
        for _ in range(3)
    ]
    of_chord = draw(st.booleans())
    host = in_octave(draw(st.sampled_from(chords[0] if of_chord else key.scale)), 5)
    spelled = {name[0]: name for name in chords[0]}
    assume(spelled.get(host.pitch_class[0], host.pitch_class) == host.pitch_class)  # the page and the chord agree
    following = in_octave(draw(st.sampled_from(chords[2])), draw(st.sampled_from([4, 5, 5, 5, 6])))
    length = draw(st.sampled_from(LENGTHS))
    basses = [in_octave(draw(st.sampled_from(chord)), draw(st.sampled_from([3, 3, 4]))) for chord in chords]
    ground = [Ground(F(0), basses[0], chords[0]), Ground(length, basses[2], chords[2])]
    if length >= 2 and draw(st.booleans()):
        ground.insert(1, Ground(F(1), basses[1], chords[1]))
    context = Context(
        host, draw(st.sampled_from([F(0), F(1, 2), F(1)])), length, key, key.signature,
        quarter=draw(st.sampled_from([F(1, 2), F(1), F(3, 2)])), least=0.08, harmony=chords[0], bass=basses[0],
        following=None if draw(st.integers(0, 9)) == 0 else following, ternary=length.numerator % 3 == 0,
    )  # fmt: skip
    return context, tuple(ground)


def law(function):
    wrapped = given(hosts(), st.sampled_from(styles()), st.integers(0, 10))(function)
    return settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))(wrapped)


def found(host, style, richness, most=30):
    context, ground = host
    return divisions_for(context, manner=style, richness=richness, most=most, ground=ground)


@law
def test_shares_are_exact_and_the_passage_begins_with_the_written_note(host, style, richness):
    for division in found(host, style, richness):
        assert sum((share for _, share in division.notes), F(0)) == 1
        assert all(share > 0 for _, share in division.notes)
        assert division.notes[0][0] == host[0].pitch


@law
def test_no_note_is_struck_twice_nor_too_quick(host, style, richness):
    context = host[0]
    for division in found(host, style, richness):
        pitches = [pitch for pitch, _ in division.notes]
        assert all(one != two for one, two in pairwise(pitches))
        shortest = min(share for _, share in division.notes) * context.length * context.quarter
        assert float(shortest) >= context.least


@law
def test_no_augmented_or_chromatic_step(host, style, richness):
    context = host[0]
    for division in found(host, style, richness):
        pitches = [pitch for pitch, _ in division.notes]
        if context.following is not None and pitches[-1] != context.pitch:
            pitches.append(context.following)
        for one, two in pairwise(pitches):
            steps, semitones = abs(two.diatonic - one.diatonic), abs(two.midi - one.midi)
            assert steps != 0
            if steps == 1:
                assert semitones in (1, 2)
            assert steps <= 7


@law
def test_foreign_notes_are_entered_and_left_by_step(host, style, richness):
    context, ground = host
    for division in found(host, style, richness):
        at = F(0)
        pitches = [pitch for pitch, _ in division.notes]
        following = context.following or pitches[-1]
        for i, (pitch, share) in enumerate(division.notes):
            chord = [one.harmony for one in ground if one.offset <= at][-1]
            if i and pitch.pitch_class not in chord and context.length != F(3, 2):
                assert (context.onset + at).denominator != 1, f"{pitch} is foreign to {chord} on a beat"
            as_written = pitch == context.pitch and i == len(pitches) - 1
            if i and pitch.pitch_class not in chord and not as_written:
                after = pitches[i + 1] if i + 1 < len(pitches) else following
                assert abs(pitch.diatonic - pitches[i - 1].diatonic) == 1
                assert abs(after.diatonic - pitch.diatonic) <= 1
            at += share * context.length


@law
def test_no_fifths_or_octaves_where_the_bass_moves(host, style, richness):
    context, ground = host
    for division in found(host, style, richness):
        row, at = [], F(0)
        for pitch, share in division.notes:
            row.append((at, pitch))
            at += share * context.length
        if context.following is not None:
            row.append((at, context.following))
        for before, after in pairwise(ground):
            struck = [i for i, (onset, _) in enumerate(row) if onset == after.offset and i]
            if before.bass == after.bass or not struck or row[struck[0]][1] == row[struck[0] - 1][1]:
                continue
            first, second = row[struck[0] - 1][1], row[struck[0]][1]
            if division.notes[-1][0] == context.pitch and after.offset == context.length:
                continue  # as the plain line goes
            gaps = abs(first.midi - before.bass.midi) % 12, abs(second.midi - after.bass.midi) % 12
            assert gaps not in ((0, 0), (7, 7))


@law
def test_the_same_question_has_the_same_answer(host, style, richness):
    from gracewright.divisions import search

    one = found(host, style, richness)
    search._offer.cache_clear()

    assert found(host, style, richness) == one


@law
def test_a_fifth_higher_the_passages_are_the_same_a_fifth_higher(host, style, richness):
    context, ground = host
    moved = Context(
        context.pitch.transposed(4, 7), context.onset, context.length,
        Key(context.key.tonic_fifths + 1, context.key.mode), context.fifths + 1,
        quarter=context.quarter, least=context.least, ternary=context.ternary,
        following=context.following and context.following.transposed(4, 7), bass=context.bass.transposed(4, 7),
        harmony=tuple(in_octave(name, 4).transposed(4, 7).pitch_class for name in context.harmony),
    )  # fmt: skip
    higher = tuple(
        Ground(one.offset, one.bass.transposed(4, 7),
               tuple(in_octave(name, 4).transposed(4, 7).pitch_class for name in one.harmony))
        for one in ground
    )  # fmt: skip

    expected = [[(p.transposed(4, 7), share) for p, share in d.notes] for d in found(host, style, richness)]
    assert [list(d.notes) for d in found((moved, higher), style, richness)] == expected


@law
def test_richer_never_means_fewer_notes(host, style, richness):
    poor, rich = found(host, style, 0, 1), found(host, style, 10, 1)

    assert bool(poor) == bool(rich)
    if poor:
        assert len(rich[0].notes) >= len(poor[0].notes)


@law
def test_added_notes_stay_in_the_compass_given(host, style, richness):
    context, ground = host
    low, high = Pitch.parse("F4"), Pitch.parse("C6")
    for division in divisions_for(context, manner=style, richness=richness, ground=ground, compass=(low, high)):
        for pitch, _ in division.notes:
            assert pitch == context.pitch or low.diatonic <= pitch.diatonic <= high.diatonic
