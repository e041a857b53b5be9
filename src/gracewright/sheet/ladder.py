"""The practice ladder: each hard grace of a piece in four steps, from slow even notes to its place in the line.

Conventions: tempi are quarters a minute. A grace is hard when it has many notes in little time; how long to practise is
common practice, no source.

Public: practice_ladder, hard_graces.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from gracewright.graces import PlayedNote, Version
from gracewright.instruments import FINGERING_KEY, Instrument, load_instrument
from gracewright.pitch import Pitch
from gracewright.score import Piece, beat_words
from gracewright.sheet.examples import Written, engraved_example, example_of
from gracewright.sheet.excerpts import excerpt
from gracewright.sheet.mei import Staff
from gracewright.sheet.parallel import added_signs, sentence
from gracewright.sheet.teaching import Sheet
from gracewright.sheet.typeset import check_paper
from gracewright.study import Study
from gracewright.taste import Choice, Plan

MOST: Final = 4
SLOW: Final = 60
"""Quarters a minute of the first step; common practice, no source."""
CAUTION: Final = (
    "A few minutes at a time, hand and arm loose, each step quietly before the next. Go back a step when it is not "
    "even. Stop and rest at the first ache or tiredness in finger, wrist, arm or lips; speed comes from ease, not from "
    "force."
)


def hard_graces(plan: Plan, version: Version, quarter: float) -> list[tuple[Choice, list[PlayedNote]]]:
    """The graces with the quickest and most notes, one for each kind and pair of notes, hardest first.

    ``quarter`` is the length of a quarter in seconds.
    """
    found: dict[tuple[str, tuple[Pitch, ...]], tuple[float, Choice, list[PlayedNote]]] = {}
    heard: dict[int, list[PlayedNote]] = {}
    for note in version.notes:
        if note.choice >= 0:
            heard.setdefault(note.choice, []).append(note)
    for index, choice in enumerate(plan.choices):
        notes = [note for note in heard.get(index, []) if note.host == choice.note]
        if choice.grace is None or len(notes) < 3:
            continue
        quickest = min(float(note.length) for note in notes) * quarter
        hardness = len(notes) / max(quickest, 0.02)
        key = (choice.grace.id, tuple(sorted({note.pitch for note in notes})))
        if key not in found or hardness > found[key][0]:
            found[key] = (hardness, choice, notes)
    ranked = sorted(found.values(), key=lambda item: (-item[0], item[1].onset))
    return [(choice, notes) for _, choice, notes in ranked[:MOST]]


def practice_ladder(piece: Piece, study: Study, plan: Plan, version: Version, *, tempo: Fraction | None = None,
                    paper: str = "a4") -> bytes:
    """Up to four hard graces, each slow and even, grouped, in time, and in its place. PDF."""
    size = check_paper(paper)
    instrument = load_instrument(plan.instrument)
    speed = tempo or study.tempo
    sheet = Sheet()
    sheet.add(caution=" ".join((CAUTION, *instrument.cautions)))
    hard = hard_graces(plan, version, 60 / float(speed))
    if not hard:
        sheet.add(text="This plan has no grace of three notes or more; there is nothing to climb.")
    if any(_fingering(instrument, choice, notes) for choice, notes in hard):
        sheet.add(small=f"Fingerings: {FINGERING_KEY}.")
    for number, (choice, notes) in enumerate(hard, 1):
        assert choice.grace is not None, "hard graces are graces"
        where = f"bar {choice.bar}, beat {beat_words(choice.beat)}"
        sheet.add(heading=f"{number}. {sentence(choice.grace.words)[:-1]}, {where}")
        fingering = _fingering(instrument, choice, notes)
        if fingering:
            sheet.add(small=sentence(fingering))
        _steps(sheet, piece, study, plan, version, choice, notes, int(speed), size.line)
    return sheet.set(piece.title or "Untitled", "practice ladder", paper)


def _fingering(instrument: Instrument, choice: Choice, notes: Sequence[PlayedNote]) -> str:
    upper = [note.pitch for note in notes if note.pitch.diatonic == choice.pitch.diatonic + 1]
    if choice.grace is None or "shake" not in choice.grace.id or not upper:
        return ""
    return instrument.shake_fingering(choice.pitch, upper[0])


def _steps(sheet: Sheet, piece: Piece, study: Study, plan: Plan, version: Version, choice: Choice,
           notes: Sequence[PlayedNote], tempo: int, line: int) -> None:
    bar = piece.by_id[choice.note].bar
    fifths = piece.bars[bar].fifths
    pitches = [note.pitch for note in notes]
    even = example_of([[Written(pitch, Fraction(1)) for pitch in _shortened(pitches)]], fifths=fifths, repeat=True)
    grouped = example_of(_groups(pitches), fifths=fifths, repeat=True)
    sheet.pair(
        (engraved_example(even, played=False, width=line), "Slow and even",
         f"quarter = {SLOW}, each note as long as the next"),
        (engraved_example(grouped, played=False, width=line), "Grouped",
         f"quarter = {SLOW}, then faster; rest on each long note"), line,
    )  # fmt: skip
    start = min(note.onset for note in notes)
    end = max(note.end for note in notes)
    played = tuple((note.pitch, note.onset - start, note.length) for note in notes)
    alone = example_of([[Written(choice.pitch, end - start, played=played)]], fifths=fifths, repeat=True)
    first, last = max(0, bar - 1), min(len(piece.bars) - 1, bar + 1)
    time = choice.time_through
    added = added_signs(piece, study, plan, time=time)
    staves = [Staff("written", study.solo, added=added, numbers={choice.note: "*"}),
              Staff("played", study.solo, row=time, scale=85)]  # fmt: skip
    sheet.pair(
        (engraved_example(alone, written=False, width=line), "In time", _paces(tempo)),
        (excerpt(piece, staves, first, last, version=version), "In its place", _paces(tempo)), line,
    )  # fmt: skip


def _paces(tempo: int) -> str:
    """Half speed, three quarters, and the tempo; in eighths where a metronome does not go so slow.

    >>> _paces(96), _paces(50)
    ('quarter = 48, 72, then 96', 'eighth = 50, 75, then 100')
    """
    name, full = ("quarter", tempo) if tempo >= 80 else ("eighth", tempo * 2)
    return f"{name} = {full // 2}, {full * 3 // 4}, then {full}"


def _shortened(pitches: Sequence[Pitch]) -> list[Pitch]:
    """At most ten notes: the beginning and the end of a long grace."""
    return list(pitches) if len(pitches) <= 10 else [*pitches[:6], *pitches[-4:]]


def _groups(pitches: Sequence[Pitch]) -> list[list[Written]]:
    """Groups of four eighths, each stopping on the note that begins the next."""
    shown = _shortened(pitches)
    bars = []
    for at in range(0, max(1, len(shown) - 1), 4):
        quick = shown[at : at + 4]
        stop = shown[at + 4] if at + 4 < len(shown) else quick.pop()
        bars.append([*(Written(pitch, Fraction(1, 2)) for pitch in quick), Written(stop, Fraction(2))])
    return [bar for bar in bars if len(bar) > 1]
