"""One piece on the desk: what was decided, what follows from it, and the way back.

Conventions: the session holds a list of moments and a place in it; the drafts of the last few are remembered, so undo
is quick. Every change is on disk before it is answered. ``revision`` grows with every change; a page that shows an
older one is told, so that two open pages never overwrite one another unseen.

Public: Session, Stale, settled.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from gracewright.desk.beside import Beside, taken_in
from gracewright.desk.decisions import Decision, Moment, decided, released
from gracewright.desk.dials import turned
from gracewright.desk.draft import Draft, Ground
from gracewright.desk.keeping import Keeping, Kept
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.job import Wishes, Work
from gracewright.score import Piece
from gracewright.study import study
from gracewright.taste import manner_for
from gracewright.taste.model import Choice

REMEMBERED: Final = 16
"""So many drafts are held in memory."""


class Stale(BadInput):
    """The page that asks shows an older revision than the session has."""


def settled(piece: Piece, wishes: Wishes) -> Wishes:
    """The wishes with the manner that suits the piece, where none is named."""
    if wishes.manner:
        return wishes
    found = study(piece, solo=wishes.solo, bass=wishes.bass, tempo=wishes.tempo)
    return replace(wishes, manner=manner_for(piece, found).manner)


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
    beside: Beside | None = None
    told: str = ""
    _drafts: OrderedDict[tuple[Wishes, tuple[Decision, ...]], Draft] = field(default_factory=OrderedDict)

    def __post_init__(self) -> None:
        self.ground = Ground(self.piece)

    @staticmethod
    def bring(keeping: Keeping, name: str, data: bytes, wishes: Wishes | None = None,
              score: Path | None = None) -> Session:  # fmt: skip
        """Read a score and begin, or go on where its earlier work stopped. ``wishes`` given on purpose count as a turn
        of the dials; ``score`` is the player's file, beside which the plan is to lie. Raises BadInput, and then nothing
        is kept."""
        piece = open_piece(name, data)
        first = Moment(settled(piece, wishes or Wishes()), said="the piece as it came")
        trial = Session(keeping, "", name, piece, (first,))
        _ = trial.draft.plan  # a piece that cannot be worked on is refused here
        digest = keeping.bring(name, data)
        if (kept := keeping.kept(digest)) is not None:
            session = Session.resume(keeping, kept, piece, score)
            if wishes is not None:
                given = replace(wishes, manner=wishes.manner or session.moment.wishes.manner)
                session.advance(replace(session.moment, wishes=given, said="dials given at the start", gesture=""))
            return session
        trial.digest = digest
        trial.beside = Beside(score) if score is not None else None
        if not trial.take_in():
            trial.save()
        return trial

    @staticmethod
    def resume(keeping: Keeping, kept: Kept, piece: Piece | None = None, score: Path | None = None) -> Session:
        """Go on with work kept on disk, and with its plan file where the score beside it is still the same. Raises
        BadInput."""
        there = piece or open_piece(kept.name, kept.data)
        session = Session(keeping, kept.digest, kept.name, there, kept.moments, kept.at, kept.revision)
        if score is not None or kept.beside:
            wrote = kept.wrote if score is None or str(score) == kept.beside else ""
            beside = Beside(score or Path(kept.beside), wrote)
            if beside.fits(kept.data):
                session.beside = beside
                if not session.take_in():
                    session.save()
        return session

    @property
    def moment(self) -> Moment:
        return self.moments[self.at]

    @property
    def draft(self) -> Draft:
        return self.draft_of(self.moment)

    @property
    def work(self) -> Work:
        return self.draft.work

    def draft_of(self, moment: Moment) -> Draft:
        key = (moment.wishes, moment.decisions)
        found = self._drafts.setdefault(key, Draft(self.ground, moment))
        self._drafts.move_to_end(key)
        while len(self._drafts) > REMEMBERED:
            self._drafts.popitem(last=False)
        return found

    def choice_at(self, note: str, time_through: int) -> Choice | None:
        choices = self.draft.plan.choices
        return next((c for c in choices if c.note == note and c.time_through == time_through), None)

    def expect(self, revision: int) -> None:
        """Raises Stale where a page asks for a change to what it no longer shows."""
        if self.take_in():
            raise Stale("the plan file beside the score was changed meanwhile and has been taken in",
                        remedy="choose again from what it is now")  # fmt: skip
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

    def trial(self, decision: Decision) -> Draft:
        """What would follow from a decision; nothing is changed."""
        return self.draft_of(decided(self.moment, decision))

    def advance(self, moment: Moment) -> None:
        """Take a step. The plan is made first: a moment that cannot be planned is refused and leaves no trace."""
        if (moment.wishes, moment.decisions) == (self.moment.wishes, self.moment.decisions):
            return
        _ = self.draft_of(moment).plan
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

    def take_in(self) -> bool:
        """Take in a plan file that someone else wrote or changed. A text that is no plan for this piece is left alone,
        and told."""
        if self.beside is None:
            return False
        if not self.beside.is_text:
            name, self.beside = self.beside.path.name, None
            self.told = f"{name} beside the score cannot be read as UTF-8 text and is left as it is."
            return False
        text = self.beside.foreign()
        if text is None:
            return False
        try:
            moment = taken_in(text, self.moment, self.draft_of)
        except BadInput as fault:
            name = self.beside.path.name
            self.beside = None
            self.told = f"{name} beside the score is not a plan for it and is left as it is: {fault.what}."
            return False
        revision = self.revision
        self.advance(moment)
        if self.revision == revision:  # nothing differed
            self.save()
        return self.revision != revision

    def save(self) -> None:
        """Write the plan beside the score, and all moments into the state folder."""
        score, wrote = "", ""
        if self.beside is not None:
            self.beside.write(self.draft.plan)
            score, wrote, self.told = str(self.beside.score), self.beside.wrote, self.beside.told
        self.keeping.save(self.digest, self.name, self.piece.title, self.moments, self.at, self.revision, score, wrote)
