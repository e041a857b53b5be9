"""The graces that stand on the page already: signs, small notes, lone letters and crosses.

Conventions: the glyph counts, never the name of its element: MusicXML ``mordent`` is the wavy line with the stroke and
goes to the note below, ``inverted-mordent`` the one without and is a short shake. What a glyph means is the source's
business; where no source speaks, common practice does.

Public: PageGrace, page_graces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from gracewright.graces.model import Context, Grace
from gracewright.graces.realise import shake_ending
from gracewright.pitch import Pitch
from gracewright.score import Piece, Sign, SmallNote, Tone, tones
from gracewright.study.model import Study

ALTERS: Final = {"": None, "sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2}


@dataclass(frozen=True, slots=True)
class PageGrace:
    """A grace read from the page. ``note`` is the tone's id; ``remark`` tells the player what was doubtful."""

    note: str
    grace: Grace
    remark: str = ""
    source: str = "common practice"


def page_graces(piece: Piece, study: Study, *, source: str = "") -> tuple[PageGrace, ...]:
    """Every grace that the solo line carries on the page, in order."""
    line = tones(piece, study.solo)
    found = []
    for i, tone in enumerate(line):
        after = line[i + 1] if i + 1 < len(line) else None
        previous = line[i - 1] if i else None
        grace = _read(tone, previous, after, study)
        if grace is not None:
            found.append(PageGrace(tone.id, grace))
    return tuple(found)


def _read(tone: Tone, previous: Tone | None, after: Tone | None, study: Study) -> Grace | None:
    marks = tone.marks
    place = Context(
        tone.pitch, tone.onset, tone.length, study.home, 0,
        following=after.pitch if after else None, rest_after=tone.rest_after > 0,
    )  # fmt: skip
    signed = next((g for g in (_of_sign(sign, place) for sign in marks.signs) if g is not None), None)
    if signed is None and marks.wavy and float(tone.length) >= 1:
        signed = Grace("finger-vibrato")
    return _with_small_notes(signed, tone, previous)


def _of_sign(sign: Sign, place: Context) -> Grace | None:
    grace = _plain(sign, place)
    if grace is None:
        return None
    return replace(
        grace, upper_alter=ALTERS.get(sign.accidental_above), lower_alter=ALTERS.get(sign.accidental_below)
    )


def _plain(sign: Sign, place: Context) -> Grace | None:
    match sign.element:
        case "trill-mark" | "shake" | "inverted-mordent":
            return _shake(sign, place)
        case "words" if sign.text.strip().rstrip(".").lower() in ("+", "t", "tr", "x"):
            return _shake(sign, place)
        case "mordent":
            return Grace("mordent", size="double" if sign.attribute("long") == "yes" else "single")
        case "turn" | "vertical-turn":
            return Grace("turn")
        case "inverted-turn" | "inverted-vertical-turn":
            return Grace("turn", start="lower")
        case "delayed-turn":
            return Grace("turn-after")
        case "delayed-inverted-turn":
            return Grace("turn-after", start="lower")
        case "schleifer":
            return Grace("slide")
        case "tremolo":
            return None
    return None


def _shake(sign: Sign, place: Context) -> Grace:
    approach, departure = sign.attribute("approach"), sign.attribute("departure")
    ending = "turned" if departure == "below" or sign.attribute("two-note-turn") in ("whole", "half") else "none"
    if ending == "none" and sign.element != "inverted-mordent":
        ending = shake_ending(place)
    direction = approach if approach in ("above", "below") else ""
    start = sign.attribute("start-note")
    return Grace(
        "shake", start="main" if start == "main" else "lower" if start == "below" else "",
        ending="turned" if ending == "turned" else "anticipation" if ending == "anticipation" else "none",
        direction="above" if direction == "above" else "below" if direction == "below" else "",
        accelerate=sign.attribute("accelerate") == "yes",
    )  # fmt: skip


def _with_small_notes(signed: Grace | None, tone: Tone, previous: Tone | None) -> Grace | None:
    """A sign with the small notes that lead into it or out of it; or the small notes alone."""
    before = [small for small in tone.marks.before if not small.chord]
    after = [small for small in tone.marks.after if not small.chord]
    if signed is not None and signed.id == "shake":
        if len(after) == 2 and after[0].pitch < tone.pitch:
            signed = replace(signed, ending="turned", lower_alter=after[0].pitch.alter)
        elif len(after) == 1:
            signed = replace(signed, ending="anticipation")
        if len(before) == 1 and before[0].pitch.diatonic == tone.pitch.diatonic + 1:
            signed = replace(signed, lean=True, upper_alter=before[0].pitch.alter)
        return signed
    if signed is not None and signed.id == "mordent" and len(before) == 1 and before[0].pitch < tone.pitch:
        return Grace("appoggiatura-mordent", lower_alter=before[0].pitch.alter)
    if signed is not None:
        return signed
    if before:
        return _of_small(before, tone, previous)
    if after:
        return _of_after(after, tone)
    return None


def _of_small(before: Sequence[SmallNote], tone: Tone, previous: Tone | None) -> Grace:
    steps = [small.pitch.diatonic - tone.pitch.diatonic for small in before]
    if steps in ([1], [-1]):
        above = steps[0] > 0
        short = before[0].slash or (before[0].steal_following is not None and before[0].steal_following <= 15)
        passing = before[0].steal_previous is not None
        return Grace(
            "appoggiatura", direction="above" if above else "below",
            size="passing" if passing else "short" if short or _too_short(before[0], tone) else "long",
            upper_alter=before[0].pitch.alter if above else None,
            lower_alter=None if above else before[0].pitch.alter,
        )  # fmt: skip
    if steps in ([-2, -1], [2, 1]):
        return Grace("slide", direction="below" if steps[0] < 0 else "above", notes=_quick(before))
    if steps in ([-1, 1], [1, -1]):
        return Grace("double-appoggiatura", direction="" if steps[0] < 0 else "above", notes=_quick(before))
    return Grace("small-notes", notes=_quick(before))


def _quick(small: Sequence[SmallNote]) -> tuple[tuple[Pitch, Fraction], ...]:
    return tuple((note.pitch, Fraction(0)) for note in small)


def _too_short(small: SmallNote, tone: Tone) -> bool:
    """A small note printed much shorter than its host's half is meant short."""
    return small.value * 4 < tone.length


def _of_after(after: Sequence[SmallNote], tone: Tone) -> Grace:
    step = after[0].pitch.diatonic - tone.pitch.diatonic
    if len(after) == 1 and step in (1, -1):
        return Grace("accent" if step == 1 else "fall", upper_alter=after[0].pitch.alter if step == 1 else None,
                     lower_alter=after[0].pitch.alter if step == -1 else None)  # fmt: skip
    share = Fraction(1, max(4, 2 * len(after)))
    rows = ((tone.pitch, 1 - share * len(after)), *((small.pitch, share) for small in after))
    return Grace("division", notes=rows)
