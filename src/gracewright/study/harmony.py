"""Harmony as a player reads it: frames joined into chords with numeral, bass, figures and confidence.

Public: harmonies.
"""

from __future__ import annotations

import numpy as np

from gracewright.pitch import class_from_fifths
from gracewright.study.chords import ChordPath
from gracewright.study.frames import SHIFT, Frames, Ints, Timeline
from gracewright.study.keys import key_at
from gracewright.study.model import Harmony
from gracewright.study.numerals import figures_of, member_fifths, numeral
from gracewright.study.tables import QUALITIES


def harmonies(line: Timeline, frames: Frames, chords: ChordPath, key_columns: Ints) -> tuple[Harmony, ...]:
    """Runs of frames with the same chord, bass and key."""
    rows = np.stack([chords.root, chords.quality, chords.inversion, key_columns])
    fresh = np.ones(len(frames), dtype=bool)
    fresh[1:] = (rows[:, 1:] != rows[:, :-1]).any(axis=0)
    edges = np.nonzero(fresh)[0]
    ends = np.append(edges[1:], len(frames))
    sure = np.add.reduceat(chords.sure * frames.length, edges)
    found = []
    for at, begin, end in zip(range(len(edges)), edges.tolist(), ends.tolist(), strict=True):
        root, quality = int(chords.root[begin]) - SHIFT, QUALITIES[int(chords.quality[begin])]
        members = member_fifths(root, quality)
        inversion = min(int(chords.inversion[begin]), len(members) - 1)
        key = key_at(int(key_columns[begin]))
        start, stop = int(frames.start[begin]), int(frames.end[end - 1])
        bass = members[inversion]
        found.append(
            Harmony(
                line.time(start), line.time(stop - start), class_from_fifths(root), quality, class_from_fifths(bass),
                inversion, key, numeral(root, quality, inversion, key), figures_of(bass, members, key),
                round(float(sure[at]) / max(1, stop - start), 3),
            )
        )  # fmt: skip
    return tuple(found)
