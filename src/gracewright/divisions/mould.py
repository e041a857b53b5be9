"""Which notes a passage may touch: the alteration of every letter here, and which letters belong to the chord.

Conventions: a place is a staff place (diatonic number). A chord letter takes the chord's alteration; the sixth and
seventh degrees of a minor key are raised where the line rises through them and in the turn below the tonic, natural
where it falls; any other letter follows an accidental earlier in the bar, else the local key.

Public: Mould, mould_of, spelled, midi_of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from gracewright.pitch import SEMITONES, Key, parse_class


@dataclass(frozen=True, slots=True, eq=False)
class Mould:
    """By letter 0..6: ``plain`` alteration, ``raised`` one (where a rising line wants another), chord membership."""

    plain: tuple[int, ...]
    raised: tuple[int, ...]
    chord: tuple[bool, ...]
    fixed: tuple[bool, ...]  # the chord or the page says so: no melodic alteration
    tonic: int
    minor: bool

    def ladder(self, low: int, high: int) -> tuple[int, ...]:
        """Places of chord notes within a span."""
        return tuple(place for place in range(low, high + 1) if self.chord[place % 7])


def mould_of(
    key: Key, harmony: tuple[str, ...], state: Mapping[int, int], host: tuple[int, int], bass: tuple[int, int] | None
) -> Mould:
    """The mould for a key, a chord and the accidentals in force. ``host`` and ``bass`` are (letter, alteration).

    Where no chord is known, thirds above and below and the fifth of the bass (else of the host) stand for it.
    """
    letters: dict[int, int] = {}
    for place, alter in sorted(state.items()):
        letters[place % 7] = alter
    if harmony:  # then neither matters, unless the host contradicts the chord
        bass = None
        if all(parse_class(name) == host or parse_class(name)[0] != host[0] for name in harmony):
            host = (-1, 0)
    return _mould(key, harmony, tuple(sorted(letters.items())), host, bass)


@lru_cache(maxsize=8192)
def _mould(
    key: Key,
    harmony: tuple[str, ...],
    state: tuple[tuple[int, int], ...],
    host: tuple[int, int],
    bass: tuple[int, int] | None,
) -> Mould:
    plain = [key.alter_of(step) for step in range(7)]
    raised = list(plain)
    tonic, _ = parse_class(key.tonic)
    minor = key.mode == "minor"
    leading, sharpened = parse_class(key.leading)
    sixth = (leading - 1) % 7
    if minor:
        raised[leading] = sharpened
        raised[sixth] = _above(plain[sixth], sixth, sharpened, leading)
    fixed = [False] * 7
    variable = {(tonic - 1) % 7, (tonic - 2) % 7} if minor else set[int]()
    for letter, alter in state:
        if letter not in variable:
            plain[letter] = raised[letter] = alter
    chord = [False] * 7
    for name in harmony:
        letter, alter = parse_class(name)
        chord[letter] = fixed[letter] = True
        plain[letter] = raised[letter] = alter
    if not harmony:
        root = bass[0] if bass is not None and (host[0] - bass[0]) % 7 in (0, 2, 4) else host[0]
        if bass is not None and root == host[0] and root != bass[0]:
            root = (host[0] - 2) % 7 if (bass[0] - host[0]) % 7 == 5 else root
        for interval in (0, 2, 4):
            chord[(root + interval) % 7] = True
    if host[0] >= 0 and (not harmony or chord[host[0]]):
        plain[host[0]] = raised[host[0]] = host[1]
        fixed[host[0]] = True
    if minor and raised[leading] != sharpened:  # the seventh is natural here, so the sixth before it is too
        raised[sixth] = plain[sixth]
    return Mould(tuple(plain), tuple(raised), tuple(chord), tuple(fixed), tonic, minor)


def _above(plain: int, sixth: int, alter: int, leading: int) -> int:
    """The sixth degree a whole tone below the raised seventh."""
    gap = (SEMITONES[leading] + alter - SEMITONES[sixth] - plain) % 12
    return plain + gap - 2


def spelled(mould: Mould, places: tuple[int, ...], first: int, last: tuple[int, int] | None) -> tuple[int, ...] | None:
    """Alterations of a row of places, None where no good row exists.

    ``first`` is the alteration of places[0]; ``last`` is the (place, alteration) that follows the row. Refused: an
    augmented second or a wider step, a step of no semitone, one letter in two shapes running.
    """
    count = len(places)
    nexts = [*places[1:], last[0] if last is not None else places[-1]]
    alters = [first]
    for i in range(1, count):
        alters.append(_alter(mould, places, nexts, i))
    if mould.minor:
        _smooth(mould, places, alters)
    row = [*zip(places, alters, strict=True)]
    if last is not None:
        row.append(last)
    for (place, alter), (after, other) in pairwise(row):
        if not _singable(place, alter, after, other):
            return None
    return tuple(alters)


def _alter(mould: Mould, places: tuple[int, ...], nexts: list[int], i: int) -> int:
    letter = places[i] % 7
    if not mould.minor or mould.fixed[letter] or mould.raised[letter] == mould.plain[letter]:
        return mould.plain[letter]
    before, after = places[i - 1], nexts[i]
    if letter == (mould.tonic - 1) % 7:  # seventh degree: raised to the tonic
        rising = after == places[i] + 1 or (before == places[i] + 1 and after > places[i])
    else:  # sixth: raised on the way up to the seventh
        rising = after == places[i] + 1 and before < after and _goes_on(nexts, i)
    return mould.raised[letter] if rising else mould.plain[letter]


def _goes_on(nexts: list[int], i: int) -> bool:
    """After the sixth and seventh, does the line reach the tonic?"""
    return i + 1 >= len(nexts) or nexts[i + 1] > nexts[i]


def _smooth(mould: Mould, places: tuple[int, ...], alters: list[int]) -> None:
    """A sixth degree beside a raised seventh is raised with it, unless the chord holds it."""
    sixth = (mould.tonic - 2) % 7
    if mould.fixed[sixth]:
        return
    for i in range(1, len(places)):
        if places[i] % 7 != sixth:
            continue
        beside = [j for j in (i - 1, i + 1) if 0 <= j < len(places) and places[j] == places[i] + 1]
        plain = midi_of(places[i], mould.plain[sixth])
        if any(midi_of(places[j], alters[j]) - plain > 2 for j in beside):
            alters[i] = mould.raised[sixth]


def _singable(place: int, alter: int, after: int, other: int) -> bool:
    distance = after - place
    semitones = midi_of(after, other) - midi_of(place, alter)
    if distance == 0:
        return alter == other
    if abs(distance) == 1:
        return 1 <= semitones * distance <= 2
    if abs(distance) == 2:
        return 3 <= abs(semitones) <= 4
    return abs(semitones) != 6 or abs(distance) == 4


def midi_of(place: int, alter: int) -> int:
    """MIDI number of a staff place with an alteration."""
    octave, step = divmod(place, 7)
    return 12 * (octave + 1) + SEMITONES[step] + alter
