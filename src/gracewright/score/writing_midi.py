"""A played version as a Standard MIDI File, exact in time and, where wished, in tuning.

Conventions: onsets and lengths are quarters in the order as played; a tuning gives, for a pitch, the cents it lies
above equal temperament at a' = 440 Hz. ``mts`` states the tuning once (MIDI Tuning Standard: scale/octave tuning in
real time, and master tuning); ``bend`` bends every note, on as many channels as a part's notes at once need.

Public: MidiPart, Signature, signatures, write_midi.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final, Literal

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.model import Piece
from gracewright.score.unfolding import Order, bars_of
from gracewright.score.writing_played import Sounded

Tuning = Callable[[Pitch], float]
MOST_TICKS: Final = 30_000
PLAIN_TICKS: Final = 10_080
CENTRE: Final = 8192
BEND_RANGE: Final = 2
"""Semitones of a full bend, the default of General MIDI and stated again in the file."""


@dataclass(frozen=True, slots=True)
class MidiPart:
    """A part of the file. ``program`` is the General MIDI sound, from 0: 74 recorder, 73 flute, 6 harpsichord."""

    name: str
    notes: tuple[Sounded, ...]
    program: int = 74


@dataclass(frozen=True, slots=True)
class Signature:
    """Time and key signature from an onset on; ``fifths`` as it sounds, flats negative."""

    onset: Fraction
    beats: int
    unit: int
    fifths: int
    minor: bool = False


def signatures(piece: Piece, order: Order) -> tuple[Signature, ...]:
    """The signatures of a piece in the order as played, each where it changes. A bar that is shorter or longer than its
    time signature says has one of its own, since MIDI knows no pickups; where that would want a unit
    that is no power of two, which MIDI cannot write, it keeps its time signature."""
    found: list[Signature] = []
    at = Fraction(0)
    for page in bars_of(order):
        bar = piece.bars[page]
        beats, unit = bar.meter.beats, bar.meter.unit
        share = bar.length / 4
        own = bar.length != bar.meter.length or not bar.meter.measured
        if own and share.denominator.bit_count() == 1:
            unit = max(unit if bar.meter.measured else 4, share.denominator)
            beats = int(share * unit)
        here = Signature(at, beats, unit, bar.fifths, bar.mode == "minor")
        if not found or replace(here, onset=found[-1].onset) != found[-1]:
            found.append(here)
        at += bar.length
    return tuple(found)


def write_midi(
    parts: Sequence[MidiPart], tempo: Fraction, *, tuning: Tuning | None = None, by: Literal["mts", "bend"] = "bend",
    signed: Sequence[Signature] = (),
) -> bytes:  # fmt: skip
    """The parts as MIDI, format 1. ``tempo`` is quarters a minute; ``signed`` states time and key signatures. Raises
    BadInput for more than 15 parts.

    >>> one = MidiPart("Flute", (Sounded(Fraction(0), Fraction(1, 3), Pitch.parse("A4")),))
    >>> write_midi([one], Fraction(60))[:4], int.from_bytes(write_midi([one], Fraction(60))[12:14], "big")
    (b'MThd', 480)
    """
    if len(parts) > 15:
        raise BadInput(f"a MIDI file holds 15 parts at most, not {len(parts)}", remedy="leave some out")
    division = _division(parts)
    tracks = [_tempo_track(tempo, tuning if by == "mts" else None, signed, division)]
    channels = [channel for channel in range(16) if channel != 9]
    share = max(1, 15 // max(1, len(parts)))
    for index, part in enumerate(parts):
        own = channels[index * share : (index + 1) * share]
        tracks.append(_part_track(part, own, division, tuning if by == "bend" else None))
    head = b"MThd" + (6).to_bytes(4, "big") + b"".join(n.to_bytes(2, "big") for n in (1, len(tracks), division))
    return head + b"".join(b"MTrk" + len(track).to_bytes(4, "big") + track for track in tracks)


def _division(parts: Sequence[MidiPart]) -> int:
    """Ticks to the quarter that make every time exact where the format allows it."""
    common = 480
    for part in parts:
        for note in part.notes:
            common = math.lcm(common, note.onset.denominator, note.length.denominator)
            if common > MOST_TICKS:
                return PLAIN_TICKS
    return common


def _number(value: int) -> bytes:
    """A variable-length quantity."""
    digits = [value & 0x7F]
    while value := value >> 7:
        digits.append(value & 0x7F | 0x80)
    return bytes(reversed(digits))


def _meta(kind: int, data: bytes, delta: int = 0) -> bytes:
    return _number(delta) + b"\xff" + bytes([kind]) + _number(len(data)) + data


def _tempo_track(tempo: Fraction, tuning: Tuning | None, signed: Sequence[Signature], division: int) -> bytes:
    track = _meta(0x51, round(60_000_000 / tempo).to_bytes(3, "big"))
    if tuning is not None:
        cents = _by_class(tuning)
        middle = sum(cents) / 12
        track += _exclusive(b"\x7f\x7f\x04\x03" + _fourteen(middle / 100 * 8192 + 8192))  # master fine tuning
        offsets = b"".join(_fourteen((value - middle) / 100 * 8192 + 8192, big_first=True) for value in cents)
        track += _exclusive(b"\x7f\x7f\x08\x09\x03\x7f\x7f" + offsets)  # scale/octave tuning, two bytes, all channels
    at = 0
    for here in signed:
        tick = round(here.onset * division)
        power = here.unit.bit_length() - 1
        track += _meta(0x58, bytes([min(here.beats, 255), power, 24, 8]), tick - at)
        track += _meta(0x59, bytes([max(-7, min(7, here.fifths)) & 0xFF, here.minor]))
        at = tick
    return track + _meta(0x2F, b"")


def _by_class(tuning: Tuning) -> list[float]:
    """Cents of the twelve keys; a key takes the tuning of its usual name."""
    names = ("C4", "C#4", "D4", "Eb4", "E4", "F4", "F#4", "G4", "G#4", "A4", "Bb4", "B4")
    return [tuning(Pitch.parse(name)) for name in names]


def _fourteen(value: float, *, big_first: bool = False) -> bytes:
    whole = max(0, min(16383, round(value)))
    low, high = whole & 0x7F, whole >> 7
    return bytes([high, low]) if big_first else bytes([low, high])


def _exclusive(data: bytes) -> bytes:
    body = data + b"\xf7"
    return b"\x00\xf0" + _number(len(body)) + body


def _channel(
    channels: Sequence[int], bends: dict[int, int], bend: int, free: dict[int, int], start: int
) -> int:
    """A channel that is bent so already, else the one that has been silent longest."""
    bent = next((channel for channel in channels if bends.get(channel) == bend), None)
    return bent if bent is not None else min(channels, key=lambda channel: (free[channel] > start, free[channel]))


def _part_track(part: MidiPart, channels: Sequence[int], division: int, tuning: Tuning | None) -> bytes:
    events: list[tuple[int, int, bytes]] = []  # tick, order within the tick, message
    for channel in channels:
        events.append((0, 0, bytes([0xC0 | channel, part.program & 0x7F])))
        if tuning is not None:
            for controller, value in ((101, 0), (100, 0), (6, BEND_RANGE), (38, 0)):
                events.append((0, 0, bytes([0xB0 | channel, controller, value])))
    free = dict.fromkeys(channels, 0)  # channel → tick at which its last note ends
    bends: dict[int, int] = {}
    for note in sorted(part.notes, key=lambda note: note.onset):
        start, end = round(note.onset * division), round((note.onset + note.length) * division)
        key = note.pitch.midi
        if not 0 <= key <= 127 or end <= start:
            continue
        bend = CENTRE if tuning is None else round(CENTRE + tuning(note.pitch) / (100 * BEND_RANGE) * CENTRE)
        bend = max(0, min(16383, bend))
        channel = _channel(channels, bends, bend, free, start) if tuning is not None else channels[0]
        if tuning is not None and bends.get(channel) != bend:
            events.append((start, 2, bytes([0xE0 | channel, bend & 0x7F, bend >> 7])))
            bends[channel] = bend
        free[channel] = max(free[channel], end)
        events.append((start, 3, bytes([0x90 | channel, key, 80])))
        events.append((end, 1, bytes([0x80 | channel, key, 64])))
    events.sort(key=lambda event: event[:2])
    track, at = _meta(0x03, part.name.encode("utf-8")[:120]), 0
    for tick, _, message in events:
        track += _number(tick - at) + message
        at = tick
    return track + _meta(0x2F, b"")
