"""What a passage does, said to the player.

Public: reason_for, source_of.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from gracewright.divisions.tables import Figure, groups
from gracewright.pitch import Pitch

Row = tuple[tuple[int, ...], tuple[int, ...], str]
"""A stretch: places, alterations, group of its figure."""


def source_of(figures: Sequence[Figure]) -> str:
    """The source whose kind of figure has most of the notes."""
    notes: Counter[str] = Counter()
    for figure in figures:
        notes[groups()[figure.group].source] += len(figure.steps) - 1
    return max(notes, key=lambda source: (notes[source], source))


def reason_for(rows: Sequence[Row], host: Pitch, following: Pitch | None) -> str:
    """One sentence: what the passage does stretch by stretch, and how it goes on."""
    said: list[str] = []
    targets = [Pitch.at(places[0], alters[0]) for places, alters, _ in rows[1:]]
    for row, to in zip(rows, [*targets, following], strict=True):
        words = _words(row, to)
        if not said or said[-1] != words:
            said.append(words)
    places, alters, _ = rows[-1]
    return f"It {', then '.join(said)}{_going_on(Pitch.at(places[-1], alters[-1]), host, following)}."


def _words(row: Row, to: Pitch | None) -> str:
    places, alters, group = row
    here = Pitch.at(places[0], alters[0])
    second = places[1] if len(places) > 1 else (to.diatonic if to else places[0])
    way = "up" if second > places[0] else "down"
    names = dict.fromkeys(Pitch.at(p, a).pitch_class for p, a in zip(places, alters, strict=True))
    said = groups()[group].words.format(
        **{"from": here.pitch_class, "to": to.pitch_class if to else "the close", "way": way,
           "side": "above" if way == "up" else "below", "notes": " ".join(names)}
    )  # fmt: skip
    return said.replace(f" on the way to {here.pitch_class}", "") if to == here else said


def _going_on(last: Pitch, host: Pitch, following: Pitch | None) -> str:
    if following is None:
        return ", and ends clear on that note"
    distance = abs(following.diatonic - last.diatonic)
    if last == host and distance != 1:
        return f"; it sounds {host.pitch_class} again before going on, so the tune is not lost"
    if distance == 1:
        return f", and steps into {following.pitch_class}"
    return f", and goes on to {following.pitch_class} by a leap within the chord"
