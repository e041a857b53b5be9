"""How fast MusicXML becomes a ``Piece``, beside lxml's bare walk, lytk, partitura and music21 in the same run.

    python bench/bench_doors.py

Goals: 60 bars within 8 ms, 5,000 bars within 0.8 s and 200 MB, and time that grows in step with the bars. The score is
made here: two parts, twelve notes to the bar, figures, slurs, signs. Times are processor time, the least of the rounds,
so that other work on the machine disturbs them little.
"""

import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

from lxml import etree

from gracewright.score import read

GOALS = {60: 0.008, 5000: 0.8}
NOTES = ("C", "D", "E", "F", "G", "A", "B")


def made(bars: int) -> bytes:
    """A score of so many bars: a tune in quavers over a figured bass in crotchets."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list>'
             '<score-part id="P1"><part-name>Flute</part-name></score-part>'
             '<score-part id="P2"><part-name>Bass</part-name></score-part></part-list>']  # fmt: skip
    for part, count, length, kind, octave in (("P1", 8, 1, "eighth", 5), ("P2", 4, 2, "quarter", 3)):
        lines.append(f'<part id="{part}">')
        for bar in range(1, bars + 1):
            lines.append(f'<measure number="{bar}">')
            if bar == 1:
                lines.append("<attributes><divisions>2</divisions><key><fifths>0</fifths></key><time><beats>4</beats>"
                             "<beat-type>4</beat-type></time></attributes>")  # fmt: skip
            for index in range(count):
                step = NOTES[(bar * 3 + index * 2) % 7]
                if part == "P2" and index % 2:
                    lines.append("<figured-bass><figure><figure-number>6</figure-number></figure></figured-bass>")
                sign = "<ornaments><trill-mark/></ornaments>" if part == "P1" and index == 6 else ""
                beam = f'<beam number="1">{"end" if index % 2 else "begin"}</beam>' if part == "P1" else ""
                slur = f'<slur type="{"stop" if index % 2 else "start"}" number="1"/>' if index > 5 else ""
                notations = f"<notations>{slur}{sign}</notations>" if slur or sign else ""
                lines.append(
                    f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration>"
                    f"<voice>1</voice><type>{kind}</type><stem>up</stem>{beam}{notations}</note>"
                )
            lines.append("</measure>")
        lines.append("</part>")
    return "".join([*lines, "</score-partwise>"]).encode()


def walk(path: Path) -> None:
    """What any reader must do at least: parse, and touch every element and its text."""
    for element in etree.parse(path).iter():
        _ = element.tag, element.text


def by_lytk(path: Path) -> None:
    import lytk

    lytk.from_musicxml(str(path))


def by_partitura(path: Path) -> None:
    import partitura

    partitura.load_musicxml(str(path))


def by_music21(path: Path) -> None:
    from music21 import converter

    converter.parse(path, forceSource=True)


READERS: dict[str, Callable[[Path], object]] = {
    "ours": read, "lxml walk": walk, "lytk": by_lytk, "partitura": by_partitura, "music21": by_music21,
}  # fmt: skip


def least(reader: Callable[[Path], object], path: Path, rounds: int) -> float:
    times = []
    for _ in range(rounds):
        begun = time.process_time()
        reader(path)
        times.append(time.process_time() - begun)
    return min(times)


def peak(path: Path) -> float:
    """Peak memory in MB of a process of its own that reads the file."""
    code = (
        "import sys; from gracewright.score import read; read(sys.argv[1]); "
        "print(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    return int(done.stdout) / 1024


def main() -> None:
    warnings.simplefilter("ignore")
    print(f"{'bars':>6}" + "".join(f"{name:>12}" for name in READERS) + f"{'goal':>10}{'memory':>10}")
    with tempfile.TemporaryDirectory() as folder:
        for bars in (60, 600, 5000):
            path = Path(folder) / f"{bars}.musicxml"
            path.write_bytes(made(bars))
            cells = []
            for name, reader in READERS.items():
                slow = name in ("music21", "partitura")
                if slow and bars > 600:
                    cells.append(f"{'—':>12}")
                    continue
                rounds = 3 if slow else 15 if bars < 1000 else 5
                reader(path)
                cells.append(f"{least(reader, path, rounds) * 1000:9.1f} ms")
            goal = f"{GOALS[bars] * 1000:.0f} ms" if bars in GOALS else ""
            print(f"{bars:6}" + "".join(cells) + f"{goal:>10}{peak(path):7.0f} MB")


if __name__ == "__main__":
    main()
