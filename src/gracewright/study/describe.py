"""A study in words, for a musician.

Public: describe.
"""

from __future__ import annotations

from fractions import Fraction

from gracewright.score import Piece, beat_words
from gracewright.study.model import Study


def describe(study: Study, piece: Piece) -> str:
    """Keys, cadences, phrases, sequences and repeats with their bars, as plain lines of text."""
    return "\n".join(
        [*_heading(study, piece), *_keys(study, piece), *_cadences(study, piece), *_phrases(study, piece),
         *_patterns(study, piece), *_notes(study), *(f"Note: {remark}" for remark in study.remarks)]
    )  # fmt: skip


def place(piece: Piece, onset: Fraction) -> str:
    """``bar 8, beat 3``, as a player counts."""
    bar = piece.bar_at(onset)
    beat = piece.beat_of(onset, bar.index)
    return f"bar {bar.number}, beat {beat_words(beat)}"


def bars_between(piece: Piece, start: Fraction, end: Fraction) -> str:
    """``bars 3-6``."""
    first = piece.bar_at(start)
    last = next((b for b in reversed(piece.bars) if b.onset < end), first)
    return f"bar {first.number}" if first.index >= last.index else f"bars {first.number}–{last.number}"


def _heading(study: Study, piece: Piece) -> list[str]:
    lines = [f"{piece.title or 'Untitled'}: {study.home}, {len(piece.bars)} bars"]
    if study.dance:
        sure = "" if study.dance_confidence > 0.8 else f" (a guess, {study.dance_confidence:.0%})"
        lines.append(f"Type: {study.dance}{sure}")
    printed = any(words.tempo is not None for words in piece.words)
    lines.append(f"Tempo: a quarter note = {float(study.tempo):.0f}{'' if printed else ' (guessed)'}")
    names = {part.id: part.name or part.id for part in piece.parts}
    solo = names.get(study.solo.split("/")[0], study.solo)
    lines.append(f"Solo: {solo} ({study.solo}); bass: {_bass_name(study, names)}")
    return lines


def _bass_name(study: Study, names: dict[str, str]) -> str:
    return f"{names.get(study.bass.split('/')[0], study.bass)} ({study.bass})" if study.bass else "none"


def _keys(study: Study, piece: Piece) -> list[str]:
    lines = ["", "Keys"]
    for span in study.keys:
        doubt = f" (or {span.runner_up})" if span.margin < 0.7 else ""
        bars = bars_between(piece, span.onset, span.onset + span.length)
        lines.append(f"  {bars}: {span.key}{doubt}: {span.evidence}")
    return lines


def _cadences(study: Study, piece: Piece) -> list[str]:
    lines = ["", "Cadences"] if study.cadences else ["", "No cadence was found."]
    for cadence in study.cadences:
        hemiola = ", with a hemiola before it" if cadence.hemiola else ""
        strength = "strong" if cadence.strength >= 0.66 else "weak" if cadence.strength < 0.4 else "middling"
        lines.append(
            f"  {place(piece, cadence.onset)}: {cadence.kind}, {strength}, in {cadence.key}{hemiola} ({cadence.reason})"
        )
    return lines


def _phrases(study: Study, piece: Piece) -> list[str]:
    lines = ["", "Phrases, and where to breathe after each"]
    for phrase in study.phrases:
        lines.append(
            f"  {place(piece, phrase.start)} to {place(piece, phrase.end)}: {phrase.seconds:.1f} s ({phrase.reason})"
        )
        for breath in phrase.breaths:
            note = piece.by_id[breath.after]
            words = f"{note.pitch} in {place(piece, note.onset)}: {breath.reason} ({breath.seconds:.1f} s)"
            lines.append(f"    to breathe within it: after the {words}")
    return lines


def _patterns(study: Study, piece: Piece) -> list[str]:
    lines = [""]
    for sequence in study.sequences:
        direction = "rising" if sequence.step > 0 else "falling"
        extent = {1: "a step", 2: "a third", 3: "a fourth", 4: "a fifth"}.get(abs(sequence.step), "a sixth")
        lines.append(
            f"Sequence, {bars_between(piece, sequence.start, sequence.end)}: {len(sequence.legs)} legs, {direction} by "
            f"{extent}{'' if sequence.exact else ', varied'}{', with the bass' if sequence.with_bass else ''}"
        )
    for repeat in study.repeats:
        first = bars_between(piece, *repeat.first)
        again = "" if repeat.first == repeat.again else f" again at {bars_between(piece, *repeat.again)}"
        lines.append(f"Repeat ({repeat.kind}): {first}{again}")
    lines += [f"Hemiola: {bars_between(piece, hemiola.start, hemiola.end)}" for hemiola in study.hemiolas]
    for one in study.imitations:
        other = "bass" if one.leader == "solo" else "solo"
        lines.append(
            f"Imitation: the {other} at {place(piece, one.entry)} takes up what the {one.leader} has from "
            f"{place(piece, one.start)}"
        )
    lines += [f"The bass walks: {bars_between(piece, walk.start, walk.end)}" for walk in study.walking]
    return lines if len(lines) > 1 else []


def _notes(study: Study) -> list[str]:
    counts: dict[str, int] = {}
    for role in study.roles:
        counts[role.role] = counts.get(role.role, 0) + 1
    ranked = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    return ["", "Notes of the melody: " + ", ".join(f"{count} {name}" for name, count in ranked)]
