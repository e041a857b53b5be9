"""A student's own version: a score with the line ornamented, set beside the plain one.

Conventions: the two scores have the same bars. The student may write out the repeats, keep the repeat signs, or give
the line once through. Signs and small notes of the student are played as their source says. Every note is laid to the
written note that sounds at its place.

Public: student_version.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from gracewright.errors import BadInput
from gracewright.graces import perform
from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.instruments import Instrument
from gracewright.score import Bar, Piece, Tone, find_solo, tones
from gracewright.study import study as study_piece
from gracewright.study.model import Segment, Study


def student_version(
    plain: Piece,
    study: Study,
    played: Piece,
    instrument: Instrument,
    level: str = "intermediate",
    *,
    line: str = "",
    source: str = "",
    tempo: Fraction | None = None,
) -> Version:
    """The student's line as a version of the plain piece, all other parts as the plain piece has them.

    ``line`` names the student's line in their score where it is not found by itself. Raises BadInput where the bars of
    the two scores do not match, saying which.
    """
    solo = find_solo(played, line)
    theirs = study_piece(played, solo=solo, tempo=tempo or study.tempo)
    order = _order(plain, study, played, theirs)
    if order != study.order:
        study = replace(study, order=order)
    if _bars(played, theirs.order) != _bars(plain, order) and len(played.bars) == len(_bars(plain, order)):
        theirs = replace(theirs, order=(Segment(0, len(played.bars) - 1, 1),))
    _check_lengths(plain, order, played, theirs.order)
    bare = perform(plain, study, (), instrument, level, tempo=tempo, signs=False)
    sung = perform(played, theirs, (), instrument, level, tempo=tempo or study.tempo, source=source)
    laid = _lay(plain, study, bare.passes, played, theirs, sung)
    notes = [note for note in bare.notes if note.part != bare.solo]
    notes += laid
    notes.sort(key=lambda note: (note.onset, note.part, -note.pitch.midi))
    return replace(bare, notes=tuple(notes), explanations={}, remarks=sung.remarks)


def _bars(piece: Piece, order: Sequence[Segment]) -> list[Bar]:
    return [piece.bars[bar] for segment in order for bar in range(segment.first_bar, segment.last_bar + 1)]


def _order(plain: Piece, study: Study, played: Piece, theirs: Study) -> tuple[Segment, ...]:
    """The order of the plain piece that the student's score follows: with repeats, or once through."""
    full = study.order or (Segment(0, len(plain.bars) - 1, 1),)
    once = tuple(segment for segment in full if segment.time_through == 1)
    counts = {len(_bars(played, theirs.order)), len(played.bars)}
    for order in (full, once):
        if len(_bars(plain, order)) in counts:
            return order
    whole, single = len(_bars(plain, full)), len(_bars(plain, once))
    expected = f"{single} bars" + (f", or {whole} with the repeats written out" if whole != single else "")
    raise BadInput(
        f"the played version has {len(played.bars)} bars", file=played.source,
        remedy=f"it should have the bars of the plain piece: {expected}",
    )  # fmt: skip


def _check_lengths(plain: Piece, order: Sequence[Segment], played: Piece, theirs: Sequence[Segment]) -> None:
    for ours, other in zip(_bars(plain, order), _bars(played, theirs), strict=True):
        if ours.length != other.length:
            raise BadInput(
                f"this bar lasts {_quarters(other.length)} and bar {ours.number} of the plain piece "
                f"{_quarters(ours.length)}",
                file=played.source, bar=other.number, remedy="count its notes again",
            )  # fmt: skip


def _quarters(length: Fraction) -> str:
    return f"{length} quarter" + ("" if length == 1 else "s")


def _lay(
    plain: Piece, study: Study, passes: Sequence[Pass], played: Piece, theirs: Study, sung: Version
) -> Iterator[PlayedNote]:
    """The student's notes, each with the plain piece's written note, place and time through."""
    written = tones(plain, study.solo)
    starts = [tone.onset for tone in written]
    begins = {tone.id: tone.onset for tone in tones(played, theirs.solo)}
    at = [passage.onset for passage in passes]
    for note in sung.notes:
        if note.part != theirs.solo:
            continue
        offset = note.page_onset - begins[note.host]
        host_onset = note.onset - offset if offset < 0 else note.onset
        passage = passes[max(0, bisect_right(at, host_onset) - 1)]
        shift = passage.page_onset - passage.onset
        tone = _under(written, starts, host_onset + shift)
        yield replace(
            note, part=study.solo, host=tone.id, page_onset=note.onset + shift, time_through=passage.time_through,
            choice=-1, main=note.pitch == tone.pitch,
        )  # fmt: skip


def _under(written: Sequence[Tone], starts: Sequence[Fraction], onset: Fraction) -> Tone:
    """The written note that sounds at a place, else the one before it."""
    return written[max(0, bisect_right(starts, onset) - 1)]
