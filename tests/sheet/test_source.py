"""What stands on the page of a table of signs: small notes where the source sets them."""

import pytest

from gracewright.graces import look_up
from gracewright.sheet.source import example_notes


@pytest.mark.parametrize(("source", "entry", "number", "at", "small"), [
    ("marpurg1755", "anschlag", 0, 0, ["A4", "C5"]),  # printed as a, c before b (plate IV)
    ("marpurg1755", "nachschlag", 1, 1, ["D5"]),  # after c, before a falling fourth: set small before the next note
    ("lmozart1756", "vorschlag_aufsteigend", 0, 0, ["B4"]),  # from below
    ("monteclair1736", "coule", 0, 1, ["B4"]),  # the falling third c a is filled before the lower note
])  # fmt: skip
def test_small_notes_stand_where_the_source_sets_them(source, entry, number, at, small):
    found = next(m.entry for m in look_up(source=source) if m.entry.id == entry)
    readings = found.sure or found.readings
    notes = example_notes(found, readings[number])
    shown = [[str(note.pitch) for note in written.before] for written in notes]
    assert shown == [small if index == at else [] for index in range(len(notes))]
