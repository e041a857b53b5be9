"""Looking signs up both ways, and who speaks for a piece."""

import pytest

from gracewright.errors import BadInput
from gracewright.graces import kinds, load_source, look_up, sign_kinds, sources, speaking_source, vocabulary
from gracewright.score import Piece, Sign

SCHOOLS = {"french", "german", "italian", "english", "spanish"}


def graces_of(found):
    return {m.source.id: m.entry.means.id for m in found if m.entry.means}


def test_every_source_loads_and_every_entry_is_known_to_the_vocabulary():
    books = [load_source(name) for name in sources()]

    assert len(books) == 45
    assert sum(len(book.entries) for book in books) == 325
    assert {book.school for book in books} == SCHOOLS
    for book in books:
        assert len({entry.id for entry in book.entries}) == len(book.entries)
        for entry in book.entries:
            assert entry.names
            assert set(entry.kinds) <= set(kinds())
            assert entry.means is None or entry.means.id in vocabulary()


def test_a_comma_is_three_things_by_three_authors():
    found = graces_of(look_up(","))

    assert found["marais1686"] == "shake"
    assert graces_of(look_up("comma after the note", source="saintlambert1702")) == {"saintlambert1702": "mordent"}
    assert found["mace1676"] == "appoggiatura"


def test_the_short_wavy_line_is_a_shake_on_the_continent_and_a_beat_for_purcell():
    found = graces_of(look_up("short wavy line"))

    assert found["jsbach1720"] == "shake"
    assert found["purcell1696"] == "mordent"


def test_a_sign_is_found_by_glyph_name_code_element_or_itself():
    by_words = look_up("short wavy line crossed by a stroke")

    for other in ("wavy-stroke", "U+E56D", "ornamentMordent", "mordent", chr(0xE56D)):
        assert look_up(other) == by_words


def test_cadence_means_what_its_author_means():
    assert load_source("jsbach1720").entry("cadence").means.id == "turn"
    assert load_source("rameau1724").entry("cadence").means.id == "shake"
    assert {m.source.id for m in look_up(ornament="cadence")} >= {"jsbach1720", "rameau1724", "chambonnieres1670"}


def test_names_are_found_without_accents_and_capitals():
    assert look_up(ornament="PINCE") == look_up(ornament="pincé")


def test_the_same_ornament_has_other_signs_elsewhere():
    signs = {m.source.id: m.entry.sign for m in look_up(ornament="mordent")}

    assert "comma" in signs["saintlambert1702"]
    assert signs["marais1686"].startswith("x")
    assert "crossed" in signs["jsbach1720"]


def test_look_up_narrows_by_school_and_years():
    found = look_up("+", school="french", years=(1690, 1710))

    assert found
    assert all(m.source.school == "french" and m.source.first <= 1710 and m.source.last >= 1690 for m in found)


def test_doubtful_entries_are_open_questions_with_their_readings():
    beat = load_source("salter1683").entry("beat")

    assert beat.open_question
    assert [reading.notes[0].step for reading in beat.readings] == [1, -1]
    assert all(reading.remark for reading in beat.readings)


@pytest.mark.parametrize("bad", ["", "nobody", "../secret", "jsbach1720.toml"])
def test_an_unknown_source_is_refused_in_words(bad):
    with pytest.raises(BadInput, match="no source is called"):
        load_source(bad)


def test_the_glyph_decides_never_the_name_of_the_element():
    assert sign_kinds(Sign("mordent")) == ("wavy-stroke",)
    assert sign_kinds(Sign("inverted-mordent")) == ("wavy",)
    assert sign_kinds(Sign("inverted-mordent", attributes=(("departure", "below"),))) == ("wavy-closed",)
    assert sign_kinds(Sign("words", "+")) == ("cross",)
    assert sign_kinds(Sign("words", "tr.")) == ("t",)
    assert sign_kinds(Sign("other-ornament", smufl="ornamentPortDeVoixV")) == ("caret",)


def piece_by(composer, date=""):
    return Piece("", composer, (), (), (), date=date)


@pytest.mark.parametrize(
    ("composer", "source"),
    [("J. S. Bach", "jsbach1720"), ("Carl Philipp Emanuel Bach", "cpebach1753"), ("Jean-Philippe Rameau", "rameau1724"),
     ("Bach, Johann Sebastian", "jsbach1720"), ("W. F. Bach", ""), ("W. A. Mozart", ""), ("Bach", ""), ("Handel", "")],
)  # fmt: skip
def test_a_composer_who_explained_his_signs_speaks_for_his_music_and_no_namesake(composer, source):
    assert speaking_source(piece_by(composer)).source == source


def test_the_player_decides_before_composer_manner_and_date():
    piece = piece_by("J. S. Bach", "1725")

    assert speaking_source(piece, named="danglebert1689").source == "danglebert1689"
    assert speaking_source(piece, manner="rameau1724").source == "jsbach1720"
    assert speaking_source(piece_by("", "1725"), manner="rameau1724").source == "rameau1724"
    assert speaking_source(piece_by("", "1725"), school="french").source == "rameau1724"
    assert "common practice" in speaking_source(piece_by("", "1725")).why
