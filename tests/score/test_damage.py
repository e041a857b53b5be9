"""Damaged scores are read or refused in a sentence; nothing escapes (the long run is ``fuzz/fuzz_doors.py``)."""

import importlib.util
from pathlib import Path

SOURCE = Path(__file__).parents[2] / "fuzz" / "fuzz_doors.py"


def test_nothing_escapes_from_damaged_scores():
    spec = importlib.util.spec_from_file_location("fuzz_doors", SOURCE)
    assert spec is not None
    assert spec.loader is not None
    fuzz = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fuzz)
    told: list[str] = []

    counts = fuzz.run(5, 20, guarded=False, say=told.append)

    assert told == []
    assert counts["musicxml read"] + counts["mei read"] > 20
    assert counts["musicxml refused"] + counts["mei refused"] > 20
