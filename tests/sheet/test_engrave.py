"""The guarded worker: what it returns, what it refuses, and that it outlives bad scores."""

import re

import pytest

from gracewright.errors import EngravingFailed
from gracewright.sheet import engrave
from gracewright.sheet.mei import HEAD, TAIL


def one_bar(content, events="", meter="4"):
    return (
        f'{HEAD}<scoreDef meter.count="{meter}" meter.unit="4"><staffGrp><staffDef n="1" lines="5" clef.shape="G" '
        f'clef.line="2"/></staffGrp></scoreDef><section><measure n="1"><staff n="1"><layer n="1">{content}</layer>'
        f"</staff>{events}</measure></section>{TAIL}"
    )


NOTE = '<note xml:id="n1" dur="1" pname="c" oct="5"/>'


def test_ids_given_stand_in_the_drawing():
    drawn = engrave(one_bar(NOTE))

    assert len(drawn.pages) == 1
    assert 'id="n1" class="note"' in drawn.pages[0]


def test_nothing_is_fetched_from_elsewhere_and_no_font_is_embedded():
    svg = engrave(one_bar(NOTE, '<dir startid="#n1">doux</dir>')).pages[0]

    assert "@import" not in svg
    assert "@font-face" not in svg
    assert not re.findall(r'(?:href|src)="(?!#)', svg)


def test_the_same_score_gives_the_same_bytes():
    assert engrave(one_bar(NOTE)).pages == engrave(one_bar(NOTE)).pages


@pytest.mark.parametrize("bad", ["", "no score", "<mei/>", "\0"])
def test_what_cannot_be_read_is_refused_with_one_sentence(bad):
    with pytest.raises(EngravingFailed, match="cannot"):
        engrave(bad)


def test_a_score_that_takes_too_long_is_stopped_and_the_next_one_is_engraved():
    """A staff of a hundred thousand lines keeps the engraver busy for more than forty seconds."""
    endless = one_bar(NOTE).replace('lines="5"', 'lines="100000"')

    with pytest.raises(EngravingFailed, match=r"longer than 0\.5 seconds"):
        engrave(endless, limit=0.5)
    assert engrave(one_bar(NOTE)).count == 1


def test_warnings_of_the_engraver_are_kept():
    drawn = engrave(one_bar(NOTE).replace('<layer n="1">', "<layer>"))

    assert any("layer" in warning for warning in drawn.warnings)


def test_options_of_one_call_do_not_leak_into_the_next():
    narrow = engrave(one_bar(NOTE), options={"pageWidth": 900})
    again = engrave(one_bar(NOTE))

    assert 'viewBox="0 0 900 ' in narrow.pages[0]
    assert 'viewBox="0 0 2100 ' in again.pages[0]
