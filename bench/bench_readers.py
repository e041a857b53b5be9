"""Every note we read beside a second reader's: onset, length and pitch, and what it is that differs.

    python bench/bench_readers.py --format musicxml --count 300    against music21
    python bench/bench_readers.py --format kern --count 200        against music21
    python bench/bench_readers.py --format mei                     against music21 and partitura
    python bench/bench_readers.py --format abc --count 100         against music21
    python bench/bench_readers.py --format musicxml --file NAME    one file, every difference

A file is *equal* when the multisets of (onset, length, pitch) are; else *equal bar by bar* when those of (bar, onset
in it, length, pitch) are: the second reader lets parts drift apart where a bar of one is too short or too long; else
*only accidentals* when it is the pitch numbers alone that differ, *same notes elsewhere* when (length, pitch) are the
same, *same pitches* when the pitches are, and *other notes* otherwise. What was traced, and who is right, stands in
docs/doors.md.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import signal
import subprocess
import sys
import warnings
from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from gracewright.errors import BadInput
from gracewright.score import Piece, read

ENDINGS = {"musicxml": (".mxl", ".musicxml", ".xml"), "kern": (".krn",), "mei": (".mei",), "abc": (".abc",)}
LIMIT = 90
"""Seconds for the other reader."""
Heads = Counter[tuple[Fraction, Fraction, int, int, int, Fraction]]
"""Onset, length, pitch number, staff place (7 to the octave, C0 is 0), bar counted from 0, onset in the bar; the last
two are 0 where a reader does not tell them."""


def files_of(kind: str) -> list[Path]:
    spec = importlib.util.find_spec("music21")
    folders = [Path(spec.origin).parent / "corpus"] if spec and spec.origin else []
    shared = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared")) / "data" / "open"
    if shared.is_dir():
        folders.append(shared)
    else:
        print("the shared data folder is absent: only the corpus is read")
    return sorted(path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in ENDINGS[kind])


def ours(piece: Piece) -> Heads:
    """(onset, length, pitch number) of every sounding note head, ties not merged, cue notes counted, small ones not."""
    return Counter(
        (_round(note.onset), _round(note.length), note.pitch.midi, note.pitch.diatonic, note.bar,
         _round(note.onset - piece.bars[note.bar].onset))
        for note in piece.notes
        if note.pitch is not None
    )


def _round(time: object) -> Fraction:
    return Fraction(time).limit_denominator(2000)  # type: ignore[arg-type]


def by_music21(path: Path) -> Heads:
    import music21

    score = music21.converter.parse(path, forceSource=True)
    if isinstance(score, music21.stream.Opus):
        score = score.scores[0]
    score = score.toSoundingPitch()
    found: Heads = Counter()
    for part in score.parts or [score]:
        bars = list(part.getElementsByClass("Measure"))
        for index, bar in enumerate(bars or [part]):
            begin = bar.offset if bars else 0.0
            for element in bar.flatten().notes:
                if element.duration.isGrace or isinstance(element, music21.harmony.ChordSymbol):
                    continue
                length, inside = _round(element.quarterLength), _round(element.offset)
                for pitch in element.pitches:
                    place = pitch.diatonicNoteNum - 1
                    found[_round(begin + element.offset), length, int(pitch.midi), place, index, inside] += 1
    return found


def by_partitura(path: Path) -> Heads:
    import partitura

    found: Heads = Counter()
    for part in partitura.score.iter_parts(partitura.load_score(str(path))):
        quarter = part.quarter_map
        for note in part.iter_all(partitura.score.Note):
            begin, end = quarter(note.start.t), quarter(note.end.t)
            place = 7 * note.octave + "CDEFGAB".index(note.step)
            found[_round(float(begin)), _round(float(end - begin)), int(note.midi_pitch), place, 0, _round(0)] += 1
    return found


def by_verovio(path: Path) -> Heads:
    """In a process of its own, which the engraving library may crash; repeats are not played, and small notes, which it
    would play out, are taken away first."""
    done = subprocess.run([sys.executable, "-c", DUMP, str(path)], capture_output=True, text=True, timeout=LIMIT)
    if done.returncode:
        raise RuntimeError(f"exit code {done.returncode}")
    rows = json.loads(done.stdout)
    return Counter((_round(on), _round(off - on), pitch, place, 0, _round(0)) for on, off, pitch, place in rows)


DUMP = """
import json, os, sys, verovio
from lxml import etree
tree = etree.parse(sys.argv[1], etree.XMLParser(remove_comments=True))
for small in tree.xpath("//*[@grace or local-name()='graceGrp']"):
    if small.getparent() is not None:
        small.getparent().remove(small)
kit = verovio.toolkit(False)
kit.setResourcePath(os.path.join(os.path.dirname(verovio.__file__), "data"))
kit.setOptions({"expandNever": True})
assert kit.loadData(etree.tostring(tree, encoding="unicode"))
kit.renderToMIDI()
on, rows = {}, []
for event in kit.renderToTimemap({}):
    for name in event.get("off", []):
        if name in on:
            rows.append((on.pop(name), event["qstamp"], name))
    for name in event.get("on", []):
        on[name] = event["qstamp"]
def told(name):
    attributes = kit.getElementAttr(name)
    place = 7 * int(attributes.get("oct", 0)) + "cdefgab".index(attributes.get("pname", "c"))
    return kit.getMIDIValuesForElement(name)["pitch"], place
print(json.dumps([(begin, end, *told(name)) for begin, end, name in rows]))
"""
READERS: dict[str, Callable[[Path], Heads]] = {
    "music21": by_music21, "partitura": by_partitura, "verovio": by_verovio,
}  # fmt: skip


def verdict(mine: Heads, other: Heads) -> str:
    for words, key in VERDICTS.items():
        if _by(mine, key) == _by(other, key):
            return words
    return "other notes"


VERDICTS = {
    "equal": (0, 1, 2), "equal bar by bar": (4, 5, 1, 2), "only accidentals": (0, 1, 3), "same notes elsewhere": (1, 2),
    "same pitches": (2,),
}  # fmt: skip


def _by(heads: Heads, key: tuple[int, ...]) -> Counter[tuple[object, ...]]:
    counted: Counter[tuple[object, ...]] = Counter()
    for head, count in heads.items():
        counted[tuple(head[index] for index in key)] += count
    return counted


def limited(reader: Callable[[Path], Heads], path: Path) -> Heads:
    def late(*_: object) -> None:
        raise TimeoutError(f"more than {LIMIT} s")

    signal.signal(signal.SIGALRM, late)
    signal.alarm(LIMIT)
    try:
        return reader(path)
    finally:
        signal.alarm(0)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--format", choices=tuple(ENDINGS), default="musicxml")
    parser.add_argument("--count", type=int, default=0, help="so many files, spread over all; 0 is all")
    parser.add_argument("--file", default="", help="only files with this in their name, every difference told")
    parser.add_argument("--by", choices=tuple(READERS), default="music21")
    options = parser.parse_args()
    warnings.simplefilter("ignore")
    reader = READERS[options.by]
    files = [path for path in files_of(options.format) if options.file in str(path)]
    if options.count:
        files = files[:: max(1, len(files) // options.count)][: options.count]
    table: Counter[str] = Counter()
    for path in files:
        try:
            mine = ours(read(path))
        except BadInput as fault:
            table["refused by us"] += 1
            print(f"  refused: {fault}")
            continue
        try:
            other = limited(reader, path)
        except Exception as fault:
            table[f"{options.by} fails"] += 1
            print(f"  {path.name}: {options.by} fails ({type(fault).__name__}), we read {mine.total()} notes")
            continue
        found = verdict(mine, other)
        table[found] += 1
        if found != "equal":
            key, most = (4, 5, 1, 2) if options.by == "music21" else (0, 1, 2), 40 if options.file else 1
            left, right = _by(mine, key), _by(other, key)
            print(f"  {path.parent.name}/{path.name}: {found}: {mine.total()} and {other.total()} notes; only ours "
                  f"{_told(left - right, most)}; only theirs {_told(right - left, most)}")  # fmt: skip
        sys.stdout.flush()
    for words, count in table.most_common():
        print(f"{words:24}{count:6}")


def _told(heads: Counter[tuple[object, ...]], most: int) -> str:
    first = sorted(heads, key=repr)[:most]
    return f"{heads.total()}: " + ", ".join(" ".join(map(str, head)) for head in first)


if __name__ == "__main__":
    main()
