"""Slips that programs leave in scores: repaired where the intent is plain, and said."""

from fractions import Fraction as F

import pytest
from score_hands import note, score

from gracewright.score import read, tones

TWO = """<score-partwise version="4.0"><part-list><score-part id="A"><part-name>One</part-name></score-part>
<score-part id="B"><part-name>Two</part-name></score-part></part-list><part id="A">{above}</part><part id="B">{below}
</part></score-partwise>"""
START = ("<attributes><divisions>{divisions}</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
         "{more}</attributes>")  # fmt: skip


def sounding(step, octave, duration, kind, more=""):
    return (f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{duration}</duration>"
            f"<voice>1</voice><type>{kind}</type>{more}</note>")  # fmt: skip


def rest(duration):
    return f"<note><rest/><duration>{duration}</duration><voice>1</voice></note>"


def measure(number, inside):
    return f'<measure number="{number}">{inside}</measure>'


def test_a_rest_written_twice_does_not_push_the_next_bar_away():
    """Two whole rests in a bar of four quarters that the other part fills: the bar is four quarters long."""
    start = START.format(divisions=1, more="")
    above = measure(1, start + sounding("C", 5, 4, "whole")) + measure(2, sounding("D", 5, 4, "whole"))
    below = measure(1, start + rest(4) + rest(4)) + measure(2, sounding("G", 3, 4, "whole"))
    piece = read("twice.musicxml", TWO.format(above=above, below=below).encode())

    assert [bar.length for bar in piece.bars] == [4, 4]
    assert [(str(tone.pitch), tone.onset) for tone in tones(piece, "B")] == [("G3", F(4))]
    assert sum(note.length for note in piece.notes if note.part == "B" and note.pitch is None) == 4
    assert piece.remarks == ("Bar 1: rests past the end of the bar are left out.",)


def test_a_note_past_the_end_of_the_bar_is_kept():
    start = START.format(divisions=1, more="")
    above = measure(1, start + sounding("C", 5, 4, "whole"))
    below = measure(1, start + rest(4) + sounding("G", 3, 1, "quarter"))
    piece = read("long.musicxml", TWO.format(above=above, below=below).encode())

    assert piece.bars[0].length == 5
    assert [(str(tone.pitch), tone.onset) for tone in tones(piece, "B")] == [("G3", F(4))]


@pytest.mark.parametrize(
    ("divisions", "told", "ratio"),
    [(256, (85, 85, 86), (3, 2)), (480, (69, 68, 69, 69, 68, 69, 68), (7, 4)), (1024, (93,) * 10 + (94,), (11, 8))],
)
def test_rounded_tuplets_are_exact_again(divisions, told, ratio):
    """A triplet of quavers told as 85 + 85 + 86 of 256 is thirds of a quarter; the voice that follows the backup, which
    is told in the same rounded durations, begins where the bar does."""
    kind = {3: "eighth", 7: "16th", 11: "32nd"}[ratio[0]]
    more = (f"<time-modification><actual-notes>{ratio[0]}</actual-notes><normal-notes>{ratio[1]}</normal-notes>"
            "</time-modification>")  # fmt: skip
    inside = START.format(divisions=divisions, more="") + "".join(sounding("C", 5, ticks, kind, more) for ticks in told)
    inside += sounding("D", 5, 3 * divisions, "half", "<dot/>")
    inside += f"<backup><duration>{sum(told) + 3 * divisions}</duration></backup>"
    inside += sounding("C", 3, 4 * divisions, "whole").replace("<voice>1", "<voice>2")
    piece = read("rounded.musicxml", TWO.format(above=measure(1, inside), below=measure(1, "")).encode())
    quick = [note for note in piece.notes if note.pitch is not None and note.marks.tuplet]

    assert [note.length for note in quick] == [F(1, ratio[0])] * len(told)
    assert [note.onset for note in quick] == [F(i, ratio[0]) for i in range(len(told))]
    assert [(note.onset, note.length) for note in piece.notes if note.voice == "2"] == [(0, 4)]
    assert piece.bars[0].length == 4


def test_a_backup_into_rounded_notes_finds_its_place():
    """Semiquavers told as 4 of 17 to the quarter fall short; a voice that goes back half the bar begins there."""
    inside = START.format(divisions=17, more="") + "".join(sounding("C", 5, 4, "16th") for _ in range(16))
    inside += "<backup><duration>32</duration></backup>" + sounding("C", 3, 34, "half").replace("<voice>1", "<voice>2")
    piece = read("off.musicxml", TWO.format(above=measure(1, inside), below=measure(1, "")).encode())

    assert [(note.onset, note.length) for note in piece.notes if note.voice == "2"] == [(2, 2)]
    assert piece.bars[0].length == 4


@pytest.mark.parametrize("told", ["<diatonic>0</diatonic>", "", "<diatonic>-7</diatonic>"])
def test_a_part_that_sounds_an_octave_lower_is_spelled_so(told):
    """Some programs leave the staff places out, or say none, where a part sounds twelve semitones lower."""
    data = score(note("C5", 8), more=f"<transpose>{told}<chromatic>-12</chromatic></transpose>")

    assert [str(tone.pitch) for tone in tones(read("low.musicxml", data), "P1")] == ["C4"]


def test_a_tie_that_is_only_begun_ends_at_the_next_note_of_its_pitch():
    start, tied = START.format(divisions=1, more=""), '<tie type="start"/>'
    bars = [sounding("C", 5, 4, "whole", tied), sounding("C", 5, 4, "whole"), sounding("D", 5, 4, "whole", tied)]
    above = "".join(measure(place, (start if place == 1 else "") + bar) for place, bar in enumerate(bars, 1))
    piece = read("tie.musicxml", TWO.format(above=above, below="").encode())

    assert [(str(tone.pitch), tone.length) for tone in tones(piece, "A")] == [("C5", 8), ("D5", 4)]
    assert piece.remarks == ("Bar 3: a tie leads nowhere and is read as two notes.",)


def test_a_tie_is_not_mended_across_a_repeat():
    start, back = START.format(divisions=1, more=""), '<barline><repeat direction="backward"/></barline>'
    above = measure(1, start + sounding("C", 5, 4, "whole", '<tie type="start"/>') + back)
    above += measure(2, sounding("C", 5, 4, "whole"))
    piece = read("tie.musicxml", TWO.format(above=above, below="").encode())

    assert [tone.length for tone in tones(piece, "A")] == [4, 4]
