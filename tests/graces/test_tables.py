"""A table with a fault is refused with its name, its entry, what was expected and what was found."""

import pytest

from gracewright.errors import BadInput, TableError
from gracewright.graces import Grace, entry_of, load_source, realise, sources
from gracewright.graces.sources import _source

from graces_hands import host  # isort: skip

GOOD = {
    "id": "invented1700", "author": "Nobody", "title": "A table", "year": "1700", "first": 1700, "last": 1700,
    "region": "Nowhere", "school": "french", "instrument": "flute", "where": "page 1", "known": "memory",
    "placement": [], "taste": [], "remarks": [],
    "entry": [{
        "id": "beat", "means": {"id": "mordent"}, "names": [{"lang": "en", "text": "beat"}], "sign": "plain cross",
        "kinds": ["cross"], "glyphs": [], "marks": ["words +"], "on": "any single note", "known": "memory",
        "reading": [{"grade": "C", "known": "memory", "pitch": "C5", "value": "1/4", "timing": "on beat",
                     "start": "main", "notes": "0:1/8 -1:1/8 0:3/4"}],
    }],
}  # fmt: skip


def with_entry(**changes):
    return {**GOOD, "entry": [{**GOOD["entry"][0], **changes}]}


def with_reading(**changes):
    return with_entry(reading=[{**GOOD["entry"][0]["reading"][0], **changes}])


def test_a_good_table_is_read():
    entry = _source(GOOD).entry("beat")

    assert (entry.key, entry.means.id, entry.readings[0].value) == ("invented1700.beat", "mordent", 1)


@pytest.mark.parametrize(
    ("table", "told"),
    [
        (with_reading(notes="0:1/8 -1:1/8 0:1/2"), "shares that sum to 1"),
        (with_reading(notes="0:1/8 below:1/8 0:3/4"), "steps and shares"),
        (with_entry(means={"id": "wobble"}), "a grace of the common vocabulary"),
        (with_entry(known="surely"), "known as one of"),
    ],
)
def test_a_fault_is_told(table, told):
    with pytest.raises(TableError, match=told):
        _source(table)


def test_an_entry_that_is_not_there_is_told_with_those_that_are():
    with pytest.raises(BadInput, match="choose one of trillo"):
        entry_of("jsbach1720.wobble")
    with pytest.raises(BadInput, match="readings, not 9"):
        realise(Grace("shake", "jsbach1720.trillo.9"), host())


def test_every_source_says_where_it_is_from_and_how_sure_we_are():
    for name in sources():
        book = load_source(name)
        assert book.author
        assert book.title
        assert book.first <= book.last
        assert book.known in ("text", "memory", "doubtful")
        for entry in book.entries:
            grades = {reading.grade for reading in entry.readings}
            assert entry.known == "text" or not grades & {"A", "A2", "B"}
            assert entry.open_question == (bool(grades) and grades <= {"D"})
