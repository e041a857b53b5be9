"""Can this be played, on this instrument, by these fingers?

Conventions: what is asked of a version is only its notes (see ``Played``), so that this room knows nothing of graces.
Times of notes are quarters as played; a tempo is quarters a minute. A *stroke* is upper and main note once.

Public: playable, shake_fingerings, long_breaths, Trouble, ShakeAt, Played, PlayedVersion.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby, pairwise
from typing import Final, Protocol

from gracewright.instruments.model import BURST, Instrument, Shake
from gracewright.pitch import Pitch
from gracewright.study.model import Phrase

MARGIN: Final = 1.15
"""How far a stroke or note may be quicker than the level's figure before it is called too quick."""
STROKES_OF_A_SHAKE: Final = 2
RUN: Final = 4
"""Tongued notes in a row that make a run."""


class Played(Protocol):
    """A sounding note, as in a version."""

    @property
    def part(self) -> str: ...
    @property
    def onset(self) -> Fraction: ...
    @property
    def length(self) -> Fraction: ...
    @property
    def pitch(self) -> Pitch: ...
    @property
    def host(self) -> str: ...
    @property
    def page_onset(self) -> Fraction: ...
    @property
    def time_through(self) -> int: ...
    @property
    def main(self) -> bool: ...
    @property
    def slurred(self) -> bool: ...
    @property
    def bend(self) -> tuple[float, float] | None: ...


class PlayedVersion(Protocol):
    """What is asked of a version: the id of the solo line and the sounding notes."""

    @property
    def solo(self) -> str: ...
    @property
    def notes(self) -> Sequence[Played]: ...


@dataclass(frozen=True, slots=True)
class Trouble:
    """A place that is hard or impossible to play. ``fault`` means that it cannot be done as it stands; ``what`` and
    ``remedy`` are sentences."""

    fault: bool
    rule: str  # compass, missing note, shake, quick note, tongue, mordent, finger vibrato, breath
    note: str  # host's id
    time_through: int
    onset: Fraction  # quarters as written
    what: str
    remedy: str
    source: str


@dataclass(frozen=True, slots=True)
class ShakeAt:
    """A shake in a version, and how it is fingered (``shake`` None where no table says)."""

    note: str
    time_through: int
    onset: Fraction
    lower: Pitch
    upper: Pitch
    strokes: float  # full strokes a second
    shake: Shake | None
    words: str


def playable(version: PlayedVersion, instrument: Instrument, level: str, *, tempo: Fraction) -> tuple[Trouble, ...]:
    """Every place in the solo that this player will stumble over, in order as played."""
    line = [note for note in version.notes if note.part == version.solo]
    quarter = 60 / float(tempo)
    found = [*_pitches(line, instrument), *_vibratos(line, instrument), *_tongue(line, instrument, level, quarter)]
    for notes in _hosts(line):
        found += [*_shake(notes, instrument, level, quarter), *_quick(notes, instrument, level, quarter)]
        found += _mordent(notes, instrument)
    order = {(note.host, note.time_through): at for at, note in reversed(list(enumerate(line)))}
    return tuple(sorted(found, key=lambda trouble: order[trouble.note, trouble.time_through]))


def shake_fingerings(version: PlayedVersion, instrument: Instrument, *, tempo: Fraction) -> tuple[ShakeAt, ...]:
    """The shakes of the solo, each with its fingering, in order as played."""
    quarter = 60 / float(tempo)
    found = []
    for notes in _hosts([note for note in version.notes if note.part == version.solo]):
        beaten = _alternation(notes)
        if beaten is not None:
            low, high, strokes, _ = beaten
            first = notes[0]
            words = instrument.shake_fingering(low, high)
            found.append(ShakeAt(first.host, first.time_through, first.page_onset, low, high, strokes / quarter,
                                 instrument.shake(low, high), words))  # fmt: skip
    return tuple(found)


def long_breaths(phrases: Sequence[Phrase], instrument: Instrument) -> tuple[tuple[Phrase, str], ...]:
    """Phrases longer than one breath of this instrument lasts, each with a word of advice. None for strings."""
    if instrument.breath is None:
        return ()
    comfortable, most = instrument.breath
    return tuple(
        (phrase, f"This phrase lasts {phrase.seconds:.0f} s, one breath on the {instrument.name} about {comfortable:g} "
                 f"to {most:g} s: find a place to breathe, and do not play to the last of your air.")
        for phrase in phrases
        if phrase.seconds > most
    )  # fmt: skip


def _hosts(line: Sequence[Played]) -> Iterator[list[Played]]:
    for _, notes in groupby(line, key=lambda note: (note.host, note.time_through)):
        yield list(notes)


def _pitches(line: Sequence[Played], instrument: Instrument) -> Iterator[Trouble]:
    for note in line:
        if instrument.has(note.pitch):
            continue
        why = instrument.weakness(note.pitch)
        rule = "missing note" if why else "compass"
        what = f"{note.pitch}: {why}" if why else f"{note.pitch} lies outside {instrument.low} to {instrument.high}"
        remedy = "transpose the piece, or put these notes in another octave" if note.main else "choose another grace"
        source = next((place.source for place in instrument.missing if place.low.midi == note.pitch.midi),
                      instrument.sources["compass"][0])  # fmt: skip
        yield _trouble(True, rule, note, what, remedy, source)


def _vibratos(line: Sequence[Played], instrument: Instrument) -> Iterator[Trouble]:
    for note in line:
        vibrato = instrument.vibrato(note.pitch)
        if note.bend is not None and vibrato is not None and not vibrato.possible:
            yield _trouble(False, "finger vibrato", note, f"no finger is free for it on {note.pitch}", vibrato.how,
                           vibrato.source)  # fmt: skip


def _tongue(line: Sequence[Played], instrument: Instrument, level: str, quarter: float) -> Iterator[Trouble]:
    """Runs of notes tongued one by one, quicker than the tongue (or bow) goes at this level."""
    fastest = instrument.tongued[level] * MARGIN
    run: list[Played] = []
    for note in [*line, None]:
        quick = note is not None and not note.slurred and float(note.length) * quarter < 1 / fastest
        if quick and note is not None:
            run.append(note)
            continue
        if len(run) >= RUN:
            pace = 1 / (float(run[0].length) * quarter)
            hand = "bow" if instrument.kind == "violin" else "tongue"
            yield _trouble(
                False, "tongue", run[0], f"{len(run)} notes at {pace:.0f} a second, each with its own {hand} stroke",
                "slur them in pairs, or take a slower tempo", instrument.sources["tongued"][0],
            )  # fmt: skip
        run = []


def _shake(notes: Sequence[Played], instrument: Instrument, level: str, quarter: float) -> Iterator[Trouble]:
    beaten = _alternation(notes)
    if beaten is None:
        return
    low, high, strokes, count = beaten
    shake = instrument.shake(low, high)
    can, does = instrument.rate(level, low, high), strokes / quarter
    how = f" ({shake.words})" if shake is not None else ""
    source = shake.source if shake is not None else instrument.sources["strokes"][0]
    if not can:
        yield _trouble(True, "shake", notes[0], f"{low}-{high} cannot be shaken on the {instrument.name}{how}",
                       "take a mordent, an appoggiatura or nothing", source)  # fmt: skip
    elif does > (can * MARGIN if count > 2 * STROKES_OF_A_SHAKE else can / BURST):
        yield _trouble(
            False, "shake", notes[0],
            f"{low}-{high} at {does:.1f} strokes a second; at this level about {can:.1f} are to be had{how}",
            "fewer strokes, begun a little slower", source,
        )  # fmt: skip
    elif shake is not None and shake.rating in ("awkward", "avoid"):
        yield _trouble(False, "shake", notes[0], f"{low}-{high} is {_rated(shake.rating)}: {shake.words}",
                       "few strokes, or another grace", shake.source)  # fmt: skip


def _rated(rating: str) -> str:
    return {"awkward": "awkward", "avoid": "better avoided"}[rating]


def _alternation(notes: Sequence[Played]) -> tuple[Pitch, Pitch, float, int] | None:
    """Lower and upper note of a shake among a host's notes, its quickest strokes a quarter, and of how many notes."""
    best: tuple[int, int] | None = None
    start = 0
    for at in range(2, len(notes) + 1):
        if at == len(notes) or notes[at].pitch != notes[at - 2].pitch or notes[at].pitch == notes[at - 1].pitch:
            if at - start >= 2 * STROKES_OF_A_SHAKE and (best is None or at - start > best[1] - best[0]):
                best = (start, at)
            start = at if at < len(notes) and notes[at].pitch == notes[at - 1].pitch else at - 1
    if best is None:
        return None
    beaten = notes[best[0] : best[1]]
    low, high = sorted({note.pitch for note in beaten}, key=lambda pitch: pitch.midi)
    if high.diatonic - low.diatonic not in (0, 1):
        return None
    shortest = min((a.length + b.length for a, b in pairwise(beaten)), default=Fraction(1))
    return low, high, float(1 / shortest), len(beaten)


def _quick(notes: Sequence[Played], instrument: Instrument, level: str, quarter: float) -> Iterator[Trouble]:
    """A grace's note shorter than this level makes clear; a shake is judged by its strokes instead."""
    if _alternation(notes) is not None or all(note.main for note in notes):
        return
    least = instrument.least(level)
    short = [note for note in notes if float(note.length) * quarter < least / MARGIN]
    if short:
        worst = min(float(note.length) * quarter for note in short)
        what = f"a note of {worst * 1000:.0f} ms; at this level it takes {least * 1000:.0f} ms to speak clearly"
        yield _trouble(False, "quick note", notes[0], what, "a grace of fewer notes, or a slower tempo",
                       instrument.sources["shortest"][0])  # fmt: skip


def _mordent(notes: Sequence[Played], instrument: Instrument) -> Iterator[Trouble]:
    if len(notes) != 3 or notes[0].pitch != notes[2].pitch or notes[1].pitch.diatonic != notes[0].pitch.diatonic - 1:
        return
    mordent = instrument.mordents.get((notes[1].pitch.midi, notes[0].pitch.midi))
    if mordent is not None and mordent.rating in ("awkward", "avoid"):
        what = f"a mordent on {notes[0].pitch} with {notes[1].pitch} is {_rated(mordent.rating)}"
        yield _trouble(False, "mordent", notes[0], f"{what}: {mordent.remark}" if mordent.remark else what,
                       "play it slowly, or leave it out", mordent.source)  # fmt: skip


def _trouble(fault: bool, rule: str, note: Played, what: str, remedy: str, source: str) -> Trouble:
    return Trouble(
        fault, rule, note.host, note.time_through, note.page_onset, _sentence(what), _sentence(remedy), source
    )  # fmt: skip


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:] + ("" if words.endswith(".") else ".")
