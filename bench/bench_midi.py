"""How well a page comes back through MIDI: times, bars, names of notes, and ornaments that were played.

    python bench/bench_midi.py             every fifth open movement
    python bench/bench_midi.py --every 1   all of them

Each movement's parts are written as MIDI plain and read again. Then its first line is written as it would be played on
the violin, every sign of the page realised, and read again: of the ornaments played, how many are signs again, and how
many signs stand where none was. On the plain line every sign found is a false one.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

from gracewright.graces import perform
from gracewright.graces.heard import figures_in
from gracewright.instruments import load_instrument
from gracewright.score import MidiPart, Piece, Sounded, read, signatures, tones, write_midi
from gracewright.study import study

FOLDERS = ("dcml_bach_en_fr_suites", "dcml_scarlatti_sonatas", "dcml_bach_solo", "dcml_wf_bach_sonatas",
           "dcml_cpe_bach_keyboard")  # fmt: skip


def movements(every: int) -> list[Path]:
    shared = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared")) / "data" / "open"
    return sorted(path for folder in FOLDERS for path in (shared / folder).rglob("musicxml/*.musicxml"))[::every]


def plainly(piece: Piece, table: Counter[str]) -> None:
    """The top line of each part out and in again."""
    lines = [tones(piece, part.id) for part in piece.parts]
    parts = [MidiPart("x", tuple(Sounded(t.onset, t.length, t.pitch) for t in line)) for line in lines if line]
    again = read("a.mid", write_midi(parts, Fraction(80), signed=signatures(piece, [(0, len(piece.bars) - 1)])))
    for line, part in zip([line for line in lines if line], again.parts, strict=False):
        back = tones(again, part.id)
        table["notes"] += len(line)
        for words, key in (("time", lambda t: (t.onset, t.length, t.pitch.midi)), ("bar", lambda t: (t.bar, t.onset)),
                           ("name", lambda t: (t.onset, t.pitch))):  # fmt: skip
            table[words] += (Counter(map(key, line)) & Counter(map(key, back))).total()


def played(piece: Piece, table: Counter[str]) -> None:
    """The solo line as played, and plain."""
    found = study(piece)
    signed = {tone.id for tone in tones(piece, found.solo) if tone.marks.signs}
    for signs in (True, False):
        version = perform(piece, found, (), load_instrument("violin"), "advanced", signs=signs)
        notes = sorted((note for note in version.notes if note.part == found.solo), key=lambda note: note.onset)
        part = MidiPart("x", tuple(Sounded(note.onset, note.length, note.pitch) for note in notes))
        struck = read("a.mid", write_midi([part], found.tempo)).heard
        assert struck is not None
        starts = {(note.track, note.number): note.onset for note in struck.notes}
        here = {starts[figure.track, figure.first] for figure in figures_in(struck.notes)}
        there = {run[0] for host, run in _runs(notes) if host in signed and len(run) > 2} if signs else set()
        kind = "played" if signs else "plain"
        table[f"{kind} notes"] += len(notes)
        table[f"{kind} found"] += len(here)
        table["right"] += len(here & there)
        table["ornaments"] += len(there)


def _runs(notes: Sequence) -> Iterator[tuple[str, list[Fraction]]]:
    """Host and onsets of the notes played for it."""
    run: list[Fraction] = []
    host = ""
    for note in notes:
        if note.host != host and run:
            yield host, run
            run = []
        host = note.host
        run.append(note.onset)
    if run:
        yield host, run


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=5)
    files = movements(parser.parse_args().every)
    if not files:
        print("the shared data folder is absent: nothing to measure")
        return
    table: Counter[str] = Counter()
    for path in files:
        piece = read(path)
        plainly(piece, table)
        played(piece, table)
    print(f"{len(files)} movements, {table['notes']} notes, plain, out and in again")
    for words, told in (("time", "onset, length and key"), ("bar", "bar and onset"), ("name", "name")):
        print(f"  same {told:24}{table[words] / table['notes']:8.2%}")
    print(f"{table['ornaments']} ornaments of three notes or more, played, in {table['played notes']} notes")
    print(f"  signs found {table['played found']}, of them right {table['right']} "
          f"({table['right'] / max(1, table['played found']):.0%}); "
          f"ornaments found {table['right'] / max(1, table['ornaments']):.0%}")  # fmt: skip
    print(f"{table['plain notes']} plain notes: signs found, all false, {table['plain found']}")


if __name__ == "__main__":
    main()
