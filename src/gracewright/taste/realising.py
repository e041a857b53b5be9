"""From a kind of grace on a note to the very grace: how a shake begins and ends, which size, which division; and the
last judgment on its exact notes.

Conventions: boldness runs from 0 to 1 with richness and time through. A grace that fails is made simpler step by step
before it is given up.

Public: Workshop, workshop_of, step_of.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final, Literal

from gracewright.divisions import Division, Ground, divisions_for, grounds
from gracewright.divisions.tables import styles
from gracewright.graces import Context, Grace, Realised, contexts, realise
from gracewright.instruments import Instrument
from gracewright.pitch import parse_class
from gracewright.score import Piece
from gracewright.study.model import Study
from gracewright.taste.allowed import FAMILY
from gracewright.taste.beside import BASS
from gracewright.taste.manner import Kind, Manner, kinds
from gracewright.taste.sites import Sites
from gracewright.taste.voices import Sounding, new_parallels

CLEAR: Final = 0.9
"""A note may be this share of the shortest clear one (the instrument tables are no finer than that)."""
HELD: Final = Fraction(1, 2)
"""Quarters: a leading note held so long against the same in the bass doubles it."""
MANY: Final = 40
"""Passages looked through for a figure that suits every leg of a sequence."""
RICHNESS: Final = (3.0, 5.0, 8.0)
"""What a division is asked for when sober, usual, bold."""
STYLES: Final = {"Italy": "italian", "France": "french", "Germany": "german", "England": "english"}


@dataclass(eq=False)
class Workshop:
    """Makes graces for one table of sites, manner, instrument and level, and remembers them."""

    sites: Sites
    manner: Manner
    instrument: Instrument
    level: str
    places: Mapping[str, Context]
    beats: Sequence[Fraction]
    read_grounds: Callable[[], Mapping[str, Sequence[Ground]]]
    style: str
    passages: dict[tuple[int, Grace], Division] = field(default_factory=dict)
    made: dict[tuple[int, str, int, bool, tuple[str, ...], str], Grace | None] = field(default_factory=dict)
    figures: dict[tuple[int, int, tuple[str, ...]], tuple[str, ...]] = field(default_factory=dict)
    judged: dict[tuple[int, Grace], str] = field(default_factory=dict)
    clashes: dict[tuple[int, Grace, Grace], bool] = field(default_factory=dict)

    @property
    def grounds(self) -> Mapping[str, Sequence[Ground]]:
        """What sounds under each tone; read when the first division is asked for, the same for every manner."""
        return self.sites.keep("grounds", self.read_grounds)

    def grace(
        self, site: int, kind: str, step: int, required: bool, lately: tuple[str, ...] = (), like: str = ""
    ) -> Grace | None:
        """The grace of a kind on a tone; ``step`` 0 sober, 1 usual, 2 bold. None where every form fails.

        ``lately`` and ``like`` are formulas of passages to differ from and to match.
        """
        name = site, kind, step, required, lately, like
        if name not in self.made:
            forms = self._forms(site, kinds()[kind], step, required, lately, like)
            self.made[name] = next((form for form in forms if not self.fault(site, form)), None)
        return self.made[name]

    def fault(self, site: int, grace: Grace) -> str:
        """What is wrong with a grace's exact notes on a tone; empty where nothing is."""
        name = site, grace
        if name not in self.judged:
            self.judged[name] = self._fault(site, grace)
        return self.judged[name]

    def clash(self, site: int, one: Grace, two: Grace) -> bool:
        """Do graces on a tone and the next make parallels together, or does the second leave the first no time?"""
        name = site, one, two
        if name not in self.clashes:
            line = self.sites.tones
            first = realise(one, self.places[line[site].id])
            second = realise(two, self.places[line[site + 1].id])
            left = (first.notes[-1].length - second.from_previous) * self.places[line[site].id].quarter
            if second.from_previous and float(left) < self.instrument.least(self.level):
                self.clashes[name] = True
                return True
            graced = [*self._around(site, first)[:-1], *self._around(site + 1, second)[1:]]
            plain = [*self._around(site, None)[:-1], *self._around(site + 1, None)[1:]]
            self.clashes[name] = bool(new_parallels(plain, graced, self.sites.voices))
        return self.clashes[name]

    def _fault(self, site: int, grace: Grace) -> str:
        tone, place = self.sites.tones[site], self.places[self.sites.tones[site].id]
        found = realise(grace, place)
        if len(found.notes) < 2 and grace.id != "finger-vibrato":
            return "the note is too short for it at this tempo"
        family = next((kind.family for kind in kinds().values() if kind.grace == grace.id), "small")
        least = self.instrument.least(self.level, FAMILY[family]) * CLEAR
        if grace.id == "shake" and sum(note.main for note in found.notes) < 2:
            return "the note is too short for it at this tempo"
        if any(float(note.length * place.quarter) < least for note in found.notes):
            return "the note is too short for it at this tempo"
        if any(not self.instrument.has(note.pitch) for note in found.notes if note.pitch != tone.pitch):
            return "it leaves the compass"
        if new_parallels(self._around(site, None), self._around(site, found), self.sites.voices):
            return "it would make fifths or octaves with another part"
        if self._doubles_leading(site, found):
            return "it would double the leading note in the bass"
        return ""

    def _doubles_leading(self, site: int, found: Realised) -> bool:
        """Is an added leading note struck with the bass's, or held against it for half a quarter?"""
        tone, voices = self.sites.tones[site], self.sites.voices
        if not voices or voices[0].name != BASS:
            return False
        bass, leading = voices[0], parse_class(self.places[tone.id].key.leading)
        for note in found.notes:
            if note.pitch == tone.pitch or (note.pitch.step, note.pitch.alter) != leading:
                continue
            start = tone.onset + note.onset
            at = bisect_right(bass.starts, start) - 1
            sounds = at >= 0 and bass.ends[at] > start
            same = sounds and bass.pitches[at][0] % 7 == leading[0] and not (bass.pitches[at][1] - note.pitch.midi) % 12
            if same and (bass.starts[at] == start or note.length >= HELD):
                return True
        return False

    def _around(self, site: int, found: Realised | None) -> list[Sounding]:
        """The line from the tone before to the tone after, plain or with a grace."""
        line, row = self.sites.tones, list[Sounding]()
        taken = found.from_previous if found is not None else Fraction(0)
        if site:
            before = line[site - 1]
            row.append((before.onset, before.end - taken, before.pitch.diatonic, before.pitch.midi))
        tone = line[site]
        if found is None:
            row.append((tone.onset, tone.end, tone.pitch.diatonic, tone.pitch.midi))
        else:
            for note in found.notes:
                start = tone.onset + note.onset
                row.append((start, start + note.length, note.pitch.diatonic, note.pitch.midi))
        if site + 1 < len(line):
            after = line[site + 1]
            row.append((after.onset, after.end, after.pitch.diatonic, after.pitch.midi))
        return row

    def _forms(
        self, site: int, kind: Kind, step: int, required: bool, lately: tuple[str, ...], like: str
    ) -> Iterator[Grace]:
        """From the fullest form that suits the place down to the simplest."""
        if kind.family == "shake":
            yield from self._shakes(site, step, required)
        elif kind.family == "division":
            yield from self._divisions(site, step, lately, like)
        else:
            plain = Grace(kind.grace, direction=_direction(kind), size=_size(kind))
            yield from self._enriched(site, kind, step, plain)
            yield plain

    def _shakes(self, site: int, step: int, required: bool) -> Iterator[Grace]:
        sites, habit = self.sites, self.manner.shake
        seconds, after = float(sites.seconds[site]), int(sites.step_after[site])
        from_above = int(sites.step_before[site]) == -1
        lean_from = float(habit["lean_seconds"]) * (1.0 if required or step > 0 else 1.3)
        lean = seconds >= lean_from and (required or from_above or bool(sites.on("upper-bites")[site] > 0))
        ending: Literal["none", "turned", "anticipation"] = "none"
        if habit["turned"] == "always" or (habit["turned"] == "rising" and 0 < after < 99):
            ending = "turned"
        elif habit["anticipation"] == "falling-cadence" and after == -1 and (required or step == 2):
            ending = "anticipation"
        elif after == -1 and required and step == 2 and habit["turned"] != "never":
            ending = "turned"
        quicken = required and step == 2 and seconds >= 1.2
        full = Grace("shake", lean=lean, ending=ending, accelerate=quicken)
        yield full
        yield replace(full, accelerate=False)
        if ending == "anticipation":
            yield replace(full, accelerate=False, ending="turned" if after > 0 else "none")
        yield replace(full, accelerate=False, lean=False)
        yield replace(full, accelerate=False, ending="none")
        yield Grace("shake")

    def _enriched(self, site: int, kind: Kind, step: int, plain: Grace) -> Iterator[Grace]:
        seconds = float(self.sites.seconds[site])
        if kind.id == "mordent" and step == 2 and seconds >= 0.9:
            yield replace(plain, size="double")
        if kind.id == "appoggiatura-below" and step >= 1 and seconds >= 0.9 and "mordent" in self.manner.bias:
            yield Grace("appoggiatura-mordent")

    def _divisions(self, site: int, step: int, lately: tuple[str, ...], like: str) -> Iterator[Grace]:
        """Passages from the divisions room, best first; what it says of each is kept for the reasons."""
        for division in self._passages(site, step, 5, lately, like):
            self.passages[site, division.grace] = division
            yield division.grace

    def formulas(self, site: int, step: int, lately: tuple[str, ...] = ()) -> tuple[str, ...]:
        """The formulas of many passages for a tone, best first."""
        name = site, step, lately
        if name not in self.figures:
            self.figures[name] = tuple(d.formula for d in self._passages(site, step, MANY, lately, ""))
        return self.figures[name]

    def _passages(
        self, site: int, step: int, most: int, lately: tuple[str, ...], like: str
    ) -> tuple[Division, ...]:
        name = self.sites.tones[site].id
        return divisions_for(
            self.places[name], manner=self.style, richness=RICHNESS[step], most=most, ground=self.grounds.get(name, ()),
            compass=(self.instrument.low, self.instrument.high), beat=self.beats[site], lately=lately, like=like,
        )  # fmt: skip


def style_of(manner: Manner) -> str:
    """Which style of division suits a manner: its own name, the first word of it, or its region's.

    >>> from gracewright.taste import load_manner
    >>> style_of(load_manner("french"))
    'french'
    """
    known = styles()
    for name in (manner.id, manner.id.partition("-")[0], STYLES.get(manner.region, "")):
        if name in known:
            return name
    return "german"


def workshop_of(
    piece: Piece, study: Study, sites: Sites, manner: Manner, instrument: Instrument, level: str,
    tempo: Fraction | None, source: str,
) -> Workshop:  # fmt: skip
    """The workshop for these circumstances; kept with the table of sites."""

    def make() -> Workshop:
        places = contexts(piece, study, instrument, level, tempo=tempo, source=source)
        beats = [piece.bars[tone.bar].meter.beat for tone in sites.tones]
        return Workshop(
            sites, manner, instrument, level, places, beats, lambda: grounds(piece, study), style_of(manner)
        )

    return sites.keep(("workshop", id(manner), id(instrument), level, source), make)


def _direction(kind: Kind) -> Literal["above", "below", ""]:
    return "above" if kind.direction == "above" else "below" if kind.direction == "below" else ""


def _size(kind: Kind) -> Literal["", "short", "long", "passing", "single", "double"]:
    match kind.size:
        case "short" | "long" | "passing" | "single" | "double":
            return kind.size
    return ""


def step_of(richness: float, share: float) -> int:
    """How bold: 0 sober, 1 usual, 2 bold, from the richness and the occasion's share of it.

    >>> step_of(5, 0.6), step_of(5, 1.0), step_of(8, 1.0)
    (0, 1, 2)
    """
    bold = richness * share
    return 0 if bold < 4 else 1 if bold < 6.5 else 2
