"""From what the planner found to a ``Plan``: choices with reasons, alternatives, and strong places left bare.

Public: plan_of, placed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from gracewright.graces import Grace, Placed
from gracewright.taste import reasons
from gracewright.taste.allowed import WHY
from gracewright.taste.chain import FORBIDDEN
from gracewright.taste.desk import Desk, Found, Row
from gracewright.taste.growth import order_of
from gracewright.taste.lines import bar_names
from gracewright.taste.manner import COMMON, FAMILIES, kinds
from gracewright.taste.model import Alternative, Bare, Choice, Plan
from gracewright.taste.required import Wanted

STRONG: Final = 1.0
"""A place is strong where some kind scores this much (the planner's unit, own choice)."""
OPTIONS: Final = 2


def plan_of(desk: Desk, header: Plan, found: Found | None) -> Plan:
    """The plan, in page order, then time through."""
    choices = [*_from_page(desk), *_from_locks(desk)]
    bare: list[Bare] = []
    if found is not None:
        wanted = {item.site: item for item in desk.wanted if item.site >= 0}
        for number, row in enumerate(found.rows):
            choices += _chosen(desk, found, number, row, wanted)
        bare += _left_bare(desk, found)
    order = desk.sites.index
    choices.sort(key=lambda choice: (order[choice.note], choice.time_through))
    bare.sort(key=lambda place: (order[place.note], place.time_through))
    return replace(header, choices=tuple(choices), bare=tuple(bare), remarks=_remarks(desk))


def _remarks(desk: Desk) -> tuple[str, ...]:
    doubtful = [remark for _, _, remark in desk.page.values() if remark]
    return tuple(dict.fromkeys(doubtful))


def _choice(desk: Desk, time_through: int, site: int, grace: Grace | None) -> Choice:
    """The bare frame of a choice: where it stands."""
    tone = desk.sites.tones[site]
    return Choice(
        time_through, desk.study.solo, tone.id, bar_names(desk.piece)[tone.bar],
        desk.piece.beat_of(tone.onset, tone.bar), tone.onset,
        tone.pitch, grace, "ours", 0.0,
    )  # fmt: skip


def _from_page(desk: Desk) -> Iterator[Choice]:
    heard = _times(desk)
    for site, (grace, source, _) in desk.page.items():
        for time_through in range(1, heard[desk.sites.tones[site].bar] + 1):
            if (time_through, site) not in desk.locked:
                frame = _choice(desk, time_through, site, grace)
                why = "The sign stands on the page."
                yield replace(frame, origin="page", strength=1.0, reasons=(why,), source=source)


def _from_locks(desk: Desk) -> Iterator[Choice]:
    heard = _times(desk)
    for (time_through, site), lock in desk.locked.items():
        if time_through <= heard[desk.sites.tones[site].bar]:
            frame = _choice(desk, time_through, site, lock.grace)
            yield replace(
                frame, origin=lock.origin, strength=lock.strength, reasons=lock.reasons, source=lock.source,
                alternatives=lock.alternatives, lock=lock.lock,
            )  # fmt: skip


def _times(desk: Desk) -> list[int]:
    heard = [0] * len(desk.piece.bars)
    for run in order_of(desk.piece, desk.study):
        for bar in range(run.first_bar, run.last_bar + 1):
            heard[bar] += 1
    return heard


def _chosen(desk: Desk, found: Found, number: int, row: Row, wanted: Mapping[int, Wanted]) -> Iterator[Choice]:
    for note, (kind, grace) in enumerate(zip(row.kinds, row.graces, strict=True)):
        if grace is None:
            continue
        site = row.strip.first + note
        item = wanted.get(site)
        required = item is not None and kind == "shake" and desk.budget is None
        through = row.strip.time_through
        best = found.solved.best[number, note]
        family = int(found.solved.families[number, note])
        if required and item is not None:
            why = reasons.why_required(desk.sites, item, grace)
            strength, source = round(0.5 + item.cadence.strength / 2, 2), _cadence_source(desk, site)
        else:
            why = reasons.why_chosen(desk.sites, desk.scores, desk.manner, site, kind, grace, through)
            strength = reasons.strength_of(float(best[family] - best[0]))
            source = reasons.source_of(desk.scores, desk.manner, site, kind)
            passage = desk.workshop.passages.get((site, grace))
            if passage is not None:
                why = (*why[:1], reasons.sentence(passage.reason), *why[1:])
        yield replace(
            _choice(desk, through, site, grace), strength=strength, reasons=why, source=source,
            alternatives=_alternatives(desk, found, number, note, kind),
        )  # fmt: skip


def _cadence_source(desk: Desk, site: int) -> str:
    named = [w.source for w in desk.manner.weights if w.rule.id == "shake-cadence" and w.source != COMMON]
    return named[0] if named else reasons.source_of(desk.scores, desk.manner, site, "shake")


def _alternatives(desk: Desk, found: Found, number: int, note: int, kind: str) -> tuple[Alternative, ...]:
    """The next best kinds on the note, or none at all; ``score`` is what the plan would lose (negative)."""
    site = found.rows[number].strip.first + note
    best = found.solved.best[number, note]
    here = float(best[int(found.solved.families[number, note])])
    forced = best[0] < here - 1e5
    top_score = float(desk.scores.kinds[site].max())
    worth = [(-top_score if forced else float(best[0]) - here, "")]
    for column, name in enumerate(desk.manner.kinds):
        if name == kind or desk.allowed.codes[site, column]:
            continue
        family = FAMILIES.index(kinds()[name].family)
        top = int(found.columns[number, note, family])
        own = float(desk.scores.kinds[site, column])
        if forced:
            worth.append((own - top_score, name))
        elif top >= 0 and best[family] > FORBIDDEN / 2:
            worth.append((float(best[family]) - here - float(desk.scores.kinds[site, top]) + own, name))
    worth.sort(key=lambda pair: -pair[0])
    told = []
    for value, name in worth:
        grace = desk.workshop.grace(site, name, 0, False) if name else None
        if name and grace is None:
            continue
        told.append(Alternative(grace, round(value, 2), reasons.effect_of(name)))
        if len(told) == OPTIONS:
            break
    return tuple(told)


def _left_bare(desk: Desk, found: Found) -> Iterator[Bare]:
    """Strong cadences without a shake, and places that some kind would have liked."""
    missed = {item.place: item for item in desk.wanted if item.site < 0}
    best = desk.scores.kinds.argmax(axis=1)
    strong = desk.scores.kinds.max(axis=1) >= STRONG
    strong[list(missed)] = True
    for number, row in enumerate(found.rows):
        strip, families = row.strip, found.solved.families[number]
        sites = strip.first + np.flatnonzero(strong[strip.first : strip.last + 1])
        for site in sites.tolist():
            note, item = site - strip.first, missed.get(site)
            if families[note] > 0 or (item is None and (strip.time_through, site) in desk.locked):
                continue
            if item is not None:
                told = reasons.sentence(f"{reasons.close_of(item.cadence)} is prepared here, but {item.why}")
            else:
                told = _why_bare(desk, found, number, note, int(best[site]))
            yield _bare(desk, strip.time_through, site, told)


def _bare(desk: Desk, time_through: int, site: int, why: str) -> Bare:
    tone = desk.sites.tones[site]
    return Bare(time_through, tone.id, bar_names(desk.piece)[tone.bar], desk.piece.beat_of(tone.onset, tone.bar), why)


def _why_bare(desk: Desk, found: Found, number: int, note: int, column: int) -> str:
    site, name = found.rows[number].strip.first + note, desk.manner.kinds[column]
    spoken = kinds()[name].grace.replace("-", " ")
    spoken = f"{'an' if spoken[0] in 'aeiou' else 'a'} {spoken}"
    code = int(desk.allowed.codes[site, column])
    if code:
        return reasons.sentence(f"the manner would set {spoken} here, but {WHY[code]}")
    families = found.solved.families[number]
    if note + 1 < len(families) and families[note + 1]:
        return reasons.sentence(f"{spoken} would suit, but the next note has its grace and two so near would crowd")
    if note and families[note - 1]:
        return reasons.sentence(f"{spoken} would suit, but the note before has its grace and two so near would crowd")
    told = f"{spoken} would suit, but this much richness spends its graces on stronger places"
    return reasons.sentence(told)


def placed(plan: Plan) -> tuple[Placed, ...]:
    """The plan as the graces room plays it; a note locked bare is placed with no grace."""
    return tuple(
        Placed(choice.time_through, choice.note, choice.grace, index) for index, choice in enumerate(plan.choices)
    )
