"""Each rule is met by a version that breaks it, and by no version that keeps it."""

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

from gracewright.review import review, rules


@pytest.fixture(scope="module")
def tune(written):
    return written("G5:1 A5:1 B5:1 C6:1 | D6:2 B5:2 | C6:2 B5:2 | C6:4", "C4:2 G3:2 | G3:2 G3:2 | F3:2 G3:2 | C3:4")


def found(scored, source="", level="advanced", **figures):
    """Rules met by the played version and not by the plain one, as (kind, rule, bar)."""
    def names(version):
        judged = review(scored.piece, scored.study, version, scored.alto, level, source=source)
        return [(one.kind, one.rule, one.bar) for one in judged.findings]

    plain = names(scored.plain)
    return [name for name in names(scored.played(**figures)) if name not in plain]


def test_the_plain_line_has_no_fault(tune):
    assert review(tune.piece, tune.study, tune.plain, tune.alto, "advanced").faults == ()


def test_a_shake_begins_with_the_upper_note(tune):
    above = "C6:1/8 B5:1/8 " * 7 + "C6:1/8 B5:1/8"
    main = "B5:1/8 C6:1/8 " * 7 + "B5:1/4"

    assert found(tune, t7=above) == []
    assert found(tune, t7=main) == [("fault", "shake-start", "3")]


def test_a_source_that_begins_with_the_main_note_is_heard(tune):
    assert found(tune, source="santamaria1565", t7="B5:1/8 C6:1/8 " * 7 + "B5:1/4") == []


def test_a_shake_may_follow_the_note_held(tune):
    assert found(tune, t7="B5:1 " + "C6:1/8 B5:1/8 " * 4) == []


def test_a_shake_comes_on_the_beat(tune):
    early = "-1/8 " + "C6:1/8 B5:1/8 " * 8 + "B5:1/8"

    assert ("fault", "shake-early", "3") in found(tune, t7=early)


def test_an_appoggiatura_comes_on_the_beat_unless_it_passes_between_falling_thirds(tune):
    assert found(tune, t5="C6:1 B5:1") == []
    assert ("fault", "appoggiatura-early", "2") in found(tune, t4="-1/4 E6:1/4 D6:2")
    early = found(tune, t5="-1/4 C6:1/4 B5:2")  # D C B: a falling third filled
    assert ("fault", "appoggiatura-early", "2") not in early


def test_two_shakes_do_not_run(tune):
    shake = {"t6": "D6:1/8 C6:1/8 " * 8, "t7": "C6:1/8 B5:1/8 " * 8}

    assert ("fault", "two-shakes", "3") in found(tune, **shake)


def test_notes_too_quick_for_the_player_are_named(tune):
    quick = "D6:1/16 C6:1/16 " * 16

    assert [rule for _, rule, _ in found(tune, level="beginner", t6=quick)] == ["too-quick"]
    assert found(tune, level="advanced", t6="D6:1/8 C6:1/8 " * 8) == []


def test_an_added_note_above_the_instrument_is_a_fault(tune):
    assert ("fault", "range", "2") in found(tune, t4="D6:1/2 C7:1/2 D6:1")


def test_an_augmented_second_inside_a_grace_is_a_fault(written):
    minor = written("A5:2 G5:2 | A5:4", "A3:2 E3:2 | A3:4")

    assert ("fault", "augmented-second", "1") in found(minor, t0="A5:1/2 G#5:1/2 F5:1/2 A5:1/2")


def test_fifths_and_octaves_with_the_bass_that_the_plain_line_lacks(written):
    plain = written("E5:2 A5:2 | G5:4", "C4:2 D4:2 | E3:4")

    assert found(plain, t0="E5:1 G5:1") == [("fault", "fifths", "1")]
    assert found(plain, t0="E5:3/2 F5:1/2") == []
    octave = written("E5:2 D5:2 | G5:4", "C4:2 D4:2 | E3:4")
    assert found(octave, t0="E5:1 C5:1") == [("fault", "octaves", "1")]


def test_fifths_that_the_composer_wrote_are_not_ours(written):
    written = written("G5:2 A5:2 | G5:4", "C4:2 D4:2 | E3:4")

    assert review(written.piece, written.study, written.plain, written.alto, "advanced").faults == ()


def test_fifths_from_beat_to_beat_are_a_remark(written):
    plain = written("E5:2 A5:2 | G5:4", "C4:2 D4:2 | E3:4")

    assert found(plain, t0="G5:1 E5:1") == [("remark", "beats-parallel", "1")]


def test_the_leading_note_of_the_bass_is_not_doubled(written):
    first = written("D6:2 D6:2 | C6:4 | B5:2 B5:2 | C6:4", "B3:2 B3:2 | C4:4 | G3:2 G3:2 | C3:4")

    assert ("fault", "leading-doubled", "1") in found(first, t0="B5:1 D6:1")


def test_a_grace_stays_in_its_bar(tune):
    assert ("fault", "spills", "2") in found(tune, t5="C6:1 B5:3/2")


def test_time_is_kept(tune):
    assert ("fault", "overlap", "2") in found(tune, t4="D6:1 C6:3/2")
    assert ("fault", "time-lost", "2") in found(tune, t4="D6:1/2")


def test_the_written_note_is_heard(tune):
    assert ("remark", "tune-lost", "2") in found(tune, t4="C6:1 E6:1")


def test_a_strong_cadence_wants_its_shake(tune):
    judged = review(tune.piece, tune.study, tune.plain, tune.alto, "advanced")
    shaken = review(tune.piece, tune.study, tune.played(t7="C6:1/8 B5:1/8 " * 8), tune.alto, "advanced")

    assert "cadence-bare" in [one.rule for one in judged.findings]
    assert "cadence-bare" not in [one.rule for one in shaken.findings]


def test_every_finding_carries_its_source_and_a_remedy(tune):
    judged = review(tune.piece, tune.study, tune.played(t4="D6:1 C6:3/2"), tune.alto, "advanced")

    for one in judged.findings:
        assert one.source == rules()[one.rule].source
        assert one.remedy
        assert "{" not in one.what + one.remedy


def test_every_rule_of_the_table_is_checked_by_some_code():
    code = "".join(path.read_text() for path in Path(review.__code__.co_filename).parent.glob("checks_*.py"))

    assert [name for name in rules() if f'"{name}"' not in code and name not in ("fifths", "octaves")] == []


def test_a_long_stretch_without_a_breath_is_remarked_for_a_wind_player(written):
    bars = " | ".join(["G5:1/2 A5:1/2 B5:1/2 A5:1/2 G5:1/2 A5:1/2 B5:1/2 A5:1/2"] * 12)
    bass = " | ".join(["G3:4"] * 12)
    slow = written(bars, bass, fifths=1, tempo=F(40))
    judged = review(slow.piece, slow.study, slow.plain, slow.alto, "advanced", tempo=F(20))

    assert "no-breath" in [one.rule for one in judged.findings]


def test_what_is_the_same_each_time_is_told_once(written):
    twice = written("E5:2 A5:2 | G5:4", "C4:2 D4:2 | E3:4", repeat=True)
    again = [replace(note, onset=note.onset + 8, time_through=2) for note in twice.played(t0="E5:1 G5:1").notes
             if note.time_through == 1]  # fmt: skip
    once = [note for note in twice.played(t0="E5:1 G5:1").notes if note.time_through == 1]
    version = replace(twice.plain, notes=tuple(once + again))
    faults = review(twice.piece, twice.study, version, twice.alto, "advanced").faults

    assert len(twice.plain.passes) == 2
    assert [one.what for one in faults] == [
        "Each time, the graces make parallel fifths with the bass: G5 to A5 over C4 to D4."
    ]
