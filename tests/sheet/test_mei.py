"""Our MEI, judged by what the engraver draws from it."""

import re
from dataclasses import replace
from fractions import Fraction as F

import pytest
from lxml import etree

from gracewright.job import demo_piece
from gracewright.pitch import Pitch
from gracewright.score import Bar, Clef, Figure, FigureItem, Marks, Meter, Note, Part, Piece, Sign, SmallNote, read
from gracewright.sheet import Staff, drawn_id, engrave, mei_of, tone_of
from gracewright.sheet.faults import glyphs_asked, missing_glyphs
from gracewright.sheet.glyphs import DRAWINGS
from gracewright.taste import manners

from .conftest import made

MEI = "{http://www.music-encoding.org/ns/mei}"
XML_ID = "{http://www.w3.org/XML/1998/namespace}id"


def piece_of(notes, figures=(), bars=1, **more):
    meter, length = Meter(4, 4), F(4)
    laid = tuple(Bar(i, str(i + 1), length * i, length, meter, 0, **more) for i in range(bars))
    return Piece("", "", (Part("P", "", clefs=(Clef(F(0), 1, "G", 2),)),), laid, tuple(notes), figures)


def note(name, onset, length, pitch="C5", **more):
    return Note(name, "P", 1, "1", onset // 4, F(onset), F(length), Pitch.parse(pitch), F(length), **more)


def drawn(piece, **staff):
    mei = mei_of(piece, [Staff("written", "P", **staff)])
    return etree.fromstring(mei.encode()), engrave(mei)


@pytest.mark.parametrize("name", ["n1", "P1.b1.n3", "1 note", "a--b", "ü:7", "_x_", "gw-1"])
def test_any_id_can_be_drawn_and_leads_back(name):
    assert tone_of(drawn_id(name, "t2.0")) == (name, "t2.0")
    tree, page = drawn(piece_of([note(name, 0, 4)]))

    assert tree.find(f".//{MEI}note").get(XML_ID) == drawn_id(name)
    assert f'id="{drawn_id(name)}" class="note"' in page.pages[0]


def test_an_accidental_is_printed_once_a_bar_and_cancelled_when_it_ends():
    pitches = ["F5", "F#5", "F#5", "F5"]
    tree, _ = drawn(piece_of([note(f"n{i}", i, 1, pitch) for i, pitch in enumerate(pitches)]))

    assert [accid.get("accid") for accid in tree.iter(f"{MEI}accid")] == ["s", None, "n"]


def test_small_notes_slash_and_slur_are_drawn():
    small = (SmallNote("s1", Pitch.parse("D5"), F(1, 2), slash=True, slurred=True),)
    tree, page = drawn(piece_of([note("n", 0, 4, marks=Marks(before=small))]))

    assert tree.find(f".//{MEI}graceGrp/{MEI}note").get("grace") == "unacc"
    assert page.pages[0].count('class="slur"') == 1


def test_the_words_of_a_song_stand_below_with_a_hyphen_where_a_word_goes_on():
    """A word of two syllables and one of one, read from MusicXML's <syllabic>."""
    lyric = "<lyric><syllabic>{}</syllabic><text>{}</text></lyric>"
    pitch = "<pitch><step>C</step><octave>5</octave></pitch><duration>1</duration>"

    def sung(place):
        words = [lyric.format(place, "a"), lyric.format("end", "ve"), lyric.format("single", "stella"), ""]
        notes = "".join(f"<note>{pitch}{word}</note>" for word in words)
        song = f"""<score-partwise><part-list><score-part id="P"><part-name/></score-part></part-list><part id="P">
            <measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type>
            </time></attributes>{notes}</measure></part></score-partwise>"""
        return drawn(read("song.musicxml", song.encode()), lyrics=True)

    tree, joined = sung("begin")
    assert [(s.text, s.get("con")) for s in tree.iter(f"{MEI}syl")] == [("a", "d"), ("ve", None), ("stella", None)]
    _, apart = sung("single")
    assert joined.pages[0].count("<rect") == apart.pages[0].count("<rect") + 1


def test_every_sign_of_the_reader_is_drawn_with_its_own_glyph():
    """MusicXML 4.0 ornaments; the library alone loses shake and other-ornament and draws one turn the wrong way up."""
    expected = {
        "trill-mark": "E566", "turn": "E567", "inverted-turn": "E568", "delayed-turn": "E567",
        "delayed-inverted-turn": "E568", "vertical-turn": "E56A", "inverted-vertical-turn": "E56B", "shake": "E582",
        "mordent": "E56D", "inverted-mordent": "E56C", "schleifer": "E587", "haydn": "E56F", "stopped": "E597",
    }  # fmt: skip
    for element, glyph in expected.items():
        _, page = drawn(piece_of([note("n", 0, 4, marks=Marks(signs=(Sign(element),)))]))

        assert f"#{glyph}-" in page.pages[0], element


def test_signs_that_the_font_lacks_are_drawn_by_us():
    signs = [Sign("other-ornament", smufl=drawing.name) for drawing in DRAWINGS]
    notes = [note(f"n{i}", i, 1, marks=Marks(signs=(sign,))) for i, sign in enumerate(signs)]
    mei = mei_of(piece_of(notes, bars=len(notes) // 4 + 1), [Staff("written", "P")])
    svg = "".join(engrave(mei, options={"breaks": "auto"}).pages)

    assert glyphs_asked(mei) == {f"{drawing.code:X}" for drawing in DRAWINGS}
    assert missing_glyphs(svg, glyphs_asked(mei)) == ()


def test_our_signs_differ_from_the_composers_in_more_than_colour():
    signs = (Sign("mordent"), Sign("trill-mark", ours=True))
    tree, page = drawn(piece_of([note("n", 0, 4, marks=Marks(signs=signs))]))

    assert [tree.find(f".//{MEI}{name}").get("enclose") for name in ("mordent", "trill")] == [None, "paren"]
    assert 'class="trill ours"' in page.pages[0]
    assert 'class="mordent page"' in page.pages[0]


def test_struck_figures_are_single_glyphs():
    figure = Figure("P", 0, F(0), F(4), (FigureItem(6, suffix="slash"), FigureItem(None, prefix="sharp")))
    tree, page = drawn(piece_of([note("n", 0, 4)], (figure,)), figures=True)

    assert [f.text for f in tree.iter(f"{MEI}f")] == ["\ueA5C", "\ueA66"]
    assert missing_glyphs(page.pages[0]) == ()


def test_a_long_note_is_tied_over_the_bar_line():
    notes = [note("a", 0, 4, tie_out=True), note("b", 4, 4, tie_in=True)]
    _, page = drawn(piece_of(notes, bars=2))

    assert page.pages[0].count('class="tie"') == 1


@pytest.mark.parametrize("name", ["adagio", "menuet"])
@pytest.mark.parametrize("manner", manners())
def test_every_demo_in_every_manner_is_drawn_without_a_warning(name, manner):
    for richness in (0.0, 10.0):
        work = made(demo_piece(name), manner, richness)
        staves = [Staff("played", work.study.solo, row=row) for row in (1, -1)]
        staves += [Staff("written", line, figures=True) for line in (work.study.solo, work.study.bass)]
        mei = mei_of(work.piece, staves, version=work.version)
        page = engrave(mei, options={"breaks": "auto"})

        assert page.warnings == ()
        ids = re.findall(r'xml:id="([^"]+)"', mei)
        assert len(ids) == len(set(ids))


def test_every_played_note_is_drawn_with_its_pitch(menuet):
    """What stands on the played staff is what sounds, note by note: pitches and how many, the last time through."""
    mei = mei_of(menuet.piece, [Staff("played", menuet.study.solo, row=-1)], version=menuet.version)
    heads = [
        head for head in etree.fromstring(mei.encode()).iter(f"{MEI}note") if head.get("tie") not in ("m", "t")
    ]  # fmt: skip
    times = {bar: run.time_through for run in menuet.version.passes for bar in range(run.first_bar, run.last_bar + 1)}
    bar_at = {note.id: note.bar for note in menuet.piece.notes}
    heard = [
        played.pitch for played in sorted(menuet.version.notes, key=lambda note: note.page_onset)
        if played.part == menuet.study.solo and played.time_through == times[bar_at[played.host]]
    ]  # fmt: skip

    shown = [f"{head.get('pname').upper()}{head.get('oct')}" for head in heads]

    assert shown == [f"{pitch.pitch_class[0]}{pitch.octave}" for pitch in heard]


def test_the_same_input_gives_the_same_text(adagio):
    staves = [Staff("played", adagio.study.solo, row=-1), Staff("written", adagio.study.solo)]

    assert mei_of(adagio.piece, staves, version=adagio.version) == mei_of(adagio.piece, staves, version=adagio.version)


def test_a_transposing_part_is_drawn_as_written():
    piece = piece_of([note("n", 0, 4, "Bb4")])
    piece = replace(piece, parts=(replace(piece.parts[0], transpose=(-1, -2)),))
    tree, _ = drawn(piece)

    assert [(n.get("pname"), n.get("oct")) for n in tree.iter(f"{MEI}note")] == [("c", "5")]
    assert tree.find(f".//{MEI}staffDef").get("keysig") == "2s"
