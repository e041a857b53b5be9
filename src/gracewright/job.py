"""The whole way: a piece is studied, a plan is made, realised, judged, and written out.

This is what the command line and the desk call. Nothing is decided here; every answer comes from a room.

Conventions: ``Wishes`` are the user's dials; a ``Work`` holds the five values made from them. A result is written to a
temporary file beside its place and then renamed, so that nothing half-written is ever seen.

Public: Wishes, Work, work_on, judge, moved, plain, heard, additions, sounded, result, sound_of, about, write_results,
in_place_of, demo_piece, midi_of, RESULTS, MORE_RESULTS.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Container, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Final, Literal

import numpy as np
from lxml import etree
from threadpoolctl import ThreadpoolController

from gracewright.errors import BadInput
from gracewright.graces import (
    Context,
    Version,
    contexts,
    load_source,
    perform,
    short_name,
    sign_for,
    speaking_source,
)
from gracewright.instruments import Instrument, load_instrument, octave_moves, out_of_range, transpositions, widened
from gracewright.review import Finding, Review, review
from gracewright.score import (
    Addition,
    MidiPart,
    Piece,
    Sounded,
    find_solo,
    part_of,
    read,
    signatures,
    tones,
    write_abc,
    write_mei,
    write_midi,
    write_parallel,
    write_played,
    write_signs,
)
from gracewright.score.transpose import transposed
from gracewright.sheet import parallel_sheet, readable
from gracewright.sound import SAMPLE_RATE, load_temperament, render, write_audio
from gracewright.study import Study, study
from gracewright.taste import (
    Bare,
    Choice,
    Manner,
    Plan,
    both,
    load_manner,
    make_plan,
    make_second,
    manner_for,
    manners,
    partner_of,
    placed,
    plan_lines,
    read_plan,
    write_plan,
)

RESULTS: Final = ("signs.musicxml", "played.musicxml", "plan.txt", "sheet.pdf", "sound.ogg")
"""What :func:`write_results` can leave in a folder, quick ones first."""
MORE_RESULTS: Final = ("parallel.musicxml", "played.mid", "both.mei", "signs.abc")
"""What it can leave besides, asked by name: plain and played as parallel parts; tuned MIDI; signs and notes as MEI;
the line with the signs of the first time as ABC."""
SECOND_SHEET: Final = "sheet-second.pdf"
"""The sheet of a second melody part."""
MOST_OCTAVES: Final = 3
"""So many phrases that would lie well an octave away are named."""
PAGE_SIGN: Final = "The sign is the page's own: play it quickly, or ask whether another table of signs is meant."
MENDS: Final = 6
"""Rounds in which the review may take graces out again."""
PAUSE: Final = 1.5
"""Seconds of silence between the plain and the ornamented line."""
RECORDER: Final = 74  # programs of General MIDI, counted from 0
PLUCKED: Final = 6
MOST_MIDI: Final = 14


@dataclass(frozen=True, slots=True)
class Wishes:
    """The user's dials.

    ``manner`` is empty for the one that suits the piece; ``a`` is the pitch of A4 in Hz; ``tempo`` quarters a minute,
    None to take the page's or a guess; ``unequal`` lets the sound follow the manner's rule of unequal notes (the page
    stays even); ``transpose`` is empty, ``fit``, or the words of a usual move (``up a minor third``); ``second`` names
    a second melody part to plan beside the solo.
    """

    manner: str = ""
    instrument: str = "alto-recorder"
    level: str = "intermediate"
    richness: float = 5.0
    curve: tuple[tuple[Fraction, float], ...] = ()
    signs: Literal["read", "ignore"] = "read"
    signs_by: str = ""
    solo: str = ""
    bass: str = ""
    tempo: Fraction | None = None
    a: float = 415.0
    temperament: str = "vallotti"
    continuo: bool = True
    unequal: bool = True
    transpose: str = ""
    paper: str = "a4"
    second: str = ""


@dataclass(frozen=True)
class Work:
    """A piece with all that was made of it. ``remarks`` are sentences for the user from every room.

    ``partner`` is the same for a second melody part planned beside the first; ``version`` then has the graces of both,
    and ``beside`` of the second is what the first plays alone.
    """

    wishes: Wishes
    piece: Piece
    manner: Manner
    instrument: Instrument
    study: Study
    plan: Plan
    version: Version
    review: Review
    remarks: tuple[str, ...] = ()
    partner: Work | None = None
    beside: Version | None = None

    @property
    def tempo(self) -> Fraction:
        """Quarter notes a minute."""
        return self.wishes.tempo or self.study.tempo


def work_on(piece: Piece, wishes: Wishes, *, plan_text: str | None = None, locks: Plan | None = None,
            studied: Study | None = None, judged: bool = True, locks_second: Plan | None = None
            ) -> Work:  # fmt: skip
    """From a piece to its review.

    ``plan_text`` is applied as it stands, in the manner it names; ``locks`` is an earlier plan whose locked choices
    survive, and ``locks_second`` one of the second melody part; ``studied`` spares the study when it has been made;
    without ``judged`` the review is left empty, for :func:`judge` to fill. Raises BadInput.
    """
    with _libraries().limit(limits=1):
        parts = plan_lines(plan_text) if plan_text is not None else ()
        work = _work_on(piece, wishes, parts[0][1] if parts else None, locks, studied, judged)
        if not wishes.second and len(parts) < 2:
            return work
        return _with_second(work, parts[1] if len(parts) > 1 else (wishes.second, None), locks_second)


@cache
def _libraries() -> ThreadpoolController:
    """The number libraries that are loaded: our tables are small, and more threads would only wait for each other."""
    return ThreadpoolController()


def _work_on(piece: Piece, wishes: Wishes, plan_text: str | None, locks: Plan | None, studied: Study | None,
             judged: bool) -> Work:  # fmt: skip
    if wishes.manner:
        load_manner(wishes.manner)  # a name that is not known is refused before the work begins
    instrument = _player(wishes)
    load_temperament(wishes.temperament)
    if wishes.transpose:
        piece, studied = moved(piece, wishes, instrument), None
    found = studied or study(piece, solo=wishes.solo, bass=wishes.bass, tempo=wishes.tempo)
    suited = manner_for(piece, found)
    named = wishes.manner
    wishes = replace(wishes, manner=named or suited.manner)
    manner = load_manner(wishes.manner)
    hands = widened(tones(piece, found.solo), instrument)  # a line that does not fit is planned as it stands, and told
    speaking = speaking_source(piece, named=wishes.signs_by, manner=manner.source)
    if plan_text is not None:
        plan = _with_player(read_plan(plan_text, piece, found), instrument)
        manner = load_manner(plan.manner) if plan.manner in manners() else manner
    else:
        plan = make_plan(
            piece, found, manner, hands, level=wishes.level, richness=wishes.richness, curve=wishes.curve,
            locks=locks, signs=wishes.signs, signs_by=speaking.source, tempo=wishes.tempo,
        )  # fmt: skip
    version = _performed(piece, found, plan, hands, wishes)
    said = f"Signs are read by {short_name(speaking.source)}: {speaking.why}." if speaking.source else ""
    remarks = (
        *([] if named or plan_text else [f"Manner: {manner.title}, since {suited.why}; --manner names another."]),
        *([said] if said and _signed(piece) else []), *piece.remarks, *found.remarks,
        *_new(plan.remarks, version.remarks),
        *version.remarks,
        *_other_player(plan, instrument, wishes), *_range(piece, found, instrument),
    )  # fmt: skip
    told = tuple(dict.fromkeys(map(_sentence, remarks)))
    work = Work(wishes, piece, manner, hands, found, plan, version, Review(()), told)
    if not judged:
        return work
    work = replace(work, review=judge(work))
    return work if plan_text is not None else _mended(work)


def _with_player(plan: Plan, instrument: Instrument) -> Plan:
    """A plan read from text that names no instrument we know is for the player of the command."""
    try:
        load_instrument(plan.instrument)
    except BadInput:
        unknown = (f"The plan names an instrument that is not known, {plan.instrument!r}.",) if plan.instrument else ()
        return replace(plan, instrument=instrument.id, remarks=(*plan.remarks, *unknown))
    return plan


def _player(wishes: Wishes) -> Instrument:
    """The instrument; a player's own is named by its file, so that other rooms find it too."""
    instrument = load_instrument(wishes.instrument)
    return replace(instrument, id=wishes.instrument) if wishes.instrument.endswith(".toml") else instrument


def _with_second(work: Work, part: tuple[str, str | None], locks: Plan | None) -> Work:
    """The work with a second melody part, by its name and its plan, which is made where it is None."""
    piece, wishes, manner = work.piece, work.wishes, work.manner
    second = find_solo(piece, part[0])
    if second in (work.study.solo, work.study.bass):
        taken = "solo" if second == work.study.solo else "bass"
        raise BadInput(f"the second melody part {part[0]!r} is the {taken} already", file=piece.source,
                       remedy="name another part with --with-part")  # fmt: skip
    instrument = widened(tones(piece, second), work.instrument)
    found = study(piece, solo=second, bass=work.study.bass, tempo=work.tempo)
    found = replace(found, order=work.study.order, slow=work.study.slow)
    if part[1] is not None:
        plan = _with_player(read_plan(part[1], piece, found), instrument)
    else:
        alone = partner_of(piece, work.study, work.plan, work.version, manner, work.instrument, level=wishes.level,
                           tempo=wishes.tempo)  # fmt: skip
        plan = make_second(
            piece, found, manner, instrument, alone, level=wishes.level, tempo=wishes.tempo, locks=locks,
            signs_by=work.plan.signs_by, richness=wishes.richness, curve=wishes.curve, signs=wishes.signs,
        )  # fmt: skip
    own = replace(wishes, solo=second, second="")
    version = both(_performed(piece, found, plan, instrument, own), work.version, len(plan.choices))
    remarks = (*_new(plan.remarks, work.remarks), *_range(piece, found, _player(wishes)))
    other = Work(own, piece, manner, instrument, found, plan, version, Review(()), remarks, beside=work.version)
    other = replace(other, review=_no_doubling(other, work.study.solo))
    other = other if part[1] is not None else _mended(other)
    work = replace(work, partner=other, version=both(work.version, other.version, len(work.plan.choices)),
                   remarks=tuple(dict.fromkeys((*work.remarks, *map(_sentence, other.remarks)))))  # fmt: skip
    findings = [
        replace(one, what=f"{_part_name(piece, line)}: {one.what}")
        for line, mine, theirs in ((work.study.solo, work, second), (second, other, work.study.solo))
        for one in _no_doubling(mine, theirs).findings
    ]
    return replace(work, review=replace(work.review, findings=tuple(dict.fromkeys(findings))))


def _no_doubling(work: Work, partner: str) -> Review:
    """The review, without octaves where the page itself sets both parts in unison or octaves."""
    theirs = {tone.onset: tone for tone in tones(work.piece, partner)}
    mine = {tone.id: tone for tone in tones(work.piece, work.study.solo)}

    def doubled(one: Finding) -> bool:
        tone = mine.get(one.note)
        other = theirs.get(tone.onset) if tone is not None and one.rule == "octaves" else None
        return tone is not None and other is not None and tone.pitch.pitch_class == other.pitch.pitch_class

    found = judge(work)
    return replace(found, findings=tuple(one for one in found.findings if not doubled(one)))


def _new(remarks: Sequence[str], said: Sequence[str]) -> list[str]:
    """Those that were not said already, with the bars before them."""
    return [remark for remark in remarks if not any(told.rstrip(".").endswith(remark) for told in said)]


def _sentence(remark: str) -> str:
    """With a capital and a full stop.

    >>> _sentence("bar 3: the sign is not one we know")
    'Bar 3: the sign is not one we know.'
    """
    return f"{remark[:1].upper()}{remark[1:]}" + ("" if remark.endswith((".", "!", "?")) else ".")


def _performed(piece: Piece, found: Study, plan: Plan, instrument: Instrument, wishes: Wishes) -> Version:
    return perform(
        piece, found, placed(plan), instrument, wishes.level, tempo=wishes.tempo, source=plan.signs_by,
        signs=wishes.signs == "read",
    )  # fmt: skip


def _mended(work: Work) -> Work:
    """The review has the last word: a grace of ours that makes a fault is taken out again, and the place says why.

    The nearest grace of ours is tried first; if the fault stays without it, it was not to blame, is put back, and the
    one before it is tried.
    """
    cleared: dict[FaultKey, set[Place]] = {}  # for each fault the places that are not to blame
    for _ in range(MENDS):
        tried = {}
        for fault in work.review.faults:
            suspect = _suspect(work, fault, cleared.setdefault(_key(fault), set()))
            if suspect is not None:
                tried[suspect] = fault
        if not tried:
            break
        without = _without(work, tried)
        stay = {_key(fault) for fault in without.review.faults}
        guilty = {index: fault for index, fault in tried.items() if _key(fault) not in stay}
        for index, fault in tried.items():
            if index not in guilty:
                cleared[_key(fault)].add(_place(work.plan.choices[index]))
        work = without if len(guilty) == len(tried) else _without(work, guilty) if guilty else work
    return work


FaultKey = tuple[str, str, int]
Place = tuple[str, int]


def _place(choice: Choice) -> Place:
    return choice.note, choice.time_through


def _key(fault: Finding) -> FaultKey:
    return fault.rule, fault.note, fault.time_through


def _suspect(work: Work, fault: Finding, cleared: Container[Place]) -> int | None:
    """The choice of ours at the fault, or the last before it within a bar's length, that is not cleared."""
    bar = next((bar for bar in reversed(work.piece.bars) if bar.onset <= fault.onset), work.piece.bars[0])
    near = [
        (choice.onset, index)
        for index, choice in enumerate(work.plan.choices)
        if choice.origin == "ours" and choice.lock != "keep" and choice.grace and _place(choice) not in cleared
        and 0 <= fault.onset - choice.onset <= bar.meter.length
        and (choice.time_through == fault.time_through or choice.note == fault.note)
    ]  # fmt: skip
    return max(near)[1] if near else None


def _without(work: Work, struck: Mapping[int, Finding]) -> Work:
    """The work without these choices, each place told why; realised and judged again."""
    choices = work.plan.choices
    plan = replace(
        work.plan,
        choices=tuple(choice for index, choice in enumerate(choices) if index not in struck),
        bare=(*work.plan.bare, *(_bare(choices[index], fault.what) for index, fault in sorted(struck.items()))),
    )
    version = _performed(work.piece, work.study, plan, work.instrument, work.wishes)
    if work.beside is not None:
        version = both(version, work.beside, len(plan.choices))
    work = replace(work, plan=plan, version=version)
    return replace(work, review=judge(work))


def _bare(choice: Choice, why: str) -> Bare:
    words = choice.grace.words if choice.grace else "a grace"
    return Bare(choice.time_through, choice.note, choice.bar, choice.beat, f"Without its {words}: {why}")


def _signed(piece: Piece) -> bool:
    """Whether ornament signs stand on the page."""
    return any(note.marks.signs for note in piece.notes)


def judge(work: Work) -> Review:
    """Faults and remarks about the version, by the source that speaks. A close that the plan leaves bare, and says why,
    is not remarked on again; parallels that the page's own sign makes are no fault of the plan's."""
    found = review(work.piece, work.study, work.version, work.instrument, work.wishes.level,
                   source=work.plan.signs_by, tempo=work.wishes.tempo)  # fmt: skip
    told = {(place.bar, place.time_through) for place in work.plan.bare}
    page = {_place(choice) for choice in work.plan.choices if choice.origin == "page" and choice.grace is not None}
    return replace(found, findings=tuple(
        replace(one, kind="remark", remedy=PAGE_SIGN)
        if one.rule in ("fifths", "octaves") and (one.note, one.time_through) in page else one
        for one in found.findings if one.rule != "cadence-bare" or (one.bar, one.time_through) not in told
    ))  # fmt: skip


def _other_player(plan: Plan, instrument: Instrument, wishes: Wishes) -> tuple[str, ...]:
    """What to say when a plan given back was made for someone else."""
    made_for = (plan.instrument or instrument.id, plan.level)
    if made_for == (instrument.id, wishes.level):
        return ()
    return (f"The plan was made for {made_for[0]}, {made_for[1]}; here {instrument.id}, {wishes.level}, plays it. "
            f"Give --instrument {made_for[0]} --level {made_for[1]} to play it as it was meant.",)  # fmt: skip


def _range(piece: Piece, found: Study, instrument: Instrument) -> tuple[str, ...]:
    """What to say when the line does not fit the instrument."""
    line = tones(piece, found.solo)
    outside = out_of_range(line, instrument)
    if not outside:
        return ()
    first = outside[0]
    said = (f"{len(outside)} of {len(line)} notes cannot be played on the {instrument.name} "
            f"(first {first.pitch} in bar {piece.bars[first.bar].number}).")  # fmt: skip
    better = [move for move in transpositions(line, instrument) if move.misses < len(outside) and move.chromatic]
    offers = "; ".join(f'--transpose "{move.words}" leaves {move.misses or "none"} outside' for move in better[:3])
    octaves = [f"the phrase from bar {piece.bar_at(phrase.start).number} fits an octave {'up' if up > 0 else 'down'}"
               for phrase, up, _ in octave_moves(line, found.phrases, instrument)]  # fmt: skip
    told = [f"{text[:1].upper()}{text[1:]}." for text in (offers, "; ".join(octaves[:MOST_OCTAVES])) if text]
    return (" ".join([said, *told]),)


def moved(piece: Piece, wishes: Wishes, instrument: Instrument) -> Piece:
    """The piece transposed as wished, read again from its moved document. Raises BadInput for an unknown move."""
    solo = find_solo(piece, wishes.solo)
    moves = transpositions(tones(piece, solo), instrument)
    if wishes.transpose == "fit":
        move = moves[0] if moves else None
    else:
        move = next((move for move in moves if move.words == wishes.transpose), None)
    if move is None:
        known = ", ".join(f'"{move.words}"' for move in moves if move.chromatic)
        raise BadInput(f"the move {wishes.transpose!r} does not help here", file=piece.source,
                       remedy=f"take fit or one of {known}")  # fmt: skip
    if not move.chromatic or (wishes.transpose == "fit" and not out_of_range(tones(piece, solo), instrument)):
        return piece
    if piece.document is None:
        raise BadInput("only a score with a MusicXML document can be transposed", file=piece.source)
    tree, _ = piece.document.opened()
    transposed(tree.getroot(), move.diatonic, move.chromatic)
    name = str(Path(piece.source).with_suffix(".musicxml"))
    again = read(name, etree.tostring(tree, xml_declaration=True, encoding="UTF-8"))
    return replace(again, source=piece.source, remarks=(*again.remarks, f"Transposed {move.words}."))


def plain(work: Work, *, once: bool = False) -> Version:
    """The line as written, no grace at all; ``once`` leaves repeats away."""
    found = work.study
    if once:
        found = replace(found, order=tuple(segment for segment in found.order if segment.time_through == 1))
    return perform(work.piece, found, (), work.instrument, work.wishes.level, tempo=work.wishes.tempo, signs=False)


def heard(work: Work) -> Version:
    """The version as it sounds: with the unequal notes of the manner, where it has them and they are wished."""
    if not _uneven(work):
        return work.version
    version = perform(
        work.piece, work.study, placed(work.plan), work.instrument, work.wishes.level, tempo=work.wishes.tempo,
        inequality=work.manner.ratio, source=work.plan.signs_by, signs=work.wishes.signs == "read",
    )  # fmt: skip
    return both(version, heard(work.partner), len(work.plan.choices)) if work.partner is not None else version


def additions(work: Work, places: Mapping[str, Context] | None = None
              ) -> tuple[tuple[Addition, ...], tuple[Addition, ...]]:  # fmt: skip
    """Our signs for the page: those of the first time, and those of the repeat. ``places`` spares making contexts."""
    places = places or contexts(work.piece, work.study, work.instrument, work.wishes.level, tempo=work.wishes.tempo,
                                source=work.plan.signs_by)  # fmt: skip
    by_time: tuple[list[Addition], list[Addition]] = ([], [])
    for choice in work.plan.choices:
        if choice.grace is None or choice.time_through > 2 or choice.note not in places:
            continue
        if choice.origin == "page":
            continue
        signs = sign_for(choice.grace, places[choice.note])
        if signs.signs or signs.before or signs.after:
            by_time[choice.time_through - 1].append(Addition(choice.note, signs.signs, signs.before, signs.after))
    return tuple(by_time[0]), tuple(by_time[1])


def sounded(work: Work) -> tuple[Sounded, ...]:
    """The played line, in order as played."""
    return tuple(
        Sounded(note.onset, note.length, note.pitch, note.slurred, note.host)
        for note in work.version.notes
        if note.part == work.study.solo
    )


def write_results(work: Work, folder: Path, names: Sequence[str] = RESULTS) -> Iterator[str]:
    """Write results into a folder, giving the name of each as it is done.

    Raises BadInput where the folder cannot be written.
    """
    for name in names:
        with in_place_of(folder / name) as partial:
            _write(work, name, partial)
        yield name
        if name == "sheet.pdf" and work.partner is not None:
            with in_place_of(folder / SECOND_SHEET) as partial:
                _write(work.partner, name, partial)
            yield SECOND_SHEET


@contextmanager
def in_place_of(target: Path) -> Iterator[Path]:
    """A file to write that takes the target's place when all went well, and is gone when not.

    Raises BadInput where the folder cannot be written.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=target.suffix)
    except OSError as fault:
        raise BadInput(f"the folder cannot be written ({fault.strerror})", file=str(target.parent)) from None
    os.close(handle)
    partial = Path(name)
    try:
        yield partial
        partial.chmod(0o644)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)


def _write(work: Work, name: str, path: Path) -> None:
    if name == "plan.txt":
        second = work.partner.plan if work.partner is not None else None
        path.write_text(write_plan(work.plan, second), encoding="utf-8")
    elif name == "sound.ogg":
        write_audio(path, sound_of(work))
    else:
        path.write_bytes(result(work, name))


def result(work: Work, name: str) -> bytes:
    """One of the results that are bytes at once: all but the plan and the sound."""
    if name == "signs.musicxml":
        first, repeat = additions(work)
        data = write_signs(work.piece, work.study.solo, first, repeat_additions=repeat)
        if work.partner is not None:
            first, repeat = additions(work.partner)
            data = write_signs(read("signs.musicxml", data), work.partner.study.solo, first, repeat_additions=repeat)
        return data
    if name in ("played.musicxml", "parallel.musicxml"):
        write = write_played if name == "played.musicxml" else write_parallel
        order = [(segment.first_bar, segment.last_bar) for segment in work.study.order]
        data = write(work.piece, work.study.solo, sounded(work), order)
        if work.partner is not None:
            unfolded = read(name, data)
            data = write(unfolded, work.partner.study.solo, sounded(work.partner), [(0, len(unfolded.bars) - 1)])
        return data
    if name == "both.mei":
        order = [(segment.first_bar, segment.last_bar) for segment in work.study.order]
        piece = work.piece
        if work.partner is not None:
            first, repeat = additions(work.partner)
            piece = read(name, write_signs(piece, work.partner.study.solo, first, repeat_additions=repeat))
        first, repeat = additions(work)
        return write_mei(piece, work.study.solo, first, sounded(work), order, repeat_additions=repeat)
    if name == "signs.abc":
        return write_abc(read("signs.musicxml", result(work, "signs.musicxml")), work.study.solo)
    if name == "played.mid":
        return midi_of(work)
    piece = readable(work.piece, work.study.solo, load_instrument(work.wishes.instrument))
    return parallel_sheet(piece, work.study, work.plan, work.version, paper=work.wishes.paper, about=about(work))


def midi_of(work: Work) -> bytes:
    """The version as it sounds, as MIDI: the solo first, each note bent to the temperament."""
    temperament = load_temperament(work.wishes.temperament)
    version = heard(work)
    names = [part for part in dict.fromkeys(note.part for note in version.notes) if part != work.study.solo]
    parts = [
        MidiPart(_part_name(work.piece, part), tuple(
            Sounded(note.onset, note.length, note.pitch, note.slurred, note.host)
            for note in version.notes if note.part == part
        ), RECORDER if part == work.study.solo else PLUCKED)
        for part in (work.study.solo, *names[:MOST_MIDI])
    ]  # fmt: skip
    signed = signatures(work.piece, [(run.first_bar, run.last_bar) for run in work.study.order])
    return write_midi(parts, work.tempo, signed=signed,
                      tuning=lambda pitch: temperament.midi_cents(pitch, work.wishes.a))  # fmt: skip


def _part_name(piece: Piece, line: str) -> str:
    return piece.part(part_of(line)[0]).name or line


def sound_of(work: Work) -> np.ndarray:
    """Mono samples: the plain line once, a pause, then the ornamented line with its repeats."""
    lines = [
        render(
            version, tempo=work.tempo, a=work.wishes.a, temperament=work.wishes.temperament,
            instrument=work.instrument.id, bass=work.study.bass, continuo=work.wishes.continuo, study=work.study,
        )
        for version in (plain(work, once=True), heard(work))
    ]  # fmt: skip
    silence = np.zeros(round(PAUSE * SAMPLE_RATE), dtype=lines[0].dtype)
    return np.concatenate([lines[0], silence, lines[1]])


def about(work: Work) -> tuple[str, ...]:
    """Lines for the head of a sheet."""
    speaker = load_source(work.plan.signs_by) if work.plan.signs_by else None
    signs = f"{speaker.author}, {speaker.title} ({speaker.year})" if speaker else "common practice"
    temperament = load_temperament(work.wishes.temperament)
    return (
        f"Manner: {work.manner.title}. Richness {work.plan.richness:g} of 10.",
        f"Signs after {signs}.",
        *([f"Line: {_part_name(work.piece, work.study.solo)}."] if len(work.piece.parts) > 2 else []),
        f"For {work.instrument.name}, {work.wishes.level} player; a quarter note = {float(work.tempo):g}.",
        f"Sounded at a' = {work.wishes.a:g} Hz, {temperament.name}"
        + ("; even notes on the page are heard long and short." if _uneven(work) else "."),
    )


def _uneven(work: Work) -> bool:
    return work.wishes.unequal and work.manner.ratio is not None


def demo_piece(name: str = "adagio") -> Path:
    """The file of a bundled demo movement: ``adagio`` or ``menuet``."""
    with as_file(files("gracewright") / "data" / "demo" / f"{name}.musicxml") as path:
        return path
