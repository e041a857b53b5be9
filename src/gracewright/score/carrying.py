"""What a note of the page hands on to the notes it is played as.

Conventions: a *run* is what one page note is played as, in notes that follow on each other. Words go to the first note
of a run, a fermata and a breath to the last; articulations, bowings and fingerings stay only with a note that is played
as it stands. Ornament signs go: they are what is written out.

Public: Carried, Runs, carried_from.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from lxml import etree

from gracewright.pitch import Pitch
from gracewright.score.model import Tone

BREATHS: Final = frozenset({"breath-mark", "caesura"})
SIGNS: Final = frozenset({"stopped", "other-technical", "other-articulation"})
"""Technical marks and articulations that are used as ornament signs."""


@dataclass(frozen=True, slots=True)
class Carried:
    """Elements of a page note: its words, its fermatas, breaths, and what only the note itself can keep."""

    pitch: Pitch
    lyrics: tuple[etree._Element, ...]
    fermatas: tuple[etree._Element, ...]
    breaths: tuple[etree._Element, ...]
    articulations: tuple[etree._Element, ...]
    technical: tuple[etree._Element, ...]

    @property
    def empty(self) -> bool:
        return not (self.lyrics or self.fermatas or self.breaths or self.articulations or self.technical)


def carried_from(line: Iterable[Tone], elements: Mapping[str, etree._Element]) -> dict[str, Carried]:
    """Tone id → what it hands on, for the tones that have something. ``elements`` are the written notes by id."""
    found = {}
    for tone in line:
        notes = [elements[note_id] for note_id in tone.ids if note_id in elements]
        every = [mark for note in notes for mark in note.iterfind("notations/*")]
        articulations = [mark for group in every if group.tag == "articulations" for mark in group]
        own = Carried(
            tone.pitch,
            tuple(lyric for note in notes[:1] for lyric in note.iterfind("lyric")),
            tuple(mark for mark in every if mark.tag == "fermata"),
            tuple(mark for mark in articulations if mark.tag in BREATHS),
            tuple(mark for mark in articulations if mark.tag not in BREATHS | SIGNS),
            tuple(mark for group in every if group.tag == "technical" for mark in group if mark.tag not in SIGNS),
        )
        if not own.empty:
            found[tone.id] = own
    return found


@dataclass(slots=True)
class _Run:
    host: str
    first: int
    last: int


class Runs:
    """The runs of a played line, and what each of its notes takes over."""

    def __init__(self, hosts: Iterable[tuple[int, str]], carried: Mapping[str, Carried]) -> None:
        """``hosts`` are the notes by number, in order, with the page note each is played for."""
        self.carried, self.by_note = carried, dict[int, _Run]()
        run: _Run | None = None
        for number, host in hosts:
            if run is None or run.host != host or number > run.last + 1:
                run = _Run(host, number, number)
            run.last = number
            self.by_note[number] = run

    def lyrics(self, number: int) -> list[etree._Element]:
        """Words for the beginning of a played note."""
        run = self.by_note[number]
        own = self.carried.get(run.host)
        return [copy.deepcopy(lyric) for lyric in own.lyrics] if own and number == run.first else []

    def notations(self, number: int, pitch: Pitch, *, begins: bool, ends: bool) -> list[etree._Element]:
        """Marks for a printed piece of a played note, which may be its beginning, its end, or both."""
        run = self.by_note[number]
        own = self.carried.get(run.host)
        if own is None:
            return []
        stays = run.first == run.last and pitch == own.pitch
        breaths = own.breaths if ends and number == run.last else ()
        found = [copy.deepcopy(mark) for mark in own.fermatas] if ends and number == run.last else []
        groups = (("technical", own.technical if stays and begins else ()),
                  ("articulations", (*(own.articulations if stays and begins else ()), *breaths)))  # fmt: skip
        for tag, marks in groups:
            if marks:
                group = etree.Element(tag)
                group.extend([copy.deepcopy(mark) for mark in marks])
                found.append(group)
        return found
