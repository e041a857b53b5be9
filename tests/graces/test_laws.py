"""Laws that hold for every grace at every place."""

from dataclasses import replace
from fractions import Fraction as F

from graces_hands import host
from hypothesis import given, settings
from hypothesis import strategies as st

from gracewright.graces import Context, Grace, load_source, neighbour, realise, sources, vocabulary
from gracewright.pitch import FIFTHS, Key, Pitch

KEYS = [Key(tonic, mode) for tonic in range(-4, 5) for mode in ("major", "minor")]
LENGTHS = [F(n) for n in ("1/4", "1/3", "1/2", "3/4", "2/3", "1", "3/2", "2", "7/4", "3", "5/2", "4", "6", "2/5")]
COMMON = [Grace(word) for word in vocabulary() if word not in ("division",)] + [
    Grace("shake", ending=ending, lean=lean, direction=direction, accelerate=quick)
    for ending in ("none", "turned", "anticipation") for lean in (False, True)
    for direction in ("", "above", "below") for quick in (False, True)
] + [
    Grace("appoggiatura", direction=side, size=size)
    for side in ("above", "below") for size in ("long", "short", "passing")
]  # fmt: skip
READ = [
    replace(entry.means, entry=f"{entry.key}.{reading.number}")
    for name in sources() for entry in load_source(name).entries if entry.means for reading in entry.readings
]  # fmt: skip


@st.composite
def places(draw):
    """A degree of a key, sometimes altered, with neighbours, a length and a tempo."""
    key = draw(st.sampled_from(KEYS))
    step, octave = draw(st.integers(0, 6)), draw(st.integers(4, 5))
    alter = key.alter_of(step)
    if key.mode == "minor" and FIFTHS[step] + 7 * (alter + 1) in (key.tonic_fifths + 5, key.tonic_fifths + 3):
        alter += draw(st.integers(0, 1))
    pitch = Pitch(octave, step, alter)
    length = draw(st.sampled_from(LENGTHS))
    near = [Pitch.at(pitch.diatonic + d, key.alter_of((pitch.diatonic + d) % 7)) for d in range(-4, 5)]
    bar_state = {}
    if draw(st.booleans()):
        place = pitch.diatonic + draw(st.sampled_from([-2, -1, 1, 2]))
        bar_state = {place: key.alter_of(place % 7) + draw(st.sampled_from([-1, 0, 1]))}
    rest_after = draw(st.booleans()) and draw(st.booleans())
    tied = draw(st.booleans()) and length > 1
    return Context(
        pitch, F(draw(st.integers(0, 7)), 2), length, key, key.signature,
        quarter=F(draw(st.integers(30, 180)), 100), previous=draw(st.sampled_from([None, *near])),
        previous_length=draw(st.sampled_from([F(0), F(1, 2), F(1)])), following=draw(st.sampled_from([None, *near])),
        rest_after=rest_after, rest_length=F(1) if rest_after else F(0), tied=tied, head=F(1) if tied else F(0),
        ternary=length.numerator % 3 == 0, bar_state=bar_state, harmony=draw(st.sampled_from([(), (key.tonic,)])),
        rate=draw(st.sampled_from([3.0, 5.0, 7.0])), least=draw(st.sampled_from([0.05, 0.08])),
        rest_before=draw(st.booleans()),
    )  # fmt: skip


graces = st.sampled_from(COMMON) | st.sampled_from(READ)
law = settings(max_examples=250, deadline=None)


def into_rest(grace, context):
    return context.rest_after and any(n.onset >= context.length for n in realise(grace, context).notes)


@law
@given(grace=graces, context=places())
def test_lengths_sum_exactly_to_the_written_note(grace, context):
    realised = realise(grace, context)
    inside = [note for note in realised.notes if 0 <= note.onset < context.length]
    early = sum((note.length for note in realised.notes if note.onset < 0), F(0))
    started = inside[0].onset if inside else F(0)

    assert started + sum(note.length for note in inside) + realised.silence_after == context.length
    assert early == realised.from_previous
    assert all(note.length > 0 for note in realised.notes)
    for before, after in zip(realised.notes, realised.notes[1:], strict=False):
        assert before.onset + before.length <= after.onset


@law
@given(grace=graces, context=places())
def test_nothing_sounds_past_the_note_but_an_appoggiatura_before_a_rest(grace, context):
    realised = realise(grace, context)
    end = max(note.onset + note.length for note in realised.notes)

    assert end <= context.length + (context.rest_length if context.rest_after else 0)
    if grace.id != "appoggiatura":
        assert end <= context.length


@law
@given(grace=graces, context=places())
def test_the_same_question_has_the_same_answer_and_leaves_its_input_alone(grace, context):
    state = dict(context.bar_state)

    assert realise(grace, context) == realise(grace, context)
    assert dict(context.bar_state) == state


@law
@given(context=places())
def test_a_neighbour_lies_a_semitone_or_a_tone_away(context):
    for step in (1, -1):
        found = neighbour(context, step)

        assert found.diatonic == context.pitch.diatonic + step
        assert 1 <= (found.midi - context.pitch.midi) * step <= 2


@law
@given(context=places(), rule=st.just("semitone below"))
def test_a_source_that_wants_the_semitone_below_gets_it(context, rule):
    assert context.pitch.midi - neighbour(context, -1, rule=rule).midi == 1


@law
@given(grace=graces, context=places(), move=st.sampled_from([(1, 2), (2, 3), (-1, -1), (4, 7), (7, 12), (-2, -4)]))
def test_transposing_then_realising_is_realising_then_transposing(grace, context, move):
    diatonic, chromatic = move

    def moved(pitch):
        return None if pitch is None else pitch.transposed(diatonic, chromatic)

    fifths = moved(context.pitch).fifths - context.pitch.fifths
    state = {moved(Pitch.at(place, alter)).diatonic: moved(Pitch.at(place, alter)).alter
             for place, alter in context.bar_state.items()}  # fmt: skip
    there = replace(
        context, pitch=moved(context.pitch), key=Key(context.key.tonic_fifths + fifths, context.key.mode),
        fifths=context.fifths + fifths, previous=moved(context.previous), following=moved(context.following),
        bar_state=state, harmony=tuple(Key(context.key.tonic_fifths + fifths).tonic for _ in context.harmony),
    )  # fmt: skip

    here = [(moved(note.pitch), note.onset, note.length) for note in realise(grace, context).notes]

    assert [(note.pitch, note.onset, note.length) for note in realise(grace, there).notes] == here


@law
@given(ending=st.sampled_from(["none", "turned", "anticipation"]), lean=st.booleans(), context=places())
def test_every_shake_of_ours_begins_with_the_note_above_on_the_beat(ending, lean, context):
    first = realise(Grace("shake", ending=ending, lean=lean), context).notes[0]
    seconds = float(context.length * context.quarter)

    if seconds > 8 * context.least:
        assert (first.pitch, first.onset) == (neighbour(context, 1), 0)


@law
@given(side=st.sampled_from(["above", "below"]), source=st.sampled_from(["", *sources()]), context=places())
def test_a_leaning_note_comes_from_the_side_that_is_asked_for(side, source, context):
    notes = realise(Grace("appoggiatura", direction=side), replace(context, source=source)).notes
    leaning = [note for note in notes if not note.main]

    if float(context.length * context.quarter) > 4 * context.least:
        assert leaning
    assert all((note.pitch.diatonic > context.pitch.diatonic) == (side == "above") for note in leaning)


@law
@given(context=places())
def test_strokes_are_never_quicker_than_the_shortest_note_of_the_instrument(context):
    notes = realise(Grace("shake", ending="turned"), context).notes

    assert min(float(note.length * context.quarter) for note in notes) >= context.least * 0.999 or len(notes) == 1


@law
@given(grace=graces, context=places())
def test_a_note_that_cannot_be_shaken_is_leaned_on_and_says_so(grace, context):
    still = replace(context, rate=0.0)
    realised = realise(grace, still)
    inside = [note for note in realised.notes if 0 <= note.onset < still.length]

    assert inside[0].onset + sum(note.length for note in inside) + realised.silence_after == still.length
    if grace.id == "shake" and not grace.entry and grace.size != "short" and grace.start != "main":
        assert "no shake is possible here" in realised.explanation
        assert inside[0].pitch == neighbour(still, 1)


def test_more_time_gives_more_strokes_and_a_slower_player_fewer():
    counts = [len(realise(Grace("shake"), host(length=n)).notes) for n in (1, 2, 3, 4)]

    assert counts == sorted(set(counts))
    assert len(realise(Grace("shake"), host(length=2, rate=3.0)).notes) < counts[1]
