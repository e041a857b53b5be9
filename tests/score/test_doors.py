"""Every door: what comes in is read right, or refused in one sentence."""

import io
import time
import zipfile
from fractions import Fraction as F

import pytest
from lxml import etree
from score_hands import note, score

from gracewright.errors import BadInput, UnsafeInput
from gracewright.pitch import Pitch
from gracewright.score import (
    MidiPart,
    Sign,
    Sounded,
    canonical,
    counterparts,
    read,
    scores_in,
    tones,
    write_midi,
    write_signs,
)
from gracewright.score.guarded import convert
from gracewright.score.writing_signs import Addition

PLAIN = score(note("C5", 4) + note("D5", 4), note("E5", 8))
TIMEWISE = (
    b"<score-timewise version='4.0'><part-list><score-part id='A'><part-name>One</part-name></score-part>"
    b"<score-part id='B'><part-name>Two</part-name></score-part></part-list>"
    b"<measure number='1'><part id='A'><attributes><divisions>1</divisions></attributes>"
    b"<note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration></note></part>"
    b"<part id='B'><attributes><divisions>1</divisions></attributes>"
    b"<note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration></note></part></measure>"
    b"<measure number='2'><part id='A'>"
    b"<note><pitch><step>D</step><octave>5</octave></pitch><duration>4</duration></note>"
    b"</part><part id='B'><note><pitch><step>G</step><octave>2</octave></pitch><duration>4</duration></note></part>"
    b"</measure></score-timewise>"
)
ABC = "X:1\nT:Air\nC:Nobody\nM:3/4\nL:1/8\nK:G\n|: GA TB2 {c}d2 | !+!g2 ~f2 !trill!e2 | (3abc d4 :|\n"
KERN = "!!!COM: Nobody\n**kern\n*clefG2\n*k[f#]\n*M3/4\n=1\n4gT\n8a\n8b\n4cc\n=2\n2.dd\n==\n*-\n"
MEI = """<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef meter.count="3"
 meter.unit="4" key.sig="2f"><staffGrp><staffDef n="1" lines="5" clef.shape="G" clef.line="2" label="Oboe"/><staffDef
 n="2" lines="5" clef.shape="F" clef.line="4"/></staffGrp></scoreDef><section><measure n="1" right="rptend">
 <staff n="1"><layer n="1"><note xml:id="a" grace="acc" dur="8" pname="c" oct="5"/><note xml:id="b" dur="4" dots="1"
 pname="b" oct="4"/><note xml:id="c" dur="8" pname="e" oct="5" accid="n"/><tuplet num="3" numbase="2"><note xml:id="d"
 dur="8" pname="e" oct="5"/><note dur="8" pname="d" oct="5"/><note dur="8" pname="c" oct="5"/></tuplet></layer></staff>
 <staff n="2"><layer n="1"><note xml:id="e" dur="2" dots="1" pname="b" oct="2"/></layer></staff>
 <trill startid="#b" accidupper="f"/><slur startid="#a" endid="#b"/><harm staff="2" tstamp="1"><fb><f>6</f><f>4+</f>
 </fb></harm><harm staff="2" tstamp="3"><fb><f>#</f></fb></harm></measure></section></score></mdiv></body></music>
 </mei>"""


def heard(piece, line):
    return [(str(tone.pitch), tone.onset, tone.length) for tone in tones(piece, line)]


def test_a_timewise_score_reads_as_the_partwise_one_and_stays_timewise():
    piece = read("two.xml", TIMEWISE)
    second = [note.id for note in piece.notes if note.pitch == Pitch.parse("D5")]
    out = write_signs(piece, "A", [Addition(second[0], (Sign("trill-mark"),))])

    assert heard(piece, "A") == [("C5", F(0), F(4)), ("D5", F(4), F(4))]
    assert heard(piece, "B") == [("C3", F(0), F(4)), ("G2", F(4), F(4))]
    assert canonical(write_signs(piece, "A", ())) == canonical(TIMEWISE)
    marked = [note for note in etree.fromstring(out).iter("note") if note.find("notations") is not None]
    assert [note.findtext("pitch/step") for note in marked] == ["D"]


@pytest.mark.parametrize(
    "data",
    [
        PLAIN,
        b"\xef\xbb\xbf" + PLAIN,
        PLAIN.decode().replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16"),
        PLAIN.decode().replace('encoding="UTF-8"', 'encoding="UTF-16"').encode("utf-16-le"),
        PLAIN.decode().replace('encoding="UTF-8"', 'encoding="ISO-8859-1"').replace("Flute", "Flûte").encode("latin-1"),
        PLAIN.decode().replace("Flute", "Flûte").encode("latin-1"),
    ],
    ids=["utf-8", "byte-order mark", "utf-16", "utf-16 without mark", "latin-1 declared", "latin-1 undeclared"],
)
def test_encodings_as_they_occur(data):
    piece = read("tune.xml", data)

    assert heard(piece, "P1") == [("C5", F(0), F(2)), ("D5", F(2), F(2)), ("E5", F(4), F(4))]
    assert piece.parts[0].name in ("Flute", "Flûte")


def test_a_compressed_score_is_unpacked():
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w") as archive:
        rootfile = "<container><rootfiles><rootfile full-path='a/b.xml'/></rootfiles></container>"
        archive.writestr("META-INF/container.xml", rootfile)
        archive.writestr("a/b.xml", PLAIN)

    assert len(heard(read("tune.mxl", box.getvalue()), "P1")) == 3


def test_mei_keeps_ids_signs_figures_and_spelling():
    piece = read("oboe.mei", MEI.encode())
    b = piece.by_id["b"]

    assert [part.name for part in piece.parts] == ["Oboe", "Staff 2"]
    assert heard(piece, "P1")[:3] == [("Bb4", F(0), F(3, 2)), ("E5", F(3, 2), F(1, 2)), ("E5", F(2), F(1, 3))]
    assert [(sign.element, sign.accidental_above) for sign in b.marks.signs] == [("trill-mark", "flat")]
    assert [(small.id, str(small.pitch), small.slurred) for small in b.marks.before] == [("a", "C5", True)]
    assert str(piece.by_id["e"].pitch) == "Bb2"
    assert piece.bars[0].repeat_end == 2
    figures = [
        (figure.onset, [(item.prefix, item.number, item.suffix) for item in figure.items]) for figure in piece.figures
    ]
    assert figures == [(F(0), [("", 6, ""), ("", 4, "plus")]), (F(2), [("sharp", None, "")])]


def test_signs_can_be_written_into_a_score_that_came_as_mei():
    piece = read("oboe.mei", MEI.encode())

    again = read("oboe.musicxml", write_signs(piece, "P1", [Addition("c", (Sign("mordent"),))]))

    assert [sign.element for sign in again.by_id["c"].marks.signs] == ["mordent"]


def test_humdrum_comes_in_with_its_trill():
    piece = read("air.krn", KERN.encode())

    assert [name for name, _, _ in heard(piece, "P1")] == ["G4", "A4", "B4", "C5", "D5"]
    assert [onset for _, onset, _ in heard(piece, "P1")] == [F(0), F(1), F(3, 2), F(2), F(3)]
    assert [sign.element for sign in piece.notes[0].marks.signs] == ["trill-mark"]
    assert piece.composer == "Nobody"


def test_abc_comes_in_and_says_what_was_lost():
    piece = read("air.abc", ABC.encode())

    assert [name for name, _, _ in heard(piece, "P1")][:4] == ["G4", "A4", "B4", "D5"]
    assert [length for _, _, length in heard(piece, "P1")][:4] == [F(1, 2), F(1, 2), F(1), F(1)]
    signs = [sign.text or sign.element for note in piece.notes for sign in note.marks.signs]
    assert signs == ["trill-mark", "+", "turn", "trill-mark"]
    assert "!thumb! (1)" in " ".join(read("air.abc", ABC.replace("!trill!", "!thumb!").encode()).remarks)


def test_abc_keeps_jumps_and_signs_that_the_converter_drops():
    """The Fine stands at the bar line that closes its bar, as the ABC standard wants decorations of bar lines read."""
    text = "X:1\nT:a\nM:3/4\nL:1/4\nK:G\n!segno!GAB | !slide!c !+!d !turnx!e !fine!| gab !D.S.alfine!|]\n"
    piece = read("air.abc", text.encode())

    assert [bar.jumps for bar in piece.bars] == [("segno",), ("fine",), ("dalsegno",)]
    signs = [(str(note.pitch), [sign.text or sign.element for sign in note.marks.signs]) for note in piece.notes]
    assert signs[3:6] == [("C5", ["schleifer"]), ("D5", ["+"]), ("E5", ["turn"])]


def test_a_midi_file_of_ours_comes_back_and_the_door_is_frank():
    names = ("G4", "A4", "B4", "C5", "D5", "E5", "F#5", "G5")
    scale = tuple(Sounded(F(index, 2), F(1, 2), Pitch.parse(name)) for index, name in enumerate(names))

    piece = read("scale.mid", write_midi([MidiPart("Flute", scale)], F(90)))

    assert [(tone.pitch.midi, tone.onset, tone.length) for tone in tones(piece, piece.parts[0].id)] == [
        (note.pitch.midi, note.onset, note.length) for note in scale
    ]
    assert any("holds no signs" in remark for remark in piece.remarks)


def test_midi_bends_each_note_to_its_tuning():
    """A full bend of 8192 steps is two semitones: 50 cents are 2048 steps (General MIDI default range)."""
    data = write_midi([MidiPart("Flute", (Sounded(F(0), F(1), Pitch.parse("A4")),))], F(60), tuning=lambda pitch: -50.0)

    wanted = 8192 - 2048
    assert bytes([0xE0, wanted & 0x7F, wanted >> 7]) in data


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.musicxml", b"", "empty"),
        ("a.musicxml", b"nonsense", "not well-formed"),
        ("a.pdf", b"%PDF", "not read"),
        ("a.musicxml", b"<html/>", "not a score"),
        ("a.musicxml", b"<!DOCTYPE a [<!ENTITY b 'c'>]><score-partwise>&b;</score-partwise>", "entities"),
        ("a.mid", b"RIFFxxxx", "MIDI"),
        ("a.krn", b"**text\nla\n*-\n", "no \\*\\*kern"),
        ("a.abc", b"X:1\nabc\n", "no key line"),
        ("a.mei", b"<mei xmlns='http://www.music-encoding.org/ns/mei'/>", "no score"),
        ("a.musicxml", PLAIN.replace(b"<duration>4<", b"<duration>-4<", 1), "negative"),
        ("a.musicxml", PLAIN.replace(b"<duration>4<", b"<duration>9999999<", 1), "longer than"),
        ("a.musicxml", PLAIN.replace(b"<step>C<", b"<step>Q<", 1), "cannot be read"),
        ("a.musicxml", PLAIN.replace(b"<beats>4<", b"<beats>0<", 1), "time signature"),
        ("a.musicxml", PLAIN.replace(b"<divisions>2<", b"<divisions>0<", 1), "divisions"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_sentence(name, data, words):
    with pytest.raises(BadInput, match=words) as refusal:
        read(name, data)

    sentence = str(refusal.value)
    assert sentence.startswith(name)
    assert sentence.endswith(".")
    assert "\n" not in sentence


def test_archives_that_climb_out_or_swell_are_refused_at_once():
    climbing, bomb = io.BytesIO(), io.BytesIO()
    with zipfile.ZipFile(climbing, "w") as archive:
        archive.writestr("../out.xml", PLAIN)
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("big.xml", b" " * (80 * 2**20))
    begun = time.perf_counter()

    for box in (climbing, bomb):
        with pytest.raises(UnsafeInput):
            read("a.mxl", box.getvalue())

    assert time.perf_counter() - begun < 5


def test_a_converter_that_takes_too_long_is_stopped():
    with pytest.raises(BadInput, match="longer than"):
        convert("humdrum", KERN.encode(), "air.krn", limit=0.001)


def test_a_bar_that_does_not_add_up_is_read_and_said():
    piece = read("a.musicxml", score(*[note("C5", 8)] * 5, note("C5", 8) + note("D5", 2)))

    assert piece.bars[5].length == F(5)
    assert "Bar 6: more than the time signature allows" in " ".join(piece.remarks)


def test_a_tie_without_partner_is_said():
    tied = note("C5", 8, '<notations><tied type="start"/></notations>')
    piece = read("a.musicxml", score(tied, note("D5", 8)))

    assert "Bar 1: a tie leads nowhere" in " ".join(piece.remarks)
    assert len(tones(piece, "P1")) == 2


def test_notes_are_the_same_notes_after_a_program_has_renamed_them():
    old = read("a.musicxml", score(note("C5", 4, id="x") + note("D5", 4, id="y"), note("E5", 8, id="z")))
    new = read("a.musicxml", PLAIN.replace(b'"P1"', b'"Q7"'))

    assert [counterparts(old, new)[name] for name in ("x", "y", "z")] == [n.id for n in new.notes]


def test_scores_of_a_folder_are_found_and_sorted(tmp_path):
    for name in ("b.musicxml", "a.mei", "notes.txt", "deep/c.krn", ".hidden/d.abc"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("x")

    assert [path.name for path in scores_in(tmp_path)] == ["a.mei", "b.musicxml", "c.krn"]


def test_an_editors_warning_is_no_word_on_the_page():
    """Humdrum comes with the editor's problem marks; the page stays clean, and the door says where they are."""
    data = KERN.replace("8b\n", "!LO:TX:t=P:problem=a blot\n8b\n")
    piece = read("air.krn", data.encode())

    assert piece.words == ()
    assert [remark for remark in piece.remarks if "doubtful" in remark] == [
        "Bar 1: the edition marks something there as doubtful or corrected."
    ]
