"""Everything written as MusicXML is valid by the MusicXML 4.0 schema, whatever door the score came through."""

from fractions import Fraction as F
from pathlib import Path

import pytest
from lxml import etree

from gracewright.errors import BadInput
from gracewright.job import demo_piece
from gracewright.score import (
    Addition,
    MidiPart,
    Sign,
    SmallNote,
    Sounded,
    find_solo,
    read,
    signatures,
    tones,
    write_midi,
    write_parallel,
    write_played,
    write_signs,
)

music21 = pytest.importorskip("music21")

ALL_SIGNS = ("trill-mark", "turn", "delayed-turn", "inverted-turn", "delayed-inverted-turn", "vertical-turn", "shake",
             "inverted-vertical-turn", "mordent", "inverted-mordent", "schleifer", "haydn", "stopped")  # fmt: skip


def samples(shared: Path) -> list[Path]:
    """Some scores for each door but MIDI; those that are refused are left out."""
    opened = shared / "data" / "open"
    corpus = Path(music21.__file__).parent / "corpus"
    chosen = [
        *sorted((opened / "mattheson_figured").glob("*.mei"))[::6], *sorted(opened.rglob("mei_samples/*.mei"))[::3],
        *sorted((opened / "polish_continuo").glob("*.krn"))[::25], *sorted(corpus.rglob("airdsAirs/*.abc"))[:1],
        *sorted(corpus.rglob("ryansMammoth/*.abc"))[::400],
    ]  # fmt: skip
    assert len(chosen) > 12
    return chosen


def everything_written(piece):
    """The piece with signs of every kind, small notes on both sides, plain and played, each note cut in two."""
    line = find_solo(piece)
    tones_of = tones(piece, line)
    added = [
        Addition(tone.id, (Sign(ALL_SIGNS[place % len(ALL_SIGNS)], accidental_above="sharp" if place % 3 else ""),),
                 (SmallNote("", tone.pitch.transposed(1, 2), F(1, 2), slash=place % 2 == 0, slurred=True),),
                 (SmallNote("", tone.pitch.transposed(-1, -1), F(1, 4)), SmallNote("", tone.pitch, F(1, 4))))
        for place, tone in enumerate(tones_of[:60])
    ]  # fmt: skip
    order = [(0, len(piece.bars) - 1)]
    played = [Sounded(tone.onset + half * tone.length / 2, tone.length / 2, tone.pitch, half > 0, tone.id)
              for tone in tones_of for half in (0, 1)]  # fmt: skip
    yield "signs", write_signs(piece, line, added, repeat_additions=added[:5])
    yield "played", write_played(piece, line, played, order)
    yield "parallel", write_parallel(piece, line, played, order)


def test_what_is_written_is_valid_from_every_door(shared):
    schema = etree.XMLSchema(etree.parse(shared / "data" / "open" / "musicxml_schema" / "musicxml.xsd"))
    page = read(demo_piece("menuet"))
    struck = [MidiPart("x", tuple(Sounded(t.onset, t.length, t.pitch) for t in tones(page, part.id)))
              for part in page.parts]  # fmt: skip
    midi = read("menuet.mid", write_midi(struck, F(80), signed=signatures(page, [(0, len(page.bars) - 1)])))
    pieces = [page, midi]
    for path in samples(shared):
        try:
            pieces.append(read(path))
        except BadInput:
            continue
    for piece in pieces:
        for what, data in everything_written(piece):
            assert schema.validate(etree.fromstring(data)), (piece.source, what, str(schema.error_log)[:300])

    assert len(pieces) > 12
