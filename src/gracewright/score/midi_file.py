"""A Standard MIDI File before it is converted: its notes as they were struck, one channel a track, what it states.

A player bent to a temperament sounds on several channels of one track; a converter would take them for as many players.

Conventions: times are exact quarters from the start; a note is named by its track and its place among that track's
notes.

Public: Struck, Held, MidiFile, midi_file.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from gracewright.errors import BadInput
from gracewright.score.model import Sign

Event = tuple[int, int, bytes]
"""Tick, status byte, data (for meta events: type, length, text)."""
DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
DRUMS = 9
NOTE_ON, NOTE_OFF, PROGRAM, BEND, META = 0x90, 0x80, 0xC0, 0xE0, 0xFF
METER, KEY, TEMPO = 0x58, 0x59, 0x51


@dataclass(frozen=True, slots=True)
class Struck:
    """A note as it was played: onset and length in quarters, and the length in seconds."""

    track: int
    number: int
    key: int
    onset: Fraction
    length: Fraction
    seconds: float


@dataclass(frozen=True, slots=True)
class Held:
    """Notes of a track, from the first to the last, that stand for one held note with a sign."""

    track: int
    first: int
    last: int
    key: int
    sign: Sign


@dataclass(frozen=True, slots=True)
class MidiFile:
    """``states`` are the kinds of meta event that the file holds; ``tracks`` their events on one channel each."""

    head: bytes
    division: int
    tracks: tuple[tuple[Event, ...], ...]
    states: frozenset[int]
    notes: tuple[Struck, ...]

    def data(self, figures: Sequence[Held] = ()) -> bytes:
        """The file written again, the notes of each figure replaced by the one that it stands for."""
        chunks = [self.head]
        for index, events in enumerate(self.tracks):
            body = _written(_with_held(events, [figure for figure in figures if figure.track == index]))
            chunks.append(b"MTrk" + len(body).to_bytes(4, "big") + body)
        return b"".join(chunks)


def midi_file(data: bytes, name: str) -> MidiFile:
    """Take a file apart. Raises BadInput where it breaks off or counts time in frames."""
    kind, division = int.from_bytes(data[8:10], "big"), int.from_bytes(data[12:14], "big")
    if not 0 < division < 0x8000:
        raise BadInput("the MIDI file counts in film frames, not in beats", file=name, remedy="export it with beats")
    tracks, at = [], 8 + int.from_bytes(data[4:8], "big")
    head = data[:at]
    while at + 8 <= len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "big")
        body, tag = data[at + 8 : at + 8 + length], data[at : at + 4]
        at += 8 + length
        if tag == b"MTrk":
            try:
                if at > len(data):
                    raise IndexError
                tracks.append(tuple(_events(body)))
            except IndexError:
                raise BadInput("the MIDI file breaks off", file=name, remedy="export it again") from None
    if kind == 1:
        tracks = [_one_channel(events, index) for index, events in enumerate(tracks)]
    states = frozenset(data[0] for events in tracks for _, status, data in events if status == META)
    head = head[:10] + len(tracks).to_bytes(2, "big") + head[12:]
    return MidiFile(head, division, tuple(tracks), states, tuple(_notes(tracks, division)))


def _events(body: bytes) -> Iterator[Event]:
    at = status = tick = 0
    while at < len(body):
        delta, at = _number(body, at)
        tick += delta
        if body[at] & 0x80:
            status, at = body[at], at + 1
        if status in (0xFF, 0xF0, 0xF7):
            length, behind = _number(body, at + (status == META))
            if behind + length > len(body):
                raise IndexError
            yield tick, status, body[at : behind + length]
            at = behind + length
        else:
            size = DATA_BYTES.get(status & 0xF0)
            if size is None or at + size > len(body):
                raise IndexError
            yield tick, status, body[at : at + size]
            at += size


def _number(body: bytes, at: int) -> tuple[int, int]:
    """A variable-length quantity, and where it ends."""
    value = 0
    for _ in range(4):
        value, at = value << 7 | body[at] & 0x7F, at + 1
        if not body[at - 1] & 0x80:
            break
    return value, at


def _one_channel(events: Sequence[Event], track: int) -> tuple[Event, ...]:
    """The events on one channel, where the track's channels have one sound; bends, which then mean nothing, go."""
    used = {status & 0x0F for _, status, _ in events if status < 0xF0}
    sounds = {data for _, status, data in events if status & 0xF0 == PROGRAM}
    if len(used) < 2 or len(sounds) > 1 or DRUMS in used:
        return tuple(events)
    free = [channel for channel in range(16) if channel != DRUMS]
    channel = free[track % len(free)]
    return tuple(
        (tick, status & 0xF0 | channel if status < 0xF0 else status, data)
        for tick, status, data in events
        if status & 0xF0 != BEND
    )


def _paired(events: Sequence[Event]) -> list[tuple[int, int, int, int, int]]:
    """Notes of a track in the order in which they are struck: start, end, key, places of the two events."""
    found, sounding = [], dict[tuple[int, int], list[tuple[int, int]]]()
    for place, (tick, status, data) in enumerate(events):
        kind, voice = status & 0xF0, (status & 0x0F, data[0] if data else 0)
        if kind == NOTE_ON and data[1] and status & 0x0F != DRUMS:
            sounding.setdefault(voice, []).append((tick, place))
        elif kind in (NOTE_ON, NOTE_OFF) and sounding.get(voice):
            start, begun = sounding[voice].pop(0)
            if tick > start:
                found.append((start, tick, voice[1], begun, place))
    return sorted(found)


def _notes(tracks: Sequence[Sequence[Event]], division: int) -> Iterator[Struck]:
    changes = sorted((tick, int.from_bytes(data[2:5], "big") / 1e6)
                     for events in tracks for tick, status, data in events if status == META and data[0] == TEMPO
                     if len(data) >= 5)  # fmt: skip
    ticks = [tick for tick, _ in changes]
    for track, events in enumerate(tracks):
        for number, (start, end, key, _, _) in enumerate(_paired(events)):
            place = bisect_right(ticks, start)
            quarter = changes[place - 1][1] if place else 0.5
            length = Fraction(end - start, division)
            yield Struck(track, number, key, Fraction(start, division), length, float(length) * quarter)


def _with_held(events: Sequence[Event], figures: Sequence[Held]) -> list[Event]:
    paired = _paired(events) if figures else []
    dropped, added = set[int](), list[Event]()
    for figure in figures:
        notes = paired[figure.first : figure.last + 1]
        dropped |= {place for note in notes for place in note[3:]}
        status = events[notes[0][3]][1] & 0x0F
        added.append((notes[0][0], NOTE_ON | status, bytes([figure.key, 80])))
        added.append((notes[-1][1], NOTE_OFF | status, bytes([figure.key, 64])))
    kept = [event for place, event in enumerate(events) if place not in dropped]
    last = [kept.pop()] if kept and kept[-1][1] == META else []  # the end of the track stays at the end
    off_first = sorted([*kept, *added], key=lambda event: (event[0], event[1] & 0xF0 != NOTE_OFF))
    return [*(off_first if figures else kept), *last]


def _written(events: Sequence[Event]) -> bytes:
    start: Event = (0, 0, b"")
    return b"".join(
        _quantity(max(0, event[0] - before[0])) + bytes([event[1]]) + event[2]
        for before, event in pairwise([start, *events])
    )


def _quantity(value: int) -> bytes:
    digits = [value & 0x7F]
    while value := value >> 7:
        digits.append(value & 0x7F | 0x80)
    return bytes(reversed(digits))
