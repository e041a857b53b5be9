"""What the bass does besides bearing the harmony: it takes up the solo's figures (or gives them), or walks on evenly.

Conventions: an imitation is a figure of six notes or more that fills half a bar, or of five that fill a bar, with the
same steps in the same rhythm, taken up a bar after its end at the latest; what only rises or only falls is none. A bass
walks where it goes on for two bars in equal notes without rest, three in five of them a step away from the one before.
Common practice, no source.

Public: find_imitations, find_walking_bass.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Tone
from gracewright.study.frames import Ints
from gracewright.study.material import Material
from gracewright.study.model import Imitation, WalkingBass

HEAD: Final = 4  # steps by which a figure is looked up
FULL: Final = 6
MOST: Final = 8  # statements before an entry that are looked at
PRIME: Final = 1_000_003
WITHIN: Final = 4  # bars
STEPWISE: Final = 0.6
LEAST_WALK: Final = 2  # bars


@dataclass(frozen=True)
class _Line:
    onset: Ints
    step: Ints  # staff places to the next note
    gap: Ints  # ticks to the next note
    place: Ints

    @staticmethod
    def of(tones: Sequence[Tone], onset: Ints) -> _Line:
        place = np.array([tone.pitch.diatonic for tone in tones], dtype=np.int64)
        return _Line(onset, np.diff(place), np.diff(onset), place)

    def heads(self) -> list[int]:
        """A number for the figure that begins at each note; unlike figures may share one by rare chance."""
        count = max(0, len(self.step) - HEAD + 1)
        mixed = np.zeros(count, dtype=np.int64)
        for shift in range(HEAD):
            for row in (self.step, self.gap):
                mixed = mixed * PRIME + row[shift : shift + count]
        return [int(value) for value in mixed.tolist()]


def find_imitations(material: Material) -> tuple[Imitation, ...]:
    """Figures of one line that the other takes up, by their entry; an entry is told once."""
    if not material.ground:
        return ()
    solo = _Line.of(material.melody, material.melody_onsets)
    bass = _Line.of(material.ground, material.ground_onsets)
    found = [*_taken_up(material, solo, bass, "solo"), *_taken_up(material, bass, solo, "bass")]
    kept: list[Imitation] = []
    for one in sorted(found, key=lambda i: (-i.length, i.entry, i.start)):
        if all(abs(one.entry - other.entry) >= min(one.length, other.length) for other in kept):
            kept.append(one)
    return tuple(sorted(kept, key=lambda i: (i.entry, i.start)))


def _taken_up(material: Material, leader: _Line, other: _Line, name: str) -> list[Imitation]:
    heads: dict[int, list[int]] = {}
    for at, head in enumerate(leader.heads()):
        heads.setdefault(head, []).append(at)
    onsets = leader.onset.tolist()
    found = []
    done: dict[int, int] = {}  # distance in notes between the lines → followed as far as
    for there, head in enumerate(other.heads()):
        if head not in heads:
            continue
        entry = int(other.onset[there])
        bar = material.line.ticks(material.bar_at(material.line.time(entry)).meter.length)
        earlier = heads[head]
        for at in earlier[max(0, bisect_right(earlier, entry, key=onsets.__getitem__) - MOST) :]:
            behind = entry - onsets[at]
            if behind <= 0:
                break
            if behind > WITHIN * bar or there < done.get(there - at, 0):
                continue
            count = _agreeing(leader, other, at, there)
            if count < HEAD:
                continue
            done[there - at] = there + count
            length = int(leader.onset[at + count] - leader.onset[at])
            steps = leader.step[at : at + count]
            scale = bool((np.sign(steps) == np.sign(steps[0])).all())
            long = (count + 1 >= FULL and 2 * length >= bar) or length >= bar
            if long and behind <= length + bar and not scale:
                time = material.line.time
                step = int(other.place[there] - leader.place[at])
                found.append(
                    Imitation("solo" if name == "solo" else "bass", time(int(leader.onset[at])), time(entry),
                              time(length), step)
                )  # fmt: skip
    return found


def _agreeing(leader: _Line, other: _Line, at: int, there: int) -> int:
    """How many steps running are the same in both lines."""
    most = min(len(leader.step) - at, len(other.step) - there, 64)
    same = (leader.step[at : at + most] == other.step[there : there + most]) & (
        leader.gap[at : at + most] == other.gap[there : there + most]
    )
    return most if bool(same.all()) else int(same.argmin())


def find_walking_bass(material: Material) -> tuple[WalkingBass, ...]:
    """Stretches of two bars or more in which the bass walks in notes of a beat or half a beat."""
    if len(material.ground) < 2:
        return ()
    line, onset = material.line, material.ground_onsets
    gap = np.diff(onset)
    steps = np.abs(np.diff(np.array([tone.pitch.diatonic for tone in material.ground], dtype=np.int64)))
    lengths = material.ticks_of(tone.length for tone in material.ground)
    joined = lengths[:-1] * 2 > gap  # no rest as long as the note
    found = []
    first = 0
    for at in range(1, len(gap) + 1):
        if at < len(gap) and gap[at] == gap[first] and joined[at]:
            continue
        start, end = line.time(int(onset[first])), line.time(int(onset[at] if at < len(onset) else onset[-1]))
        meter = material.bar_at(start).meter
        value = Fraction(int(gap[first]), line.quarter)
        even = value in (meter.beat, meter.beat / 2) and value <= 1
        if even and end - start >= LEAST_WALK * meter.length and (steps[first:at] == 1).mean() >= STEPWISE:
            found.append(WalkingBass(start, end, value))
        first = at
    return tuple(found)
