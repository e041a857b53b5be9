"""The demo movements are sound music, judged by music21's own voice-leading and analysis modules."""

from pathlib import Path

import pytest
from music21 import converter, note, voiceLeading

from gracewright.job import demo_piece
from gracewright.score import read
from gracewright.study import study

DEMOS = ("adagio", "menuet")


@pytest.fixture(params=DEMOS, scope="module")
def movement(request):
    return converter.parse(demo_piece(request.param), forceSource=True)


def moments(movement):
    """Pairs of notes that sound together, at every onset of either part."""
    lines = [list(part.stripTies().flatten().getElementsByClass(note.Note)) for part in movement.parts]
    for onset in sorted({there.offset for line in lines for there in line}):
        now = [next((n for n in line if n.offset <= onset < n.offset + n.quarterLength), None) for line in lines]
        yield onset, now[0], now[1]


def test_no_parallel_fifths_or_octaves_between_tune_and_bass(movement):
    wrong, before = [], None
    for onset, upper, lower in moments(movement):
        if upper is not None and lower is not None and before is not None:
            quartet = voiceLeading.VoiceLeadingQuartet(before[0], upper, before[1], lower)
            if quartet.parallelFifth() or quartet.parallelOctave():
                wrong.append(onset)
        before = (upper, lower) if upper is not None and lower is not None else None

    assert wrong == []


def test_every_bar_is_full(movement):
    for part in movement.parts:
        for bar in part.getElementsByClass("Measure"):
            assert bar.duration.quarterLength == bar.barDuration.quarterLength, bar.number


def test_the_tune_fits_the_alto_recorder(movement):
    pitches = [there.pitch.midi for there in movement.parts[0].flatten().notes]

    assert min(pitches) >= 65  # f'
    assert max(pitches) <= 91  # g'''


def test_closes_where_its_readme_says():
    """Tonic of each full close under the tune's own tonic, read with music21: adagio 8 and 16, menuet 8, 16 and 24."""
    for name, closes in (("adagio", {8: "F", 16: "D"}), ("menuet", {8: "C", 16: "D", 24: "F"})):
        movement = converter.parse(demo_piece(name), forceSource=True)
        for bar, tonic in closes.items():
            for part in movement.parts:
                assert part.measure(bar).notes[0].name == tonic, (name, bar)


def test_the_manuscript_gives_the_files(tmp_path):
    """Running scripts/make_demo.py again changes nothing."""
    import runpy

    script = Path(__file__).parents[2] / "scripts" / "make_demo.py"
    made = runpy.run_path(str(script))
    made["write"].__globals__["TARGET"] = tmp_path
    for piece in (made["ADAGIO"], made["MENUET"]):
        made["write"](piece)

    for name in DEMOS:
        assert (tmp_path / f"{name}.musicxml").read_bytes() == demo_piece(name).read_bytes()


def test_a_movement_named_by_its_pace_is_no_dance():
    """An Adagio is not guessed to be a march: common practice, no source."""
    found = study(read(demo_piece("adagio")))

    assert found.dance == ""
    assert found.slow
