"""Coverage-guided fuzzing of the doors that run in this process: MusicXML, MEI, archives, and MIDI taken apart.

    python fuzz/fuzz_atheris.py -max_total_time=600 -rss_limit_mb=600

Needs atheris (``pip install -e ".[fuzz]"``); it stops at the first input that is neither read nor refused in one
sentence and leaves it in a file. The first byte of an input chooses the door. Seeds are those of ``fuzz_doors.py``;
give a folder to keep what was found from run to run.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["gracewright.score"]):
    from gracewright.errors import BadInput
    from gracewright.score import find_bass, find_solo, read, tones, write_signs
    from gracewright.score.midi_file import midi_file

from fuzz_doors import SEEDS

DOORS = ("a.musicxml", "a.mei", "a.mxl", "a.mid")
MIDI = (b"MThd\0\0\0\6\0\1\0\1\1\xe0MTrk\0\0\0\x14\0\xc0\x4a\0\x90\x48\x50\x83\x60\x80\x48\x40\0\xff\x51\3\7\xa1\x20"
        b"\0\xff\x2f\0")  # fmt: skip


def one(data: bytes) -> None:
    """Read one input; raises where it escapes."""
    if not data:
        return
    name, data = DOORS[data[0] % len(DOORS)], data[1:]
    try:
        if name == "a.mid":
            if data[:4] == b"MThd" and len(data) >= 14:
                file = midi_file(data, name)
                midi_file(file.data(), name)
            return
        piece = read(name, data)
    except BadInput as fault:
        if "\n" in str(fault):
            raise AssertionError(f"more than one line: {fault}") from fault
        return
    solo = find_solo(piece)
    tones(piece, solo)
    find_bass(piece, solo)
    write_signs(piece, solo, ())


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        for place, name in enumerate(DOORS):
            seed = MIDI if name == "a.mid" else SEEDS.get(name, "").encode()
            (Path(folder) / f"seed{place}").write_bytes(bytes([place]) + seed)
        atheris.Setup([*sys.argv, folder], one)
        atheris.Fuzz()


if __name__ == "__main__":
    main()
