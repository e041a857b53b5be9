"""The played line written out, exact and in order."""

from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from score_hands import note, score

from gracewright.pitch import Pitch
from gracewright.score import Meter, Sounded, read, tones, write_parallel, write_played
from gracewright.score.values import Span, print_bar

REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
PLAIN = score(note("C5", 4) + note("D5", 4) + REPEAT, note("E5", 8))
ORDER = [(0, 0), (0, 0), (1, 1)]


def spread(lengths, pitches=("C5", "D5")):
    """Notes end to end."""
    found, at = [], F(0)
    for index, length in enumerate(lengths):
        found.append(Sounded(at, length, Pitch.parse(pitches[index % len(pitches)]), index % 4 > 0))
        at += length
    return found


def heard(data, line="P1"):
    return [(tone.onset, tone.length, str(tone.pitch)) for tone in tones(read("x.musicxml", data), line)]


@pytest.mark.parametrize(
    "lengths",
    [
        [F(4), F(4), F(4)],
        [F(1, 8)] * 32 + [F(8)],
        [F(1, 3)] * 36,
        [F(1, 6), F(11, 6)] * 6,
        [F(1, 5)] * 5 + [F(3, 7)] * 7 + [F(8)],
        [F(7, 12), F(5, 12)] * 12,
        [F(5), F(7)],
    ],
)
def test_any_fraction_is_read_again_exactly(lengths):
    played = spread(lengths)

    out = write_played(read("x.musicxml", PLAIN), "P1", played, ORDER)

    assert heard(out) == [(note.onset, note.length, str(note.pitch)) for note in played]


@given(st.lists(st.fractions(F(1, 24), F(3), max_denominator=24), min_size=1, max_size=24))
@settings(max_examples=60, deadline=None)
def test_printed_lengths_fill_the_bar_with_what_they_say(lengths):
    """Type, dots and tuplet ratio of every printed note give its exact length; ties give back the spans."""
    spans, at = [], F(0)
    for index, length in enumerate(lengths):
        spans.append(Span(at, length, index))
        at += length
    values = {"breve": F(8), "whole": F(4), "half": F(2), "quarter": F(1), "eighth": F(1, 2), "16th": F(1, 4),
              "32nd": F(1, 8), "64th": F(1, 16), "128th": F(1, 32), "256th": F(1, 64), "512th": F(1, 128),
              "1024th": F(1, 256), "long": F(16), "maxima": F(32)}  # fmt: skip

    printed = print_bar(spans, Meter(4, 4))

    for piece in printed:
        if piece.kind:
            actual, normal = piece.ratio or (1, 1)
            assert values[piece.kind] * (2 - F(1, 2**piece.dots)) * F(normal, actual) == piece.length
    for span in spans:
        assert sum(piece.length for piece in printed if piece.what == span.what) == span.length


def test_repeats_are_written_out_and_their_signs_gone():
    out = etree.fromstring(write_played(read("x.musicxml", PLAIN), "P1", spread([F(4)] * 3), ORDER))

    assert [bar.get("number") for bar in out.iter("measure")] == ["1", "2", "3"]
    assert out.find(".//repeat") is None


def test_attributes_are_stated_again_after_a_jump():
    second = "<attributes><key><fifths>2</fifths></key></attributes>" + note("E5", 8) + REPEAT
    piece = read("x.musicxml", score(note("C5", 8), second))

    out = read("x.musicxml", write_played(piece, "P1", spread([F(4)] * 4), [(0, 1), (0, 1)]))

    assert [bar.fifths for bar in out.bars] == [0, 2, 0, 2]


def test_a_gap_is_a_rest_and_a_long_note_is_tied_over_the_bar_line():
    played = [Sounded(F(1), F(6), Pitch.parse("C5"))]

    out = write_played(read("x.musicxml", PLAIN), "P1", played, ORDER)
    root = etree.fromstring(out)

    assert heard(out) == [(F(1), F(6), "C5")]
    assert len(root.findall(".//rest")) >= 2
    assert len(root.findall(".//tie[@type='start']")) == len(root.findall(".//tie[@type='stop']")) >= 1


def test_a_slur_joins_a_note_to_those_slurred_to_it():
    out = etree.fromstring(write_played(read("x.musicxml", PLAIN), "P1", spread([F(1)] * 8), ORDER))

    slurs = [slur.get("type") for slur in out.iter("slur")]
    assert slurs == ["start", "stop", "start", "stop"]


def test_parallel_has_the_plain_line_over_the_played_one():
    out = write_parallel(read("x.musicxml", PLAIN), "P1", spread([F(2)] * 6), ORDER)

    assert [name.text for name in etree.fromstring(out).iter("part-name")] == ["Flute", "Flute (played)"]
    assert len(heard(out, "P1")) == 5
    assert len(heard(out, "P1-played")) == 6


def test_another_voice_on_the_stave_stays():
    second_voice = "<backup><duration>8</duration></backup>" + note("C4", 8).replace("<voice>1", "<voice>2")
    piece = read("x.musicxml", score(note("C5", 4) + note("D5", 4) + second_voice))

    out = read("x.musicxml", write_played(piece, "P1", spread([F(1)] * 4), [(0, 0)]))

    assert [(note.onset, str(note.pitch)) for note in out.notes if note.voice == "2"] == [(F(0), "C4")]
    assert [str(tone.pitch) for tone in tones(out, "P1")] == ["C5", "D5", "C5", "D5"]


SUNG = score(
    note("C5", 4, "<notations><fermata/></notations><lyric number='1'><text>Ach</text></lyric>")
    + note("D5", 4, "<notations><technical><fingering>2</fingering></technical><articulations><staccato/><breath-mark/>"
                    "</articulations></notations><lyric number='1'><text>weh</text></lyric>"),
    note("E5", 8, "<notations><ornaments><trill-mark/></ornaments><technical><stopped/></technical></notations>"),
)  # fmt: skip


@pytest.mark.parametrize("write", [write_played, write_parallel])
def test_words_fermatas_and_articulations_go_over_to_the_played_notes(write):
    """A fermata stands at the end of what a note is played as, its word at the beginning; a staccato is kept only by a
    note that stays as it is; the sign that is written out goes."""
    piece = read("sung.musicxml", SUNG)
    first, second, third = (tone.id for tone in tones(piece, "P1"))
    played = [
        Sounded(F(0), F(1), Pitch.parse("D5"), False, first), Sounded(F(1), F(1), Pitch.parse("C5"), True, first),
        Sounded(F(2), F(2), Pitch.parse("D5"), False, second),
        Sounded(F(4), F(2), Pitch.parse("F5"), False, third), Sounded(F(6), F(2), Pitch.parse("E5"), True, third),
    ]  # fmt: skip
    root = etree.fromstring(write(piece, "P1", played, [(0, 1)]))
    notes = list(root.findall("part")[-1].iter("note"))

    assert [note.findtext("lyric/text") for note in notes] == ["Ach", None, "weh", None, None]
    assert [note.find("notations/fermata") is not None for note in notes] == [False, True, False, False, False]
    assert [[mark.tag for mark in note.iterfind("notations/articulations/*")] for note in notes] == [
        [], [], ["staccato", "breath-mark"], [], [],
    ]  # fmt: skip
    assert [note.findtext("notations/technical/fingering") for note in notes] == [None, None, "2", None, None]
    assert list(root.findall("part")[-1].iter("trill-mark", "stopped")) == []


def test_a_divided_note_keeps_its_breath_and_loses_its_staccato():
    piece = read("sung.musicxml", SUNG)
    second = tones(piece, "P1")[1].id
    played = [Sounded(F(2 + place), F(1), Pitch.parse(name), False, second) for place, name in enumerate(("E5", "D5"))]
    root = etree.fromstring(write_played(piece, "P1", played, [(0, 1)]))
    found = [[mark.tag for mark in note.iterfind("notations/articulations/*")]
             for note in root.iter("note") if note.find("pitch") is not None]  # fmt: skip

    assert found == [[], ["breath-mark"]]
