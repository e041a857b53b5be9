"""Teaching sheets: the signs of a piece, a worksheet with its key, one phrase in three degrees and in four manners.

Conventions: a sheet is a list of blocks (heading, text, music, items …) set by one template.

Public: signs_sheet, worksheet, graded_sheet, manners_sheet, Sheet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, Final

from gracewright.graces import Version, perform
from gracewright.instruments import Instrument
from gracewright.score import Piece, beat_words
from gracewright.sheet.excerpts import excerpt, phrase_bars, place_words, richest_phrase
from gracewright.sheet.mei import Staff
from gracewright.sheet.parallel import Reason, added_signs, reasons_of, sentence, source_words
from gracewright.sheet.played import has_repeats
from gracewright.sheet.systems import System, systems_of
from gracewright.sheet.typeset import check_paper, typeset
from gracewright.study import Cadence, Study
from gracewright.taste import Choice, Manner, Plan, load_manner, make_plan, manners, placed

Block = dict[str, Any]
Captioned = tuple[System, str, str]
GAP: Final = 60
MOST_LETTERS: Final = 10
LETTERS: Final = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
GRADES: Final = (("sober", 2.0), ("middle", 5.0), ("rich", 9.0))
FOUR: Final = ("french", "italian", "german", "english")
CADENCES: Final = {
    "authentic-perfect": "full close", "authentic-imperfect": "full close, not final", "half": "half close",
    "phrygian": "Phrygian half close", "deceptive": "deceptive close", "evaded": "evaded close",
}  # fmt: skip


class Sheet:
    """Blocks and images in the making."""

    def __init__(self) -> None:
        self.blocks: list[Block] = []
        self.images: list[str] = []

    def add(self, **block: Any) -> None:
        self.blocks.append(block)

    def music(self, system: System, widest: int, **more: Any) -> None:
        self.images.append(system.svg)
        name = f"s{len(self.images) - 1}.svg"
        self.add(music=name, width=min(system.width, widest), **more)

    def pair(self, one: Captioned, other: Captioned, line: int) -> None:
        """Two pieces of music side by side where both fit, else one below the other."""
        if one[0].width + other[0].width + GAP > line:
            for system, caption, note in (one, other):
                self.music(system, line, caption=caption, note=note)
            return
        left = max(one[0].width, min(line - other[0].width - GAP, (line - GAP) // 2))
        cells = [{"music": self.image(system), "width": system.width, "caption": caption, "note": note}
                 for system, caption, note in (one, other)]  # fmt: skip
        self.add(pair=cells, left=left)

    def image(self, system: System) -> str:
        self.images.append(system.svg)
        return f"s{len(self.images) - 1}.svg"

    def set(self, title: str, subtitle: str, paper: str) -> bytes:
        data = {"title": title, "subtitle": subtitle, "foot": f"{title} · {subtitle}", "blocks": self.blocks}
        return typeset("teaching", data, self.images, paper=check_paper(paper))


# ---- the signs of this piece ----------------------------------------------------------------------------------------


def signs_sheet(piece: Piece, study: Study, plan: Plan, version: Version, *, paper: str = "a4") -> bytes:
    """Every grace of the plan, the composer's and ours, in the bar where it first occurs: written and as played."""
    sheet = Sheet()
    sheet.add(text="Each grace of this piece once, in the bar where it first stands: above as it is written, below as "
                   "it is played. Signs in round brackets are added; the others are the composer's.")  # fmt: skip
    groups: dict[tuple[str, bool], list[tuple[int, Choice]]] = {}
    for index, choice in enumerate(plan.choices):
        if choice.grace is not None:
            groups.setdefault((choice.grace.words, choice.origin == "page"), []).append((index, choice))
    added = {time: added_signs(piece, study, plan, time=time) for time in (1, 2)}
    for (words, of_page), group in sorted(groups.items(), key=lambda item: -len(item[1])):
        index, choice = group[0]
        note = piece.by_id.get(choice.note)
        if note is None:
            continue
        there = added.get(choice.time_through, {})
        signs = {choice.note: there[choice.note]} if choice.note in there else {}
        staves = [Staff("written", study.solo, added=signs, numbers={choice.note: "*"}),
                  Staff("played", study.solo, row=choice.time_through, scale=85)]  # fmt: skip
        picture = excerpt(piece, staves, note.bar, note.bar, version=version)
        sheet.add(row=sheet.image(picture), width=min(picture.width, 800), title=sentence(words),
                  lines=[f"{'The composer’s' if of_page else 'Added'}, {place_words([one.bar for _, one in group])}.",
                         source_words(version.explanations.get(index, "")), source_words(choice.source)])  # fmt: skip
    if not groups:
        sheet.add(text="This plan has no graces.")
    return sheet.set(piece.title or "Untitled", "the signs of this piece", paper)


# ---- worksheet and key ----------------------------------------------------------------------------------------------


def worksheet(piece: Piece, study: Study, plan: Plan, version: Version, *, paper: str = "a4",
              key: bool = True) -> bytes:
    """The plain line below an empty staff, with questions; with ``key`` the answers on pages of their own."""
    size = check_paper(paper)
    sheet = Sheet()
    reasons = _asked(reasons_of(piece, study, plan, version), plan)
    letters = {reason.note: LETTERS[number] for number, reason in enumerate(reasons)}
    sheet.add(text="The lower staves are the plain tune and its bass. Write your own playing on the empty staff above.")
    empty = Staff("empty", study.solo, scale=85)
    plain = Staff("written", study.solo, numbers=letters, words=True, lyrics=True)
    bass = [Staff("written", study.bass, figures=True)] if study.bass else []
    systems = systems_of(piece, [empty, plain, *bass], width=size.line, options={"unit": 8.0})
    for system in systems:
        sheet.music(system, size.line)
    sheet.add(heading="Questions")
    sheet.add(questions=[
        {"words": "Where does the music come to rest? Mark each cadence in the score and say what kind it is; "
                  "then say which is the strongest.", "lines": 2},
        {"words": "Which bars would you leave plain the first time and change the second?", "lines": 1},
    ])  # fmt: skip
    sheet.add(text="At each letter: which grace would you play, and why? Write it on the empty staff.")
    sheet.add(letters=list(letters.values()))
    if key:
        sheet.add(pagebreak=True)
        _key(sheet, piece, study, version, reasons, systems, size.line)
    return sheet.set(piece.title or "Untitled", "worksheet", paper)


def _asked(reasons: Sequence[Reason], plan: Plan) -> list[Reason]:
    """The strongest places, one a note, in page order."""
    strength: dict[str, float] = {}
    for choice in plan.choices:
        strength[choice.note] = max(strength.get(choice.note, 0.0), choice.strength)
    unique = {reason.note: reason for reason in reversed(reasons)}
    best = sorted(unique.values(), key=lambda reason: (-strength[reason.note], int(reason.number)))[:MOST_LETTERS]
    return sorted(best, key=lambda reason: int(reason.number))


def _key(sheet: Sheet, piece: Piece, study: Study, version: Version, reasons: Sequence[Reason],
         systems: Sequence[System], line: int) -> None:
    sheet.add(heading="Key")
    sheet.add(text="One good answer, not the only one: another grace with a reason of its own is as good.")
    letters = {reason.note: LETTERS[number] for number, reason in enumerate(reasons)}
    staves = [Staff("played", study.solo, row=-1, numbers=letters, scale=85), Staff("written", study.solo)]
    staves += [Staff("written", study.bass, figures=True)] if study.bass else []
    breaks = [system.first_bar for system in systems]
    for system in systems_of(piece, staves, version=version, width=line, breaks=breaks, options={"unit": 7.0}):
        sheet.music(system, line)
    sheet.add(heading="Cadences")
    cadences = sorted(study.cadences, key=lambda cadence: cadence.onset)
    if cadences:
        strongest = max(cadences, key=lambda cadence: cadence.strength)
        sheet.add(text=" ".join(_cadence_words(piece, cadence, cadence is strongest) for cadence in cadences))
    else:
        sheet.add(text="No cadence was found.")
    sheet.add(heading="Graces")
    sheet.add(items=[
        {"number": letters[r.note], "where": r.where, "what": r.what, "why": r.why, "source": r.source} for r in reasons
    ])  # fmt: skip


def _cadence_words(piece: Piece, cadence: Cadence, strongest: bool) -> str:
    bar = piece.bar_at(cadence.onset)
    beat = beat_words(piece.beat_of(cadence.onset, bar.index))
    strength = ", the strongest" if strongest else ", weak" if cadence.strength < 0.4 else ""
    return f"Bar {bar.number}, beat {beat}: {CADENCES.get(cadence.kind, cadence.kind)} in {cadence.key}{strength}."


# ---- one phrase several ways ---------------------------------------------------------------------------------------


def _played(piece: Piece, study: Study, instrument: Instrument, level: str, plan: Plan) -> Version:
    return perform(piece, study, placed(plan), instrument, level, source=plan.signs_by)


def graded_sheet(piece: Piece, study: Study, manner: Manner, instrument: Instrument, *, level: str = "intermediate",
                 phrase: int | None = None, paper: str = "a4") -> bytes:
    """One phrase three times: sober, middle and rich, over the plain line. ``phrase`` counts from 0; None takes the
    one that is richest when rich."""
    plans = {name: make_plan(piece, study, manner, instrument, level=level, richness=r) for name, r in GRADES}
    versions = {name: _played(piece, study, instrument, level, plan) for name, plan in plans.items()}
    chosen = richest_phrase(study, plans["rich"]) if phrase is None else phrase
    sheet = Sheet()
    sheet.add(text=f"Manner: {manner.title}. Begin with the sober version; go on when it is easy and sounds well.")
    _variants(sheet, piece, study, plans, versions, chosen, paper)
    return sheet.set(piece.title or "Untitled", "one phrase, three degrees", paper)


def manners_sheet(piece: Piece, study: Study, instrument: Instrument, *, names: Sequence[str] = FOUR,
                  level: str = "intermediate", richness: float = 6.0, phrase: int | None = None,
                  paper: str = "a4") -> bytes:
    """One phrase in several manners, over the plain line."""
    known = [load_manner(name) for name in names if name in manners()]
    plans = {manner.id: make_plan(piece, study, manner, instrument, level=level, richness=richness) for manner in known}
    versions = {name: _played(piece, study, instrument, level, plan) for name, plan in plans.items()}
    chosen = richest_phrase(study, *plans.values()) if phrase is None else phrase
    sheet = Sheet()
    sheet.add(text="The same notes as four schools might have played them. Compare what each adds, and where.")
    about = {manner.id: f"{manner.title}. {manner.about}" for manner in known}
    _variants(sheet, piece, study, plans, versions, chosen, paper, about)
    return sheet.set(piece.title or "Untitled", "one phrase, four manners", paper)


def _variants(sheet: Sheet, piece: Piece, study: Study, plans: Mapping[str, Plan], versions: Mapping[str, Version],
              phrase: int, paper: str, about: Mapping[str, str] | None = None) -> None:
    size = check_paper(paper)
    first, last = phrase_bars(piece, study, phrase)
    staves = [Staff("played", study.solo, name, name[:2] + ".", 80, -1, version=versions[name]) for name in plans]
    staves.append(Staff("written", study.solo, "plain", "", words=True, lyrics=True))
    if study.bass:
        staves.append(Staff("written", study.bass, "bass", "", figures=True))
    reference = next(iter(versions.values()))
    for system in systems_of(piece, staves, version=reference, width=size.line, first=first, last=last,
                             options={"unit": 8.0}):  # fmt: skip
        sheet.music(system, size.line)
    if any(has_repeats(version) for version in versions.values()):
        sheet.add(small="Where the passage is repeated, the second time is shown.")
    span = (piece.bars[first].onset, piece.bars[last].end)
    for name, plan in plans.items():
        told = _told(plan, span)
        sheet.add(item=name, words=told or "no grace of its own here.", about=(about or {}).get(name, ""))


def _told(plan: Plan, span: tuple[Fraction, Fraction]) -> str:
    """What a plan adds in a stretch, last time through of each note, in one line."""
    last = {choice.note: choice for choice in plan.choices if span[0] <= choice.onset < span[1]}
    shown = [choice for choice in last.values() if choice.grace is not None]
    words = [f"bar {c.bar}, beat {beat_words(c.beat)}: {c.grace.words}" for c in shown if c.grace is not None]
    return "; ".join(words) + "." if words else ""
