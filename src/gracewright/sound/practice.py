"""Tracks to practise with: slow to in time, plain and played in turn, the continuo alone, a grace by steps.

Conventions: tempi are quarters a minute; steps are shares of the tempo (1/2 is half as fast). A slowed passage is
played anew at the slower tempo, so that its pitch stays and its graces, too, become slow notes that a hand can learn.
Every track says in ``marks`` what begins when.

Public: Track, Mark, Setting, CountIn, count_in, practice_track, phrase_by_phrase, play_along, ladder, joined.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import ceil
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.errors import BadInput
from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.score.model import Piece
from gracewright.sound.excerpts import excerpt, played_span
from gracewright.sound.files import SAMPLE_RATE
from gracewright.sound.rendering import PEAK, render
from gracewright.sound.temperaments import A_415
from gracewright.sound.tone import level_of
from gracewright.study.model import Phrase, Study

Audio = NDArray[np.float32]
STEPS: Final = (Fraction(1, 2), Fraction(3, 4), Fraction(1))
"""Half as fast, three quarters, in time."""
PAUSE: Final = 1.2
"""Seconds between two stretches: time to breathe and lift the fingers."""
TIMES: Final = 2
"""How often each step sounds where nothing else is asked for."""
SLOW_NOTE: Final = 0.5
"""Seconds of each note where a grace is first practised evenly."""


@dataclass(frozen=True, slots=True)
class Setting:
    """How a track sounds; as in :func:`gracewright.sound.render`."""

    a: float = A_415
    temperament: str = "vallotti"
    instrument: str = "alto-recorder"
    bass: str = ""
    continuo: bool = True
    study: Study | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """What begins at a time of a track, in words; ``tempo`` in quarters a minute."""

    seconds: float
    words: str
    tempo: Fraction


@dataclass(frozen=True)
class Track:
    """Mono samples, and what is where in them."""

    samples: Audio
    marks: tuple[Mark, ...]

    @property
    def seconds(self) -> float:
        return len(self.samples) / SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class CountIn:
    """Clicks before the music, which begins after ``length`` quarters: one each ``beat``, every ``bar``-th strong."""

    beat: Fraction
    bar: int
    length: Fraction

    @property
    def clicks(self) -> tuple[Fraction, ...]:
        """Where they fall, in quarters."""
        return tuple(self.beat * number for number in range(ceil(self.length / self.beat)))


def count_in(piece: Piece, page_onset: Fraction, bars: int = 1) -> CountIn:
    """A count-in for music that begins at a place on the page: whole bars, then the beats of a begun bar.

    Before an upbeat of one quarter in 3/4 one bar and two beats are counted: 1 2 3, 1 2.
    """
    bar = piece.bar_at(page_onset)
    beat = bar.meter.beat
    gone = (piece.beat_of(page_onset, bar.index) - 1) * Fraction(4, bar.meter.unit)
    return CountIn(beat, max(1, round(bar.meter.length / beat)), bar.meter.length * bars + gone)


def practice_track(
    version: Version,
    *,
    tempo: Fraction,
    steps: Sequence[Fraction] = STEPS,
    bars: tuple[Fraction, Fraction] | None = None,
    time_through: int = 1,
    times: int = TIMES,
    count: CountIn | None = None,
    setting: Setting = Setting(),
) -> Track:
    """A passage slow, then quicker, then in time, each step ``times`` times, with clicks before it.

    ``bars`` is the passage on the page, from and to in quarters (None: the whole version as played). Raises BadInput
    for steps outside 1/8 .. 2 or for bars that do not follow each other.
    """
    if not steps or any(not Fraction(1, 8) <= step <= 2 for step in steps):
        raise BadInput("steps must lie between an eighth of the tempo and twice the tempo", remedy="try 1/2, 3/4, 1")
    start, end = played_span(version, *bars, time_through) if bars else (Fraction(0), version.length)
    lead = count.length if count else Fraction(0)
    part = excerpt(version, start, end, lead=lead)
    pieces = []
    for step in steps:
        heard = _heard(part, tempo * step, count, setting)
        pieces += [(heard, f"{_share(step)}, time {time}" if times > 1 else _share(step), tempo * step)
                   for time in range(1, times + 1)]  # fmt: skip
    return _joined(pieces)


def phrase_by_phrase(
    plain: Version,
    played: Version,
    phrases: Iterable[Phrase],
    *,
    tempo: Fraction,
    time_through: int = 1,
    setting: Setting = Setting(),
) -> Track:
    """Each phrase plain, then as played in that time through. Phrases that do not sound there are left out."""
    pieces = []
    for number, phrase in enumerate(phrases, start=1):
        for version, through, words in ((plain, 1, "plain"), (played, time_through, "played")):
            try:
                start, end = played_span(version, phrase.start, phrase.end, through)
            except BadInput:
                continue
            part = excerpt(version, start, end, lead=Fraction(1))
            pieces.append((_heard(part, tempo, None, setting), f"phrase {number}, {words}", tempo))
    return _joined(pieces)


def play_along(
    version: Version, *, tempo: Fraction, count: CountIn | None = None, setting: Setting = Setting()
) -> Track:
    """Everything but the solo, with clicks before it: the continuo to play to. Raises BadInput for a lone line."""
    if all(note.part == version.solo for note in version.notes):
        raise BadInput("there is no part to play along with")
    part = excerpt(version, Fraction(0), version.length, lead=count.length if count else Fraction(0))
    return _joined([(_heard(part, tempo, count, setting, solo=False), "continuo alone", tempo)])


def ladder(
    version: Version, host: str, *, tempo: Fraction, time_through: int = 1, context: Fraction = Fraction(2),
    setting: Setting = Setting(), name: str = "",
) -> Track:  # fmt: skip
    """One grace by steps: its notes slow and even, then at half speed, in time, and in its place in the line.

    ``host`` is the written note's id; ``context`` quarters before and after it belong to its place; ``name`` is set
    before the words of each mark. Raises BadInput where that note does not sound in that time through.
    """
    notes = [n for n in version.notes if n.part == version.solo and n.host == host and n.time_through == time_through]
    if not notes:
        raise BadInput(f"the note {host!r} does not sound in time {time_through}")
    alone = replace(setting, continuo=False)
    even = _only(version, [replace(n, onset=Fraction(i), length=Fraction(1)) for i, n in enumerate(notes)])
    first = notes[0].onset
    itself = _only(version, [replace(note, onset=note.onset - first) for note in notes])
    start, end = max(first - context, Fraction(0)), min(notes[-1].end + context, version.length)
    place = excerpt(version, start, end, lead=Fraction(1))
    slow = Fraction(60) / Fraction(SLOW_NOTE)
    steps = [
        *([(even, slow, alone, "slow, every note equally long")] if len(notes) > 1 else []),
        (itself, tempo / 2, alone, "at half speed, in its own rhythm"),
        (itself, tempo, alone, "in time, by itself"),
        (place, tempo / 2, setting, "in its place, at half speed"),
        (place, tempo, setting, "in its place, in time"),
    ]
    called = f"{name}: " if name else ""
    heard = [(_heard(part, speed, None, how), called + words, speed) for part, speed, how, words in steps]
    return _joined([each for each in heard for _ in range(TIMES)])


def joined(tracks: Iterable[Track]) -> Track:
    """Tracks one after the other, a pause between. Raises BadInput where there is none."""
    samples, marks, at = list[Audio](), list[Mark](), 0
    for track in tracks:
        marks += [replace(mark, seconds=mark.seconds + at / SAMPLE_RATE) for mark in track.marks]
        samples += [track.samples, _silence()]
        at += len(track.samples) + len(_silence())
    if not samples:
        raise BadInput("nothing is left to play", remedy="choose other bars")
    return Track(np.concatenate(samples[:-1]), tuple(marks))


def _only(version: Version, notes: Sequence[PlayedNote]) -> Version:
    length = notes[-1].end
    whole = Pass(0, 0, notes[0].time_through, notes[0].page_onset, Fraction(0), length)
    return replace(version, passes=(whole,), notes=tuple(notes))


def _heard(version: Version, tempo: Fraction, count: CountIn | None, setting: Setting, *, solo: bool = True) -> Audio:
    heard = render(
        version, tempo=tempo, a=setting.a, temperament=setting.temperament, instrument=setting.instrument,
        bass=setting.bass, continuo=setting.continuo, study=setting.study, solo=solo,
    )  # fmt: skip
    if count is None:
        return heard
    for number, onset in enumerate(count.clicks):
        at, click = round(onset * SAMPLE_RATE * 60 / tempo), _click(number % count.bar == 0)
        heard[at : at + len(click)] += click[: len(heard) - at]
    return np.clip(heard, -PEAK, PEAK)


def _joined(pieces: Iterable[tuple[Audio, str, Fraction]]) -> Track:
    return joined(Track(heard, (Mark(0.0, words, tempo),)) for heard, words, tempo in pieces)


def _silence() -> Audio:
    return np.zeros(round(PAUSE * SAMPLE_RATE), dtype=np.float32)


def _share(step: Fraction) -> str:
    return "in time" if step == 1 else f"at {round(float(step) * 100)} % of the tempo"


@cache
def _click(strong: bool) -> Audio:
    """A knock on wood."""
    seconds = np.arange(round(0.05 * SAMPLE_RATE)) / SAMPLE_RATE
    height = 1500.0 if strong else 1050.0
    knock = np.sin(2 * np.pi * height * seconds) + 0.5 * np.sin(2 * np.pi * 2.6 * height * seconds)
    knock *= np.minimum(1, seconds / 0.001) * np.exp(-seconds / 0.009)
    return (level_of(-12 if strong else -16) * knock).astype(np.float32)
