"""Ornaments side by side: our notes, music21's realisation and Verovio's MIDI, on the same small files. One table.

Each file is one bar: a quarter, the ornamented host, and what follows. Every answer is judged by the same rules, which
a player would name (common practice, no source): begins as it should, on the beat, right neighbours, fills exactly its
note, is played out at all. ``ok`` means that none is broken.

Then the neighbour rule against the composers' own notes: wherever an open score writes a note, its neighbour and the
note again within a bar, what would we have taken? (The chords are found from all notes, these neighbours among them.)
At the end: the time for 10,000 realisations.

Run: ``python bench/bench_graces.py``
"""

from __future__ import annotations

import base64
import io
import os
import time
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Final

import music21
import verovio

from gracewright.graces import Context, Grace, contexts, neighbour, page_graces, realise
from gracewright.pitch import Key, Pitch
from gracewright.score import find_solo, read, tones
from gracewright.study import study

Sounded = list[tuple[int, Fraction, Fraction]]  # MIDI number, onset from the host's, length
DIVISIONS: Final = 24
SLACK: Final = Fraction(1, 16)
"""Quarters: gaps and overlaps smaller than this are a matter of touch, not of notes."""


@dataclass(frozen=True)
class Case:
    """A host with its sign, and what a player expects: the first note, the notes that may occur, how it ends."""

    name: str
    host: str
    length: Fraction
    ornaments: str = ""
    before: str = ""  # small notes, as pitch names
    after: str = ""
    slash: bool = False
    fifths: int = 0
    key: str = "C major"
    previous: str = "C5"
    following: str = "C5"
    first: str = ""
    allowed: tuple[str, ...] = ()
    first_length: Fraction | None = None
    last: str = ""
    ahead: Fraction = field(default=Fraction(0))  # how early the first note may come


Q = Fraction(1)
CASES: Final = (
    Case("trill", "C5", Q, "<trill-mark/>", first="D5", allowed=("C5", "D5", "B4"), following="B4"),
    Case("trill, tune rises", "B4", Q, "<trill-mark/>", first="C5", allowed=("B4", "C5", "A4"), last="B4"),
    Case("trill on a dotted half", "D5", 3 * Q, "<trill-mark/>", first="E5", allowed=("C5", "D5", "E5"),
         following="C5"),
    Case("trill in a triplet", "D5", Q / 3, "<trill-mark/>", first="E5", allowed=("D5", "E5", "C5")),
    Case("trill, small notes after", "B4", 2 * Q, "<trill-mark/>", after="A4 B4", first="C5",
         allowed=("A4", "B4", "C5"), last="B4"),
    Case("trill, G minor, on A", "A4", Q, "<trill-mark/>", fifths=-2, key="G minor", first="Bb4",
         allowed=("A4", "Bb4", "G4"), following="G4"),
    Case("trill, F# in the bar, on E", "E5", Q, "<trill-mark/>", fifths=-2, key="G minor", previous="F#5",
         first="F#5", allowed=("E5", "F#5", "D5"), following="D5"),
    Case("mordent", "C5", Q, "<mordent/>", first="C5", allowed=("C5", "B4")),
    Case("mordent on the tonic, G minor", "G4", Q, "<mordent/>", fifths=-2, key="G minor", first="G4",
         allowed=("G4", "F#4")),
    Case("mordent on F#, G minor", "F#5", Q, "<mordent/>", fifths=-2, key="G minor", first="F#5",
         allowed=("F#5", "E5"), following="G5"),
    Case("short wavy line", "C5", Q, "<inverted-mordent/>", first="D5", allowed=("C5", "D5"), previous="D5"),
    Case("turn", "C5", Q, "<turn/>", first="D5", allowed=("D5", "C5", "B4")),
    Case("turn after the note", "C5", 2 * Q, "<delayed-turn/>", first="C5", allowed=("D5", "C5", "B4"),
         following="D5"),
    Case("slide sign", "C5", Q, "<schleifer/>", first="A4", allowed=("A4", "B4", "C5"), previous="G4"),
    Case("small note", "C5", Q, before="D5", first="D5", allowed=("D5", "C5"), first_length=Q / 2, previous="D5"),
    Case("small note, dotted half", "C5", 3 * Q, before="D5", first="D5", allowed=("D5", "C5"), first_length=2 * Q,
         previous="D5"),
    Case("small note, struck through", "C5", Q, before="D5", slash=True, first="D5", allowed=("D5", "C5"),
         previous="E5"),
    Case("two small notes", "C5", 3 * Q, before="A4 B4", first="A4", allowed=("A4", "B4", "C5"), first_length=None,
         previous="G4"),
)  # fmt: skip


class Fingers:
    def rate(self, level: str, lower: Pitch, upper: Pitch) -> float:
        return 5.0

    def least(self, level: str) -> float:
        return 0.06


TYPES: Final = {
    # quarters: type, dots and tuplet as MusicXML writes them
    Q: "<type>quarter</type>", 2 * Q: "<type>half</type>", 3 * Q: "<type>half</type><dot/>",
    Q / 3: "<type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
           "</time-modification>",
    2 * Q / 3: "<type>quarter</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
               "</time-modification>",
}  # fmt: skip


def xml_note(name: str, length: Fraction | None, grace: str = "", notations: str = "") -> str:
    pitch = Pitch.parse(name)
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    lasting = "" if length is None else f"<duration>{int(length * DIVISIONS)}</duration>"
    kind = "<type>eighth</type>" if length is None else TYPES[length]
    return (f"<note>{grace}<pitch><step>{pitch.pitch_class[0]}</step>{alter}<octave>{pitch.octave}</octave></pitch>"
            f"{lasting}<voice>1</voice>{kind}{notations}</note>")  # fmt: skip


def xml_of(case: Case) -> str:
    struck = '<grace slash="yes"/>' if case.slash else "<grace/>"
    into = "".join(xml_note(name, None, struck) for name in case.before.split())
    names = case.after.split()
    slurs = ["" for _ in names[:-1]] + ['<notations><slur type="stop" number="1"/></notations>'] if names else []
    out = "".join(xml_note(name, None, "<grace/>", slur) for name, slur in zip(names, slurs, strict=True))
    slur = '<slur type="start" number="1"/>' if names else ""
    marks = f"<notations>{slur}<ornaments>{case.ornaments}</ornaments></notations>" if case.ornaments else ""
    last = 2 * Q / 3 if case.length == Q / 3 else Q
    beats = int(1 + case.length + last)
    return (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name>'
        '</score-part></part-list><part id="P1"><measure number="1"><attributes>'
        f"<divisions>{DIVISIONS}</divisions><key><fifths>{case.fifths}</fifths></key>"
        f"<time><beats>{beats}</beats><beat-type>4</beat-type></time>"
        '<clef><sign>G</sign><line>2</line></clef></attributes><sound tempo="60"/>'
        f"{xml_note(case.previous, Q)}{into}{xml_note(case.host, case.length, '', marks)}{out}"
        f"{xml_note(case.following, last)}</measure></part></score-partwise>"
    )


def ours(case: Case, xml: str) -> Sounded:
    piece = read("case.musicxml", xml.encode())
    found = study(piece, solo=find_solo(piece))
    places = contexts(piece, found, Fingers(), "intermediate", tempo=Fraction(60))
    host = [note.id for note in piece.notes][1]
    graces = {grace.note: grace.grace for grace in page_graces(piece, found)}
    place = replace(places[host], key=Key.parse(case.key), harmony=())  # two notes are too few to hear a key in
    notes = realise(graces[host], place).notes if host in graces else ()
    return [(note.pitch.midi, note.onset, note.length) for note in notes]


def of_music21(case: Case, xml: str) -> Sounded:
    notes = list(music21.converter.parseData(xml).parts[0].flatten().notes)
    host = [note for note in notes if note.quarterLength > 0][1]
    at = notes.index(host)
    row: Sounded = [(n.pitch.midi, Fraction(0), Fraction(0)) for n in notes[:at] if n.duration.isGrace]
    ornament = next((e for e in host.expressions if isinstance(e, music21.expressions.Ornament)), None)
    made = [host] if ornament is None else None
    if ornament is not None:
        first, left, last = ornament.realize(host)
        made = [*first, *([left] if left is not None else []), *last]
    now = Fraction(0)
    for note in made or []:
        row.append((note.pitch.midi, now, Fraction(note.quarterLength)))
        now += Fraction(note.quarterLength)
    return row


def of_verovio(case: Case, xml: str) -> Sounded:
    toolkit = verovio.toolkit()
    toolkit.loadData(xml)
    stream = music21.midi.MidiFile()
    stream.openFileLike(io.BytesIO(base64.b64decode(toolkit.renderToMIDI())))
    stream.read()
    per_quarter = stream.ticksPerQuarterNote
    row: Sounded = []
    for track in stream.tracks:
        now, sounding = 0, dict[int, int]()
        for event in track.events:
            if event.isDeltaTime():
                now += event.time
            elif event.isNoteOn():
                sounding[event.pitch] = now
            elif event.isNoteOff() and event.pitch in sounding:
                begun = sounding.pop(event.pitch)
                onset = Fraction(begun, per_quarter) - 1
                row.append((event.pitch, onset, Fraction(now - begun, per_quarter)))
    return sorted((n for n in row if -Fraction(1, 2) < n[1] < case.length), key=lambda n: n[1])


def faults(case: Case, notes: Sounded) -> list[str]:
    """What a player would object to."""
    found = []
    host = Pitch.parse(case.host).midi
    if len(notes) < 2:
        return ["not played out"]
    if any(length == 0 for _, _, length in notes):
        return ["small notes without time"]
    first = Pitch.parse(case.first)
    if notes[0][0] != first.midi:
        found.append(f"begins with {music21.pitch.Pitch(midi=notes[0][0]).nameWithOctave.replace('-', 'b')}")
    if notes[0][1] < -case.ahead:
        found.append("before the beat")
    allowed = {Pitch.parse(name).midi for name in case.allowed}
    following = Pitch.parse(case.following).midi
    strange = [midi for midi, _, _ in notes if midi not in allowed and midi != following]
    if strange:
        found.append(f"wrong neighbour {music21.pitch.Pitch(midi=strange[0]).nameWithOctave.replace('-', 'b')}")
    total = sum((length for _, onset, length in notes if onset >= 0), Fraction(0))
    if abs(total - case.length) > SLACK:
        found.append(f"fills {float(total):.2f} of {float(case.length):.2f}")
    if any(a[1] + a[2] > b[1] + SLACK for a, b in pairwise(notes)):
        found.append("notes overlap")
    if case.first_length is not None and abs(notes[0][2] - case.first_length) > SLACK:
        found.append(f"first note {float(notes[0][2]):.2f}, wanted {float(case.first_length):.2f}")
    end = Pitch.parse(case.last).midi if case.last else host
    if notes[-1][0] not in (end, following):
        found.append("ends off the note")
    if case.name.startswith("two small") and notes[0][2] > Fraction(1, 4):
        found.append("small notes too slow")
    return found


def shown(notes: Sounded, most: int = 8) -> str:
    names = [music21.pitch.Pitch(midi=midi).nameWithOctave.replace("-", "b") for midi, _, _ in notes]
    return " ".join(names) if len(names) <= most else f"{' '.join(names[:5])} … {' '.join(names[-2:])} ({len(names)})"


def neighbours() -> None:
    """How often our neighbour is the one that stands in the score, by what the rule may look at."""
    shared = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared"))
    files = sorted(shared.glob("data/open/dcml_*/musicxml/*.musicxml"))[::4]
    if not files:
        print("neighbours: the open scores are not beside the project, left out")
        return
    right: dict[str, list[int]] = {name: [0, 0] for name in ("all", "without the chord", "the key alone")}
    for path in files:
        piece = read(path)
        found = study(piece)
        places = contexts(piece, found, Fingers(), "intermediate")
        line = tones(piece, found.solo)
        for first, beside, again in zip(line, line[1:], line[2:], strict=False):
            step = beside.pitch.diatonic - first.pitch.diatonic
            apart = beside.rest_before or again.rest_before or first.bar != beside.bar
            if first.pitch != again.pitch or abs(step) != 1 or apart or beside.length > min(first.length, Q / 2):
                continue
            place = places[first.id]
            ways = {"all": place, "without the chord": replace(place, harmony=()),
                    "the key alone": replace(place, harmony=(), bar_state={})}  # fmt: skip
            for name, way in ways.items():
                right[name][0] += neighbour(way, step) == beside.pitch
                right[name][1] += 1
    for name, (hits, asked) in right.items():
        print(f"neighbours as the composer wrote them, {name:<18} {hits} of {asked}: {100 * hits / asked:.1f} %")


def speed(count: int = 10_000) -> float:
    graces = [Grace(name) for name in ("shake", "mordent", "appoggiatura", "turn", "slide", "accent", "passing-notes",
                                       "double-appoggiatura", "finger-vibrato")]  # fmt: skip
    graces += [Grace("shake", ending="turned"), Grace("shake", lean=True)]
    places = [
        Context(Pitch.parse(pitch), Fraction(0), length, Key.parse(key), 0, following=Pitch.parse("C5"),
                previous=Pitch.parse("A4"), source=source)
        for pitch in ("D5", "F5", "A4", "G4", "B4") for length in (Q, 2 * Q, 3 * Q / 2, Q / 2)
        for key in ("C major", "G major", "D minor") for source in ("", "jsbach1720", "cpebach1753")
    ]  # fmt: skip
    best = float("inf")
    for _ in range(3):
        begun = time.perf_counter()
        for n in range(count):
            realise(graces[n % len(graces)], places[(n // len(graces)) % len(places)])
        best = min(best, time.perf_counter() - begun)
    return best


def main() -> None:
    judged: dict[str, int] = {"ours": 0, "music21": 0, "verovio": 0}
    print(f"{'ornament':<30} {'by':<8} {'notes':<42} what is wrong")
    for case in CASES:
        xml = xml_of(case)
        for name, notes in (("ours", ours(case, xml)), ("music21", of_music21(case, xml)),
                            ("verovio", of_verovio(case, xml))):  # fmt: skip
            wrong = faults(case, notes)
            judged[name] += not wrong
            label = case.name if name == "ours" else ""
            print(f"{label:<30} {name:<8} {shown(notes):<42} {'; '.join(wrong) or 'ok'}")
    told = ", ".join(f"{name} {right}" for name, right in judged.items())
    print(f"without fault, of {len(CASES)}: {told}")
    neighbours()
    print(f"10,000 graces realised in {speed():.2f} s (best of 3), goal 1 s")


if __name__ == "__main__":
    main()
