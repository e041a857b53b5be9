"""Open pieces whose composers wrote graces: without their graces, studied, with the graces by note.

Keyboard and solo pieces with expert labels (see ``study_data``) and pieces in Humdrum with or without figured bass.
They are looked for in ``GRACEWRIGHT_SHARED`` (default ``../shared`` beside the project) and are not shipped. Pieces
with labels are split by work as for the study, the others by a checksum of their name.
"""

import zlib
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from pathlib import Path

from gracewright.errors import BadInput
from gracewright.graces import Grace, page_graces
from gracewright.score import Piece, read, tones
from gracewright.study import Segment, Study, study
from gracewright.taste.learning import Marked, marked_with, without_graces
from gracewright.taste.manner import Manner
from study_data import OPEN, REPORTING, labelled, quarters, truth

LEAST = 4
"""Graces that a piece must carry."""
HUMDRUM = ("scarlatti_kern", "polish_continuo")


@dataclass(eq=False)
class Case:
    """A piece without its graces; its study, and the same with each bar once; the composer's graces by tone id; expert
    cadences in quarters."""

    corpus: str
    name: str
    piece: Piece
    whole: Study
    study: Study
    graces: dict[str, Grace]
    cadences: list[Fraction]
    reporting: bool

    @cached_property
    def cadential(self) -> set[str]:
        """Graces of the composer within two quarters before an expert's cadence."""
        found = set()
        for tone in tones(self.piece, self.study.solo):
            reach = tone.onset + max(2, tone.length)
            if tone.id in self.graces and any(tone.onset < at <= reach for at in self.cadences):
                found.add(tone.id)
        return found

    def lesson(self, base: Manner) -> Marked:
        """What the piece teaches a manner."""
        return marked_with(self.name, self.graces, self.piece, self.study, base)


def reports(path: Path) -> bool:
    """Is it in the half that figures are reported on?"""
    if path.suffix == ".krn":
        return zlib.crc32(path.stem.encode()) % 2 == 0
    return path.name.startswith(REPORTING)


def cases(reporting: bool | None = None) -> list[Case]:
    """All pieces with enough graces on their solo line, or those of one half."""
    files = [*labelled(None), *(path for name in HUMDRUM for path in sorted((OPEN / name).glob("*.krn")))]
    found = []
    for path in files:
        if reporting is not None and reports(path) != reporting:
            continue
        try:
            piece = read(path)
            plain = without_graces(piece)
            whole = study(plain)
        except BadInput:
            continue
        graces = {there.note: there.grace for there in page_graces(piece, whole)}
        if len(graces) < LEAST:
            continue
        once = replace(whole, order=(Segment(0, len(piece.bars) - 1, 1),))
        rows = truth(path) if path.suffix != ".krn" else []
        ends = [quarters(row["q"]) for row in rows if row.get("cadence")]
        corpus = path.parent.name if path.suffix == ".krn" else path.parents[1].name
        found.append(Case(corpus, path.stem, plain, whole, once, graces, ends, reports(path)))
    return found
