"""One engine for every grace: from a grace and its place to notes with exact times.

Conventions: onsets are quarters from the host's written onset, negative for notes before the beat; the lengths of all
notes that are not before the beat, with a closing silence, sum exactly to the host (only an appoggiatura before a
rest, by the sources that say so, lets the written note sound in the rest). ``main`` marks every sounding of
the written pitch that stands for the written note itself; ``slurred`` says that a note is joined to the one before.

Public: realise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from gracewright.graces.layout import SLOWEST_AFTER, Laid, Limits, lay
from gracewright.graces.model import Context, Grace, GraceNote, Realised
from gracewright.graces.neighbours import neighbour, walk
from gracewright.graces.shape import HOLD, Mark, Shape
from gracewright.graces.vocabulary import Pattern, word_of
from gracewright.graces.ways import Way, way_for
from gracewright.pitch import Pitch

ZERO: Final = Fraction(0)
Row = tuple[Pitch | None, Fraction, Fraction]
"""Pitch (None: silence), onset from the host's, length."""
MOST_FROM_PREVIOUS: Final = 0.3
"""Seconds: the longest note that is taken from the note before. Our choice, by ear."""


def realise(grace: Grace, context: Context) -> Realised:
    """The notes that a grace becomes at its place.

    >>> from gracewright.pitch import Key
    >>> host = Context(Pitch.parse("C5"), Fraction(0), Fraction(1), Key.parse("C major"), 0)
    >>> [(str(n.pitch), str(n.length)) for n in realise(Grace("mordent"), host).notes]
    [('C5', '1/8'), ('B4', '1/8'), ('C5', '3/4')]
    """
    word = word_of(grace.id)
    if grace.notes and all(share > 0 for _, share in grace.notes):
        return _explicit(grace, context)
    way = way_for(grace, context)
    if way.pattern.before:
        return _before(grace, context, way)
    rows, remark = _laid(grace, context, way)
    if way.into_rest:
        rows.append((context.pitch, context.length, min(context.rest_length, context.length)))
    notes, silence = _sounded(rows, context)
    if word.bend or word.swell:
        notes = tuple(replace(note, bend=word.bend, swell=word.swell) for note in notes)
    words = f"{word.title}: {_spoken([note.pitch for note in notes])}, {_when(notes, context)}"
    if word.bend or word.swell:
        words = f"{word.title}: {word.meaning[0].lower()}{word.meaning[1:].rstrip('.')}"
    return Realised(notes, ZERO, _sentence(words, remark, way), silence)


def _when(notes: Sequence[GraceNote], context: Context) -> str:
    """In a player's words, when the grace comes."""
    if notes[0].onset > 0:
        return "late"
    if notes[0].main and 1 < len(notes) < 7 and notes[0].length * 2 >= context.length:
        return "towards the end of the note"
    return "on the beat"


def _limits(context: Context) -> Limits:
    return Limits(context.quarter, context.rate, context.least)


def _laid(grace: Grace, context: Context, way: Way) -> tuple[list[Row], str]:
    """Rows over the host, end notes that the place gives included; and a remark where the shape had to give way."""
    after = _after(grace, context, way.pattern)
    first = _first(grace, context, way.pattern)
    body = context.length
    for _, length in after:
        body -= length
    shape = way.pattern.shape
    if first:
        shape = Shape(tuple(Mark(0) for _ in first) + shape.head)
    laid = lay(shape, body, _limits(context))
    pitches = _pitches(laid, grace, context, way.rule)
    if first and len(pitches) > len(first):
        pitches[: len(first)] = first
    rows: list[Row] = [(pitch, at, length) for pitch, (_, at, length) in zip(pitches, laid.notes, strict=True)]
    for pitch, length in after:
        rows.append((pitch, body, length))
        body += length
    return rows, laid.remark


def _pitches(laid: Laid, grace: Grace, context: Context, rule: str) -> list[Pitch | None]:
    """Spelled pitches of a laid shape."""
    known: dict[int | None, Pitch | None] = {0: context.pitch, None: None}
    if grace.notes:  # small notes on the page prescribe their pitches
        known |= {pitch.diatonic - context.pitch.diatonic: pitch for pitch, _ in grace.notes}
        known[0] = context.pitch
    for step, _, _ in laid.notes:
        if step not in known:
            assert step is not None
            written = grace.upper_alter if step == 1 else grace.lower_alter if step == -1 else None
            known[step] = neighbour(context, step, written, rule)
    return [known[step] for step, _, _ in laid.notes]


def _after(grace: Grace, context: Context, pattern: Pattern) -> list[tuple[Pitch, Fraction]]:
    """Notes at the host's end whose pitches the place gives: anticipation, passing notes."""
    following = context.following
    if following is None or context.rest_after:
        return []
    if pattern.fill == "next" or (grace.ending == "anticipation" and not _led_on(pattern.shape)):
        share = pattern.fill_share or (Fraction(1, 6) if context.ternary else Fraction(1, 4))
        return [(following, _no_longer(share * context.length, context, SLOWEST_AFTER))]
    if pattern.fill == "walk":
        between = walk(context, context.pitch, following)
        if not between or float(context.length * context.quarter) < context.least * (len(between) + 2):
            return []
        share = Fraction(1, max(4, 2 * len(between)))
        each = _no_longer(share * context.length, context, SLOWEST_AFTER)
        return [(pitch, each) for pitch in between]
    return []


def _led_on(shape: Shape) -> bool:
    """Whether a source's own example already ends on another note than the main one."""
    return bool(shape.printed) and shape.printed[-1].step not in (0, None)


def _first(grace: Grace, context: Context, pattern: Pattern) -> list[Pitch]:
    """Quick notes at the host's beginning whose pitches are given: small notes, the chord below."""
    if pattern.fill == "notes":
        return [pitch for pitch, _ in grace.notes]
    if pattern.fill == "chord":
        return _chord_below(context)
    return []


def _chord_below(context: Context) -> list[Pitch]:
    """The two nearest chord notes below the host, lowest first."""
    found: list[Pitch] = []
    for place in range(context.pitch.diatonic - 1, context.pitch.diatonic - 8, -1):
        for name in context.harmony:
            pitch = Pitch.parse(f"{name}{place // 7}")
            if pitch.diatonic == place and len(found) < 2:
                found.append(pitch)
    return found[::-1]


def _no_longer(length: Fraction, context: Context, seconds: float) -> Fraction:
    while float(length * context.quarter) > seconds:
        length /= 2
    return length


def _row(pitches: Sequence[Pitch], lengths: Sequence[Fraction], start: Fraction) -> list[Row]:
    """Notes one after the other."""
    rows: list[Row] = []
    for pitch, length in zip(pitches, lengths, strict=True):
        rows.append((pitch, start, length))
        start += length
    return rows


def _sounded(rows: Sequence[Row], context: Context) -> tuple[tuple[GraceNote, ...], Fraction]:
    """The notes of rows in order; a closing silence is returned as a length."""
    notes: list[GraceNote] = []
    joined, silence, main = context.slurred_in, ZERO, context.pitch
    for pitch, at, length in rows:
        if pitch is None:
            joined, silence = False, length
        else:
            notes.append(GraceNote(pitch, at, length, pitch == main, joined))
            joined, silence = True, ZERO
    return tuple(notes), silence


def _before(grace: Grace, context: Context, way: Way) -> Realised:
    """A grace that takes its time from the note before (or from the rest before); on the beat where there is none."""
    marks = way.pattern.before
    steps = Laid(tuple((mark.step, ZERO, ZERO) for mark in marks))
    pitches = _pitches(steps, grace, context, way.rule)
    room = context.previous_length or (context.length if context.rest_before else ZERO)
    if room == 0:
        on_beat = replace(way.pattern, shape=Shape((*(Mark(m.step) for m in marks), Mark(0, HOLD))), before=())
        rows, remark = _laid(grace, context, replace(way, pattern=on_beat))
        notes, silence = _sounded(rows, context)
        words = f"{word_of(grace.id).title}: nothing before it to take time from, so short and on the beat"
        return Realised(notes, ZERO, _sentence(words, remark, way), silence)
    lengths = [_no_longer(mark.share * room, context, MOST_FROM_PREVIOUS) for mark in marks]
    taken = sum(lengths, ZERO)
    early, _ = _sounded(_row([pitch for pitch in pitches if pitch is not None], lengths, -taken), context)
    body, remark = _laid(grace, context, replace(way, pattern=replace(way.pattern, before=())))
    main, silence = _sounded(body, replace(context, slurred_in=True))
    early_words = _spoken([note.pitch for note in early])
    words = f"{word_of(grace.id).title}: {early_words} before the beat, then {context.pitch} on it"
    return Realised(early + main, taken, _sentence(words, remark, way), silence)


def _explicit(grace: Grace, context: Context) -> Realised:
    """Notes given one by one with their shares; what the shares leave open is the written note's."""
    total = sum((share for _, share in grace.notes), ZERO)
    rows = list(grace.notes) if total >= 1 else [*grace.notes, (context.pitch, 1 - total)]
    scale = context.length / max(total, Fraction(1))
    notes, _ = _sounded(_row([pitch for pitch, _ in rows], [share * scale for _, share in rows], ZERO), context)
    return Realised(notes, ZERO, f"{word_of(grace.id).title}: {_spoken([note.pitch for note in notes])}.")


def _spoken(pitches: Sequence[Pitch]) -> str:
    """Pitches in a row, long alternations told once."""
    names = [str(pitch) for pitch in pitches]
    if len(names) <= 8:
        return " ".join(names)
    return f"{' '.join(names[:4])} … {' '.join(names[-4:])} ({len(names)} notes)"


def _sentence(words: str, remark: str, way: Way) -> str:
    by = f", as {way.by}" if way.by else ""
    told = "; ".join(part for part in (words + by, remark, way.remark) if part)
    return f"{told}."
