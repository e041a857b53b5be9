"""Every instrument table loads, and a fault in one is told by entry."""

import re
import tomllib
from importlib import resources
from pathlib import Path

import pytest

from gracewright.errors import BadInput, TableError
from gracewright.instruments import LEVELS, instruments, load_instrument
from gracewright.instruments.tables import build
from gracewright.pitch import Pitch

TABLES = resources.files("gracewright.instruments") / "tables"


def test_the_eight_instruments_are_there():
    assert {"alto-recorder", "soprano-recorder", "tenor-recorder", "bass-recorder", "voice-flute", "traverso", "oboe",
            "violin"} <= set(instruments())  # fmt: skip


@pytest.mark.parametrize("name", instruments())
def test_a_table_is_whole(name):
    """Comfort lies within the compass, the quicker player is quicker, a caution about strain stands there."""
    instrument = load_instrument(name)
    low, high = instrument.comfortable

    assert instrument.low.midi <= low.midi < high.midi <= instrument.high.midi <= instrument.extreme.midi
    for table in (instrument.strokes, instrument.tongued):
        rates = [table[level] for level in LEVELS]
        assert rates == sorted(rates)
    assert any("shakes slowly" in caution for caution in instrument.cautions)
    assert all(known in ("text", "memory") for _, known in instrument.sources.values())


@pytest.mark.parametrize("name", [name for name in instruments() if load_instrument(name).kind == "recorder"])
def test_every_recorder_has_a_fingering_for_every_note_of_its_compass(name):
    instrument = load_instrument(name)
    holes = {midi: instrument.fingerings[midi].holes for midi in range(instrument.low.midi, instrument.high.midi + 1)}

    assert holes[instrument.low.midi] == "01234567"
    assert all(len(each) == 8 for each in holes.values())


def test_note_names_in_remarks_move_with_the_instrument():
    """g''-a'' on the alto is d''-e'' on the tenor; its remark speaks of the pinched note by that name."""
    alto = load_instrument("alto-recorder").shake_fingering(Pitch.parse("G5"), Pitch.parse("A5"))
    tenor = load_instrument("tenor-recorder").shake_fingering(Pitch.parse("D5"), Pitch.parse("E5"))

    assert "(not the pinched A5)" in alto
    assert "(not the pinched E5)" in tenor


def test_an_unknown_name_is_answered_with_the_known_ones():
    with pytest.raises(BadInput, match="no instrument is called 'kazoo'; choose one of alto-recorder"):
        load_instrument("kazoo")


def test_a_table_of_the_users_own_is_read(tmp_path):
    text = (TABLES / "alto-recorder.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(text.replace("alto recorder in f'", "my alto"), encoding="utf-8")

    assert load_instrument(str(mine)).name == "my alto"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('low = "F4"', 'low = "H4"', "expected a pitch like F#5, found 'H4'"),
        ("beginner = 3.5", "beginner = -1", "beginner: expected a number above 0, found -1"),
        ('fingerings = "recorder"', 'fingerings = "bagpipe"', "the name of a table in fingerings/"),
        ("[strokes]", "[strikes]", r"\[strokes\]: expected a section, found None"),
    ],
)
def test_a_fault_in_a_table_is_told_by_entry(old, new, says):
    text = (TABLES / "alto-recorder.toml").read_text(encoding="utf-8")

    with pytest.raises(TableError, match=says):
        build(tomllib.loads(text.replace(old, new, 1)), "mine.toml")


def test_a_missing_file_is_one_sentence(tmp_path):
    with pytest.raises(BadInput, match="this instrument table cannot be read"):
        load_instrument(str(tmp_path / "none.toml"))


def test_the_guide_tells_the_compass_that_the_tables_have():
    guide = (Path(__file__).parents[2] / "docs" / "instruments.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([a-z-]+)` \| (\w+) to (\w+)(?:, no \S+)? \| (\w+) to (\w+) \|$", guide, re.MULTILINE)

    assert {name for name, *_ in rows} == set(instruments())
    for name, *told in rows:
        instrument = load_instrument(name)
        assert told == [str(p) for p in (instrument.low, instrument.high, *instrument.comfortable)]
