"""A table of signs of the user's own stands in for one of ours, by its path."""

from importlib.resources import files

import pytest

from gracewright.errors import BadInput, TableError
from gracewright.graces import entry_of, load_source, look_up, short_name
from gracewright.job import Wishes, demo_piece, work_on
from gracewright.score import read

OURS = files("gracewright.graces").joinpath("tables", "danglebert1689.toml").read_text(encoding="utf-8")


def own(tmp_path, text):
    path = tmp_path / "mine.toml"
    path.write_text(text.replace("Jean-Henry D'Anglebert", "The Teacher"), encoding="utf-8")
    return str(path)


def test_a_copy_of_a_table_is_played_as_the_table(tmp_path):
    path = own(tmp_path, OURS)
    assert short_name(path) == "Teacher (1689)"
    assert [m.entry.title for m in look_up(source=path)] == [m.entry.title for m in look_up(source="danglebert1689")]
    assert entry_of(f"{path}.pince.1").title == "pincé"
    piece = read(demo_piece())
    mine, theirs = (work_on(piece, Wishes(signs_by=by)).version for by in (path, "danglebert1689"))
    assert [(n.pitch, n.onset, n.length) for n in mine.notes] == [(n.pitch, n.onset, n.length) for n in theirs.notes]


@pytest.mark.parametrize(("old", "new", "said"), [
    ('id = "danglebert1689"', "id = danglebert1689", "not TOML"),
    ('school = "french"', "", "expected a value for 'school'"),
    ("1:1/8 0:1/8", "1:1/8 0:1/4", "shares that sum to 1"),
    ('notes = "1:1/8', 'notes = "one:1/8', "steps and shares"),
    ('pitch = "C5"', 'pitch = "do"', "values like those"),
])  # fmt: skip
def test_a_fault_in_it_is_told(tmp_path, old, new, said):
    with pytest.raises((BadInput, TableError), match=said):
        load_source(own(tmp_path, OURS.replace(old, new, 1)))


def test_a_path_without_a_table_is_told():
    with pytest.raises(BadInput, match="lies there"):
        load_source("no/such/table.toml")
