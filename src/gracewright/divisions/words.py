"""What a passage does, said to the player.

Public: reason_for, source_of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from gracewright.divisions.filling import Filling
from gracewright.divisions.tables import Figure, groups
from gracewright.pitch import Pitch


def source_of(figures: Sequence[Figure]) -> str:
    """The source whose kind of figure has most of the notes."""
    notes: Counter[str] = Counter()
    for figure in figures:
        notes[groups()[figure.group].source] += len(figure.steps) - 1
    return max(notes, key=lambda source: (notes[source], source))


def reason_for(
    steps: Sequence[tuple[Fraction, Filling]], notes: Sequence[tuple[Pitch, Fraction]], host: Pitch,
    following: Pitch | None,
) -> str:  # fmt: skip
    """One sentence: what the passage does stretch by stretch, and how it goes on."""
    said: list[str] = []
    targets = [Pitch.at(filling.places[0], filling.alters[0]) for _, filling in steps[1:]]
    for (_, filling), to in zip(steps, [*targets, following], strict=True):
        words = _words(filling, to)
        if not said or said[-1] != words:
            said.append(words)
    sentence = ", then ".join(said)
    return f"It {sentence}{_going_on(notes[-1][0], host, following)}."


def _words(filling: Filling, to: Pitch | None) -> str:
    here = Pitch.at(filling.places[0], filling.alters[0])
    second = filling.places[1] if len(filling.places) > 1 else (to.diatonic if to else filling.places[0])
    way = "up" if second > filling.places[0] else "down"
    names = dict.fromkeys(Pitch.at(p, a).pitch_class for p, a in zip(filling.places, filling.alters, strict=True))
    return groups()[filling.figure.group].words.format(
        **{"from": here.pitch_class, "to": to.pitch_class if to else "the close", "way": way,
           "side": "above" if way == "up" else "below", "notes": " ".join(names)}
    )  # fmt: skip


def _going_on(last: Pitch, host: Pitch, following: Pitch | None) -> str:
    if following is None:
        return ", and ends clear on the note"
    distance = abs(following.diatonic - last.diatonic)
    if last == host and distance != 1:
        return f"; it sounds {host.pitch_class} again before going on, so the tune is not lost"
    if distance == 1:
        return f", and steps into {following.pitch_class}"
    return f", and goes on to {following.pitch_class} by a leap within the chord"
