"""What the desk answers to its page: from requests already read to responses, no more.

Conventions: answers are plain methods that take a dict and give a response; a lock lets one work at a time. Answers to
changes carry everything that changed (plan, shape, the systems in view), so that one round trip redraws the page.

Public: Desk.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

from starlette.responses import JSONResponse, Response

from gracewright.desk.card import card_json, deciding, graces_json, notes_json, remarks_json
from gracewright.desk.dials import choices_for_page, wishes_json
from gracewright.desk.draft import Draft
from gracewright.desk.hearing import around, excerpt, sounding, stretches, stretches_json, tempo_of
from gracewright.desk.keeping import Keeping
from gracewright.desk.making import Making, wav
from gracewright.desk.session import Session
from gracewright.desk.shape import shape_json
from gracewright.desk.systems import Leaf, View, played_small, view_from
from gracewright.desk.words import friendly, letter
from gracewright.errors import BadInput
from gracewright.graces import Version
from gracewright.job import RESULTS, Wishes, Work, plain

SOUNDS: Final = 64
"""So many rendered stretches are held in memory."""
SLOWEST: Final = Fraction(1, 4)
FASTEST: Final = Fraction(3, 2)
MOST_IN_VIEW: Final = 24
FIRST_VIEW: Final = 5
"""Systems drawn when the page does not yet know how many it can show."""
SURE: Final = 0.7


class Desk:
    """One user's desk: a state folder, at most one piece open, and what was rendered lately."""

    def __init__(self, keeping: Keeping, session: Session | None = None) -> None:
        self.keeping, self.session = keeping, session
        self.lock = threading.RLock()
        self.making = Making()
        self.sounds: OrderedDict[tuple[Any, ...], bytes] = OrderedDict()
        self.leaf = Leaf()
        self._choices: dict[str, Any] = {}

    @staticmethod
    def open(keeping: Keeping, piece: Path | None, wishes: Wishes | None = None, *, beside: bool = False) -> Desk:
        """The desk with a piece from disk, or with the piece last worked on, or empty; with ``beside`` its plan lies
        beside the piece. Raises BadInput."""
        if piece is not None:
            try:
                data = piece.read_bytes()
            except OSError as fault:
                raise BadInput(f"the file cannot be opened ({fault.strerror})", file=piece.name) from None
            desk = Desk(keeping, Session.bring(keeping, piece.name, data, wishes, piece.resolve() if beside else None))
            desk.remember()
            return desk
        kept = keeping.kept(str(keeping.settings().get("piece", "")))
        return Desk(keeping, Session.resume(keeping, kept) if kept is not None else None)

    def remember(self) -> None:
        if self.session is not None:
            self.keeping.remember(piece=self.session.digest)

    def warm(self) -> None:
        """Play the piece before it is asked for, so that the first card and the first sound come at once."""
        if self.session is not None:
            _ = self.current()[1].work

    def close(self) -> None:
        self.making.close()

    @property
    def there(self) -> Session:
        if self.session is None:
            raise BadInput("no piece is open", remedy="bring one first")
        return self.session

    # what the page asks

    def state(self, query: dict[str, Any]) -> Response:
        with self.lock:
            if not self._choices:
                self._choices = choices_for_page()
            if self.session is None:
                return JSONResponse({"revision": -1, "piece": None, "choices": self._choices})
            return JSONResponse({**self.now(query, whole=True), "choices": self._choices})

    def now(self, query: dict[str, Any], *, whole: bool = False) -> dict[str, Any]:
        """Everything that a change can alter; ``whole`` adds what only another piece alters."""
        session = self.there
        draft, at, steps = session.draft, session.at, session.moments
        found: dict[str, Any] = {
            "revision": session.revision,
            "undo": steps[at].said if at else None,
            "redo": steps[at + 1].said if at + 1 < len(steps) else None,
            "wishes": {**wishes_json(draft.wishes), "tempo_found": float(draft.study.tempo)},
            "manner": {"title": draft.manner.title, "source": draft.plan.signs_by},
            "shape": shape_json(draft, "" if whole else str(query.get("form", ""))), "graces": graces_json(draft.plan),
            "page": self.pages(draft, view_from(query), *known(query)),
        }  # fmt: skip
        if whole:
            piece = draft.piece
            found["piece"] = {
                "digest": session.digest, "title": piece.title or Path(session.name).stem,
                "composer": piece.composer, "name": session.name, "key": letter(str(draft.study.home)),
                "dance": draft.study.dance if draft.study.dance_confidence >= SURE else "",
            }  # fmt: skip
            found["notes"] = notes_json(draft)
        return found

    def pages(self, draft: Draft, view: View, holds: set[str], first: int, count: int) -> dict[str, Any]:
        """The systems' sizes and keys, and the drawings of those in view that the page does not hold yet."""
        systems = self.leaf.systems(draft, view, range(first, first + count))
        return {
            "systems": [{"key": s.key, "width": s.width, "height": s.height, "bars": s.bars} for s in systems],
            "drawings": {s.key: s.svg for s in systems if s.svg and s.key not in holds},
        }

    def system(self, query: dict[str, Any]) -> Response:
        """Drawings of systems that have come into view, by their places."""
        with self.lock:
            wanted = {whole_number(number) for number in str(query.get("places", "")).split(",")[:MOST_IN_VIEW]}
            systems = self.leaf.systems(self.there.draft, view_from(query), wanted)
            return JSONResponse({"drawings": {s.key: s.svg for s in systems if s.svg}})

    def remarks(self, _: dict[str, Any]) -> Response:
        """What the review found, and what every room has to say; asked for a moment after a change."""
        revision, draft = self.current()
        work = draft.work
        faults = [{"bar": f.bar, "what": friendly(f.what), "note": f.note} for f in work.review.faults]
        told = self.there.told
        remarks = [*([told] if told else []), *(friendly(remark) for remark in work.remarks)]
        return JSONResponse({"revision": revision, "faults": faults, "remarks": remarks})

    def current(self) -> tuple[int, Draft]:
        """The revision and its draft, to be played and judged without holding up the page."""
        with self.lock:
            return self.there.revision, self.there.draft

    def card(self, query: dict[str, Any]) -> Response:
        with self.lock:
            return JSONResponse(card_json(self.there, *named(query)))

    def played(self, query: dict[str, Any]) -> Response:
        """The rest of a card, which needs the piece played and judged: the drawing and the review's remarks."""
        note, time = named(query)
        _, draft = self.current()
        if note not in draft.tones:
            raise BadInput("there is no such note in the line", remedy="choose another")
        drawing = played_small(draft.work, draft.tones[note], time)
        return JSONResponse({"drawing": drawing, "remarks": remarks_json(draft.work, note, time)})

    def recent(self, _: dict[str, Any]) -> Response:
        return JSONResponse({"recent": self.keeping.recent()[:20]})

    # what the page changes

    def turn(self, body: dict[str, Any]) -> Response:
        with self.lock:
            session, changes = self.claimed(body), body.get("changes")
            if not isinstance(changes, dict):
                raise BadInput("no dial was named")
            session.turn(changes, str(body.get("gesture", ""))[:40])
            return JSONResponse(self.now(body))

    def decide(self, body: dict[str, Any]) -> Response:
        with self.lock:
            session = self.claimed(body)
            note, time, what = str(body.get("note", "")), whole_number(body.get("time", 1)), str(body.get("what", ""))
            if what == "free":
                session.release(note, time, "lock taken off")
            else:
                session.decide(*deciding(session, note, time, what, whole_number(body.get("option", -1))))
            return JSONResponse(self.now(body))

    def undo(self, body: dict[str, Any]) -> Response:
        with self.lock:
            self.claimed(body).undo()
            return JSONResponse(self.now(body))

    def redo(self, body: dict[str, Any]) -> Response:
        with self.lock:
            self.claimed(body).redo()
            return JSONResponse(self.now(body))

    def claimed(self, body: dict[str, Any]) -> Session:
        session = self.there
        session.expect(whole_number(body.get("revision", -1)))
        return session

    def bring(self, name: str, data: bytes, width: str) -> Response:
        """Another piece. What was open stays as it was if this one cannot be used."""
        with self.lock:
            self.session, self.leaf = Session.bring(self.keeping, name, data), Leaf()
            self.remember()
            return self.state({"width": width})

    def resume(self, body: dict[str, Any]) -> Response:
        with self.lock:
            kept = self.keeping.kept(str(body.get("piece", "")))
            if kept is None:
                raise BadInput("that piece is no longer kept here", remedy="bring the file again")
            self.session, self.leaf = Session.resume(self.keeping, kept), Leaf()
            self.remember()
            return self.state(body)

    # what is heard and taken away

    def hear(self, query: dict[str, Any]) -> Response:
        """The stretches in the order as played, with their cursor maps."""
        revision, draft = self.current()
        work = draft.work
        version = self.version(work, str(query.get("what", "ornamented")))
        tempo = tempo_of(work.wishes, work.study, slower(query))
        found = stretches_json(work.study, version, work.piece, tempo)
        return JSONResponse({"revision": revision, "stretches": found})

    def sound(self, query: dict[str, Any]) -> Response:
        """One stretch, or one note in its surroundings, as sound."""
        _, draft = self.current()
        key = (id(draft.ground), draft.moment.wishes, draft.moment.decisions, tuple(sorted(query.items())))
        with self.lock:
            held = self.sounds.get(key)
        if held is None:
            work, version, onset, end = self.note_span(draft, query) if "note" in query else self.span(draft, query)
            tempo = tempo_of(work.wishes, work.study, slower(query))
            part = excerpt(version, onset, end)
            held = wav(sounding(part, work.wishes, work.study, tempo, continuo=query.get("continuo", "1") == "1"))
            with self.lock:
                self.sounds[key] = held
                while len(self.sounds) > SOUNDS:
                    self.sounds.popitem(last=False)
        return Response(held, media_type="audio/wav")

    def version(self, work: Work, what: str) -> Version:
        if what == "ornamented":
            return work.version
        if what != "plain":
            raise BadInput("plain and ornamented can be heard, nothing else")
        return plain(work)

    def span(self, draft: Draft, query: dict[str, Any]) -> tuple[Work, Version, Fraction, Fraction]:
        """A stretch by its index."""
        work = draft.work
        version = self.version(work, str(query.get("what", "ornamented")))
        all_of_them, index = stretches(work.study, version), whole_number(query.get("stretch", 0))
        if not 0 <= index < len(all_of_them):
            raise BadInput("there is no such stretch")
        stretch = all_of_them[index]
        return work, version, stretch.onset, stretch.onset + stretch.length

    def note_span(self, draft: Draft, query: dict[str, Any]) -> tuple[Work, Version, Fraction, Fraction]:
        """A note with a beat on each side, as it is or as an option would have it."""
        note, time = named(query)
        if "option" in query:
            with self.lock:
                decision, _ = deciding(self.there, note, time, "change", whole_number(query["option"]))
                draft = self.there.trial(decision)
        work = draft.work
        version = self.version(work, str(query.get("what", "ornamented")))
        tone = draft.tones.get(note)
        found = around(version, note, time, work.piece.bars[tone.bar].meter.beat) if tone else None
        if found is None:
            raise BadInput("that note is not heard in that time through")
        return work, version, *found

    def take(self, query: dict[str, Any]) -> Response:
        """One of the results, made as the command line makes it."""
        name = str(query["name"])
        if name not in RESULTS:
            raise BadInput("there is no such result", remedy=f"take one of {', '.join(RESULTS)}")
        with self.lock:
            session, moment, manner = self.there, self.there.moment, self.there.draft.manner.id
        data = self.making.result(session.name, self.keeping.score(session.digest), moment, name)
        stem = "".join(c if c.isalnum() or c in " -_" else "-" for c in Path(session.name).stem) or "piece"
        safe = stem.encode("ascii", "replace").decode().replace("?", "-")
        disposition = f'attachment; filename="{safe}-{manner}-{name}"'
        return Response(data, media_type=TYPES[name.rpartition(".")[2]], headers={"content-disposition": disposition})


TYPES: Final = {"musicxml": "application/vnd.recordare.musicxml+xml", "txt": "text/plain; charset=utf-8",
                "pdf": "application/pdf", "ogg": "audio/ogg"}  # fmt: skip


def known(query: dict[str, Any]) -> tuple[set[str], int, int]:
    """Keys of the drawings the page holds, the first system in view, and how many are in view."""
    holds = query.get("holds", [])
    keys = {str(key) for key in holds} if isinstance(holds, list) else set()
    count = whole_number(query.get("count", FIRST_VIEW))
    return keys, max(0, whole_number(query.get("first", 0))), max(1, min(MOST_IN_VIEW, count))


def named(query: dict[str, Any]) -> tuple[str, int]:
    """The note and time through that are asked about."""
    return str(query.get("note", "")), whole_number(query.get("time", 1))


def whole_number(value: object) -> int:
    try:
        return int(str(value))
    except ValueError:
        raise BadInput(f"a whole number was expected, not {value!r}") from None


def slower(query: dict[str, Any]) -> Fraction:
    """The share of the full tempo the player asks for, from ``slower`` in per cent."""
    share = Fraction(whole_number(query.get("percent", 100)), 100)
    if not SLOWEST <= share <= FASTEST:
        raise BadInput("the tempo goes from a quarter of itself to half as much again")
    return share
