"""Divisions beside the masters' own: doubles, ornamented reprises and dances whose plain version is known.

Bar by bar the plain line and the composer's ornamented one lie beside each other. For every written note that the
composer divided we ask for our passages and compare: how many notes, which of the composer's pitches we also touch
(found) and how many of ours the composer touches (shared), by the best of one and of five passages. Baselines with as
many notes as ours: the note with its upper neighbour in turn; the chord up and down. Then what the lines are made of:
steps, thirds, wider leaps, repeated notes, returns to the note before last. At the end: time and refusals over whole
movements, and how much the passages of whole plans vary. The data (non-commercial licence) lie outside the project;
without them only the speed and variety on the demo are told.

Run: ``python bench/bench_divisions.py``
"""

from __future__ import annotations

import csv
import os
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Final

from gracewright.divisions import Division, Ground, divisions_for, grounds, styles
from gracewright.graces import Context, contexts
from gracewright.instruments import load_instrument
from gracewright.pitch import Pitch
from gracewright.score import Piece, Tone, read, tones
from gracewright.study import study
from gracewright.taste import load_manner, make_plan

ROOT: Final = Path(__file__).parents[1]
SHARED: Final = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared"))
PAIRS: Final = SHARED / "data" / "open" / "pairs" / "pairs.tsv"
DEMO: Final = ROOT / "src" / "gracewright" / "data" / "demo"
LONG: Final = Fraction(1, 2)
RICHNESS: Final = 7.0


@dataclass(frozen=True)
class Movement:
    piece: Piece
    line: tuple[Tone, ...]
    places: dict[str, Context]
    under: dict[str, tuple[Ground, ...]]


@dataclass(frozen=True)
class Host:
    """A written note that the composer divided, and the composer's pitches in its time."""

    place: Context
    ground: tuple[Ground, ...]
    theirs: tuple[Pitch, ...]


def movement(path: Path) -> Movement:
    piece = read(path)
    found = study(piece)
    violin = load_instrument("violin")
    places = contexts(piece, found, violin, "advanced")
    return Movement(piece, tones(piece, found.solo), places, dict(grounds(piece, found)))


def hosts() -> Iterator[tuple[str, Host]]:
    """Every divided note of the paired bars, with the name of its set."""
    files = {path.stem: path for path in PAIRS.parents[1].glob("dcml_*/musicxml/*.musicxml")}
    known: dict[str, Movement] = {}
    with PAIRS.open(encoding="utf-8") as table:
        for row in csv.DictReader(table, delimiter="\t"):
            names = row["plain_piece"], row["ornamented_piece"]
            if any(name not in files for name in names):
                continue
            for name in names:
                if name not in known:
                    known[name] = movement(files[name])
            plain, graced = known[names[0]], known[names[1]]
            bars = int(row["plain_mc"]) - 1, int(row["orn_mc"]) - 1
            for host in divided(plain, graced, *bars):
                yield row["set"], host


def divided(plain: Movement, graced: Movement, bar: int, other: int) -> Iterator[Host]:
    begin, begin_there = plain.piece.bars[bar].onset, graced.piece.bars[other].onset
    for tone in plain.line:
        if tone.bar != bar or tone.length < LONG or tone.end > plain.piece.bars[bar].end:
            continue
        start, end = tone.onset - begin + begin_there, tone.end - begin + begin_there
        theirs = tuple(note.pitch for note in graced.line if start <= note.onset < end and note.bar == other)
        if len(theirs) > 1:
            yield Host(plain.places[tone.id], plain.under[tone.id], theirs)


def classes(pitches: Sequence[Pitch]) -> Counter[tuple[int, int]]:
    return Counter({(pitch.step, pitch.alter): 1 for pitch in pitches})


def overlap(ours: Sequence[Pitch], theirs: Sequence[Pitch]) -> tuple[float, float]:
    """Share of their pitch classes found, share of ours that they have."""
    both = sum((classes(ours) & classes(theirs)).values())
    return both / len(classes(theirs)), both / len(classes(ours))


def passage(division: Division) -> tuple[Pitch, ...]:
    return tuple(pitch for pitch, _ in division.notes)


def baselines(host: Host, count: int) -> dict[str, tuple[Pitch, ...]]:
    pitch, chord = host.place.pitch, host.place.harmony or (host.place.pitch.pitch_class,)
    upper = Pitch.at(pitch.diatonic + 1, host.place.key.alter_of((pitch.step + 1) % 7))
    names = sorted((Pitch.parse(f"{name}4") for name in chord), key=lambda one: (one.diatonic - pitch.diatonic) % 7)
    return {
        "neighbour in turn": tuple((pitch, upper)[i % 2] for i in range(count)),
        "chord in turn": tuple(names[i % len(names)] for i in range(count)),
    }


def mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def texture(lines: Sequence[Sequence[Pitch]]) -> str:
    """Shares of melodic intervals, and of returns."""
    sizes: Counter[str] = Counter()
    returns = triples = 0
    for line in lines:
        for one, two in pairwise(line):
            gap = abs(two.diatonic - one.diatonic)
            sizes["repeated" if gap == 0 else "step" if gap == 1 else "third" if gap == 2 else "leap"] += 1
        for one, three in zip(line, line[2:], strict=False):
            triples += 1
            returns += one == three
    total = sum(sizes.values()) or 1
    shares = " ".join(f"{100 * sizes[name] / total:5.0f}" for name in ("step", "third", "leap", "repeated"))
    return f"{shares} {100 * returns / max(1, triples):7.0f}"


def report(name: str, rows: Sequence[Host]) -> None:
    print(f"\n{name}: {len(rows)} divided notes, {mean([len(host.theirs) for host in rows]):.1f} notes each")
    print(f"{'':20} notes  found shared  of 5: found shared   step third  leap  same returns")
    print(f"{'the composer':20} {mean([len(host.theirs) for host in rows]):5.1f} {'':32} "
          f"{texture([host.theirs for host in rows])}")  # fmt: skip
    for style in styles():
        ones, fives, lines = [], [], []
        for host in rows:
            found = divisions_for(host.place, manner=style, richness=RICHNESS, ground=host.ground)
            if found:
                lines.append(passage(found[0]))
                ones.append(overlap(lines[-1], host.theirs))
                fives.append(max(overlap(passage(one), host.theirs) for one in found))
        print(f"{style:20} {mean([len(line) for line in lines]):5.1f} {mean([one[0] for one in ones]):6.2f} "
              f"{mean([one[1] for one in ones]):6.2f}        {mean([one[0] for one in fives]):5.2f} "
              f"{mean([one[1] for one in fives]):6.2f}     {texture(lines)}  ({len(lines)})")  # fmt: skip
    for base in ("neighbour in turn", "chord in turn"):
        found = [overlap(baselines(host, len(host.theirs))[base], host.theirs) for host in rows]
        print(f"{base:20} {'':5} {mean([one[0] for one in found]):6.2f} {mean([one[1] for one in found]):6.2f}")


def speed(paths: Sequence[Path]) -> None:
    tasks = []
    for path in paths:
        one = movement(path)
        tasks += [(place, one.under[tone]) for tone, place in one.places.items() if place.length >= LONG]
    print(f"\nTime over {len(tasks)} written notes of {len(paths)} movements (processor time, one core)")
    for style in styles():
        for state in ("first", "again"):
            start = time.process_time()
            richness = 5.0 if state == "first" else 8.0
            found = [divisions_for(place, manner=style, richness=richness, ground=under) for place, under in tasks]
            spent = time.process_time() - start
            none = sum(not one for one in found)
            each = 1000 * spent / len(tasks)
            print(f"{style:10} {state:6} {each:5.2f} s for 1000 calls; no passage for {none} notes")


def variety(paths: Sequence[Path]) -> None:
    """How unlike the passages of whole plans are, in the order as heard."""
    violin = load_instrument("violin")
    print(f"\nVariety in plans of {len(paths)} movements at richness 8, in slow ones\n{'':20} passages"
          "  like the one before  shapes heard but once  to and fro between two notes")  # fmt: skip
    for manner in ("italian", "german", "english"):
        count = again = once = swinging = 0
        for path in paths:
            piece = read(path)
            found = study(piece)
            if not found.slow:
                continue
            plan = make_plan(piece, found, load_manner(manner), violin, richness=8)
            chosen = sorted(plan.choices, key=lambda choice: (choice.time_through, choice.onset))
            rows = [one.grace.notes for one in chosen if one.grace is not None and one.grace.id == "division"]
            shapes = [tuple((p.diatonic - row[0][0].diatonic, share) for p, share in row) for row in rows]
            count += len(rows)
            again += sum(one == two for one, two in pairwise(shapes))
            once += sum(times == 1 for times in Counter(shapes).values())
            swinging += sum(_swings([pitch.diatonic for pitch, _ in row]) for row in rows)
        if count:
            print(f"{manner:20} {count:8} {again / count:20.0%} {once / count:22.0%} {swinging / count:29.0%}")


def _swings(places: Sequence[int]) -> bool:
    return any(places[i : i + 2] == places[i + 2 : i + 4] for i in range(len(places) - 3))


def main() -> None:
    paths = sorted(DEMO.glob("*.musicxml"))
    if PAIRS.is_file():
        by_set: dict[str, list[Host]] = {}
        for name, host in hosts():
            by_set.setdefault(name, []).append(host)
        for name, rows in by_set.items():
            report(name, rows)
        paths += sorted(PAIRS.parents[1].glob("dcml_kleine*/musicxml/*.musicxml"))
        paths += sorted(PAIRS.parents[1].glob("dcml_bach_en_fr_suites/musicxml/*Sarabande*.musicxml"))
    speed(paths)
    variety(paths)


if __name__ == "__main__":
    main()
