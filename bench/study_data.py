"""Labelled open pieces for the study: where they lie, which tune and which report, and how texture is thinned.

The tables are expert analyses of keyboard and solo movements (chords, local keys, cadences, phrases); they are not
part of the project and are looked for in ``GRACEWRIGHT_SHARED`` (default ``../shared`` beside the project).
Pieces are split by work, so that no movement of a reporting work was seen while weights and dials were set.
"""

from __future__ import annotations

import csv
import os
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Final

from gracewright.score import Piece, find_bass, find_solo, tones

ROOT: Final = Path(__file__).resolve().parents[1]
SHARED: Final = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared"))
OPEN: Final = SHARED / "data" / "open"
WEIGHTS: Final = ROOT / "bench" / "weights"
"""Weights learned from the tuning works only, for measuring on the reporting ones; the shipped ones saw both."""
REPORTING: Final = (
    "BWV808", "BWV816", "BWV1011", "wq50n03", "wq112n15", "swv306", "05_Quis", "K009", "K023", "K037", "K055", "K067",
    "K097", "F002",
)  # fmt: skip
"""Beginnings of the names of the movements that report; all others tune."""

KINDS: Final = {
    "M": "major", "m": "minor", "o": "diminished", "+": "augmented", "Mm7": "dominant seventh", "mm7": "minor seventh",
    "MM7": "major seventh", "mM7": "minor-major seventh", "%7": "half-diminished seventh", "o7": "diminished seventh",
    "Ger": "augmented sixth", "It": "augmented sixth", "Fr": "augmented sixth",
}  # fmt: skip


def labelled(reporting: bool | None = None) -> list[Path]:
    """MusicXML files with truth tables, in order; ``reporting`` picks one half."""
    files = sorted(OPEN.glob("dcml_*/musicxml/*.musicxml"))
    return [f for f in files if reporting is None or f.name.startswith(REPORTING) == reporting]


def truth(score: Path) -> list[dict[str, str]]:
    """Rows of the truth table of a score."""
    path = score.parent.parent / "truth" / f"{score.stem}.truth.tsv"
    with path.open(encoding="utf-8", newline="") as table:
        return list(csv.DictReader(table, delimiter="\t", quoting=csv.QUOTE_NONE))


def outer(piece: Piece) -> Piece:
    """The piece with its solo line and its bass line only."""
    solo = find_solo(piece)
    bass = find_bass(piece, solo)
    kept = {tone_id for tone in tones(piece, solo) for tone_id in tone.ids}
    ends = {tone.ids[-1]: tone.end for tone in tones(piece, solo)}
    if bass:
        kept |= {tone_id for tone in tones(piece, bass, lowest=True) for tone_id in tone.ids}
        ends |= {tone.ids[-1]: tone.end for tone in tones(piece, bass, lowest=True)}
    notes = tuple(
        replace(note, length=min(note.length, ends.get(note.id, note.end) - note.onset)) if note.pitch else note
        for note in piece.notes
        if note.pitch is None or note.id in kept
    )
    return replace(piece, notes=notes, figures=(), document=None)


def quarters(text: str) -> Fraction:
    """A time of a truth table; exact for the divisions that occur there."""
    return Fraction(text).limit_denominator(960)
