"""The plan file beside the score, where the desk was opened at a file of the player's own.

After every change the plan of the moment is written to ``SCORE.plan.txt`` beside the score. A plan found there that the
desk did not write, or that was changed by hand since, is never overwritten: it is taken in as a step of its own, which
Undo takes back.

Conventions: whose text it is is told by a digest of what was written last, kept with the rest of the state.

Public: Beside, taken_in.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from gracewright.desk.decisions import Decision, Moment, decided
from gracewright.desk.draft import Draft
from gracewright.desk.keeping import write_whole
from gracewright.instruments import LEVELS, instruments
from gracewright.taste import manners, write_plan
from gracewright.taste.model import Choice, Plan
from gracewright.taste.plan_file import read_plan

ROUNDS: Final = 4
"""So often the plan is made again until it is that of the text: a choice that is held may move its neighbours."""

PLACE: Final = re.compile(r"bar \S+ (?:\(\d+\) )?beat \S+ \[")


@dataclass
class Beside:
    """The plan file of one score. ``wrote`` is the digest of our last text; ``told`` a sentence where it failed."""

    score: Path
    wrote: str = ""
    told: str = ""

    @property
    def path(self) -> Path:
        return self.score.with_name(f"{self.score.stem}.plan.txt")

    def fits(self, data: bytes) -> bool:
        """Whether the score on disk is still the one that was brought."""
        try:
            return self.score.read_bytes() == data
        except OSError:
            return False

    def _text(self) -> str:
        """What lies there; empty where nothing does that can be read."""
        try:
            return self.path.read_bytes().decode("utf-8-sig")
        except (OSError, UnicodeDecodeError):
            return ""

    @property
    def is_text(self) -> bool:
        """Whether nothing lies there, or a text; a file that is none is not ours to write over."""
        try:
            self.path.read_bytes().decode("utf-8-sig")
        except FileNotFoundError:
            return True
        except (OSError, UnicodeDecodeError):
            return False
        return True

    def foreign(self) -> str | None:
        """The text that lies there, where it is not ours; None where it is, or where none can be read."""
        text = self._text()
        return text if text and _digest(text.encode()) != self.wrote else None

    def write(self, plan: Plan) -> None:
        """Put our text there, whole or not at all, with the player's own # lines before the choices they stood before.

        A place that cannot be written to is told and changes nothing."""
        data = _with_remarks(write_plan(plan), self._text()).encode()
        if _digest(data) == self.wrote and self.path.exists():
            return
        try:
            write_whole(self.path, data)
        except OSError as fault:
            self.told = f"The plan cannot be written beside the score ({fault.strerror}); it is kept by the desk alone."
        else:
            self.wrote, self.told = _digest(data), ""


def _with_remarks(text: str, old: str) -> str:
    """Our text with the player's remarks from the old one."""
    lines = text.splitlines()
    ours = {line for line in lines if line.startswith("#")}
    pending: list[str] = []
    for line in old.splitlines():
        if line.lstrip().startswith("#") and line not in ours:
            pending.append(line)
        elif pending and (place := PLACE.search(line)):
            at = next((n for n, new in enumerate(lines) if place[0] in new), len(lines))
            lines[at:at], pending = pending, []
    return "\n".join([*lines, *pending]) + "\n"


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def taken_in(text: str, moment: Moment, draft_of: Callable[[Moment], Draft]) -> Moment:
    """The moment whose plan is that of the text: its dials, its locks, and a lock wherever it differs from our plan.

    Raises BadInput where the text is no plan for this piece.
    """
    draft = draft_of(moment)
    plan = read_plan(text, draft.piece, draft.study)
    wishes = replace(
        moment.wishes,
        manner=plan.manner if plan.manner in manners() else moment.wishes.manner,
        instrument=plan.instrument if plan.instrument in instruments() else moment.wishes.instrument,
        level=plan.level if plan.level in LEVELS else moment.wishes.level,
        richness=min(10.0, max(0.0, plan.richness)), curve=plan.curve,
        signs_by=moment.wishes.signs_by if plan.signs_by in ("", draft.plan.signs_by) else plan.signs_by,
    )  # fmt: skip
    found = replace(moment, wishes=wishes, decisions=(), said="the plan file as it was changed", gesture="")
    wanted = {(choice.note, choice.time_through): choice for choice in plan.choices}
    for choice in plan.choices:
        if choice.lock:
            found = decided(found, _held(choice), found.said)
    for _ in range(ROUNDS):
        ours = {(choice.note, choice.time_through): choice for choice in draft_of(found).plan.choices}
        before = found
        for place, choice in wanted.items():
            if place not in ours or ours[place].grace != choice.grace:
                found = decided(found, _held(choice), found.said)
        for place, choice in ours.items():
            if place not in wanted and choice.origin != "page" and choice.grace is not None:
                found = decided(found, Decision(*place, "never"), found.said)
        if found == before:
            break
    return found


def _held(choice: Choice) -> Decision:
    if choice.grace is None or choice.lock == "never":
        return Decision(choice.note, choice.time_through, "never")
    return Decision(choice.note, choice.time_through, "keep", choice.grace, choice.source, choice.reasons)
