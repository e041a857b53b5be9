"""MEI that we write from open scores, read again: the page and the line as played."""

from collections import Counter
from fractions import Fraction as F
from pathlib import Path

import pytest
from lxml import etree

from gracewright.score import Sounded, find_solo, read, tones, write_mei
from gracewright.study.repeats import played_order

MEI = "{http://www.music-encoding.org/ns/mei}"
FILES = (
    ("dcml_bach_solo", 0), ("dcml_bach_solo", 12), ("figured_bass_chorales", 0), ("figured_bass_chorales", 40),
    ("dcml_scarlatti_sonatas", 0),
)  # fmt: skip


def chosen(shared: Path, folder: str, place: int) -> Path:
    return sorted((shared / "data" / "open" / folder).rglob("*.musicxml"))[place]


def sounding(piece):
    """Every note of every stave: (stave, onset, length, pitch)."""
    staves: dict[tuple[str, int], int] = {}
    for part in piece.parts:
        for staff in range(1, part.staves + 1):
            staves[part.id, staff] = len(staves)
    return Counter(
        (staves[note.part, note.staff], note.onset, note.length, str(note.pitch))
        for note in piece.notes
        if note.pitch is not None
    )


@pytest.mark.parametrize(("folder", "place"), FILES)
def test_an_open_score_is_read_again_as_it_was(shared, folder, place):
    piece = read(chosen(shared, folder, place))
    line = find_solo(piece)
    order = [(segment.first_bar, segment.last_bar) for segment in played_order(piece.bars)]
    sounded, at = [], F(0)
    for first, last in order:
        begin, end = piece.bars[first].onset, piece.bars[last].end
        for tone in tones(piece, line):
            if begin <= tone.onset < end:
                half = (min(tone.end, end) - tone.onset) / 2
                sounded += [Sounded(at + tone.onset - begin + turn * half, half, tone.pitch) for turn in (0, 1)]
        at += end - begin

    out = write_mei(piece, line, (), sounded, order)
    root = etree.fromstring(out)
    page = root.find(f".//{MEI}mdiv")
    page.getparent().remove(page)
    played = read("played.mei", etree.tostring(root))

    assert sounding(read("page.mei", out)) == sounding(piece)
    theirs = {(onset, pitch) for stave, onset, _, pitch in sounding(played)}
    assert {(note.onset, str(note.pitch)) for note in sounded} <= theirs
