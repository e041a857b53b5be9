"""The whole way on the demo movements: what is left in the folder, and what a player would count on."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from lxml import etree
from music21 import converter, note

import gracewright
from gracewright.errors import BadInput
from gracewright.graces import Grace
from gracewright.job import (
    RESULTS,
    Wishes,
    additions,
    demo_piece,
    moved,
    plain,
    result,
    sounded,
    work_on,
    write_results,
)
from gracewright.pitch import Pitch
from gracewright.score import canonical, read, strip_ours, tones
from gracewright.taste import make_plan, write_plan

MANNERS = ("french", "italian", "german", "english")


@pytest.fixture(scope="module")
def works():
    return {(name, manner): work_on(read(demo_piece(name)), Wishes(manner=manner))
            for name in ("adagio", "menuet") for manner in MANNERS}  # fmt: skip


def test_every_result_is_written_and_nothing_else(works, tmp_path):
    done = list(write_results(works["menuet", "french"], tmp_path))

    assert done == list(RESULTS)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(RESULTS)
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "sound.ogg").read_bytes().startswith(b"OggS")


def test_our_signs_can_be_taken_away_again(works):
    original = demo_piece("menuet").read_bytes()
    signed = result(works["menuet", "french"], "signs.musicxml")

    assert canonical(signed) != canonical(original)
    assert canonical(strip_ours(signed)) == canonical(original)


def test_richness_nought_adds_nothing():
    """Only the composer's shake in bar 7 and mordent in bar 17 are played."""
    work = work_on(read(demo_piece("menuet")), Wishes(richness=0))

    assert {(choice.bar, choice.grace.id) for choice in work.plan.choices if choice.grace} == {
        ("7", "shake"), ("17", "mordent"),
    }  # fmt: skip
    assert additions(work) == ((), ())


def test_strong_closes_have_a_shake_or_a_reason(works):
    """Common practice, no source: cadences always. The shake may stand anywhere over the penultimate dominant."""
    shakes = ("shake", "appoggiatura-shake", "turned-shake")
    for work in works.values():
        onsets = {tone.id: tone.onset for tone in tones(work.piece, work.study.solo)}
        shaken = {choice.onset for choice in work.plan.choices if choice.grace and choice.grace.id in shakes}
        excused = {onsets[bare.note] for bare in work.plan.bare}
        strong = [cadence for cadence in work.study.cadences
                  if cadence.strength >= 0.6 and cadence.kind.startswith("authentic")]  # fmt: skip
        assert strong
        for cadence in strong:
            assert any(cadence.dominant_onset <= onset < cadence.onset for onset in shaken | excused), cadence


def test_added_shakes_begin_on_the_beat_with_the_upper_note(works):
    """Common practice, no source. Read from the played notes, not from the plan."""
    looked_at = dict.fromkeys(MANNERS, 0)
    for (_, manner), work in works.items():
        line = {}
        for there in work.version.notes:
            if there.part == work.study.solo:
                line.setdefault((there.host, there.time_through), []).append(there)
        for choice in work.plan.choices:
            if choice.origin == "ours" and choice.grace and choice.grace.id == "shake" and not choice.grace.start:
                played = line[choice.note, choice.time_through]
                assert played[0].page_onset == choice.onset
                assert played[0].pitch.diatonic == choice.pitch.diatonic + 1
                looked_at[manner] += 1
    assert all(looked_at.values()), looked_at


def test_the_repeat_is_at_least_as_rich(works):
    for work in works.values():
        graced = [choice.time_through for choice in work.plan.choices if choice.grace]
        times = graced.count(1), graced.count(2)
        assert times[1] > 0, work.manner.id
        assert times[1] >= times[0], work.manner.id


def test_the_written_out_line_is_what_music21_reads(works, tmp_path):
    """Onsets and pitches of played.musicxml by an independent reader."""
    for key, work in works.items():
        path = tmp_path / ("-".join(key) + ".musicxml")
        path.write_bytes(result(work, "played.musicxml"))
        part = converter.parse(path, forceSource=True).parts[0].stripTies()
        heard = [(Fraction(there.offset).limit_denominator(5000), there.pitch.nameWithOctave.replace("-", "b"))
                 for there in part.flatten().getElementsByClass(note.Note) if not there.duration.isGrace]  # fmt: skip
        ours = [(there.onset, str(there.pitch)) for there in sounded(work)]

        assert [pitch for _, pitch in heard] == [pitch for _, pitch in ours]
        assert all(abs(a - b) < Fraction(1, 200) for (a, _), (b, _) in zip(heard, ours, strict=True))


def test_a_plan_given_back_is_played_exactly(works):
    work = works["adagio", "italian"]
    again = work_on(work.piece, work.wishes, plan_text=write_plan(work.plan))

    assert again.version.notes == work.version.notes


def test_the_same_wishes_give_the_same_work(works):
    again = work_on(read(demo_piece("adagio")), Wishes(manner="italian"))

    assert again.version.notes == works["adagio", "italian"].version.notes


def test_an_italian_slow_movement_has_divisions(works):
    choices = works["adagio", "italian"].plan.choices

    assert any(choice.grace and choice.grace.id == "division" for choice in choices)


def test_the_plain_version_is_the_page(works):
    work = works["adagio", "french"]
    line = [there for there in plain(work, once=True).notes if there.part == work.study.solo]

    assert len(line) == 77  # notes of the tune with the tie over bar 3 counted once
    assert all(there.main for there in line)


def test_a_french_piece_moves_up_a_minor_third():
    """The usual move for the alto (common practice): F major becomes A flat major."""
    wishes = Wishes(transpose="up a minor third")
    work = work_on(read(demo_piece("menuet")), wishes)

    assert work.piece.bars[0].fifths == -4
    assert "Transposed up a minor third." in work.remarks


def test_an_unknown_move_is_refused():
    work = work_on(read(demo_piece("menuet")), Wishes(richness=0))
    with pytest.raises(BadInput, match="does not help here"):
        moved(work.piece, replace(work.wishes, transpose="sideways"), work.instrument)


def test_what_we_write_is_valid_musicxml(works, shared):
    schema = etree.XMLSchema(etree.parse(next((shared / "data").rglob("musicxml.xsd"))))
    for work in works.values():
        for name in ("signs.musicxml", "played.musicxml"):
            assert schema.validate(etree.fromstring(result(work, name)).getroottree()), schema.error_log.last_error


def test_an_instrument_and_a_manner_of_the_players_own(tmp_path):
    """Copies of shipped tables under other names give the same plan, sheet and sound as those."""
    package = Path(gracewright.__file__).parent
    for name, table in (("pipe", "instruments/tables/alto-recorder.toml"), ("way", "taste/manners/french.toml")):
        text = (package / table).read_text(encoding="utf-8").replace('id = "', 'id = "my-', 1)
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    wishes = Wishes(instrument=str(tmp_path / "pipe.toml"), manner=str(tmp_path / "way.toml"))
    work = work_on(read(demo_piece("menuet")), wishes)

    list(write_results(work, tmp_path / "out"))
    shipped = work_on(read(demo_piece("menuet")), Wishes())

    assert [(c.note, c.grace) for c in work.plan.choices] == [(c.note, c.grace) for c in shipped.plan.choices]
    assert len(list((tmp_path / "out").iterdir())) == len(RESULTS)


def two_voices(tmp_path):
    """The menuet with a second voice a third below the first bar's tune, on the same staff."""
    tree = etree.parse(demo_piece("menuet"))
    bar = tree.getroot().find("part/measure")
    notes = bar.findall("note")
    backup = etree.SubElement(bar, "backup")
    etree.SubElement(backup, "duration").text = "12"
    for note_ in notes:
        lower = etree.fromstring(etree.tostring(note_))
        lower.find("voice").text = "2"
        lower.find("pitch/step").text = {"F": "D", "G": "E", "A": "F", "B": "G"}[lower.findtext("pitch/step")]
        for alter in lower.findall("pitch/alter"):
            lower.find("pitch").remove(alter)
        bar.append(lower)
    path = tmp_path / "two.musicxml"
    tree.write(path)
    return path


def test_of_two_voices_on_a_staff_the_upper_is_the_line_and_the_lower_still_sounds(tmp_path):
    """Common practice, no source."""
    work = work_on(read(two_voices(tmp_path)), Wishes(richness=0))

    assert [str(note_.pitch) for note_ in sounded(work)][:4] == ["F5", "G5", "A5", "Bb5"]
    first_bar = {str(note_.pitch) for note_ in work.version.notes if note_.onset < 3}
    assert {"D5", "E5", "F5", "G5"} <= first_bar


def test_an_empty_plan_plays_the_page_alone():
    work = work_on(read(demo_piece("menuet")), Wishes(), plan_text="")

    assert [choice for choice in work.plan.choices if choice.origin == "ours"] == []


def test_a_part_without_notes_is_refused(tmp_path):
    tree = etree.parse(demo_piece("menuet"))
    for element in tree.getroot().findall("part[@id='P1']//note"):
        for tag in ("pitch", "accidental", "notations", "beam", "tie"):
            for child in element.findall(tag):
                element.remove(child)
        element.insert(0, etree.Element("rest"))
    path = tmp_path / "silent.musicxml"
    tree.write(path)

    with pytest.raises(BadInput, match="holds no notes"):
        work_on(read(path), Wishes(solo="P1"))


def test_a_grace_that_makes_a_fault_is_taken_out_and_no_other(monkeypatch):
    """A passage up to c'''' is beyond the alto's compass (g'''): that one goes, with the reason; the rest stays."""
    plain_plan = work_on(read(demo_piece("menuet")), Wishes()).plan
    model = next(choice for choice in plain_plan.choices if choice.origin == "ours" and choice.bar == "23")
    passage = Grace("division", notes=((model.pitch, Fraction(1, 2)), (Pitch.parse("C7"), Fraction(1, 2))))

    def with_fault(*arguments, **wishes):
        plan = make_plan(*arguments, **wishes)
        swapped = tuple(replace(choice, grace=passage) if choice == model else choice for choice in plan.choices)
        return replace(plan, choices=swapped)

    monkeypatch.setattr("gracewright.job.make_plan", with_fault)
    work = work_on(read(demo_piece("menuet")), Wishes())

    assert work.review.faults == ()
    assert set(plain_plan.choices) - set(work.plan.choices) == {model}
    assert any(bare.note == model.note and bare.why.startswith("Without its division") for bare in work.plan.bare)


def test_a_plan_for_another_player_says_so():
    text = write_plan(work_on(read(demo_piece("menuet")), Wishes(instrument="traverso")).plan)
    work = work_on(read(demo_piece("menuet")), Wishes(), plan_text=text)

    assert any("made for traverso" in remark and "--instrument traverso" in remark for remark in work.remarks)


@pytest.mark.parametrize("head", ["", "instrument: kazoo\n"])
def test_a_plan_that_names_no_instrument_is_printed_for_the_player_of_the_command(head):
    piece = read(demo_piece())
    work = work_on(piece, Wishes(), plan_text=f"{head}bar 7 beat 3: shake\n")
    assert work.plan.instrument == "alto-recorder"
    assert any("kazoo" in remark for remark in work.remarks) == bool(head)
    assert result(work, "sheet.pdf").startswith(b"%PDF")
