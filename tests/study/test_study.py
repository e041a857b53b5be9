"""A whole study of small pieces whose right answer can be argued at sight."""

from fractions import Fraction as F

import pytest

from gracewright.errors import BadInput
from gracewright.pitch import Key, Pitch
from gracewright.score import Bar, Meter, Note, Part, Piece
from gracewright.study import describe, study, study_json

COMMON = Meter(4, 4)


def piece_of(lines: dict[str, str], *, meter: Meter = COMMON, fifths: int = 0, pickup: F | int = 0) -> Piece:
    """A piece from lines such as ``"C5:1 D5:1/2 r:1"``: pitch and length in quarters."""
    notes = []
    total = F(0)
    starts: list[F] = []
    for part, text in lines.items():
        at = F(0)
        for number, word in enumerate(text.split()):
            name, _, length = word.partition(":")
            span = F(length)
            bar = 0 if at < pickup else int((at - pickup) // meter.length) + (1 if pickup else 0)
            pitch = None if name == "r" else Pitch.parse(name)
            notes.append(Note(f"{part}.{number}", part, 1, "1", bar, at, span, pitch, span))
            at += span
        total = max(total, at)
    begin, length = F(0), pickup or meter.length
    while begin < total:
        starts.append(begin)
        begin, length = begin + length, meter.length
    ends = [*starts[1:], begin]
    bars = tuple(
        Bar(index, str(index + (not pickup)), start, end - start, meter, fifths, pickup=bool(pickup) and not index)
        for index, (start, end) in enumerate(zip(starts, ends, strict=True))
    )
    order = list(lines)
    notes.sort(key=lambda note: (note.onset, order.index(note.part)))
    return Piece("", "", tuple(Part(part, part) for part in lines), bars, tuple(notes))


CLOSE = {
    "P1": "G5:1 F5:1 E5:1 D5:1 C5:1 A5:1 D5:1/2 C5:1/2 B4:1 C5:4",
    "P2": "C4:1 B3:1 C4:1 G3:1 A3:1 F3:1 G3:2 C3:4",
}


def test_a_plain_close_in_c_major_is_a_perfect_cadence_on_its_last_downbeat():
    found = study(piece_of(CLOSE))

    assert found.home == Key.parse("C major")
    last = found.cadences[-1]
    assert (last.onset, last.kind) == (F(8), "authentic-perfect")
    assert (last.penultimate, last.arrival) == ("P1.8", "P1.9")


def test_harmony_covers_the_piece_without_gaps():
    found = study(piece_of(CLOSE))

    ends = [chord.end for chord in found.harmony]
    assert [chord.onset for chord in found.harmony] == [F(0), *ends[:-1]]
    assert ends[-1] == F(12)


def test_a_study_is_told_in_words_and_as_json():
    piece = piece_of(CLOSE)
    found = study(piece)

    assert "C major" in describe(found, piece)
    told = study_json(found, piece)
    assert told["cadences"][-1]["onset"] == "8"
    assert told["cadences"][-1]["bar"] == "3"
    assert told["notes"][0]["pitch"] == "G5"


def test_a_lone_melody_says_that_it_guesses():
    found = study(piece_of({"P1": CLOSE["P1"]}))

    assert found.bass == ""
    assert any("guess" in remark for remark in found.remarks)


def test_a_score_without_notes_is_refused():
    with pytest.raises(BadInput, match="no notes"):
        study(piece_of({"P1": "r:4"}))
