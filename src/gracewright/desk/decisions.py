"""What the player has decided: the dials, the locks, and how they came about.

Conventions: a ``Moment`` is everything the player has decided at one time; from it and the piece the whole work
follows, so undo is going back one moment and saving is writing moments down. Decisions are kept sorted by note id and
time through.

Public: Decision, Moment, decided, released, locks_of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from gracewright.graces.model import Grace
from gracewright.job import Wishes
from gracewright.score import Piece, Tone
from gracewright.taste.model import Choice, Lock, Plan


@dataclass(frozen=True, slots=True)
class Decision:
    """One choice the player has fixed: ``keep`` with a grace, or ``never`` without one."""

    note: str
    time_through: int
    lock: Lock
    grace: Grace | None = None
    source: str = ""
    reasons: tuple[str, ...] = ()

    @property
    def place(self) -> tuple[str, int]:
        return self.note, self.time_through


@dataclass(frozen=True, slots=True)
class Moment:
    """``said`` tells what was done to arrive here; ``gesture`` names the drag it belongs to, empty for a single act."""

    wishes: Wishes
    decisions: tuple[Decision, ...] = ()
    said: str = ""
    gesture: str = ""

    def decision_at(self, note: str, time_through: int) -> Decision | None:
        return next((d for d in self.decisions if d.place == (note, time_through)), None)


def decided(moment: Moment, decision: Decision, said: str = "") -> Moment:
    """The moment after a decision; an earlier one about the same place gives way.

    >>> first = decided(Moment(Wishes()), Decision("n1", 1, "keep", Grace("shake")))
    >>> [d.lock for d in decided(first, Decision("n1", 1, "never")).decisions]
    ['never']
    """
    others = [d for d in moment.decisions if d.place != decision.place]
    return replace(moment, decisions=tuple(sorted([*others, decision], key=lambda d: d.place)), said=said, gesture="")


def released(moment: Moment, note: str, time_through: int, said: str = "") -> Moment:
    """The moment after a lock is taken off a place."""
    kept = tuple(d for d in moment.decisions if d.place != (note, time_through))
    return replace(moment, decisions=kept, said=said, gesture="")


def locks_of(moment: Moment, piece: Piece, tones: Mapping[str, Tone], solo: str) -> Plan | None:
    """The decisions as a plan of locked choices for the planner; None where nothing is decided.

    Decisions about notes that the line does not have are left out.
    """
    wishes = moment.wishes
    choices = [
        Choice(
            time_through=decision.time_through, part=solo, note=decision.note, bar=piece.bars[tone.bar].number,
            beat=piece.beat_of(tone.onset, tone.bar), onset=tone.onset, pitch=tone.pitch, grace=decision.grace,
            origin="player", strength=1.0, reasons=decision.reasons, source=decision.source, lock=decision.lock,
        )
        for decision in moment.decisions
        if (tone := tones.get(decision.note)) is not None
    ]  # fmt: skip
    if not choices:
        return None
    choices.sort(key=lambda choice: (choice.onset, choice.time_through))
    return Plan(
        title=piece.title, solo=solo, manner=wishes.manner, signs_by=wishes.signs_by, instrument=wishes.instrument,
        level=wishes.level, richness=wishes.richness, curve=wishes.curve, choices=tuple(choices),
    )  # fmt: skip
