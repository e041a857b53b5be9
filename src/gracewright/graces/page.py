"""The graces that stand on the page already: signs, small notes, wavy lines, lone letters and crosses.

Conventions: the glyph counts, never the name of its element: MusicXML ``mordent`` is the wavy line with the stroke and
goes to the note below, ``inverted-mordent`` the one without and is a shake. What a glyph means is the source's
business (:mod:`gracewright.graces.page_sources`); where no source speaks, or it does not know the sign, common
practice does, and the remark says so.

Public: PageGrace, page_graces, page_remarks, unread_signs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from gracewright.graces.model import Ending, Grace
from gracewright.graces.neighbours import ALTERS, alter_at
from gracewright.graces.page_sources import Place, Read, closes, read_by, sign_of_line
from gracewright.graces.recognise import classify
from gracewright.graces.shape import Mark
from gracewright.graces.signs import kinds, sign_kinds
from gracewright.graces.sources import short_name
from gracewright.graces.ways import entry_for
from gracewright.pitch import Pitch
from gracewright.score import Piece, Sign, SmallNote, Tone, part_of, tones
from gracewright.study.model import Study

SHORT_STEAL: Final = 20
"""Per cent: a small note that steals no more from its host is a short one."""
TINY: Final = Fraction(1, 4)
"""Quarters: a small note longer than a semiquaver is never taken for a short one by its value. Our choice."""
INVERTED: Final = ("ornamentTurnInverted", "ornamentTurnSlash", "ornamentTurnUp")
"""Glyphs of the turn that begins with the note below."""


@dataclass(frozen=True, slots=True)
class PageGrace:
    """A grace read from the page. ``note`` is the tone's id; ``remark`` tells the player what was doubtful;
    ``source`` is the source that speaks, or ``common practice``."""

    note: str
    grace: Grace
    remark: str = ""
    source: str = "common practice"


def page_graces(piece: Piece, study: Study, *, source: str = "") -> tuple[PageGrace, ...]:
    """Every grace that the solo line carries on the page, in order. Raises BadInput for an unknown source."""
    found = []
    for place, running in _places(piece, study):
        read = _read(place, running, source)
        if read is not None:
            found.append(PageGrace(place.tone.id, read.grace, read.remark, read.source))
    return tuple(found)


def unread_signs(piece: Piece, study: Study, *, source: str = "") -> tuple[str, ...]:
    """Sentences about signs on the solo line that nothing was made of."""
    read = {grace.note for grace in page_graces(piece, study, source=source)}
    remarks = []
    for tone in tones(piece, study.solo):
        if tone.id not in read and tone.marks.signs:
            names = ", ".join(sign.text or sign.smufl or sign.element for sign in tone.marks.signs)
            bar = piece.bars[tone.bar].number
            remarks.append(f"bar {bar}: the sign {names} over {tone.pitch} is not one we know; it is left silent")
    return tuple(remarks)


def page_remarks(piece: Piece, study: Study, graces: Sequence[PageGrace]) -> tuple[str, ...]:
    """What was doubtful about the graces read, each thing said once, with the bars where it is so."""
    bars = {tone.id: piece.bars[tone.bar].number for tone in tones(piece, study.solo)}
    told: dict[str, list[str]] = {}
    for grace in graces:
        if grace.remark and bars[grace.note] not in told.setdefault(grace.remark, []):
            told[grace.remark].append(bars[grace.note])
    return tuple(f"{_bars(numbers)}: {remark}" for remark, numbers in told.items())


def _bars(numbers: Sequence[str]) -> str:
    """The bars in words, the first few by number.

    >>> _bars(["3"]), _bars(["3", "4", "9", "12", "20"])
    ('bar 3', 'bars 3, 4, 9 and 2 more')
    """
    if len(numbers) == 1:
        return f"bar {numbers[0]}"
    shown, more = numbers[:3], len(numbers) - 3
    return f"bars {', '.join(shown)}" + (f" and {more} more" if more > 0 else "")


def _places(piece: Piece, study: Study) -> Iterator[tuple[Place, str]]:
    """Each tone with its neighbours, and whether a wavy line runs on over it (``shake``, ``line`` or nothing)."""
    line = tones(piece, study.solo)
    transpose = piece.part(part_of(study.solo)[0]).transpose
    running = ""
    for i, tone in enumerate(line):
        after = line[i + 1] if i + 1 < len(line) else None
        previous = line[i - 1] if i else None
        wavy = tone.marks.wavy
        over = running
        if "start" in wavy:
            running = "shake" if any(_is_shake(sign) for sign in tone.marks.signs) else "line"
        into = tuple(small for small in tone.marks.before if not small.chord and not _closes(small))
        out = [small for small in tone.marks.after if not small.chord]
        if after is not None:
            out += [small for small in after.marks.before if not small.chord and _closes(small)]
        yield Place(tone, previous, after, Fraction(60) / study.tempo, into, tuple(out), transpose), over
        if "stop" in wavy or not (running and after):
            running = ""


def _closes(small: SmallNote) -> bool:
    """Whether a small note printed before a note closes the note before: it takes its time there and is not slurred
    to what follows."""
    return small.steal_previous is not None and not small.slurred and not small.slash


def _is_shake(sign: Sign) -> bool:
    return any(common is not None and common.id == "shake" for common in (kinds()[k].common for k in sign_kinds(sign)))


def _read(place: Place, running: str, source: str) -> Read | None:
    """What stands at one tone: its sign with the small notes around it, or these alone, or a line that runs on."""
    tone = place.tone
    signed = _of_signs(place, source)
    if signed is None and "start" in tone.marks.wavy:
        signed = sign_of_line(place, source)
    if signed is None and running == "shake":
        signed = Read(Grace("shake"), "the wavy line runs on from the note before")
    if signed is None and source and "staccatissimo" in tone.marks.articulations:
        signed = read_by(source, ("upright-stroke",), "staccatissimo", place)
    return _with_small_notes(signed, place, source)


def _of_signs(place: Place, source: str) -> Read | None:
    """The signs over one tone: the first that is known; a turn joined to a shake makes one ornament of both."""
    reads = [read for read in (_of_sign(sign, place, source) for sign in place.tone.marks.signs) if read is not None]
    if not reads:
        return None
    shake = next((read for read in reads if read.grace.id == "shake"), None)
    if shake is None or not any(read.grace.id == "turn" for read in reads):
        return reads[0]
    joined = any(sign.element == "inverted-mordent" for sign in place.tone.marks.signs)
    grace = Grace("turned-shake") if joined else replace(shake.grace, ending="turned", entry="")
    return replace(shake, grace=_by_source(grace, source))


def _of_sign(sign: Sign, place: Place, source: str) -> Read | None:
    plain = _plain(sign, place)
    read = read_by(source, sign, sign.element, place, plain) if source else None
    if read is None and plain is not None:
        read = Read(plain, _unexplained(source))
    if read is None:
        return None
    return replace(read, grace=_with_accidentals(read.grace, sign, place, source))


def _unexplained(source: str) -> str:
    return f"{short_name(source)} does not explain this sign: common practice" if source else ""


def _with_accidentals(grace: Grace, sign: Sign, place: Place, source: str) -> Grace:
    """Accidental marks, trill step and closing of a sign. A lone accidental over a mordent is its lower note's."""
    above, below = ALTERS.get(sign.accidental_above), ALTERS.get(sign.accidental_below)
    if grace.id == "mordent" and below is None:
        above, below = None, above
    above, below = place.sounding_alter(1, above), place.sounding_alter(-1, below)
    step = {"half": 1, "whole": 2}.get(sign.attribute("trill-step"))
    if above is None and step is not None:
        above = alter_at(place.tone.pitch, 1, step)
    turn = {"half": 1, "whole": 2}.get(sign.attribute("two-note-turn"))
    if below is None and turn is not None:
        below = alter_at(place.tone.pitch, -1, turn)
    ending: Ending = grace.ending
    if grace.id == "shake" and ending == "none":
        ending = closes(sign, place, source)
    return replace(grace, upper_alter=above, lower_alter=below, ending=ending)


def _plain(sign: Sign, place: Place) -> Grace | None:
    """What a sign means by common practice (``common`` in ``signs.toml``), with what its own attributes say."""
    known = [kinds()[kind].common for kind in sign_kinds(sign)]
    grace = next((common for common in known if common is not None), None)
    if grace is None:
        return None
    if grace.id == "shake":
        return _shake(grace, sign)
    if grace.id == "mordent" and sign.attribute("long") == "yes":
        return replace(grace, size="double")
    if grace.id == "turn":
        inverted = "inverted" in sign.element or sign.attribute("slash") == "yes" or sign.smufl in INVERTED
        return Grace("turn-after" if "delayed" in sign.element else "turn", start="lower" if inverted else "")
    if grace.id == "appoggiatura" and not grace.direction:
        return replace(grace, direction="below" if place.rise_in > 0 else "above")
    return grace


def _shake(grace: Grace, sign: Sign) -> Grace:
    """A shake with what the sign's own attributes say of its beginning and end."""
    start = sign.attribute("start-note")
    closed = sign.attribute("departure") == "below" or sign.attribute("two-note-turn") in ("whole", "half")
    return replace(
        grace,
        start="main" if start == "main" else "",
        ending="turned" if closed else grace.ending,
        direction="below" if start == "below" else grace.direction,
        accelerate=sign.attribute("accelerate") == "yes",
        size="short" if sign.attribute("long") == "no" else grace.size,
    )


def _with_small_notes(signed: Read | None, place: Place, source: str) -> Read | None:
    """A sign with the small notes that lead into it or out of it; or the small notes alone."""
    tone = place.tone
    before, after = place.into, place.out
    if signed is None:
        if before:
            return _of_small(before, place, source)
        return Read(_of_after(after, place)) if after else None
    grace = signed.grace
    joined = grace
    if grace.id == "shake":
        joined = _shake_with(grace, place)
    elif grace.id == "mordent" and len(before) == 1 and before[0].pitch < tone.pitch:
        joined = Grace("appoggiatura-mordent", lower_alter=before[0].pitch.alter)
    if joined == grace:
        return signed
    return replace(signed, grace=_by_source(joined, source))


def _by_source(grace: Grace, source: str) -> Grace:
    """A sign and small notes together are one ornament: as the source has it, where it has it."""
    bare = replace(grace, entry="", upper_alter=None, lower_alter=None)
    entry = entry_for(source, bare) if source else None
    if entry is None or entry.means is None or entry.means.lean != grace.lean:
        return grace
    return replace(grace, entry=entry.key)


def _shake_with(grace: Grace, place: Place) -> Grace:
    """A shake joined to the small notes before it (a lean, a slide or a turn) and after it (its closing)."""
    tone, before, after = place.tone, place.into, place.out
    main = tone.pitch.diatonic
    into = [small.pitch.diatonic - main for small in before]
    out = [small.pitch.diatonic - main for small in after]
    early = len(out) == 1 and place.after is not None and after[0].pitch == place.after.pitch
    if early:
        grace = replace(grace, ending="anticipation")
    elif out in ([-1, 0], [-1]):
        grace = replace(grace, ending="turned", lower_alter=after[0].pitch.alter)
    elif len(out) == 1:
        grace = replace(grace, ending="anticipation")
    if into == [1]:
        return replace(grace, lean=True, upper_alter=before[0].pitch.alter)
    if into in ([-1, 0], [-2, -1], [-2, -1, 0]):
        return replace(grace, direction="below", entry="")
    if into in ([1, 0, -1], [1, 0, -1, 0]):
        return replace(grace, direction="above", entry="")
    if into == [-1]:
        return Grace("appoggiatura-shake", direction="below", lower_alter=before[0].pitch.alter, ending=grace.ending)
    return grace


def _of_small(before: Sequence[SmallNote], place: Place, source: str) -> Read:
    """Small notes before a note without a sign."""
    tone = place.tone
    steps = [small.pitch.diatonic - tone.pitch.diatonic for small in before]
    first = before[0]
    if len(before) == 1:
        kind = "struck-small-note" if first.slash else "small-note"
        plain = _single(first, tone)
        read = read_by(source, (kind,), "grace", place, plain) if source else None
        read = read or Read(plain, _unexplained(source))
        size = read.grace.size or plain.size
        if plain.size == "short":
            size = "short"
        alter = first.pitch.alter
        grace = replace(read.grace, size=size, direction=plain.direction or read.grace.direction)
        if read.grace.entry == "":
            grace = replace(grace, notes=plain.notes)
        if steps[0] == 1:
            grace = replace(grace, upper_alter=alter)
        elif steps[0] == -1:
            grace = replace(grace, lower_alter=alter)
        else:
            grace = plain
        return replace(read, grace=grace)
    share = Fraction(1, max(8, 2 * len(before)))
    spelt = classify([*(Mark(step, share) for step in steps), Mark(0, 1 - share * len(before))])
    if spelt is not None and spelt.id != "shake":
        return Read(replace(spelt, notes=_quick(before)))
    if spelt is not None:
        return Read(spelt)
    return Read(Grace("small-notes", notes=_quick(before)))


def _single(small: SmallNote, tone: Tone) -> Grace:
    """One small note: leaning, short or passing, from above or below; a leaping one keeps its own pitch."""
    step = small.pitch.diatonic - tone.pitch.diatonic
    if step not in (1, -1):
        leans = step != 0 and not small.slash and not _tiny(small, tone)
        share = Fraction(2, 3) if tone.length.numerator % 3 == 0 else Fraction(1, 2)
        leaping = Grace("appoggiatura", size="long", direction="above" if step > 0 else "below",
                        notes=((small.pitch, share),))  # fmt: skip
        return leaping if leans else Grace("small-notes", notes=_quick([small]))
    stolen = small.steal_following
    told = stolen is not None and SHORT_STEAL < stolen < 100
    untold = stolen is not None or small.make_time is not None or _tiny(small, tone)
    short = small.slash or (not told and untold)
    passing = small.steal_previous is not None
    exact = ((small.pitch, _share(stolen)),) if told and stolen is not None and not passing and stolen != 50 else ()
    return Grace(
        "appoggiatura",
        direction="above" if step > 0 else "below",
        size="passing" if passing else "short" if short else "long",
        notes=exact,
    )


def _tiny(small: SmallNote, tone: Tone) -> bool:
    """Whether a small note is printed so short that a short one is meant. The printed value says little else: a
    leaning note takes its length from its host (cpebach1753, from memory)."""
    return small.value <= TINY and small.value * 8 <= tone.length


def _share(percent: Fraction) -> Fraction:
    """Per cent of the host as a share; thirds are printed as 33 and 66 or 67.

    >>> _share(Fraction(66)), _share(Fraction(25))
    (Fraction(2, 3), Fraction(1, 4))
    """
    return {33: Fraction(1, 3), 66: Fraction(2, 3), 67: Fraction(2, 3)}.get(int(percent), percent / 100)


def _quick(small: Sequence[SmallNote]) -> tuple[tuple[Pitch, Fraction], ...]:
    return tuple((note.pitch, Fraction(0)) for note in small)


def _of_after(after: Sequence[SmallNote], place: Place) -> Grace:
    """Small notes after a note without a sign."""
    tone = place.tone
    step = after[0].pitch.diatonic - tone.pitch.diatonic
    if len(after) == 1 and place.after is not None and after[0].pitch == place.after.pitch:
        return Grace("anticipation")
    if len(after) == 1 and step in (1, -1):
        alter = after[0].pitch.alter
        return Grace("accent", upper_alter=alter) if step == 1 else Grace("fall", lower_alter=alter)
    share = Fraction(1, max(4, 2 * len(after)))
    rows = ((tone.pitch, 1 - share * len(after)), *((small.pitch, share) for small in after))
    return Grace("division", notes=rows)
