"""A second melody part planned beside the first, so that both agree and neither is in the other's way.

The first part is planned as if alone. The second is planned against what the first then plays: it makes no fifths or
octaves with it; where both close together they shake together a third or sixth apart, in one form, or only one does; a
passage that answers the first part's takes the same graces; no two runs sound at once, no two graces are struck at
one moment unless they are the same in thirds or sixths, and nothing leans on a note while the other part already has
the note it resolves to. (All common practice, no source.)

Conventions: voices are of the page: one for each time through.

Public: Partner, partner_of, make_second, both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Any, Final

from gracewright.graces import Grace, PlayedNote, Version
from gracewright.instruments import Instrument
from gracewright.score import Piece, Tone, tones
from gracewright.study.model import Study
from gracewright.taste.allowed import allowed_of
from gracewright.taste.beside import Voice
from gracewright.taste.imitation import answers
from gracewright.taste.lines import bar_names
from gracewright.taste.manner import COMMON, FAMILIES, Manner, kinds
from gracewright.taste.model import Bare, Choice, Plan
from gracewright.taste.planner import family_of, make_plan
from gracewright.taste.realising import Workshop, workshop_of
from gracewright.taste.required import wanted_shakes
from gracewright.taste.sites import Sites, sites_of, with_voices

SWEET: Final = (2, 5)
"""Staff places, octaves aside, at which two parts may grace together: thirds and sixths."""
ROUNDS: Final = 8
NO_RUNS: Final = "The other part has its {grace} here, and two at once would blur."
NO_STROKE: Final = "The other part graces the same stroke in another way."
NO_LEAN: Final = "The other part has the note already on which this one would come to rest."
NO_ANSWER: Final = "The passage answers the other part, which plays it plain."
NO_LIKE: Final = "The passage answers the other part, whose grace cannot stand here."


@dataclass(frozen=True)
class Partner:
    """The other melody part, planned before: what it does, what it plays, and the workshop that made its graces."""

    study: Study
    plan: Plan
    version: Version
    workshop: Workshop


def partner_of(
    piece: Piece, study: Study, plan: Plan, version: Version, manner: Manner, instrument: Instrument, *,
    level: str = "intermediate", tempo: Fraction | None = None,
) -> Partner:  # fmt: skip
    """The first part as the second's partner; manner, instrument, level and tempo are those it was planned with."""
    source = plan.signs_by or manner.source
    shop = workshop_of(piece, study, sites_of(piece, study, tempo), manner, instrument, level, tempo, source)
    return Partner(study, plan, version, shop)


def make_second(
    piece: Piece, study: Study, manner: Manner, instrument: Instrument, partner: Partner, *,
    level: str = "intermediate", tempo: Fraction | None = None, locks: Plan | None = None, signs_by: str = "",
    **dials: Any,
) -> Plan:  # fmt: skip
    """Plan a second melody part beside its partner. ``study`` is of the second part; ``dials`` as in ``make_plan``."""
    voices = voices_of(partner)
    sites = with_voices(piece, study, sites_of(piece, study, tempo), voices)
    workshop = workshop_of(piece, study, sites, manner, instrument, level, tempo, signs_by or manner.source)
    duo = _Duo(piece, study, sites, workshop, manner, partner, level)
    players = {(choice.time_through, choice.note) for choice in locks.choices if choice.lock} if locks else set()
    agreed = {name: one for name, one in duo.agreed().items() if (name[0], sites.tones[name[1]].id) not in players}
    held = _with_locks(piece, study, sites, locks, agreed)
    barred: dict[tuple[int, str, str], str] = {}
    plan = None
    for _ in range(ROUNDS):
        plan = make_plan(
            piece, study, manner, instrument, level=level, tempo=tempo, locks=held, signs_by=signs_by, beside=voices,
            barred=tuple(barred), **dials,
        )  # fmt: skip
        new = {(choice.time_through, choice.note, FAMILIES[family_of(choice.grace)]): why
               for choice, why in duo.clashes(plan)}  # fmt: skip
        if not new.keys() - barred.keys():
            break
        barred |= new
    assert plan is not None
    return _told(plan, duo, agreed, barred)


def both(one: Version, two: Version, apart: int) -> Version:
    """One version in which each plays its own part; ``apart`` choices of the first plan come before the second's."""
    own = [replace(n, choice=n.choice + apart if n.choice >= 0 else -1) for n in two.notes if n.part == two.solo]
    notes = [*(note for note in one.notes if note.part != two.solo), *own]
    notes.sort(key=lambda note: (note.onset, note.part, -note.pitch.midi))
    explained = {**one.explanations, **{index + apart: words for index, words in two.explanations.items()}}
    return replace(one, notes=tuple(notes), explanations=explained)


def voices_of(partner: Partner) -> tuple[Voice, ...]:
    """What the partner plays each time through, as voices of the page."""
    rows: dict[int, list[PlayedNote]] = {}
    for note in partner.version.notes:
        if note.part == partner.study.solo:
            rows.setdefault(note.time_through, []).append(note)
    found = []
    for time_through, notes in sorted(rows.items()):
        notes.sort(key=lambda note: note.page_onset)
        starts = tuple(note.page_onset for note in notes)
        ends = tuple(note.page_onset + note.length for note in notes)
        pitches = tuple((note.pitch.diatonic, note.pitch.midi) for note in notes)
        found.append(Voice(f"{partner.study.solo} time {time_through}", starts, ends, pitches))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Agreed:
    """What both parts do together: the second's grace (None: bare), and the sentence that says so."""

    grace: Grace | None
    why: str


@dataclass(frozen=True, eq=False)
class _Duo:
    """Two parts laid beside each other."""

    piece: Piece
    study: Study
    sites: Sites
    workshop: Workshop
    manner: Manner
    partner: Partner
    level: str

    @property
    def theirs(self) -> tuple[Tone, ...]:
        return tones(self.piece, self.partner.study.solo)

    def graces(self) -> Mapping[int, list[tuple[Tone, Grace]]]:
        """Time through → the partner's graced tones in page order."""
        by_id = {tone.id: tone for tone in self.theirs}
        found: dict[int, list[tuple[Tone, Grace]]] = {}
        for choice in self.partner.plan.choices:
            if choice.grace is not None:
                found.setdefault(choice.time_through, []).append((by_id[choice.note], choice.grace))
        return found

    def agreed(self) -> Mapping[tuple[int, int], _Agreed]:
        """(time through, site) → what is agreed there: answers first, then shakes at the closes."""
        found = dict(self._answers())
        found.update(self._closes())
        return found

    def _answers(self) -> Iterator[tuple[tuple[int, int], _Agreed]]:
        graces = {(time, tone.id): grace for time, row in self.graces().items() for tone, grace in row}
        mine, theirs, cadential = self.sites.tones, self.theirs, self._cadential()
        times = {segment.time_through for segment in self.partner.study.order} or {1}
        for site, other in answers(theirs, mine).items():
            if site in cadential:
                continue
            where = self.piece.bars[theirs[other].bar].number
            for time in times:
                grace = graces.get((time, theirs[other].id))
                if grace is None:
                    yield (time, site), _Agreed(None, NO_ANSWER)
                    continue
                own = self._like(site, other, grace)
                why = f"It answers the other part in bar {where} with the same grace." if own else NO_LIKE
                yield (time, site), _Agreed(own, why)

    def _like(self, site: int, other: int, grace: Grace) -> Grace | None:
        """The partner's grace on a note of ours, if it may stand there."""
        kind = _kind_of(grace)
        if kind not in self.manner.kinds or self._forbidden(site, kind):
            return None
        if grace.id == "division":
            return self._passage(site, other, grace)
        return None if self.workshop.fault(site, grace) else grace

    def _passage(self, site: int, other: int, grace: Grace) -> Grace | None:
        """The partner's passage with its very figures on our note."""
        shop = self.partner.workshop
        passage = shop.passages.get((other, grace))
        if passage is None:
            return None
        for step in (2, 1, 0):
            own = self.workshop.grace(site, "division", step, False, (), passage.formula)
            if own is not None and self.workshop.passages[site, own].formula == passage.formula:
                return own
        return None

    def _forbidden(self, site: int, kind: str) -> bool:
        """Do the rules that hold always forbid a kind on a note?"""
        allowed = allowed_of(self.sites, self.study, self.manner, self.workshop.instrument, self.level)
        return bool(allowed.codes[site, self.manner.kinds.index(kind)])

    def _cadential(self) -> set[int]:
        """Sites at which a strong cadence asks for the shake."""
        if "shake" not in self.manner.kinds:
            return set()
        allowed = allowed_of(self.sites, self.study, self.manner, self.workshop.instrument, self.level)
        wanted = wanted_shakes(self.sites, self.study, allowed, self.manner.kinds.index("shake"))
        return {item.site for item in wanted if item.site >= 0}

    def _closes(self) -> Iterator[tuple[tuple[int, int], _Agreed]]:
        """Shakes of the partner at a close that we can join in thirds or sixths."""
        at = {tone.onset: index for index, tone in enumerate(self.sites.tones)}
        closing = {cadence.penultimate for cadence in self.partner.study.cadences}
        theirs = self.theirs
        following = {one.id: two.pitch.diatonic - one.pitch.diatonic for one, two in pairwise(theirs)}
        for time, row in self.graces().items():
            for tone, grace in row:
                site = at.get(tone.onset, -1)
                if "shake" not in grace.id or tone.id not in closing or site < 0:
                    continue
                own = self.sites.tones[site]
                sweet = _places(tone, own) in SWEET and own.length == tone.length
                steps_on = abs(following.get(tone.id, 0)) == 1 == abs(int(self.sites.step_after[site]))
                if sweet and steps_on and not self.workshop.fault(site, grace):
                    interval = "thirds" if _places(tone, own) == 2 else "sixths"
                    yield (time, site), _Agreed(grace, f"Both parts shake together in {interval} and close together.")

    def clashes(self, plan: Plan) -> Iterator[tuple[Choice, str]]:
        """Choices of ours that are in the partner's way, with the reason."""
        graces = self.graces()
        for choice in plan.choices:
            if choice.grace is None or choice.origin != "ours":
                continue
            own = self.sites.tones[self.sites.index[choice.note]]
            why = self._clash(own, choice.grace, graces.get(choice.time_through, []), choice.time_through)
            if why:
                yield choice, why

    def _clash(self, own: Tone, grace: Grace, graces: Sequence[tuple[Tone, Grace]], time: int) -> str:
        for tone, other in graces:
            together = tone.onset == own.onset
            same = together and tone.length == own.length and other == grace and _places(tone, own) in SWEET
            if same:
                return ""
            overlap = tone.onset < own.end and own.onset < tone.end
            if overlap and _runs(grace) and _runs(other):
                return NO_RUNS.format(grace=other.id.replace("-", " "))
            if together:
                return NO_STROKE
        if grace.id.startswith("appoggiatura") and self._sounds(own, time):
            return NO_LEAN
        return ""

    def _sounds(self, own: Tone, time: int) -> bool:
        """Does the partner strike or hold our written note as this one begins?"""
        return any(
            note.part == self.partner.study.solo and note.time_through == time
            and note.page_onset <= own.onset < note.page_onset + note.length
            and note.pitch.pitch_class == own.pitch.pitch_class
            for note in self.partner.version.notes
        )  # fmt: skip


def _kind_of(grace: Grace) -> str:
    """The kind that a grace of a plan was made from, empty where none was."""
    fitting = (
        name for name, kind in kinds().items()
        if kind.grace == grace.id and kind.direction in ("", grace.direction) and kind.size in ("", grace.size)
    )  # fmt: skip
    return next(fitting, "")


def _places(one: Tone, two: Tone) -> int:
    return abs(one.pitch.diatonic - two.pitch.diatonic) % 7


def _runs(grace: Grace) -> bool:
    return grace.id == "division" or "shake" in grace.id


def _with_locks(
    piece: Piece, study: Study, sites: Sites, locks: Plan | None, agreed: Mapping[tuple[int, int], _Agreed]
) -> Plan:
    """What is agreed, as locks beside the player's own."""
    held = [choice for choice in locks.choices if choice.lock] if locks else []
    for (time, site), one in agreed.items():
        tone = sites.tones[site]
        held.append(
            Choice(time, study.solo, tone.id, bar_names(piece)[tone.bar], piece.beat_of(tone.onset, tone.bar),
                   tone.onset, tone.pitch, one.grace, "ours", 0.8, (one.why,), COMMON, (),
                   "keep" if one.grace else "never")
        )  # fmt: skip
    return Plan(piece.title, study.solo, "", "", "", "", 5.0, (), tuple(held))


def _told(
    plan: Plan, duo: _Duo, agreed: Mapping[tuple[int, int], _Agreed], barred: Mapping[tuple[int, str, str], str]
) -> Plan:
    """The plan without our own locks, without what still clashes, and with the reasons why places stay bare."""
    index = duo.sites.index
    ours = {(time, duo.sites.tones[site].id): one for (time, site), one in agreed.items()}
    left = {(choice.time_through, choice.note): why for choice, why in duo.clashes(plan)}
    choices, graced = [], set()
    for choice in plan.choices:
        name = choice.time_through, choice.note
        one = ours.get(name)
        mine = one is not None and bool(choice.lock)
        if name in left or (mine and choice.grace is None):
            continue
        graced.add(name)
        choices.append(replace(choice, lock="") if mine else choice)
    why = {(time, note): reason for (time, note, _), reason in barred.items()} | left
    told = {name: reason for name, reason in why.items() if name not in graced}
    bare = [place for place in plan.bare if (place.time_through, place.note) not in told]
    for (time, note), reason in told.items():
        tone = duo.sites.tones[index[note]]
        bare.append(Bare(time, note, bar_names(duo.piece)[tone.bar],
                         duo.piece.beat_of(tone.onset, tone.bar), reason))  # fmt: skip
    bare.sort(key=lambda place: (index[place.note], place.time_through))
    return replace(plan, choices=tuple(choices), bare=tuple(bare))
