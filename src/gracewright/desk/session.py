"""One piece on the desk: what was decided, the work that follows from it, and the way back.

Conventions: the session holds a list of moments and a place in it; the work of a moment is computed and remembered for
the last few, so undo is quick. Every change is on disk before it is answered. ``revision`` grows with every change; a
page that shows an older one is told, so that two open pages never overwrite one another unseen.

Public: Session, Stale.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, Final

from gracewright.desk.decisions import Decision, Moment, decided, locks_of, released
from gracewright.desk.dials import turned
from gracewright.desk.keeping import Keeping, Kept
from gracewright.errors import BadInput
from gracewright.job import Wishes, Work, work_on
from gracewright.score import Piece, Tone, read, tones
from gracewright.study import Study, study
from gracewright.taste.model import Choice

REMEMBERED: Final = 16
"""So many works are held in memory."""


class Stale(BadInput):
    """The page that asks shows an older revision than the session has."""


@dataclass
class Session:
    """A piece being worked on. Not safe for several threads at once: the server takes turns."""

    keeping: Keeping
    digest: str
    name: str
    piece: Piece
    moments: tuple[Moment, ...]
    at: int = 0
    revision: int = 0
    _works: OrderedDict[tuple[Wishes, tuple[Decision, ...]], Work] = field(default_factory=OrderedDict)
    _studies: dict[tuple[str, str, Fraction | None], Study] = field(default_factory=dict)

    @staticmethod
    def bring(keeping: Keeping, name: str, data: bytes, wishes: Wishes | None = None) -> Session:
        """Read a score and begin, or go on where its earlier work stopped. ``wishes`` given on purpose count as a turn
        of the dials. Raises BadInput, and then nothing is kept."""
        piece = read(name, data)
        first = Moment(wishes or Wishes(), said="the piece as it came")
        trial = Session(keeping, "", name, piece, (first,))
        _ = trial.work  # a piece that cannot be worked on is refused here
        digest = keeping.bring(name, data)
        if (kept := keeping.kept(digest)) is not None:
            session = Session.resume(keeping, kept, piece)
            if wishes is not None and wishes != session.moment.wishes:
                session.advance(replace(session.moment, wishes=wishes, said="dials given at the start", gesture=""))
            return session
        trial.digest = digest
        trial.save()
        return trial

    @staticmethod
    def resume(keeping: Keeping, kept: Kept, piece: Piece | None = None) -> Session:
        """Go on with work kept on disk. Raises BadInput."""
        return Session(keeping, kept.digest, kept.name, piece or read(kept.name, kept.data), kept.moments, kept.at,
                       kept.revision)  # fmt: skip

    @property
    def moment(self) -> Moment:
        return self.moments[self.at]

    @property
    def work(self) -> Work:
        return self.work_of(self.moment)

    def work_of(self, moment: Moment) -> Work:
        key = (moment.wishes, moment.decisions)
        found = self._works.get(key)
        if found is None:
            studied = self.studied(moment.wishes)
            locks = locks_of(moment, self.piece, self.tones_of(studied.solo), studied.solo)
            found = work_on(self.piece, moment.wishes, locks=locks, studied=studied)
            self._works[key] = found
            while len(self._works) > REMEMBERED:
                self._works.popitem(last=False)
        self._works.move_to_end(key)
        return found

    def studied(self, wishes: Wishes) -> Study:
        key = (wishes.solo, wishes.bass, wishes.tempo)
        if key not in self._studies:
            self._studies[key] = study(self.piece, solo=wishes.solo, bass=wishes.bass, tempo=wishes.tempo)
        return self._studies[key]

    def tones_of(self, solo: str) -> Mapping[str, Tone]:
        return {tone.id: tone for tone in tones(self.piece, solo)}

    @property
    def tones(self) -> Mapping[str, Tone]:
        return self.tones_of(self.work.study.solo)

    def choice_at(self, note: str, time_through: int) -> Choice | None:
        return next((c for c in self.work.plan.choices if c.note == note and c.time_through == time_through), None)

    def expect(self, revision: int) -> None:
        """Raises Stale where a page asks for a change to what it no longer shows."""
        if revision != self.revision:
            raise Stale("the piece was changed in another page meanwhile", remedy="choose again from what it is now")

    def turn(self, changes: Mapping[str, Any], gesture: str = "") -> None:
        """Turn dials. Turns of one ``gesture`` (a drag) make one step of undo."""
        wishes = turned(self.moment.wishes, changes)
        said = ", ".join(name.replace("_", " ") for name in changes)
        self.advance(replace(self.moment, wishes=wishes, said=said, gesture=gesture))

    def decide(self, decision: Decision, said: str) -> None:
        self.advance(decided(self.moment, decision, said))

    def release(self, note: str, time_through: int, said: str) -> None:
        self.advance(released(self.moment, note, time_through, said))

    def trial(self, decision: Decision) -> Work:
        """What the work would be after a decision; nothing is changed."""
        return self.work_of(decided(self.moment, decision))

    def advance(self, moment: Moment) -> None:
        """Take a step. The work is made first: a moment that cannot be worked is refused and leaves no trace."""
        if (moment.wishes, moment.decisions) == (self.moment.wishes, self.moment.decisions):
            return
        self.work_of(moment)
        same_drag = bool(moment.gesture) and moment.gesture == self.moment.gesture and self.at > 0
        stem = self.moments[: self.at if same_drag else self.at + 1]
        self.moments, self.at = (*stem, moment), len(stem)
        self.change()

    def undo(self) -> None:
        if self.at > 0:
            self.at -= 1
            self.change()

    def redo(self) -> None:
        if self.at + 1 < len(self.moments):
            self.at += 1
            self.change()

    def change(self) -> None:
        self.revision += 1
        self.save()

    def save(self) -> None:
        self.keeping.save(self.digest, self.name, self.piece.title, self.moments, self.at, self.revision)
