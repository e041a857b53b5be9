"""A line as ABC, read again by our own door."""

from fractions import Fraction as F

import pytest

from gracewright.errors import BadInput
from gracewright.job import demo_piece
from gracewright.score import Addition, Sign, SmallNote, read, tones, write_abc, write_signs


def told(piece, line):
    return [(tone.onset, tone.length, str(tone.pitch), [sign.text or sign.element for sign in tone.marks.signs],
             [(str(small.pitch), small.slash) for small in tone.marks.before])
            for tone in tones(piece, line)]  # fmt: skip


@pytest.mark.parametrize("name", ["menuet", "adagio"])
@pytest.mark.parametrize("line", ["P1", "P2"])
def test_the_lines_of_the_demo_come_back_note_for_note(name, line):
    page = read(demo_piece(name))
    again = read("line.abc", write_abc(page, line))

    assert told(again, "P1") == told(page, line)
    assert [bar.repeat_end for bar in again.bars] == [bar.repeat_end for bar in page.bars]
    assert again.remarks == ()


def test_signs_and_small_notes_come_back():
    """What ABC has a name for; a shake is its trill, a delayed turn its turn."""
    page = read(demo_piece("menuet"))
    ids = [tone.id for tone in tones(page, "P1")]
    signs = {"trill-mark": "trill-mark", "turn": "turn", "mordent": "mordent", "inverted-mordent": "inverted-mordent",
             "schleifer": "schleifer", "stopped": "+", "shake": "trill-mark", "delayed-turn": "turn"}  # fmt: skip
    added = [Addition(ids[2 * place], (Sign(sign),)) for place, sign in enumerate(signs)]
    above = page.by_id[ids[40]].pitch.transposed(1, 1)
    added.append(Addition(ids[40], (), (SmallNote("", above, F(1, 2), slurred=True),)))
    signed = read("signs.musicxml", write_signs(page, "P1", added))
    again = tones(read("line.abc", write_abc(signed, "P1")), "P1")

    assert [again[2 * place].marks.signs[0].text or again[2 * place].marks.signs[0].element
            for place in range(len(signs))] == list(signs.values())  # fmt: skip
    assert [small.pitch for small in again[40].marks.before] == [small.pitch for small in added[-1].before]


def test_one_staff_of_a_keyboard_part_can_be_had(shared):
    path = next(iter(sorted((shared / "data" / "open" / "dcml_bach_en_fr_suites").rglob("*Menuet*.musicxml"))))
    page = read(path)
    line = f"{page.parts[0].id}/1" if page.parts[0].staves > 1 else page.parts[0].id
    again = read("line.abc", write_abc(page, line))

    assert [(t.onset, str(t.pitch)) for t in tones(again, "P1")] == [(t.onset, str(t.pitch)) for t in tones(page, line)]


def test_without_a_document_it_is_refused():
    page = read(demo_piece("menuet"))
    bare = type(page)(page.title, page.composer, page.parts, page.bars, page.notes)

    with pytest.raises(BadInput, match="no document"):
        write_abc(bare, "P1")
