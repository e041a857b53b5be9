"""Signs on the page, places and the played result, on small scores made by hand."""

from fractions import Fraction as F

from graces_hands import Fingers, host, note, plain_study, score, small

from gracewright.graces import Grace, Placed, contexts, page_graces, perform, sign_for
from gracewright.pitch import Pitch
from gracewright.study.model import Segment

TRILL = "<ornaments><trill-mark/></ornaments>"
TUNE = (
    small("D", 5) + note("C", 5, 16) + note("B", 4, 8, notations="<ornaments><mordent/></ornaments>") + note("A", 4, 8),
    note("G", 4, 24, notations=TRILL) + note("F", 4, 8, alter=1),
)
BASS = (note("C", 3, 32), note("G", 2, 32))


def sounding(version, part):
    return [(str(n.pitch), n.onset, n.length) for n in version.notes if n.part == part]


def test_the_page_is_read_before_anything_is_added():
    piece = score(*TUNE, bass=BASS)

    read = [(g.grace.id, g.grace.direction, g.grace.ending) for g in page_graces(piece, plain_study(piece))]

    assert read == [("appoggiatura", "above", "none"), ("mordent", "", "none"), ("shake", "", "anticipation")]


def test_a_context_knows_its_neighbours_and_the_accidentals_in_force():
    piece = score(note("F", 5, 8, alter=1) + note("E", 5, 8) + note("F", 5, 16, alter=1), note("E", 5, 32))
    places = list(contexts(piece, plain_study(piece), Fingers(), "intermediate").values())

    assert dict(places[1].bar_state) == {Pitch.parse("F#5").diatonic: 1}
    assert dict(places[3].bar_state) == {}
    assert (places[1].previous, places[1].following) == (Pitch.parse("F#5"), Pitch.parse("F#5"))


def test_every_part_sounds_in_the_order_as_played():
    piece = score(*TUNE, bass=BASS)
    order = (Segment(0, 0, 1), Segment(0, 1, 2))
    version = perform(piece, plain_study(piece, order=order), (), Fingers())

    assert sounding(version, "P2") == [("C3", F(0), F(4)), ("C3", F(4), F(4)), ("G2", F(8), F(4))]
    assert version.length == 12
    assert {n.time_through for n in version.notes} == {1, 2}
    assert sum(n.length for n in version.notes if n.part == "P1") == 12


def test_a_placed_grace_goes_before_the_page_and_none_leaves_the_note_bare():
    piece = score(*TUNE, bass=BASS)
    study = plain_study(piece)
    first, second = (g.note for g in page_graces(piece, study)[:2])
    placed = (Placed(1, first, Grace("slide"), 0), Placed(1, second, None))

    version = perform(piece, study, placed, Fingers())

    assert [p for p, _, _ in sounding(version, "P1")][:4] == ["A4", "B4", "C5", "B4"]
    assert version.explanations[0].startswith("slide: A4 B4 C5")


def test_time_taken_from_the_note_before_is_taken_once():
    piece = score(note("E", 5, 8) + note("C", 5, 8) + note("G", 4, 16))
    study = plain_study(piece)
    host_id = [n.id for n in piece.notes][1]
    placed = (Placed(1, host_id, Grace("appoggiatura", size="passing", direction="above"), 3),)

    version = perform(piece, study, placed, Fingers())

    assert sounding(version, "P1")[:3] == [("E5", F(0), F(3, 4)), ("D5", F(3, 4), F(1, 4)), ("C5", F(1), F(1))]


def test_a_grace_is_written_with_its_sign_and_the_accidental_that_cannot_be_guessed():
    written = sign_for(Grace("mordent"), host("A4", key="A minor"))

    assert (written.signs[0].element, written.signs[0].accidental_below) == ("mordent", "sharp")
    assert written.signs[0].ours


def test_a_shake_with_turned_ending_is_written_with_its_two_small_notes():
    written = sign_for(Grace("shake", ending="turned"), host("C5"))

    assert [str(s.pitch) for s in written.after] == ["B4", "C5"]


def test_a_short_note_before_keeps_a_third_of_itself():
    piece = score(small("F", 5) + note("E", 5, 4) + note("C", 5, 12) + note("G", 4, 16))
    study = plain_study(piece)
    host_id = [n.id for n in piece.notes][1]
    placed = (Placed(1, host_id, Grace("appoggiatura", size="passing", direction="above")),
              Placed(1, piece.notes[0].id, Grace("mordent", size="double")))  # fmt: skip

    notes = sounding(perform(piece, study, placed, Fingers()), "P1")
    at = next(i for i, (_, onset, _) in enumerate(notes) if onset == F(1, 2))
    before, early = notes[at - 2], notes[at - 1]

    assert early[0] == "D5"
    assert before[2] * 2 >= early[2]
    assert before[1] + before[2] == early[1]


def test_a_grace_of_the_second_time_leaves_the_first_alone():
    piece = score(note("E", 5, 8) + note("C", 5, 24))
    study = plain_study(piece, order=(Segment(0, 0, 1), Segment(0, 0, 2)))
    placed = (Placed(2, piece.notes[1].id, Grace("appoggiatura", size="passing", direction="above")),)

    notes = sounding(perform(piece, study, placed, Fingers()), "P1")

    assert notes == [("E5", F(0), F(1)), ("C5", F(1), F(3)), ("E5", F(4), F(3, 4)), ("D5", F(19, 4), F(1, 4)),
                     ("C5", F(5), F(3))]  # fmt: skip
