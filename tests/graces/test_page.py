"""Everything that MusicXML can set over a note is read as a sign, with its side, its accidentals and its attributes."""

from dataclasses import replace

import pytest
from graces_hands import Fingers, host, note, plain_study, score, small

from gracewright.graces import contexts, page_graces, page_remarks, realise, sign_for, unread_signs
from gracewright.pitch import Pitch
from gracewright.score import Addition, Sign, read, tones, write_signs

ORNAMENTS = {
    # what stands in <ornaments>: the grace by common practice, and what is particular about it
    "<trill-mark/>": ("shake", {}),
    '<trill-mark start-note="main"/>': ("shake", {"start": "main"}),
    '<trill-mark start-note="below"/>': ("shake", {"direction": "below"}),
    '<trill-mark two-note-turn="half"/>': ("shake", {"ending": "turned"}),
    '<trill-mark two-note-turn="none"/>': ("shake", {"ending": "none"}),
    '<trill-mark accelerate="yes"/>': ("shake", {"accelerate": True}),
    '<trill-mark trill-step="half"/>': ("shake", {"upper_alter": -1}),
    '<trill-mark trill-step="whole"/>': ("shake", {"upper_alter": 0}),
    "<shake/>": ("shake", {}),
    "<inverted-mordent/>": ("shake", {"ending": "none"}),
    '<inverted-mordent long="yes"/>': ("shake", {"size": ""}),
    '<inverted-mordent approach="below"/>': ("shake", {"direction": "below"}),
    '<inverted-mordent approach="above" departure="below"/>': ("shake", {"direction": "above", "ending": "turned"}),
    '<inverted-mordent departure="below"/>': ("shake", {"ending": "turned"}),
    "<mordent/>": ("mordent", {"size": "single"}),
    '<mordent long="yes"/>': ("mordent", {"size": "double"}),
    '<mordent/><accidental-mark placement="below">sharp</accidental-mark>': ("mordent", {"lower_alter": 1}),
    "<mordent/><accidental-mark>flat</accidental-mark>": ("mordent", {"lower_alter": -1}),
    "<turn/>": ("turn", {"start": ""}),
    '<turn slash="yes"/>': ("turn", {"start": "lower"}),
    '<turn/><accidental-mark placement="above">flat</accidental-mark>': ("turn", {"upper_alter": -1}),
    "<inverted-turn/>": ("turn", {"start": "lower"}),
    "<vertical-turn/>": ("turn", {}),
    "<inverted-vertical-turn/>": ("turn", {"start": "lower"}),
    "<delayed-turn/>": ("turn-after", {}),
    "<delayed-inverted-turn/>": ("turn-after", {"start": "lower"}),
    "<schleifer/>": ("slide", {}),
    '<wavy-line type="start" number="1"/><wavy-line type="stop" number="1"/>': ("finger-vibrato", {}),
    '<other-ornament smufl="ornamentLeftPlus"/>': ("shake", {}),
    '<other-ornament smufl="ornamentPrecompAppoggTrill"/>': ("shake", {"lean": True}),
    '<other-ornament smufl="ornamentPortDeVoixV"/>': ("appoggiatura", {"direction": "below"}),
    '<other-ornament smufl="ornamentPrecompSlide"/>': ("slide", {}),
    '<other-ornament smufl="ornamentTurnInverted"/>': ("turn", {"start": "lower"}),
}


def bar_with(ornaments, before=""):
    """The host is the C of E C B, a half note."""
    return score(note("E", 5, 8) + before + note("C", 5, 16, notations=f"<ornaments>{ornaments}</ornaments>")
                 + note("B", 4, 8))  # fmt: skip


@pytest.mark.parametrize("ornaments", ORNAMENTS)
def test_every_child_of_ornaments_is_read(ornaments):
    piece = bar_with(ornaments)
    grace, told = ORNAMENTS[ornaments]
    (found,) = page_graces(piece, plain_study(piece))

    assert found.grace.id == grace
    assert {name: getattr(found.grace, name) for name in told} == told
    assert unread_signs(piece, plain_study(piece)) == ()


@pytest.mark.parametrize("letter", ["+", "t", "tr", "tr."])
def test_a_lone_letter_or_cross_over_a_note_is_a_shake(letter):
    over = f'<direction placement="above"><direction-type><words>{letter}</words></direction-type></direction>'
    piece = score(note("E", 5, 8) + over + note("C", 5, 16) + note("B", 4, 8))
    found = page_graces(piece, plain_study(piece))

    assert [g.grace.id for g in found] == ["shake"]


def test_an_unknown_sign_is_told_and_left_silent():
    piece = bar_with('<other-ornament smufl="ornamentHaydn"/>')

    assert page_graces(piece, plain_study(piece)) == ()
    (told,) = unread_signs(piece, plain_study(piece))
    assert told.startswith("bar 1: the sign ornamentHaydn")


def first_notes(before, length=16):
    piece = score(note("E", 5, 8) + before + note("C", 5, length) + note("B", 4, 8))
    study = plain_study(piece)
    (grace,) = page_graces(piece, study)
    places = contexts(piece, study, Fingers(), "intermediate")
    notes = realise(grace.grace, places[grace.note]).notes
    return grace.grace, [(str(n.pitch), str(n.onset), str(n.length)) for n in notes]


def test_a_small_note_leans_and_a_struck_one_is_short():
    long, notes = first_notes(small("D", 5))
    short, quick = first_notes(small("D", 5, slash=True))

    assert (long.size, notes[0]) == ("long", ("D5", "0", "1"))
    assert short.size == "short"
    assert quick[0] == ("D5", "0", "1/8")


def test_a_leaning_note_takes_its_length_from_its_host_not_from_its_print():
    quaver, notes = first_notes(small("D", 5), length=24)
    tiny, quick = first_notes(small("D", 5).replace("eighth", "32nd"), length=24)

    assert (quaver.size, notes[0]) == ("long", ("D5", "0", "2"))
    assert (tiny.size, quick[0]) == ("short", ("D5", "0", "1/8"))


def test_steal_times_are_kept():
    _, two_thirds = first_notes(small("D", 5, attributes=' steal-time-following="66"'))
    _, before_the_beat = first_notes(small("D", 5, attributes=' steal-time-previous="25"').replace(
        "</note>", '<notations><slur type="start" number="3"/></notations></note>'))  # fmt: skip

    assert two_thirds == [("D5", "0", "4/3"), ("C5", "4/3", "2/3")]
    assert before_the_beat[0] == ("D5", "-1/4", "1/4")


def test_a_small_note_never_outlasts_its_host():
    _, notes = first_notes(small("D", 5).replace("eighth", "half"), length=2)

    assert notes == [("D5", "0", "1/8"), ("C5", "1/8", "1/8")]


def test_a_leaping_small_note_keeps_its_pitch():
    _, notes = first_notes(small("G", 4))

    assert [name for name, _, _ in notes] == ["G4", "C5"]


def test_small_notes_around_a_shake_belong_to_it():
    trill = note("B", 4, 16, notations='<slur type="start" number="1"/><ornaments><trill-mark/></ornaments>')
    close = small("A", 4) + small("B", 4).replace(
        "</note>", '<notations><slur type="stop" number="1"/></notations></note>')  # fmt: skip
    piece = score(note("C", 5, 8) + small("C", 5) + trill + close + note("C", 5, 8))
    (found,) = page_graces(piece, plain_study(piece))

    assert (found.grace.id, found.grace.lean, found.grace.ending) == ("shake", True, "turned")


SIGNS = [
    Sign("trill-mark", placement="above", attributes=(("start-note", "upper"),)),
    Sign("trill-mark", placement="below", accidental_above="flat"),
    Sign("mordent", placement="above", attributes=(("long", "yes"),), accidental_below="sharp"),
    Sign("inverted-mordent", placement="above", attributes=(("approach", "below"), ("departure", "below"))),
    Sign("turn", placement="above", attributes=(("slash", "yes"),), accidental_above="sharp", accidental_below="flat"),
    Sign("delayed-turn", placement="below"),
    Sign("schleifer", placement="above"),
    Sign("other-ornament", smufl="ornamentPortDeVoixV", placement="above"),
    Sign("words", "+", placement="above"),
]


@pytest.mark.parametrize("sign", SIGNS, ids=lambda sign: f"{sign.element} {sign.smufl or sign.text}")
def test_a_sign_written_and_read_is_the_same_sign(sign):
    piece = score(note("C", 5, 16) + note("D", 5, 16))
    data = write_signs(piece, "P1", [Addition(piece.notes[0].id, (sign,))])
    (again,) = tones(read("again.musicxml", data), "P1")[0].marks.signs

    assert replace(again, ours=False) == sign


def test_a_prescribed_unison_is_no_neighbour():
    grace = page_graces(bar_with('<mordent/><accidental-mark placement="below">sharp</accidental-mark>'),
                        plain_study(bar_with("<mordent/>")))[0].grace  # fmt: skip

    assert [str(n.pitch) for n in realise(grace, host("C5")).notes] == ["C5", "B4", "C5"]
    assert Pitch.parse("B#4").midi == Pitch.parse("C5").midi


def test_what_was_doubtful_is_told_once_with_its_bars():
    wavy = '<ornaments><inverted-mordent/></ornaments>'
    bars = [note("D", 5, 16, notations=wavy) + note("C", 5, 16)] * 5
    piece = score(*bars)
    study = plain_study(piece)
    graces = page_graces(piece, study, source="loulie1696")

    (told,) = page_remarks(piece, study, graces)
    assert told.startswith("bars 1, 2, 3 and 2 more: Loulie (1696) writes the tremblement with another sign")


def test_accidental_marks_of_a_transposing_part_are_read_as_they_sound():
    """A part written a minor third above its sound: F sharp under G is printed, D sharp under E sounds."""
    down = "<transpose><diatonic>-2</diatonic><chromatic>-3</chromatic></transpose>"
    mark = '<ornaments><mordent/><accidental-mark placement="below">sharp</accidental-mark></ornaments>'
    first = f"<attributes>{down}</attributes>" + note("C", 5, 16) + note("G", 5, 16, notations=mark)
    piece = score(first)
    study = plain_study(piece, "A major")
    (found,) = page_graces(piece, study)
    places = contexts(piece, study, Fingers(), "intermediate")
    notes = [str(n.pitch) for n in realise(found.grace, places[found.note]).notes]

    assert notes == ["E5", "D#5", "E5"]
    again = sign_for(found.grace, places[found.note]).signs[0]
    assert again.accidental_below == "sharp"


COMMA = '<other-ornament smufl="ornamentComma"/>'
DOUBLE = '<other-ornament smufl="ornamentDoubleObliqueLinesBeforeNote"/>'


@pytest.mark.parametrize(
    ("source", "ornaments", "grace"),
    [
        # the confusions that the sources themselves make; the host is reached by a falling third and left by a step
        ("jsbach1720", "<inverted-mordent/>", "shake"),
        ("purcell1696", "<inverted-mordent/>", "mordent"),
        ("purcell1696", DOUBLE, "shake"),
        ("marais1686", COMMA, "shake"),
        ("saintlambert1702", COMMA, "mordent"),
        ("mace1676", COMMA, "appoggiatura"),
        ("monteclair1736", "<turn/>", "turn-after"),
        ("cpebach1753", "<turn/>", "turn"),
        ("cpebach1753", "<delayed-turn/>", "turn-after"),
        ("geminiani1749", "<turn/>", "turn"),
        ("loulie1696", '<other-ornament smufl="ornamentVerticalLine"/>', "accent"),
        ("rameau1724", '<other-ornament smufl="ornamentVerticalLine"/>', "aspiration"),
        ("chambonnieres1670", '<other-ornament smufl="ornamentLeftPlus"/>', "appoggiatura"),
        ("loulie1696", '<other-ornament smufl="ornamentLeftPlus"/>', "shake"),
        ("cpebach1753", '<wavy-line type="start" number="1"/><wavy-line type="stop" number="1"/>', "shake"),
        ("marais1686", '<wavy-line type="start" number="1"/><wavy-line type="stop" number="1"/>', "finger-vibrato"),
    ],
)
def test_one_sign_is_what_its_source_means(source, ornaments, grace):
    (found,) = page_graces(bar_with(ornaments), plain_study(bar_with(ornaments)), source=source)

    assert found.grace.id == grace
