"""The plan as a text that a musician reads and edits: one line a choice, in bar order.

::

    bar 8 beat 3 [g''] 1st time: shake, leaning start, turned ending — A half close … (tosi1723, strength 0.9)
        or: mordent, single (-0.41) — bites into the note and makes it speak

A line that begins with ``keep`` or ``never`` is locked: it survives when the plan is made anew. ``nothing`` in place of
a grace leaves the note bare. Without ``1st time`` the line holds every time. Lines that begin with # are remarks of
the player's; indented lines tell what else would do and may be deleted.

Conventions: an unedited text gives back the very plan. A choice is found again by bar, beat and pitch; what no longer
fits a changed score is left out and told in the plan's remarks.

Public: write_plan, read_plan, plan_lines.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import isfinite
from typing import Final

from gracewright.errors import BadInput, PlanMismatch
from gracewright.pitch import Pitch
from gracewright.score import Piece, Tone, beat_words, read_beat, tones
from gracewright.study.model import Study
from gracewright.taste.growth import order_of
from gracewright.taste.lines import (
    bar_names,
    grace_words,
    pitch_words,
    read_grace,
    read_pitch,
    read_time,
    time_words,
)
from gracewright.taste.model import Alternative, Bare, Choice, Lock, Origin, Plan

HEAD: Final = """\
# A plan of graces: one line a choice, in the order of the bars. Change what you like and give it back with --plan.
#   bar 8 beat 3 [g''] 1st time: shake      this grace, this time; without "1st time" it holds every time
#   bar 8 beat 3 [g'']: nothing             leaves the note bare
#   keep bar 8 beat 3 [g'']: shake          stays when the plan is made anew (--plan plan.txt --anew)
#   never bar 9 beat 1 [a'']                no grace here, ever, not even when the plan is made anew
# Indented lines tell what else would do; they are for reading and may be deleted. Lines with # are for you.
"""
PLACE: Final = re.compile(
    r"(?:(keep|never) )?bar (.+?) beat (\S+)(?: \[([^\]]+)\])?(?: (\d+(?:st|nd|rd|th) time|every time))?\s*(?::(.*))?"
)
TAIL: Final = re.compile(r"\s*\((?:(page|player), )?(?:([^(),]*), )?strength ([0-9.]+)\)$")
OTHER: Final = re.compile(r"or: (.*?) \((-?[0-9.]+)\)(?: — (.*))?")
HEADERS: Final = ("title", "line", "manner", "signs by", "instrument", "level", "richness", "curve")


def write_plan(plan: Plan, second: Plan | None = None) -> str:
    """The text, with the second melody part's choices below the first's. It ends with a line break."""
    lines = [HEAD]
    values = (plan.title, plan.solo, plan.manner, plan.signs_by, plan.instrument, plan.level, f"{plan.richness:g}",
              " ".join(f"{onset}={factor:g}" for onset, factor in plan.curve))  # fmt: skip
    lines += [f"{name}: {' '.join(value.split())}" for name, value in zip(HEADERS, values, strict=True) if value]
    lines += _body(plan)
    if second is not None:
        lines += ["", "# The second melody part.", f"line: {second.solo}", *_body(second)]
    return "\n".join(lines) + "\n"


def plan_lines(text: str) -> Sequence[tuple[str, str]]:
    """The lines (parts) that a plan is for, each with the text that is about it; one without a name for a plan that
    names none.

    >>> [(name, part.count("bar")) for name, part in plan_lines("line: P1\\nbar 1 beat 1: turn\\nline: P2")]
    [('P1', 1), ('P2', 0)]
    """
    rows = text.splitlines()
    starts = [number for number, row in enumerate(rows) if row.strip().startswith("line:")]
    if len(starts) < 2:
        return [(rows[starts[0]].partition(":")[2].strip() if starts else "", text)]
    found = []
    for start, end in pairwise([0, *starts[1:], len(rows)]):
        kept = [
            row if start <= number < end or (number < starts[1] and _is_heading(row)) else ""
            for number, row in enumerate(rows)
        ]  # fmt: skip
        name = rows[start if start else starts[0]].partition(":")[2].strip()
        found.append((name, "\n".join(kept)))
    return found


def _is_heading(row: str) -> bool:
    """A heading that holds for every part."""
    name = row.strip().partition(":")[0]
    return name in HEADERS and name != "line"


def _body(plan: Plan) -> list[str]:
    """Remarks, choices and bare places of one part."""
    lines = [*(f"remark: {remark}" for remark in plan.remarks), ""]
    bare = list(plan.bare)
    for choice in plan.choices:
        while bare and _before(bare[0], choice, plan):
            lines.append(_bare_line(bare.pop(0)))
        lines += _choice_lines(choice)
    lines += [_bare_line(place) for place in bare]
    return lines


def _before(place: Bare, choice: Choice, plan: Plan) -> bool:
    """Bare places keep their own order; among choices they stand by bar and beat."""
    same = place.bar == choice.bar
    if same:
        return (place.beat, place.time_through) < (choice.beat, choice.time_through)
    later = {other.bar for other in plan.choices if other.onset >= choice.onset}
    return place.bar not in later and _bar_key(place.bar) < _bar_key(choice.bar)


def _bar_key(bar: str) -> tuple[int, int]:
    numbers = re.findall(r"\d+", bar)
    return int(numbers[0]) if numbers else 0, int(numbers[1]) if len(numbers) > 1 else 0


def _choice_lines(choice: Choice) -> Iterator[str]:
    lock = f"{choice.lock} " if choice.lock else ""
    words = grace_words(choice.grace)
    place = f"bar {choice.bar} beat {beat_words(choice.beat)} [{pitch_words(choice.pitch)}]"
    place = f"{place} {time_words(choice.time_through)}"
    told = f" — {' '.join(choice.reasons)}" if choice.reasons else ""
    origin = "" if choice.origin == "ours" else f"{choice.origin}, "
    source = f"{choice.source}, " if choice.source else ""
    yield f"{lock}{place}: {words}{told} ({origin}{source}strength {choice.strength:g})"
    for other in choice.alternatives:
        yield f"    or: {grace_words(other.grace)} ({other.score:g}) — {other.effect}"


def _bare_line(place: Bare) -> str:
    return f"    bare: bar {place.bar} beat {beat_words(place.beat)} {time_words(place.time_through)} — {place.why}"


@dataclass
class _Reader:
    """State while a text is read."""

    piece: Piece
    study: Study
    places: dict[tuple[str, Fraction], Tone]
    heard: dict[str, int]
    choices: list[Choice] = field(default_factory=list)
    bare: list[Bare] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    misfits: list[str] = field(default_factory=list)
    header: dict[str, str] = field(default_factory=dict)


def read_plan(text: str, piece: Piece, study: Study) -> Plan:
    """Read a plan against a score. Of a plan for two parts only what is about ``study.solo`` (else the first) is read.

    Raises BadInput for a line that is not understood, PlanMismatch where no choice fits the score at all.
    """
    reader = _reader(piece, study)
    parts = plan_lines(text)
    text = dict(parts).get(study.solo, parts[0][1])
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        try:
            _read_line(reader, line)
        except BadInput as fault:
            remedy = str(fault).partition("; ")[2].rstrip(".")
            raise BadInput(f"line {number} of the plan is not understood ({fault.what})", remedy=remedy) from None
    if reader.misfits and not reader.choices:
        first = reader.misfits[0][:1].lower() + reader.misfits[0][1:].rstrip(".")
        raise PlanMismatch(f"none of the plan's {len(reader.misfits)} choices fits this score: {first}",
                           file=piece.source, remedy="make a new plan, or give the score it was made for")  # fmt: skip
    index = {tone.id: place for place, tone in enumerate(tones(piece, study.solo))}
    chosen = {(choice.note, choice.time_through): choice for choice in reader.choices}  # the last line wins
    ordered = sorted(chosen.values(), key=lambda choice: (index[choice.note], choice.time_through))
    return _plan(reader, tuple(ordered))


def _plan(reader: _Reader, choices: tuple[Choice, ...]) -> Plan:
    said = reader.header
    try:
        richness = float(said.get("richness", "5"))
        pairs = [pair.split("=") for pair in said.get("curve", "").split()]
        curve = tuple((Fraction(onset), float(factor)) for onset, factor in pairs)
        if not all(map(isfinite, (richness, *(factor for _, factor in curve)))):
            raise ValueError("not a finite number")
    except (ValueError, ZeroDivisionError):
        raise BadInput("the plan's richness or curve is not a number", remedy="write richness: 5") from None
    return Plan(
        reader.piece.title, reader.study.solo, said.get("manner", ""), said.get("signs by", ""),
        said.get("instrument", ""), said.get("level", "intermediate"), richness, curve, choices, tuple(reader.bare),
        (*reader.remarks, *reader.misfits),
    )  # fmt: skip


def _reader(piece: Piece, study: Study) -> _Reader:
    names = bar_names(piece)
    heard: dict[str, int] = dict.fromkeys(names, 0)
    for run in order_of(piece, study):
        for bar in range(run.first_bar, run.last_bar + 1):
            heard[names[bar]] += 1
    places = {(names[tone.bar], piece.beat_of(tone.onset, tone.bar)): tone for tone in tones(piece, study.solo)}
    return _Reader(piece, study, places, heard)


def _read_line(reader: _Reader, line: str) -> None:
    words = line.strip()
    if words.startswith("or: "):
        match = OTHER.fullmatch(words)
        if match and reader.choices:
            other = Alternative(read_grace(match[1]), float(match[2]), match[3] or "")
            last = reader.choices[-1]
            reader.choices[-1] = replace(last, alternatives=(*last.alternatives, other))
        return
    if words.startswith("bare: "):
        _read_bare(reader, words.removeprefix("bare: "))
        return
    match = PLACE.fullmatch(words)
    if match is None:
        name, colon, value = words.partition(":")
        if colon and name == "remark":
            reader.remarks.append(value.strip())
        elif colon and name in HEADERS:
            reader.header[name] = value.strip()
        else:
            remedy = "write it like bar 8 beat 3 [g''] 1st time: shake"
            raise BadInput(f"it begins with {words[:40]!r}", remedy=remedy)
        return
    _read_choice(reader, match)


def _read_choice(reader: _Reader, match: re.Match[str]) -> None:
    lock_word, bar, beat, pitch_name, time, rest = match.groups()
    lock: Lock = "keep" if lock_word == "keep" else "never" if lock_word == "never" else ""
    rest = (rest or "").strip()
    origin: Origin = "player"
    source, strength = "", 1.0
    tail = TAIL.search(rest)
    if tail:
        origin = "page" if tail[1] == "page" else "player" if tail[1] == "player" else "ours"
        source, strength = tail[2] or "", float(tail[3])
        rest = rest[: tail.start()]
    words, _, told = rest.partition(" — ")
    if words.startswith("— "):
        words, told = "", words.removeprefix("— ")
    grace = None if lock == "never" else read_grace(words.strip())
    told_all = tuple(re.split(r"(?<=\.) (?=[A-Z])", told.strip())) if told.strip() else ()
    tone = _find(reader, bar, read_beat(beat), pitch_name)
    if tone is None:
        return
    wanted = read_time(time or "")
    heard = reader.heard[bar]
    if wanted > heard:
        often = {1: "once", 2: "twice"}.get(heard, f"{heard} times")
        reader.misfits.append(f"Bar {bar} is heard only {often}, so what the plan says for the {time} is left out.")
        return
    for time_through in (wanted,) if wanted else range(1, heard + 1):
        reader.choices.append(
            Choice(time_through, reader.study.solo, tone.id, bar, read_beat(beat), tone.onset, tone.pitch, grace,
                   origin, strength, told_all, source, (), lock)
        )  # fmt: skip


def _find(reader: _Reader, bar: str, beat: Fraction, pitch_name: str | None) -> Tone | None:
    """The note meant; where it is not there any more, a misfit is noted."""
    pitch = read_pitch(pitch_name) if pitch_name else None
    tone = reader.places.get((bar, beat))
    if tone is None:
        there = "no such bar" if bar not in reader.heard else "no note begins there now"
        meant = f" ({pitch_words(pitch)} in the plan)" if pitch else ""
        reader.misfits.append(f"Bar {bar} beat {beat_words(beat)}: {there}{meant}; the choice is left out.")
        return None
    if pitch is not None and not _same(reader, tone.pitch, pitch):
        reader.misfits.append(f"Bar {bar} beat {beat_words(beat)}: the note is {pitch_words(tone.pitch)} now, not "
                              f"{pitch_words(pitch)}; the choice is left out.")  # fmt: skip
        return None
    return tone


def _same(reader: _Reader, sounding: Pitch, named: Pitch) -> bool:
    """A player of a transposing part may name the written note."""
    if sounding == named:
        return True
    moved = reader.piece.part(reader.study.solo.partition("/")[0]).transpose
    return moved != (0, 0) and named.transposed(*moved) == sounding


def _read_bare(reader: _Reader, words: str) -> None:
    place, _, why = words.partition(" — ")
    match = PLACE.fullmatch(place)
    if match is None:
        return
    tone = reader.places.get((match[2], read_beat(match[3])))
    if tone is not None:
        reader.bare.append(Bare(max(1, read_time(match[5] or "")), tone.id, match[2], read_beat(match[3]), why))
