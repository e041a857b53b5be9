"""``gracewright practise``: sound files to practise with."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Final

import click
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gracewright.cli.many import do_many, several
from gracewright.cli.options import (
    exact,
    line_options,
    manner_options,
    many_options,
    pieces_argument,
    pitch_options,
    read_plan_file,
)
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.instruments import load_instrument, long_breaths, playable, shake_fingerings
from gracewright.job import Wishes, Work, demo_piece, in_place_of, plain, work_on
from gracewright.sound import (
    FORMATS,
    Setting,
    Track,
    count_in,
    joined,
    ladder,
    phrase_by_phrase,
    play_along,
    played_span,
    practice_track,
    write_audio,
)

TRACKS: Final = ("slow", "in-turn", "continuo", "graces")
"""What can be written: a passage slow to in time; plain and played phrase by phrase; the continuo alone; graces by
steps."""
MOST_GRACES: Final = 4
LEAST, MOST = Fraction(1, 10), Fraction(2)
"""Shares of the tempo at which a track can be made."""
WORDS: Final = "practise.txt"
"""The words of one of many pieces, and the sign that it is done."""
VOLUME: Final = "Begin with the volume low, above all with headphones, and rest your ears between rounds."


@dataclass(frozen=True, slots=True)
class Passage:
    """From and to on the page, in quarters; which time through; in words."""

    start: Fraction
    end: Fraction
    time: int
    words: str

    def holds(self, time_through: int, onset: Fraction) -> bool:
        return time_through == self.time and self.start <= onset < self.end


@dataclass(frozen=True, slots=True)
class Asked:
    """What to practise and how: bars or phrase (0: the richest), which time through (0: the last), steps as shares of
    the tempo, how often each, which tracks, in which sound format."""

    bars: str
    phrase: int
    time: int
    shares: tuple[Fraction, ...]
    times: int
    only: tuple[str, ...]
    ending: str


@click.command("practise")
@pieces_argument
@click.option("--demo", is_flag=True, help="Use the bundled demo movement instead of a piece of yours.")
@click.option("--bars", default="", metavar="A-B", help="Bars to practise, as printed. Default: the richest phrase.")
@click.option("--phrase", default=None, type=click.IntRange(min=1), metavar="N", help="Practise the Nth phrase.")
@click.option("--time", "time_through", default=None, type=click.IntRange(min=1), metavar="N",
              help="Which time through. Default: the last, which is the richest.")
@click.option("--steps", default="50,75,100", show_default=True, metavar="PERCENT", help="How fast, step by step.")
@click.option("--times", default=2, show_default=True, type=click.IntRange(1, 20), help="How often each step sounds.")
@click.option("--only", multiple=True, type=click.Choice(TRACKS), help="Make only this track; may be repeated.")
@click.option("--no-continuo", is_flag=True, help="Leave the continuo out of the tracks with the solo.")
@click.option("--format", "ending", default="ogg", show_default=True, help="Sound format.",
              type=click.Choice([ending.removeprefix(".") for ending in FORMATS]))
@click.option("--plan", "plan_file", type=click.Path(exists=True, dir_okay=False, path_type=Path), default=None,
              help="Practise this plan (a plan.txt you have edited) instead of a new one.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="Folder for the tracks (with many pieces: for a folder of each). Default: the piece's name with "
                   "-practise, beside it.")
@many_options
@manner_options
@line_options
@pitch_options
def command(pieces: tuple[Path, ...], demo: bool, bars: str, phrase: int | None, time_through: int | None, steps: str,
            times: int, only: tuple[str, ...], no_continuo: bool, ending: str, plan_file: Path | None, out: Path | None,
            again: bool, quiet: bool, manner: str, instrument: str, level: str, richness: float, signs_by: str,
            tempo: float | None, transpose: str, solo: str, bass: str, a: float,
            temperament: str) -> None:  # fmt: skip
    """Make sound files to practise PIECES with, their graces included.

    Give one file, several, or a folder of them; with many, the words go to practise.txt beside the tracks.

    \b
    slow       a passage slow, quicker, then in time, with clicks before each
    in-turn    each phrase plain, then ornamented
    continuo   the accompaniment alone, to play along with
    graces     the hardest graces of the passage: slow and even, in rhythm, in time, in their place
    """
    if bool(pieces) == demo:
        raise BadInput("give a piece, several, or a folder; or --demo for the bundled movement")
    wishes = Wishes(
        manner=manner, instrument=instrument, level=level, richness=richness, signs_by=signs_by, solo=solo, bass=bass,
        tempo=exact(tempo), a=a, temperament=temperament, continuo=not no_continuo, transpose=transpose,
    )  # fmt: skip
    asked = Asked(bars, phrase or 0, time_through or 0, percentages(steps), times, only, ending)
    cautions = (VOLUME, *load_instrument(instrument).cautions)
    if several(pieces):
        if plan_file:
            raise BadInput("--plan goes with one piece alone")
        warn(cautions)
        do_many(pieces, partial(practised, wishes=wishes, asked=asked, out=out),
                lambda path: (folder_of(path, out) / WORDS,), again=again, quiet=quiet)  # fmt: skip
        return
    path = pieces[0] if pieces else demo_piece()
    work = work_on(open_piece(path), wishes, plan_text=read_plan_file(plan_file))
    for line in practise(work, asked, out or folder_of(Path(path.name) if demo else path, None), quiet):
        if not quiet:
            click.echo(line)
    warn(cautions)


def warn(cautions: tuple[str, ...]) -> None:
    for caution in cautions:
        click.echo(f"Take care: {caution}")


def folder_of(path: Path, out: Path | None) -> Path:
    """Where the tracks of a piece go."""
    return (out or path.parent) / f"{path.stem}-practise"


def practised(path: Path, wishes: Wishes, asked: Asked, out: Path | None) -> str:
    """One of many: the tracks in their folder, the words beside them, and a sentence."""
    work = work_on(open_piece(path), wishes)
    folder = folder_of(path, out)
    lines = list(practise(work, asked, folder, quiet=True))
    cautions = [f"Take care: {caution}" for caution in (VOLUME, *work.instrument.cautions)]
    with in_place_of(folder / WORDS) as unfinished:
        unfinished.write_text("\n".join([*lines, *cautions]) + "\n", encoding="utf-8")
    return next(line for line in lines if line.startswith("Practised"))


def practise(work: Work, asked: Asked, folder: Path, quiet: bool) -> Iterator[str]:
    """Write the tracks; gives lines of what is heard when, and advice. Raises BadInput."""
    passage = chosen(work, asked.bars, asked.phrase, asked.time)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise BadInput(f"the folder cannot be made ({fault.strerror})", file=folder.name) from None
    makers = tracks(work, passage, asked.shares, asked.times)
    wanted = {name: maker for name, maker in makers.items() if not asked.only or name in asked.only}
    yield from written(wanted, folder, asked.ending, quiet)
    yield from advice(work, passage)


def percentages(text: str) -> tuple[Fraction, ...]:
    """``50,75,100`` as shares of the tempo. Raises BadInput.

    >>> percentages("50, 75")
    (Fraction(1, 2), Fraction(3, 4))
    """
    try:
        shares = tuple(Fraction(part.strip()) / 100 for part in text.split(",") if part.strip())
    except (ValueError, ZeroDivisionError):
        raise BadInput(f"the steps {text!r} are no percentages", remedy="write them like 50,75,100") from None
    if not shares or not all(LEAST <= share <= MOST for share in shares):
        raise BadInput(f"the steps {text!r} cannot be played", remedy="give percentages from 10 to 200")
    return shares


def chosen(work: Work, bars: str, phrase: int, time: int) -> Passage:
    """The passage asked for, else the phrase with the most graces. Raises BadInput."""
    times = max((passed.time_through for passed in work.version.passes), default=1)
    if bars:
        numbers = {bar.number: bar for bar in reversed(work.piece.bars)}
        first, _, last = bars.partition("-")
        ends = [numbers.get(number.strip()) for number in (first, last or first)]
        if ends[0] is None or ends[1] is None or ends[0].index > ends[1].index:
            raise BadInput(f"there are no bars {bars!r}", file=work.piece.source, remedy="write them like 5-8")
        start, end, words = ends[0].onset, ends[1].end, f"bars {bars}" if last else f"bar {bars}"
    else:
        phrases = work.study.phrases
        if phrase > len(phrases) or not phrases:
            raise BadInput(f"there are only {len(phrases)} phrases", file=work.piece.source, remedy="use --bars")
        counts = [richness_of(work, each.start, each.end) for each in phrases]
        number = phrase or 1 + counts.index(max(counts))
        start, end, words = phrases[number - 1].start, phrases[number - 1].end, f"phrase {number}"
    for through in [time] if time else range(times, 0, -1):
        try:
            played_span(work.version, start, end, through)
        except BadInput:
            if through == (time or 1):
                raise
        else:
            return Passage(start, end, through, f"{words}, time {through}")
    raise AssertionError("unreachable")


def richness_of(work: Work, start: Fraction, end: Fraction) -> int:
    return sum(1 for choice in work.plan.choices if choice.grace is not None and start <= choice.onset < end)


def tracks(work: Work, passage: Passage, shares: tuple[Fraction, ...], times: int) -> dict[str, Callable[[], Track]]:
    """What makes each track, when it is asked for."""
    wishes = work.wishes
    setting = Setting(wishes.a, wishes.temperament, work.instrument.id, work.study.bass, wishes.continuo, work.study)
    clicks = count_in(work.piece, passage.start)
    return {
        "slow": lambda: practice_track(
            work.version, tempo=work.tempo, steps=shares, bars=(passage.start, passage.end), time_through=passage.time,
            times=times, count=clicks, setting=setting,
        ),
        "in-turn": lambda: phrase_by_phrase(
            plain(work), work.version, work.study.phrases, tempo=work.tempo, time_through=passage.time, setting=setting
        ),
        "continuo": lambda: play_along(
            work.version, tempo=work.tempo, count=count_in(work.piece, Fraction(0)), setting=setting
        ),
        "graces": lambda: joined(
            ladder(work.version, note, tempo=work.tempo, time_through=passage.time, setting=setting, name=name)
            for note, name in hardest(work, passage)
        ),
    }  # fmt: skip


def hardest(work: Work, passage: Passage) -> list[tuple[str, str]]:
    """Notes of the passage whose graces are worth practising alone, and what they are called: hard ones first, then one
    of each kind."""
    troubles = playable(work.version, work.instrument, work.wishes.level, tempo=work.tempo)
    hard = {trouble.note for trouble in troubles if trouble.time_through == passage.time}
    here = [(choice.note, choice.grace.words, choice.bar) for choice in work.plan.choices
            if choice.grace is not None and passage.holds(choice.time_through, choice.onset)]  # fmt: skip
    one_of_each = {words: note for note, words, _ in reversed(here)}
    first = [row for row in here if row[0] in hard]
    rest = [row for row in here if row[0] not in hard and one_of_each[row[1]] == row[0]]
    return [(note, f"bar {bar}, {words}") for note, words, bar in [*first, *rest][:MOST_GRACES]]


def written(makers: dict[str, Callable[[], Track]], folder: Path, ending: str, quiet: bool) -> Iterator[str]:
    """Write each track; gives a table of what is heard when."""
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, transient=True, disable=quiet) as progress:
        task = progress.add_task("tracks", total=len(makers))
        for name, make in makers.items():
            progress.update(task, description=name)
            try:
                track = make()
            except BadInput as nothing:
                yield f"{name}: left out; {nothing}"
                continue
            finally:
                progress.advance(task)
            file = folder / f"{name}.{ending}"
            with in_place_of(file) as unfinished:
                write_audio(unfinished, track.samples)
            yield f"{file}  ({clock(track.seconds)})"
            for mark in track.marks:
                yield f"  {clock(mark.seconds)}  {mark.words}, quarter note = {float(mark.tempo):.4g}"


def clock(seconds: float) -> str:
    return f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def advice(work: Work, passage: Passage) -> Iterator[str]:
    """Fingerings of the passage's shakes, what is hard in it, and where a breath does not last."""
    yield f"Practised: {passage.words}. {work.manner.title}."
    for shake in shake_fingerings(work.version, work.instrument, tempo=work.tempo):
        if passage.holds(shake.time_through, shake.onset) and shake.words:
            yield f"  shake {shake.lower}-{shake.upper}, {shake.strokes:.1f} strokes a second: {shake.words}"
    for trouble in playable(work.version, work.instrument, work.wishes.level, tempo=work.tempo):
        if passage.holds(trouble.time_through, trouble.onset):
            yield f"  hard: {trouble.what} {trouble.remedy}"
    phrases = [phrase for phrase in work.study.phrases if passage.start < phrase.end and phrase.start < passage.end]
    for _, words in long_breaths(phrases, work.instrument):
        yield f"  breath: {words}"
