"""A note's card: what the music does here, which grace stands and why, what else would do, how it is fingered.

Conventions: an option is named by its index in :func:`options`, which is the same for the same revision; option -1 is
what stands now. Nothing is judged here: reasons and effects are the planner's, explanations the realiser's.

Public: card_json, remarks_json, options, Option, deciding, grace_words, notes_json, graces_json.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from gracewright.desk.decisions import Decision
from gracewright.desk.draft import Draft
from gracewright.desk.session import Session
from gracewright.desk.words import form_words, friendly, here, place, shown, source_title, spoken
from gracewright.errors import BadInput, GracewrightError
from gracewright.graces import Grace, neighbour, realise
from gracewright.job import Work
from gracewright.score import Tone
from gracewright.taste.allowed import allowed_of
from gracewright.taste.manner import kinds
from gracewright.taste.model import Choice, Plan
from gracewright.taste.realising import workshop_of
from gracewright.taste.scores import scores_of
from gracewright.taste.sites import sites_of

MOST_OPTIONS: Final = 6
ORIGINS: Final = {"page": "on the page", "ours": "proposed here", "player": "chosen by you"}


@dataclass(frozen=True, slots=True)
class Option:
    """Something else that would do on a note; ``grace`` None leaves it bare."""

    grace: Grace | None
    effect: str
    source: str = ""
    score: float = 0.0


def card_json(session: Session, note: str, time_through: int) -> dict[str, Any]:
    """Everything on the card. Raises BadInput where the line has no such note."""
    draft, tone = session.draft, tone_at(session, note)
    choice = session.choice_at(note, time_through)
    decision = session.moment.decision_at(note, time_through)
    place_words = place(draft.piece, tone)
    return {
        "note": note, "time": time_through, "times": times_of(draft, tone), "place": place_words,
        "pitch": shown(tone.pitch), "spoken": f"{place_words}, {spoken(tone.pitch)}",
        "here": here(draft.piece, draft.study, tone),
        "grace": None if choice is None or choice.grace is None else grace_json(draft, choice),
        "lock": decision.lock if decision is not None else "",
        "bare": "" if choice is not None and choice.grace is not None else why_bare(draft, note, time_through),
        "options": [
            {"index": index, "words": grace_words(option.grace), "effect": friendly(option.effect)}
            for index, option in enumerate(options(session, note, time_through))
        ],
        "fingering": fingering(draft, tone, choice.grace if choice else None),
    }  # fmt: skip


def remarks_json(work: Work, note: str, time_through: int) -> list[dict[str, Any]]:
    """What the review has to say about a note."""
    return [
        {"what": friendly(finding.what), "remedy": friendly(finding.remedy), "fault": finding.kind == "fault"}
        for finding in work.review.findings if finding.note == note and finding.time_through == time_through
    ]  # fmt: skip


def tone_at(session: Session, note: str) -> Tone:
    tone = session.draft.tones.get(note)
    if tone is None:
        raise BadInput("there is no such note in the line", remedy="choose another")
    return tone


def times_of(draft: Draft | Work, tone: Tone) -> list[int]:
    """Which times through sound this note."""
    return sorted({s.time_through for s in draft.study.order if s.first_bar <= tone.bar <= s.last_bar}) or [1]


def grace_words(grace: Grace | None) -> str:
    """A grace in a player's words, with a division's notes."""
    if grace is None:
        return "leave it bare"
    if grace.notes and grace.id == "division":
        return f"division: {' '.join(shown(pitch) for pitch, _ in grace.notes[:12])}"
    return grace.words


def grace_json(draft: Draft, choice: Choice) -> dict[str, Any]:
    """The grace of a choice; the explanation is the realiser's own, made for this note alone."""
    try:
        played = realise(choice.grace, draft.places[choice.note]).explanation if choice.grace else ""
    except GracewrightError as fault:
        played = str(fault)
    return {
        "words": grace_words(choice.grace), "origin": choice.origin, "origin_words": ORIGINS[choice.origin],
        "reasons": [friendly(reason) for reason in choice.reasons], "source": source_title(choice.source),
        "strength": round(choice.strength, 2), "played": friendly(played),
    }  # fmt: skip


def why_bare(draft: Draft, note: str, time_through: int) -> str:
    found = next((bare.why for bare in draft.plan.bare if bare.note == note and bare.time_through == time_through), "")
    return friendly(found) or "Nothing here asks for a grace strongly."


def options(session: Session, note: str, time_through: int) -> tuple[Option, ...]:
    """What else would do: the planner's alternatives, or on a bare note whatever of the manner can be played there."""
    choice = session.choice_at(note, time_through)
    if choice is not None and choice.alternatives:
        return tuple(Option(a.grace, a.effect, score=a.score) for a in choice.alternatives[:MOST_OPTIONS])
    found = list(playable(session.draft, tone_at(session, note)))
    if choice is not None and choice.grace is not None:
        others = [o for o in found if o.grace is not None and o.grace.id != choice.grace.id]
        found = [Option(None, "the plain note"), *others]
    return tuple(found[:MOST_OPTIONS])


def playable(draft: Draft, tone: Tone) -> tuple[Option, ...]:
    """The graces that the planner would allow on a note, best first by its own scores."""
    wishes, manner = draft.wishes, draft.manner
    sites = sites_of(draft.piece, draft.study, wishes.tempo)
    site = sites.index[tone.id]
    allowed = allowed_of(sites, draft.study, manner, draft.instrument, wishes.level).codes[site]
    scores = scores_of(sites, manner).kinds[site]
    workshop = workshop_of(draft.piece, draft.study, sites, manner, draft.instrument, wishes.level, wishes.tempo,
                           draft.plan.signs_by)  # fmt: skip
    found: dict[Grace, Option] = {}
    for column in sorted(range(len(manner.kinds)), key=lambda column: -float(scores[column])):
        name = manner.kinds[column]
        grace = None if allowed[column] else workshop.grace(site, name, 1, False)
        if grace is not None:
            found.setdefault(grace, Option(grace, kinds()[name].effect, score=float(scores[column])))
    return tuple(found.values())


def deciding(session: Session, note: str, time_through: int, what: str, option: int) -> tuple[Decision, str]:
    """The decision a gesture on the card means, and how undo names it. ``what`` is keep, never or change."""
    tone = tone_at(session, note)
    where = place(session.piece, tone)
    choice = session.choice_at(note, time_through)
    if what == "never":
        return Decision(note, time_through, "never"), f"{where}: never here"
    if what == "keep":
        if choice is None or choice.grace is None:
            return Decision(note, time_through, "never"), f"{where}: left bare"
        kept = Decision(note, time_through, "keep", choice.grace, choice.source, choice.reasons)
        return kept, f"{where}: keep the {choice.grace.id.replace('-', ' ')}"
    found = options(session, note, time_through)
    if what != "change" or not 0 <= option < len(found):
        raise BadInput("that is not among the things that would do here", remedy="choose again")
    picked = found[option]
    if picked.grace is None:
        return Decision(note, time_through, "never"), f"{where}: leave it bare"
    decision = Decision(note, time_through, "keep", picked.grace, picked.source, ("Your own choice.",))
    return decision, f"{where}: {picked.grace.words}"


def fingering(draft: Draft, tone: Tone, grace: Grace | None) -> dict[str, str]:
    """How the note, and its shake where it has one, is fingered; empty strings where nothing is known."""
    instrument = draft.instrument
    found = {"note": instrument.fingering(tone.pitch), "shake": "", "weak": instrument.weakness(tone.pitch)}
    if grace is not None and grace.id == "shake":
        upper = neighbour(draft.places[tone.id], 1)
        found["shake"] = instrument.shake_fingering(tone.pitch, upper)
    return found


def notes_json(draft: Draft) -> list[dict[str, Any]]:
    """The line's notes in order, as the page walks them with the arrow keys."""
    return [
        {"id": tone.id, "ids": list(tone.ids), "at": float(tone.onset), "end": float(tone.end),
         "bar": draft.piece.bars[tone.bar].number, "times": times_of(draft, tone),
         "spoken": f"{place(draft.piece, tone)}, {spoken(tone.pitch)}",
         "close": " ".join(form_words(draft.piece, draft.study, tone))}
        for tone in draft.tones.values()
    ]  # fmt: skip


def graces_json(plan: Plan) -> dict[str, dict[str, dict[str, Any]]]:
    """Note id → time through → what stands there, for spoken names and for what changed."""
    found: dict[str, dict[str, dict[str, Any]]] = {}
    for choice in plan.choices:
        if choice.grace is not None or choice.lock:
            found.setdefault(choice.note, {})[str(choice.time_through)] = {
                "words": "" if choice.grace is None else grace_words(choice.grace), "origin": choice.origin,
                "lock": choice.lock,
            }  # fmt: skip
    return found
