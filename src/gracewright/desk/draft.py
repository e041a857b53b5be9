"""What a turned dial shows at once, and the whole work when it is asked for.

A plan is enough to redraw the music; playing it and judging it takes longer and can wait until a card is opened or the
piece is heard. A ``Draft`` holds the plan and makes the rest on demand.

Conventions: drafts are immutable but for what they remember; a ``Ground`` is what all drafts of one piece share.

Public: Draft, Ground, moved_by.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

from gracewright.desk.decisions import Moment, locks_of
from gracewright.graces import Context, Notated, contexts, sign_for
from gracewright.instruments import Instrument, load_instrument, widened
from gracewright.job import Wishes, Work, moved, work_on
from gracewright.score import Piece, Tone, tones
from gracewright.sheet import readable
from gracewright.study import Study, study
from gracewright.taste import Manner, Plan, load_manner, make_plan, manner_for

REMEMBERED: Final = 32
"""So many pieces of groundwork are held."""


@dataclass
class Ground:
    """The piece as it came, and what is worked out about it once: transposed, studied, surveyed note by note."""

    piece: Piece
    _kept: OrderedDict[Hashable, Any] = field(default_factory=OrderedDict, repr=False)
    _keeping: threading.RLock = field(default_factory=threading.RLock, repr=False)

    def keep(self, key: Hashable, make: Callable[[], Any]) -> Any:
        """What was made for a key before, or is made now and remembered. Several threads may ask."""
        with self._keeping:
            if key not in self._kept:
                self._kept[key] = make()
                while len(self._kept) > REMEMBERED:
                    self._kept.popitem(last=False)
            self._kept.move_to_end(key)
            return self._kept[key]

    def piece_for(self, wishes: Wishes) -> Piece:
        """The piece, moved where the player wants it moved. Raises BadInput."""
        if not wishes.transpose:
            return self.piece
        key = ("moved", wishes.transpose, wishes.instrument, wishes.solo)
        found: Piece = self.keep(key, lambda: moved(self.piece, wishes, load_instrument(wishes.instrument)))
        return found

    def studied(self, wishes: Wishes) -> Study:
        piece = self.piece_for(wishes)
        key = ("study", *moved_by(wishes), wishes.solo, wishes.bass, wishes.tempo)
        found: Study = self.keep(key, lambda: study(piece, solo=wishes.solo, bass=wishes.bass, tempo=wishes.tempo))
        return found

    def tones(self, wishes: Wishes) -> Mapping[str, Tone]:
        """The solo line by tone id, in order."""
        piece, solo = self.piece_for(wishes), self.studied(wishes).solo
        key = ("tones", *moved_by(wishes), solo)
        found: Mapping[str, Tone] = self.keep(key, lambda: {t.id: t for t in tones(piece, solo)})
        return found

    def hands(self, wishes: Wishes) -> Instrument:
        """The instrument, stretched where the line goes beyond it."""
        return widened(tuple(self.tones(wishes).values()), load_instrument(wishes.instrument))

    def places(self, wishes: Wishes, signs_by: str) -> Mapping[str, Context]:
        """The surroundings of every note of the line."""
        piece, found = self.piece_for(wishes), self.studied(wishes)
        player = (wishes.instrument, wishes.level, wishes.tempo, signs_by)
        key = ("places", *moved_by(wishes), wishes.solo, wishes.bass, *player)
        instrument = self.hands(wishes)
        there: Mapping[str, Context] = self.keep(
            key, lambda: contexts(piece, found, instrument, wishes.level, tempo=wishes.tempo, source=signs_by)
        )
        return there


def moved_by(wishes: Wishes) -> tuple[str, str, str]:
    """What decides how the piece is moved: equal for wishes that leave it at one pitch."""
    return (wishes.transpose, wishes.instrument, wishes.solo) if wishes.transpose else ("", "", "")


@dataclass
class Draft:
    """The plan of a moment. ``work`` is the whole, made when first asked for."""

    ground: Ground
    moment: Moment
    _making: threading.Lock = field(default_factory=threading.Lock, repr=False)
    _work: Work | None = field(default=None, repr=False)

    @property
    def wishes(self) -> Wishes:
        return self.moment.wishes

    @cached_property
    def piece(self) -> Piece:
        return self.ground.piece_for(self.wishes)

    @cached_property
    def drawn(self) -> Piece:
        """The piece for drawing: the solo line in a clef that its player reads."""
        name, solo = self.wishes.instrument, self.study.solo
        key = ("drawn", *moved_by(self.wishes), solo, name)
        found: Piece = self.ground.keep(key, lambda: readable(self.piece, solo, load_instrument(name)))
        return found

    @property
    def look(self) -> tuple[str, ...]:
        """Names what is drawn: equal for drafts whose plain music looks the same."""
        clef = "" if self.drawn is self.piece else self.wishes.instrument
        return (*moved_by(self.wishes), clef, self.study.solo)

    @cached_property
    def study(self) -> Study:
        return self.ground.studied(self.wishes)

    @cached_property
    def manner(self) -> Manner:
        return load_manner(self.wishes.manner or manner_for(self.piece, self.study).manner)

    @cached_property
    def instrument(self) -> Instrument:
        return self.ground.hands(self.wishes)

    @property
    def tones(self) -> Mapping[str, Tone]:
        return self.ground.tones(self.wishes)

    @property
    def places(self) -> Mapping[str, Context]:
        return self.ground.places(self.wishes, self.plan.signs_by)

    @cached_property
    def locks(self) -> Plan | None:
        return locks_of(self.moment, self.piece, self.tones, self.study.solo)

    @cached_property
    def plan(self) -> Plan:
        wishes = self.wishes
        return make_plan(
            self.piece, self.study, self.manner, self.instrument, level=wishes.level, richness=wishes.richness,
            curve=wishes.curve, locks=self.locks, signs=wishes.signs, signs_by=wishes.signs_by, tempo=wishes.tempo,
        )  # fmt: skip

    @property
    def work(self) -> Work:
        """The plan played and judged, by the same function as the command line's. Several threads may ask."""
        with self._making:
            if self._work is None:
                wishes = replace(self.wishes, transpose="")
                self._work = work_on(self.piece, wishes, locks=self.locks, studied=self.study)
            return self._work

    def added(self, time_through: int) -> dict[str, Notated]:
        """Our signs in one time through, by note."""
        return {
            choice.note: sign_for(choice.grace, self.places[choice.note])
            for choice in self.plan.choices
            if choice.time_through == time_through and choice.grace is not None and choice.origin != "page"
        }
