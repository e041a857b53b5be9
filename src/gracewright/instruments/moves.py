"""Does a line lie on the instrument, and where to move it if not.

Conventions: a move is an interval in staff places and semitones, as ``Pitch.transposed`` takes it. The usual moves
stand in ``moves.toml`` in the order players try them (common practice; the minor third up for French flute and violin
music on the alto is also found in public reference articles).

Public: out_of_range, widened, transpositions, octave_moves, Move.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Final

from gracewright.instruments.model import Instrument
from gracewright.pitch import Pitch
from gracewright.score.model import Tone
from gracewright.study.model import Phrase


@dataclass(frozen=True, slots=True)
class Move:
    """A transposition on offer. ``misses`` counts the tones still outside; ``strain`` is the share of the remaining
    time spent on weak notes or outside the comfortable part of the compass, in [0, 1]."""

    diatonic: int
    chromatic: int
    words: str
    misses: int
    strain: float = 0.0
    why: str = ""  # how players think of it, an example of keys

    @property
    def fifths(self) -> int:
        """What the move adds to the key signature: a minor third up takes three sharps away.

        >>> Move(2, 3, "up a minor third", 0).fifths, Move(7, 12, "up an octave", 0).fifths
        (-3, 0)
        """
        return 7 * self.chromatic - 12 * self.diatonic


def out_of_range(line_tones: Sequence[Tone], instrument: Instrument) -> tuple[Tone, ...]:
    """The tones that the instrument does not have, in order: beyond the compass, or missing within it."""
    return tuple(tone for tone in line_tones if not instrument.has(tone.pitch))


def widened(line_tones: Sequence[Tone], instrument: Instrument) -> Instrument:
    """The instrument with its compass stretched a third beyond the line at either end, so that a line which does not
    fit it can be planned as it stands; the same instrument where the line lies within its compass.

    >>> from gracewright.instruments import load_instrument
    >>> alto = load_instrument("alto-recorder")
    >>> widened((), alto) is alto
    True
    """
    pitches = sorted((tone.pitch for tone in line_tones), key=lambda pitch: pitch.midi)
    low, high = instrument.low, instrument.high
    if pitches and pitches[0].midi < low.midi:
        low = pitches[0].transposed(-2, -4)
    if pitches and pitches[-1].midi > high.midi:
        high = pitches[-1].transposed(2, 4)
    if (low, high) == (instrument.low, instrument.high):
        return instrument
    key = (id(instrument), low, high)
    if key not in _stretched:
        while len(_stretched) >= MOST_STRETCHED:
            _stretched.pop(next(iter(_stretched)))
        _stretched[key] = (instrument, replace(instrument, low=low, high=high))
    return _stretched[key][1]


_stretched: dict[tuple[int, Pitch, Pitch], tuple[Instrument, Instrument]] = {}
"""Made once each, so that what is worked out for an instrument is found again; the first of the pair keeps its id."""
MOST_STRETCHED: Final = 32


def transpositions(line_tones: Sequence[Tone], instrument: Instrument) -> tuple[Move, ...]:
    """The usual moves, best first: fewest tones outside, then the order in which players try them.

    Moves that leave more tones outside than the line has as it stands are left away. An instrument that sounds at
    another octave than it is written gets its octave first.
    """
    outside = len(out_of_range(line_tones, instrument))
    found = []
    for diatonic, chromatic, words, why in usual_moves():
        moved = [(tone, tone.pitch.transposed(diatonic, chromatic)) for tone in line_tones]
        inside = [(tone, pitch) for tone, pitch in moved if instrument.has(pitch)]
        low, high = instrument.comfortable
        poor = [tone for tone, pitch in inside
                if instrument.weakness(pitch) or not low.midi <= pitch.midi <= high.midi]  # fmt: skip
        time = sum(tone.length for tone, _ in inside)
        strain = float(sum(tone.length for tone in poor) / time) if time else 0.0
        if len(moved) - len(inside) <= outside:
            found.append(Move(diatonic, chromatic, words, len(moved) - len(inside), strain, why))
    octave = (7 * instrument.octave, 12 * instrument.octave)
    first = [(2, 3)] if instrument.octave == 0 else [octave, (octave[0] + 2, octave[1] + 3)]
    return tuple(sorted(found, key=lambda move: (move.misses, (move.diatonic, move.chromatic) not in first)))


def octave_moves(
    line_tones: Sequence[Tone], phrases: Sequence[Phrase], instrument: Instrument
) -> tuple[tuple[Phrase, int, str], ...]:
    """Phrases that leave the compass and would lie within it an octave away: phrase, octaves (1 or -1), in words.

    A whole phrase moves, never a note alone, so that the leap falls where the line breathes (common practice). Up is
    tried first. A phrase that fits in neither octave is not among them.
    """
    found = []
    for phrase in phrases:
        inside = [tone for tone in line_tones if phrase.start <= tone.onset < phrase.end]
        if not out_of_range(inside, instrument):
            continue
        for octaves, words in ((1, "up"), (-1, "down")):
            if all(instrument.has(tone.pitch.transposed(7 * octaves, 12 * octaves)) for tone in inside):
                found.append((phrase, octaves, f"this phrase fits an octave {words}"))
                break
    return tuple(found)


@cache
def usual_moves() -> tuple[tuple[int, int, str, str], ...]:
    """Staff places, semitones, the move in words, and why it is usual; one row a move of the table."""
    text = (resources.files("gracewright.instruments") / "moves.toml").read_text(encoding="utf-8")
    moves = tomllib.loads(text)["move"]
    return tuple((move["places"], move["semitones"], move["words"], move.get("why", "")) for move in moves)
