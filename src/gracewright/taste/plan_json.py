"""The plan for machines.

Public: plan_json.
"""

from __future__ import annotations

from typing import Any

from gracewright.graces import Grace
from gracewright.taste.lines import grace_words
from gracewright.taste.model import Alternative, Bare, Choice, Plan


def plan_json(plan: Plan, second: Plan | None = None) -> dict[str, Any]:
    """A plan as plain values, with the choices of a second melody part among them (``part`` tells whose). ``onset`` is
    exact quarters from the start of the score as written, a pickup beginning at 0, as a text such as ``"37/2"``;
    ``pass`` the time through; ``grace`` an id of the common vocabulary, null where the note is to stay bare;
    ``strength`` in [0, 1]."""
    choices, bare = [*plan.choices], [*plan.bare]
    if second is not None:
        choices = sorted([*choices, *second.choices], key=lambda choice: choice.onset)
        bare += second.bare
    return {
        "title": plan.title,
        "part": plan.solo,
        "manner": plan.manner,
        "signs_by": plan.signs_by,
        "instrument": plan.instrument,
        "level": plan.level,
        "richness": plan.richness,
        "curve": [[str(onset), factor] for onset, factor in plan.curve],
        "choices": [_choice(choice) for choice in choices],
        "bare": [_bare(place) for place in bare],
        "remarks": [*plan.remarks, *(second.remarks if second is not None else ())],
        **({"second_part": second.solo} if second is not None else {}),
    }


def _choice(choice: Choice) -> dict[str, Any]:
    return {
        "pass": choice.time_through,
        "part": choice.part,
        "note": choice.note,
        "bar": choice.bar,
        "beat": str(choice.beat),
        "onset": str(choice.onset),
        "pitch": str(choice.pitch),
        **_grace(choice.grace),
        "origin": choice.origin,
        "lock": choice.lock,
        "strength": choice.strength,
        "reasons": list(choice.reasons),
        "source": choice.source,
        "alternatives": [_alternative(other) for other in choice.alternatives],
    }


def _grace(grace: Grace | None) -> dict[str, Any]:
    if grace is None:
        return {"grace": None, "words": "nothing"}
    found: dict[str, Any] = {"grace": grace.id, "words": grace_words(grace)}
    if grace.notes:
        found["notes"] = [[str(pitch), str(share)] for pitch, share in grace.notes]
    return found


def _alternative(other: Alternative) -> dict[str, Any]:
    return {**_grace(other.grace), "score": other.score, "effect": other.effect}


def _bare(place: Bare) -> dict[str, Any]:
    return {"pass": place.time_through, "note": place.note, "bar": place.bar, "beat": str(place.beat), "why": place.why}
