"""MEI with the page's signs and the line as played, read again and drawn by the engraving library."""

from fractions import Fraction as F
from importlib import resources

import pytest
from lxml import etree
from score_hands import note, score

from gracewright.pitch import Pitch
from gracewright.score import Addition, Sign, SmallNote, Sounded, find_solo, read, tones, write_mei
from gracewright.sheet import engrave
from gracewright.study.repeats import played_order

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"
REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'
DEMOS = ("adagio.musicxml", "menuet.musicxml")


def heard(piece, line):
    return [(tone.onset, tone.length, str(tone.pitch)) for tone in tones(piece, line)]


def second_movement(data):
    root = etree.fromstring(data)
    first = root.find(f".//{MEI}mdiv")
    first.getparent().remove(first)
    return etree.tostring(root)


def in_thirds(piece, line):
    """The line as played, each note cut in three."""
    order = [(segment.first_bar, segment.last_bar) for segment in played_order(piece.bars)]
    sounded, at = [], F(0)
    for first, last in order:
        begin, end = piece.bars[first].onset, piece.bars[last].end
        for tone in tones(piece, line):
            if begin <= tone.onset < end:
                third = (min(tone.end, end) - tone.onset) / 3
                for turn in range(3):
                    pitch = tone.pitch.transposed(turn % 2, 2 * (turn % 2))
                    sounded.append(Sounded(at + tone.onset - begin + turn * third, third, pitch, turn > 0, tone.id))
        at += end - begin
    return order, sounded


def small_example():
    piece = read("x.musicxml", score(note("F#5", 4) + note("D5", 4) + REPEAT, note("E5", 8), fifths=1))
    first = tones(piece, "P1")[0]
    added = Addition(
        first.id, (Sign("trill-mark", accidental_above="natural"), Sign("words", "+")),
        (SmallNote("", Pitch.parse("G5"), F(1, 2), slurred=True),),
    )  # fmt: skip
    order, sounded = in_thirds(piece, "P1")
    return piece, added, order, sounded


def test_signs_of_ours_are_marked_and_read_again():
    piece, added, order, sounded = small_example()

    out = write_mei(piece, "P1", [added], sounded, order)
    root = etree.fromstring(out)
    again = tones(read("x.mei", out), "P1")[0]

    assert sorted(e.tag.removeprefix(MEI) for e in root.iter() if e.get("type") == "gw-ours") == [
        "mdiv", "note", "ornam", "slur", "trill"
    ]  # fmt: skip
    assert {sign.element for sign in again.marks.signs} == {"trill-mark", "words"}
    assert [(str(small.pitch), small.value) for small in again.marks.before] == [("G5", F(1, 2))]


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_is_read_again_with_equal_onsets_and_pitches(name):
    piece = read(name, resources.files("gracewright").joinpath("data", "demo", name).read_bytes())
    line = find_solo(piece)
    order, sounded = in_thirds(piece, line)

    out = write_mei(piece, line, (), sounded, order)
    page, played = read("x.mei", out), read("x.mei", second_movement(out))

    assert heard(page, line) == heard(piece, line)
    assert [(figure.onset, figure.items) for figure in page.figures] == [(f.onset, f.items) for f in piece.figures]
    assert heard(played, line) == [(tone.onset, tone.length, str(tone.pitch)) for tone in sounded]


def test_both_movements_are_drawn_by_the_engraving_library():
    piece, added, order, sounded = small_example()
    out = write_mei(piece, "P1", [added], sounded, order)

    page, played = engrave(out.decode()), engrave(second_movement(out).decode())

    assert sum(svg.count('class="trill') for svg in page.pages) == 1
    assert sum(svg.count('id="gw-b') for svg in page.pages) == 1
    assert sum(svg.count('class="tuplet') for svg in played.pages) >= 1


def test_ids_are_unique():
    piece, added, order, sounded = small_example()

    out = etree.fromstring(write_mei(piece, "P1", [added], sounded, order))
    ids = out.xpath("//@xml:id")

    assert len(ids) == len(set(ids)) > 10


def test_each_played_note_leads_to_its_note_on_the_page():
    piece, added, order, sounded = small_example()

    out = etree.fromstring(write_mei(piece, "P1", [added], sounded, order))
    page, played = out.iter(f"{MEI}mdiv")
    pitches = {note.get(XML_ID): note.get("pname") for note in page.iter(f"{MEI}note")}
    led = [pitches[note.get("corresp")[1:]] for note in played.iter(f"{MEI}note") if note.get("corresp")]

    assert "".join(led) == "fffddd" * 2 + "eee"


def test_small_notes_before_a_beam_stand_outside_it():
    beamed = [note("C5", 1, f'<beam number="1">{word}</beam>') for word in ("begin", "end")]
    piece = read("x.musicxml", score("".join(beamed) + note("D5", 6), note("E5", 8)))
    small = SmallNote("", Pitch.parse("D5"), F(1, 2))
    order, sounded = in_thirds(piece, "P1")

    out = etree.fromstring(
        write_mei(piece, "P1", [Addition(piece.notes[0].id, before=(small,))], sounded, order)
    )  # fmt: skip
    layer = out.find(f".//{MEI}layer")

    assert [child.tag.removeprefix(MEI) for child in layer] == ["note", "beam", "note"]
    assert layer[0].get("grace")


def test_segno_and_repeats_come_back():
    segno = "<direction><direction-type><segno/></direction-type></direction>"
    piece = read("x.musicxml", score(segno + note("C5", 8) + REPEAT, note("E5", 8)))
    order, sounded = in_thirds(piece, "P1")

    again = read("x.mei", write_mei(piece, "P1", (), sounded, order))

    assert [(bar.jumps, bar.repeat_end) for bar in again.bars] == [(("segno",), 2), ((), 0)]
