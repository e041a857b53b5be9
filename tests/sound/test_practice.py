"""Excerpts and practice tracks."""

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from gracewright.errors import BadInput
from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.pitch import Pitch
from gracewright.score.model import Bar, Meter, Piece
from gracewright.sound import (
    SAMPLE_RATE,
    CountIn,
    Setting,
    count_in,
    excerpt,
    ladder,
    phrase_by_phrase,
    play_along,
    played_span,
    practice_track,
)
from gracewright.study.model import Phrase

FOUR = Meter(4, 4)
SIXTY = Fraction(60)


def note(part, onset, length, name, host, time=1, page=None, **more):
    page = Fraction(onset) if page is None else Fraction(page)
    return PlayedNote(part, Fraction(onset), Fraction(length), Pitch.parse(name), host, page, time, **more)


@pytest.fixture
def twice():
    """Two bars of 4/4 played twice; the repeat has a small note before the beat of its second bar."""
    notes = []
    for time, at in ((1, 0), (2, 8)):
        notes += [note("P1", at, 4, "A4", "a", time, 0), note("P2", at, 8, "D3", "x", time, 0)]
        if time == 1:
            notes.append(note("P1", 4, 4, "D5", "b", 1, 4))
        else:
            notes[-2] = note("P1", 8, Fraction(15, 4), "A4", "a", 2, 0)
            notes.append(note("P1", Fraction(47, 4), Fraction(1, 4), "E5", "b", 2, Fraction(15, 4), main=False))
            notes.append(note("P1", 12, 4, "D5", "b", 2, 4, slurred=True))
    notes.sort(key=lambda each: (each.onset, each.part))
    zero, eight = Fraction(0), Fraction(8)
    return Version("P1", (Pass(0, 1, 1, zero, zero, eight), Pass(0, 1, 2, zero, eight, eight)), tuple(notes), {})


def beats(samples, wanted):
    """Seconds of the strokes of a click of ``wanted`` Hz."""
    window = 1024
    frames = [samples[i : i + window] * np.hanning(window) for i in range(0, len(samples) - window, 256)]
    bins = np.abs(np.fft.rfft(np.array(frames)))[:, round(wanted * window / SAMPLE_RATE)]
    loud = bins > 0.4 * bins.max()
    return [i * 256 / SAMPLE_RATE for i in range(1, len(loud)) if loud[i] and not loud[i - 1]] + [0.0] * bool(loud[0])


def test_an_excerpt_takes_the_grace_before_its_first_beat(twice):
    """Bar 2 in the repeat begins with a small note before the beat: with a lead it sounds, the note before does not."""
    part = excerpt(twice, Fraction(12), Fraction(16), lead=Fraction(1))

    assert [(n.onset, str(n.pitch)) for n in part.notes if n.part == "P1"] == [(Fraction(3, 4), "E5"), (1, "D5")]
    assert part.length == 5


def test_an_excerpt_does_not_take_the_grace_of_the_note_after_it(twice):
    part = excerpt(twice, Fraction(8), Fraction(12))

    assert [str(n.pitch) for n in part.notes if n.part == "P1"] == ["A4"]


def test_an_excerpt_cuts_the_other_parts_at_its_edges(twice):
    bass = [n for n in excerpt(twice, Fraction(4), Fraction(6)).notes if n.part == "P2"]

    assert [(n.onset, n.length, n.page_onset) for n in bass] == [(0, 2, 4)]


def test_bars_are_found_in_each_time_through(twice):
    assert played_span(twice, Fraction(4), Fraction(8), 1) == (4, 8)
    assert played_span(twice, Fraction(4), Fraction(8), 2) == (12, 16)
    with pytest.raises(BadInput, match="not played one after the other"):
        played_span(twice, Fraction(4), Fraction(8), 3)


def test_the_count_before_an_upbeat_is_a_bar_and_the_beats_before_it():
    """1 2 3, 1 2, and the upbeat enters on three (common practice)."""
    three = Meter(3, 4)
    upbeat = Bar(0, "0", Fraction(0), Fraction(1), three, 0, pickup=True)
    piece = Piece("", "", (), (upbeat, Bar(1, "1", Fraction(1), Fraction(3), three, 0)), ())

    assert count_in(piece, Fraction(0)).length == 5
    assert count_in(piece, Fraction(0)).clicks == (0, 1, 2, 3, 4)
    assert count_in(piece, Fraction(1)).length == 3


def test_a_count_in_six_eight_goes_in_dotted_beats():
    bars = (Bar(0, "1", Fraction(0), Fraction(3), Meter(6, 8), 0),)

    assert count_in(Piece("", "", (), bars, ()), Fraction(0)).clicks == (0, Fraction(3, 2))


def test_steps_are_slow_then_in_time_with_the_pitch_kept(twice, measured):
    count = CountIn(Fraction(1), 4, Fraction(4))
    track = practice_track(
        twice, tempo=Fraction(120), steps=(Fraction(1, 2), Fraction(1)), bars=(Fraction(0), Fraction(4)), times=1,
        count=count, setting=Setting(continuo=False, temperament="equal"),
    )  # fmt: skip
    slow, quick = track.marks

    assert (slow.words, slow.tempo, quick.words, quick.tempo) == ("at 50 % of the tempo", 60, "in time", 120)
    for mark in track.marks:
        music = mark.seconds + 4 * 60 / float(mark.tempo)
        whole = track.samples[int((music + 0.3) * SAMPLE_RATE) : int((music + 1.5) * SAMPLE_RATE)]
        assert abs(1200 * math.log2(measured(whole, 415.0) / 415.0)) < 2


def test_clicks_fall_on_the_beats(twice):
    count = CountIn(Fraction(1), 4, Fraction(4))
    track = practice_track(twice, tempo=SIXTY, steps=(Fraction(1),), times=1, count=count)
    weak = beats(track.samples[: int(3.9 * SAMPLE_RATE)], 1050)

    assert weak[-3:] == pytest.approx([1, 2, 3], abs=0.03)


def test_repeats_are_as_many_as_asked(twice):
    track = practice_track(twice, tempo=SIXTY, steps=(Fraction(1),), times=3)

    assert [mark.words for mark in track.marks] == ["in time, time 1", "in time, time 2", "in time, time 3"]


@pytest.mark.parametrize("steps", [(), (Fraction(0),), (Fraction(3),)])
def test_steps_that_make_no_sense_are_refused(twice, steps):
    with pytest.raises(BadInput, match="steps must lie between"):
        practice_track(twice, tempo=SIXTY, steps=steps)


def test_in_turn_each_phrase_is_heard_plain_and_played(twice):
    phrases = [Phrase(Fraction(0), Fraction(4), 4.0), Phrase(Fraction(4), Fraction(8), 4.0)]
    track = phrase_by_phrase(twice, twice, phrases, tempo=SIXTY, time_through=2)

    words = [mark.words for mark in track.marks]

    assert words == ["phrase 1, plain", "phrase 1, played", "phrase 2, plain", "phrase 2, played"]


def test_to_play_along_the_solo_is_silent(twice, measured):
    """What sounds is the bass's d, with nothing at the solo's a'."""
    track = play_along(twice, tempo=SIXTY, setting=Setting(bass="P2", temperament="equal"))
    heard = track.samples[SAMPLE_RATE // 2 : 3 * SAMPLE_RATE]
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(len(heard))))
    bin_of = lambda hertz: round(hertz * len(heard) / SAMPLE_RATE)  # noqa: E731

    assert measured(heard, 138.5) == pytest.approx(415 * 2 ** (-19 / 12), rel=0.001)
    assert spectrum[bin_of(415) - 2 : bin_of(415) + 3].max() < 0.2 * spectrum.max()


def test_a_lone_line_has_nothing_to_play_along_with(twice):
    lone = replace(twice, notes=tuple(each for each in twice.notes if each.part == "P1"))

    with pytest.raises(BadInput, match="no part to play along with"):
        play_along(lone, tempo=SIXTY)


def test_a_grace_of_one_note_is_not_cut_up(twice):
    """A finger vibrato begins at half speed: its one note made short would leave no wave."""
    assert ladder(twice, "a", tempo=SIXTY).marks[0].words == "at half speed, in its own rhythm"


def test_a_ladder_goes_from_even_notes_to_the_place_in_the_line(twice):
    track = ladder(twice, "b", tempo=SIXTY, time_through=2)
    words = [mark.words for mark in track.marks][::2]

    assert words[0] == "slow, every note equally long"
    assert words[-1] == "in its place, in time"
    with pytest.raises(BadInput, match="does not sound"):
        ladder(twice, "nowhere", tempo=SIXTY)
