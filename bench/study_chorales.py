"""Chorales by J. S. Bach: the Roman-numeral readings in music21's corpus, and the sources' own figures.

Roman numerals: pairs whose reading does not line up with the score (bass notes agree on less than three quarters of
the time) are left out. The numeral of a cadential six-four is read as its editors write it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from gracewright.pitch import Key
from gracewright.score import Figure, FigureItem, Piece, find_bass, find_solo, part_of, read, tones
from gracewright.study import Harmony, Study
from gracewright.study.continuo import figured_tones, figures_over, propose_figures
from study_data import KINDS, OPEN, quarters
from study_measures import Span, agreement

TUNING = 10
SEVENTHS = {"major": "MM7", "minor": "mm7", "diminished": "o7"}
TRIADS = {"major": "M", "minor": "m", "diminished": "o", "augmented": "+"}


@dataclass
class Chorale:
    name: str
    piece: Piece
    score: Any  # music21's own
    root: list[Span]
    key: list[Span]
    numeral: list[Span]  # key, root, quality, inversion together
    table: list[dict[str, str]]  # the same as a truth table


def spelled(name: str) -> str:
    """music21's ``B-`` is our ``Bb``."""
    return name.replace("-", "b")


def chorales(tuning: bool | None = None) -> Iterator[Chorale]:
    """The chorales; numbers up to TUNING tune, the others report."""
    from music21 import converter, corpus

    works = corpus.chorales.ChoraleListRKBWV().byRiemenschneider
    for path in sorted((Path(corpus.__file__).parent / "bach" / "choraleAnalyses").glob("*.rntxt")):
        number = int(path.stem[-3:])
        if tuning is not None and (number <= TUNING) != tuning:
            continue
        found = corpus.getWork(f"bach/bwv{works[number]['bwv']}")
        file = Path(found[0] if isinstance(found, list) else found)
        score = corpus.parse(file)
        reading = converter.parse(path).parts[0].flatten().getElementsByClass("RomanNumeral")
        end = float(score.highestTime)
        rows = [(float(r.offset), min(float(r.quarterLength), end - float(r.offset)), r) for r in reading]
        bass = {float(n.offset): n for n in score.parts[-1].flatten().notes}
        agreed = [bass[at].pitches[0].name == r.bass().name for at, _, r in rows if at in bass]
        if not agreed or sum(agreed) / len(agreed) < 0.75:
            continue
        yield Chorale(
            path.stem, read(file), score, [(a, a + n, spelled(r.root().name)) for a, n, r in rows],
            [(a, a + n, f"{spelled(r.key.tonic.name)} {r.key.mode}") for a, n, r in rows],
            [(a, a + n, f"{spelled(r.key.tonic.name)} {r.key.mode}|{spelled(r.root().name)}|{r.quality}|"
              f"{min(r.inversion(), 3)}") for a, n, r in rows], [row_of(a, n, r) for a, n, r in rows],
        )  # fmt: skip


def row_of(onset: float, length: float, reading: Any) -> dict[str, str]:
    """A Roman numeral as a row of a truth table; a chord of no plain kind has no root."""
    kind = TRIADS.get(reading.quality, "")
    if kind and reading.isSeventh():
        kind = "Mm7" if reading.isDominantSeventh() else "%7" if reading.isHalfDiminishedSeventh() else (
            SEVENTHS.get(reading.quality, "")
        )
    return {
        "q": str(onset), "dur_q": str(length), "root": spelled(reading.root().name) if kind else "", "quality": kind,
        "inversion": str(min(reading.inversion(), 3)),
        "local_key": f"{spelled(reading.key.tonic.name)} {reading.key.mode}",
    }  # fmt: skip


def with_figures(piece: Piece, table: list[dict[str, str]]) -> Piece:
    """The piece with its bass figured as an editor would who read the chords so."""
    bass = find_bass(piece, find_solo(piece))
    part, _ = part_of(bass)
    figures = []
    for row in table:
        if not row["root"]:
            continue
        begin = quarters(row["q"])
        end = begin + quarters(row["dur_q"])
        chord = Harmony(begin, end - begin, row["root"], KINDS[row["quality"]], row["root"], 0,
                        Key.parse(row["local_key"]), "")  # fmt: skip
        for tone in tones(piece, bass, lowest=True):
            if tone.onset < end and tone.end > begin:
                time = max(tone.onset, begin)
                items = figures_over(tone.pitch, (), chord, piece.bars[tone.bar].fifths)
                if items:
                    figures.append(Figure(part, tone.bar, time, min(tone.end, end) - time, items))
    return replace(piece, figures=tuple(figures))


def triad_of(quality: str) -> str:
    """The triad under a seventh chord, as music21 names it."""
    return {
        "dominant seventh": "major", "minor seventh": "minor", "major seventh": "major",
        "minor-major seventh": "minor", "half-diminished seventh": "diminished", "diminished seventh": "diminished",
    }.get(quality, quality)  # fmt: skip


def shares(chorale: Chorale, study: Study) -> dict[str, tuple[float, float]]:
    """Agreed and labelled quarters for root, key and the full numeral."""
    chords = [(float(h.onset), float(h.end), h) for h in study.harmony]
    keys = [(float(k.onset), float(k.onset + k.length), str(k.key)) for k in study.keys]
    full = [(a, b, f"{h.key}|{h.root}|{triad_of(h.quality)}|{h.inversion}") for a, b, h in chords]
    return {
        "root": agreement(chorale.root, [(a, b, h.root) for a, b, h in chords]),
        "key": agreement(chorale.key, keys),
        "numeral": agreement(chorale.numeral, full),
    }


def figured() -> Iterator[Piece]:
    for path in sorted((OPEN / "figured_bass_chorales" / "musicxml").glob("*.musicxml")):
        yield read(path)


def plain(items: tuple[FigureItem, ...]) -> frozenset[str]:
    """Figures as a set in one normal form: 5 3 is nothing, 6 3 is 6, octaves go; an altered figure is marked ``*``."""
    altered = {item.number or 3 for item in items if item.prefix or item.suffix}
    numbers = {item.number or 3 for item in items if item.number or item.prefix or item.suffix} - {8}
    if 4 in numbers and numbers & {2, 3}:
        numbers.discard(6)
    if 2 in numbers:
        numbers.discard(4)
    if not numbers & {4} or 2 in numbers:
        numbers.discard(3)
    if not numbers & {6, 2, 4} or numbers == {5, 4}:
        numbers.discard(5)
    return frozenset({str(number) for number in numbers | altered} | {f"{number}*" for number in altered})


def figure_share(piece: Piece, study: Study) -> tuple[int, int, list[tuple[list[str], list[str]]]]:
    """Bass notes with printed figures whose proposed figures are the same, all of them, and the differing pairs."""
    ground = tones(piece, study.bass, lowest=True)
    printed = figured_tones(ground, [figure for figure in piece.figures if plain(figure.items) or figure.items])
    ours = figured_tones(ground, propose_figures(piece, study))
    hit, wrong = 0, []
    for tone_id, figure in printed.items():
        want = plain(figure.items)
        got = plain(ours[tone_id].items) if tone_id in ours else frozenset()
        hit += want == got
        if want != got:
            wrong.append((sorted(want), sorted(got)))
    return hit, len(printed), wrong


def without_figures(piece: Piece) -> Piece:
    return replace(piece, figures=())
