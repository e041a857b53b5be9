"""The performing part: the player's line alone, with its signs, breaths, bar numbers and page turns in rests.

Conventions: signs of the first time stand above the staff, those of the repeat alone below it; where the repeat needs
more than a sign, the bar has a cue-size staff above it with what is played then.

Public: part_sheet.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from gracewright.graces import Notated, Version
from gracewright.instruments import FINGERING_KEY, load_instrument, long_breaths
from gracewright.pitch import Pitch
from gracewright.score import Piece, tones
from gracewright.sheet.mei import Staff
from gracewright.sheet.parallel import added_signs
from gracewright.sheet.played import Struck, has_repeats, played_bars
from gracewright.sheet.systems import natural_widths, systems_of
from gracewright.sheet.turning import plan_pages, rests_after
from gracewright.sheet.typeset import Paper, check_paper, typeset
from gracewright.study import Study
from gracewright.taste import Plan

HEADING: Final = 420
"""Height that title and notes take on the first page."""
LETTERS: Final = "abcdefghijklmnopqrstuvwxyz"


def part_sheet(piece: Piece, study: Study, plan: Plan, version: Version, *, paper: str = "a4",
               about: Sequence[str] = ()) -> bytes:
    """The part as PDF. ``about``: lines below the title. Raises BadInput for an unknown paper."""
    size = check_paper(paper)
    staff, fingerings = part_staff(piece, study, plan, version)
    widths = natural_widths(piece, [staff])
    pages = _pages(piece, study, staff, widths, size)
    starts = [start for page in pages for start in page.starts]
    systems = systems_of(piece, [staff], width=size.line, breaks=starts)
    images = iter(range(len(systems)))
    told = [
        {"systems": [{"image": f"s{next(images)}.svg", "width": size.line} for _ in page.starts],
         "turn": _turn(page.rest, last=page is pages[-1])}
        for page in pages
    ]  # fmt: skip
    title = piece.title or "Untitled"
    name = load_instrument(plan.instrument).name
    data = {"title": title, "composer": piece.composer, "subtitle": name, "foot": f"{title} · {name}",
            "about": list(about), "pages": told, "fingerings": fingerings, "key": FINGERING_KEY,
            "again": bool(staff.again), "ossias": bool(staff.ossias), "added": bool(staff.added)}  # fmt: skip
    return typeset("part", data, [system.svg for system in systems], paper=size)


def _pages(piece: Piece, study: Study, staff: Staff, widths: Sequence[int], size: Paper) -> tuple[Any, ...]:
    """Pages by the height that a system takes here, measured on a trial."""
    trial = systems_of(piece, [staff], width=size.line)
    height = sorted(system.height for system in trial)[len(trial) * 3 // 4] + 25
    first, further = max(1, (size.column - HEADING) // height), max(1, size.column // height)
    if len(trial) <= first:
        first = further = len(trial) + 1
    return plan_pages(widths, rests_after(piece, study), size.line, first, further)


def _turn(rest: float, *, last: bool) -> str:
    if last:
        return ""
    return "turn in the rest" if rest >= 1.0 else "turn quickly" if rest < 0.5 else "turn in the short rest"


def part_staff(piece: Piece, study: Study, plan: Plan, version: Version) -> tuple[Staff, list[dict[str, str]]]:
    """The staff of the part, and the fingerings to print below: letter and words."""
    first = added_signs(piece, study, plan, time=1)
    again = _changed(piece, study, plan) if has_repeats(version) else {}
    signs = {note: what for note, what in again.items() if what.signs and not (what.before or what.after)}
    ossias = _ossias(piece, version, [note for note in again if note not in signs])
    letters, told = _fingerings(plan, version)
    breaths = [phrase.breath_after for phrase in study.phrases if phrase.breath_after]
    breaths += [place.after for phrase, _ in long_breaths(study.phrases, load_instrument(plan.instrument))
                for place in phrase.breaths]  # fmt: skip
    marked = {note.id for note in piece.notes if note.marks.breath}
    last = {tone.id: tone.ids[-1] for tone in tones(piece, study.solo)}  # after the whole of a tied note
    return (
        Staff("written", study.solo, added=first, again=signs, words=True, lyrics=True, ossias=ossias,
              fingerings=letters,
              breaths=[last.get(tone, tone) for tone in dict.fromkeys(breaths) if tone not in marked]),
        told,
    )  # fmt: skip


def _changed(piece: Piece, study: Study, plan: Plan) -> dict[str, Notated]:
    """What is written for the second time, where it is not what the first has."""
    before = {choice.note: choice.grace for choice in plan.choices if choice.time_through == 1}
    later = added_signs(piece, study, plan, time=2)
    changed = {
        choice.note for choice in plan.choices
        if choice.time_through == 2 and choice.grace is not None and before.get(choice.note) != choice.grace
    }  # fmt: skip
    return {note: later.get(note, Notated()) for note in changed}


def _ossias(piece: Piece, version: Version, notes: Sequence[str]) -> dict[int, tuple[Struck, ...]]:
    bars = {piece.by_id[note].bar for note in notes if note in piece.by_id}
    last = played_bars(piece, version, -1)
    return {bar: last[bar] for bar in sorted(bars) if bar in last}


def _fingerings(plan: Plan, version: Version) -> tuple[dict[str, str], list[dict[str, str]]]:
    """Tone id → letter, and what each letter stands for: shakes that the usual fingering does not give."""
    instrument = load_instrument(plan.instrument)
    letters: dict[tuple[Pitch, Pitch], str] = {}
    marked: dict[str, str] = {}
    told = []
    for index, choice in enumerate(plan.choices):
        if choice.grace is None or "shake" not in choice.grace.id:
            continue
        heard = [note.pitch for note in version.notes if note.choice == index and note.host == choice.note]
        above = [pitch for pitch in heard if pitch.diatonic == choice.pitch.diatonic + 1]
        shake = instrument.shake(choice.pitch, above[0]) if above else None
        if shake is None or not (shake.start or shake.finish or shake.half_hole or shake.rating != "good"):
            continue
        pair = (choice.pitch, above[0])
        if pair not in letters:
            letters[pair] = LETTERS[len(letters) % 26]
            told.append({"letter": letters[pair], "what": f"shake {above[0]} {choice.pitch}",
                         "how": shake.words})  # fmt: skip
        marked[choice.note] = letters[pair]
    return marked, told
