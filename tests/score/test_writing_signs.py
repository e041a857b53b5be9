"""Signs go into the user's document and come out again."""

from fractions import Fraction

import pytest
from lxml import etree
from score_hands import note, score

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score import Addition, Sign, SmallNote, canonical, read, strip_ours, write_signs

TRILL = Sign("trill-mark", accidental_above="sharp")
FROM_ABOVE = SmallNote("", Pitch.parse("D5"), Fraction(1, 2), slurred=True)
CLOSING = (
    SmallNote("", Pitch.parse("B4"), Fraction(1, 4), slurred=True),
    SmallNote("", Pitch.parse("C5"), Fraction(1, 4), slurred=True),
)
PLAIN = score(note("C5", 4) + note("D5", 4), note("E5", 8))


@pytest.fixture
def piece():
    return read("tune.musicxml", PLAIN)


def ids(piece):
    return [note.id for note in piece.notes if note.pitch is not None]


def test_nothing_added_leaves_the_document_equal(piece):
    assert canonical(write_signs(piece, "P1", ())) == canonical(PLAIN)


def test_what_was_added_is_read_again_on_its_note(piece):
    added = Addition(ids(piece)[0], (TRILL,), (FROM_ABOVE,), CLOSING)

    again = read("tune.musicxml", write_signs(piece, "P1", [added]))
    marks = again.by_id[ids(again)[0]].marks

    assert [(sign.element, sign.accidental_above, sign.ours) for sign in marks.signs] == [("trill-mark", "sharp", True)]
    assert [str(small.pitch) for small in marks.before] == ["D5"]
    assert [str(small.pitch) for small in marks.after] == ["B4", "C5"]
    assert all(small.ours and small.slurred for small in (*marks.before, *marks.after))


def test_ids_of_the_written_notes_do_not_change_when_small_notes_are_added(piece):
    again = read("tune.musicxml", write_signs(piece, "P1", [Addition(ids(piece)[0], (), (FROM_ABOVE,), CLOSING)]))

    assert ids(again) == ids(piece)


def test_strip_ours_gives_the_first_file_back(piece):
    first, second, _ = ids(piece)
    added = [Addition(first, (TRILL, Sign("words", "+")), (FROM_ABOVE,)), Addition(second, (Sign("stopped"),))]

    out = write_signs(piece, "P1", added, repeat_additions=[Addition(second, (TRILL,))])

    assert canonical(out) != canonical(PLAIN)
    assert canonical(strip_ours(out)) == canonical(PLAIN)


def test_signs_of_the_repeat_go_into_a_stave_of_their_own(piece):
    out = write_signs(piece, "P1", (), repeat_additions=[Addition(ids(piece)[0], (TRILL,))])
    root = etree.fromstring(out)

    assert [name.text for name in root.iter("part-name")] == ["Flute", "Flute (repeat)"]
    assert [len(part.findall(".//trill-mark")) for part in root.findall("part")] == [0, 1]
    assert "left aside" in " ".join(read("tune.musicxml", out).remarks)


def test_small_notes_of_a_transposing_part_are_written_at_its_pitch():
    """A part in B flat sounds a major second lower than it is written."""
    data = score(note("D5", 8), more="<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>")
    piece = read("tune.musicxml", data)
    assert str(piece.notes[0].pitch) == "C5"

    out = etree.fromstring(write_signs(piece, "P1", [Addition(piece.notes[0].id, (), (FROM_ABOVE,))]))
    small = out.find(".//note[grace]")

    assert (small.findtext("pitch/step"), small.findtext("pitch/octave")) == ("E", "5")


def test_an_accidental_is_printed_where_the_bar_does_not_have_it_yet(piece):
    sharp = SmallNote("", Pitch.parse("F#5"), Fraction(1, 4))
    out = etree.fromstring(write_signs(piece, "P1", [Addition(ids(piece)[2], (), (sharp, sharp))]))

    assert [small.findtext("accidental") for small in out.findall(".//note[grace]")] == ["sharp", None]


def test_a_note_that_is_not_there_is_told(piece):
    with pytest.raises(BadInput, match="no note 'nobody'"):
        write_signs(piece, "P1", [Addition("nobody", (TRILL,))])
