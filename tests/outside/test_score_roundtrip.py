"""Round trips over open data and over the corpus of music21, checked against the MusicXML 4.0 schema and music21."""

from collections import Counter
from fractions import Fraction as F
from pathlib import Path

import pytest
from lxml import etree

from gracewright.errors import BadInput
from gracewright.score import (
    Addition,
    Sign,
    SmallNote,
    Sounded,
    canonical,
    find_solo,
    part_of,
    read,
    strip_ours,
    tones,
    write_parallel,
    write_played,
    write_signs,
)
from gracewright.study.repeats import played_order

music21 = pytest.importorskip("music21")

TRILL = Sign("trill-mark", accidental_above="natural")


def open_files(shared: Path) -> list[Path]:
    files = [path for ending in ("*.musicxml", "*.xml", "*.mxl") for path in (shared / "data" / "open").rglob(ending)]
    assert files
    return sorted(files)


def corpus_files() -> list[Path]:
    """Every so many MusicXML files of the corpus that comes with music21, 100 in all."""
    files = sorted(
        path for path in Path(music21.__file__).parent.joinpath("corpus").rglob("*")
        if path.suffix in (".mxl", ".musicxml", ".xml")
    )  # fmt: skip
    return files[:: max(1, len(files) // 100)][:100]


def piece_or_none(path: Path):
    try:
        return read(path)
    except BadInput:
        return None


def written_out(piece, line: str):
    """Order as played and the line in it, each note cut in three."""
    order = [(segment.first_bar, segment.last_bar) for segment in played_order(piece.bars)]
    line_tones, sounded, at = tones(piece, line), [], F(0)
    for first, last in order:
        begin, end = piece.bars[first].onset, piece.bars[last].end
        for tone in line_tones:
            if begin <= tone.onset < end:
                third = (min(tone.end, end) - tone.onset) / 3
                for turn in range(3):
                    pitch = tone.pitch.transposed(turn % 2, 2 * (turn % 2))
                    sounded.append(Sounded(at + tone.onset - begin + turn * third, third, pitch, turn > 0, tone.id))
        at += end - begin
    return order, sounded


def test_an_empty_plan_changes_nothing_in_any_open_file(shared):
    checked = 0
    for path in open_files(shared):
        piece = piece_or_none(path)
        if piece is not None:
            assert canonical(write_signs(piece, find_solo(piece), ())) == canonical(path.read_bytes()), path.name
            checked += 1

    assert checked > 250


def test_an_empty_plan_changes_nothing_in_a_hundred_corpus_files():
    checked = 0
    for path in corpus_files():
        piece = piece_or_none(path)
        if piece is not None:
            assert canonical(write_signs(piece, find_solo(piece), ())) == canonical(path.read_bytes()), path.name
            checked += 1

    assert checked > 90


def test_signs_are_valid_and_come_out_again(shared):
    schema = etree.XMLSchema(etree.parse(shared / "data" / "open" / "musicxml_schema" / "musicxml.xsd"))
    checked = 0
    for path in open_files(shared)[::4]:
        piece = piece_or_none(path)
        if piece is None:
            continue
        data = path.read_bytes()
        line = find_solo(piece)
        added = [
            Addition(
                tone.id,
                (TRILL, Sign("words", "+"), Sign("stopped")),
                (SmallNote("", tone.pitch.transposed(1, 1), F(1, 2), slurred=True),),
                (SmallNote("", tone.pitch.transposed(-1, -2), F(1, 4)), SmallNote("", tone.pitch, F(1, 4))),
            )
            for tone in tones(piece, line)[::5]
        ]
        out = write_signs(piece, line, added, repeat_additions=added[:3])

        assert canonical(strip_ours(out)) == canonical(data), path.name
        if schema.validate(etree.fromstring(data)):
            assert schema.validate(etree.fromstring(out)), (path.name, schema.error_log)
            checked += 1

    assert checked > 50


def test_a_written_out_line_is_valid_and_exact(shared):
    """Solo lines alone; in keyboard music other voices of the stave may cross the line."""
    schema = etree.XMLSchema(etree.parse(shared / "data" / "open" / "musicxml_schema" / "musicxml.xsd"))
    solos = sorted((shared / "data" / "open" / "dcml_bach_solo").rglob("*.musicxml"))[::6]
    songs = sorted((shared / "data" / "open" / "figured_bass_chorales").rglob("*.musicxml"))[::16]
    for path in [*solos, *songs]:
        piece = read(path)
        line = find_solo(piece)
        order, sounded = written_out(piece, line)
        for write, found in ((write_played, line), (write_parallel, f"{part_of(line)[0]}-played")):
            out = write(piece, line, sounded, order)
            heard = [(tone.onset, tone.length, tone.pitch) for tone in tones(read("out.musicxml", out), found)]

            assert schema.validate(etree.fromstring(out)), (path.name, schema.error_log)
            assert heard == [(note.onset, note.length, note.pitch) for note in sounded], path.name


def test_music21_reads_the_written_out_line_as_we_do(shared):
    path = sorted((shared / "data" / "open" / "dcml_bach_solo").rglob("BWV1013*.musicxml"))[0]
    piece = read(path)
    line = find_solo(piece)
    order, sounded = written_out(piece, line)

    out = music21.converter.parseData(write_played(piece, line, sounded, order), format="musicxml")
    theirs = Counter(
        (F(note.offset).limit_denominator(5000), F(note.quarterLength).limit_denominator(5000), note.pitch.midi)
        for note in out.parts[0].flatten().stripTies().notes
        if not note.isChord
    )

    assert theirs == Counter((note.onset, note.length, note.pitch.midi) for note in sounded)
