"""Write the two demo movements as MusicXML. The music is our own; this file is its manuscript.

A bar is a list of ``PITCH:LENGTH`` in quarters (``r`` rests, ``~`` ties into the next note); after a slash come
signs for the solo and figures for the bass, as a player writes them: ``6,5`` on top of each other, ``#`` and ``b``
and ``n`` alone for the third, ``4>#`` for two columns under one note.

Usage: python scripts/make_demo.py
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from lxml import etree

TARGET = Path(__file__).parents[1] / "src" / "gracewright" / "data" / "demo"
DIVISIONS = 4
KINDS = {1: "16th", 2: "eighth", 3: "eighth", 4: "quarter", 6: "quarter", 8: "half", 12: "half", 16: "whole"}
ACCIDENTALS = {"#": "sharp", "b": "flat", "n": "natural"}

ADAGIO = {
    "file": "adagio.musicxml",
    "title": "Adagio",
    "tempo": 50,
    "fifths": -1,
    "mode": "minor",
    "beats": 4,
    "repeats": [(1, 8), (9, 16)],
    "solo": """
A5:2 G5:1/2 E5:1/2 F5:1
Bb5:3/2 A5:1/2 G5:1 A5:1
A5:1/2 D6:1 C6:1/2 Bb5:1/2 G5:1/2 F5:1/2 D5:1/2~
D5:1 C#5:1 r:1/2 A4:1/2 C#5:1/2 E5:1/2
F5:1 D6:1 C6:1/2 Bb5:1/2 A5:1
F5:1/2 A5:1/2 D6:1 C6:1 Bb5:1/2 G5:1/2
A5:1/2 Bb5:1/2 C6:1/2 A5:1/2 G5:3/2 F5:1/2
F5:3 r:1
F#5:1/2 A5:1/2 C6:1/2 A5:1/2 Bb5:3/2 G5:1/2
E5:1/2 G5:1/2 Bb5:1/2 G5:1/2 A5:3/2 F5:1/2
D5:1/2 F5:1/2 A5:1/2 F5:1/2 G5:3/2 E5:1/2
F5:1 E5:1 r:1/2 A4:1/2 C#5:1/2 E5:1/2
F5:1 Bb5:1 A5:1/2 G5:1/2 F5:1
D6:3/2 C6:1/2 Bb5:1/2 G5:1/2 Eb5:1
D5:1/2 E5:1/2 F5:1/2 D5:1/2 E5:3/2 D5:1/2
D5:3 r:1
""",
    "bass": """
D3:2 C#3:1/6,5 D3:1
G2:2 E3:1/6 F3:1
D3:1 Bb2:1 G2:1/6 G#2:1/7,n
A2:2/4>#  A3:1 G3:1/4#,2
F3:1/6 Bb2:1 E3:1/6,5 F3:1
D3:1 Bb2:1 A2:1/6 Bb2:1/6,5
C3:4/6,4>5,3
F2:4
D3:2/7,# G2:2
C3:2/7 F2:2
Bb2:2/7 E2:2/7
A2:2/6,4>5,# A3:1 G3:1/4#,2
F3:1/6 G3:1 C#3:1/6,5 D3:1
Bb2:2 G3:2/6b
A3:2/6,4 A2:2/5,#
D3:4
""",
}

MENUET = {
    "file": "menuet.musicxml",
    "title": "Menuet",
    "tempo": 132,
    "fifths": -1,
    "mode": "major",
    "beats": 3,
    "repeats": [(1, 8), (9, 24)],
    "solo": """
F5:1 G5:1/2 A5:1/2 Bb5:1
A5:3/2 G5:1/2 F5:1
D6:3/2 C6:1/2 Bb5:1
G5:2 C6:1
A5:1 B5:1/2 C6:1/2 D6:1
C6:3/2 B5:1/2 A5:1
A5:1/2 F5:1/2 D6:3/2/trill-mark C6:1/2
C6:2 r:1
D6:1 G5:1/2 F5:1/2 E5:1
C6:1 F5:1/2 Eb5:1/2 D5:1
Bb5:1 E5:1/2 D5:1/2 C#5:1
D5:1 E5:1/2 F5:1/2 G5:1
F5:3/2 E5:1/2 D5:1
Bb5:3/2 A5:1/2 G5:1
F5:1 E5:3/2 D5:1/2
D5:2 r:1
F5:1/mordent G5:1/2 A5:1/2 Bb5:1
A5:3/2 G5:1/2 F5:1
D6:3/2 C6:1/2 Bb5:1
G5:2 C6:1
D6:1 C6:1/2 Bb5:1/2 A5:1
Bb5:3/2 G5:1/2 D6:1~
D6:1/2 Bb5:1/2 G5:3/2 F5:1/2
F5:3
""",
    "bass": """
F3:2 E3:1/6,5
F3:2 D3:1
Bb2:2 G2:1
C3:1 Bb2:1/4,2 A2:1/6
D3:2 B2:1/6
E3:2/6 F3:1
D3:1 G2:2/7,n
C3:3
B2:2/6,5 C3:1
A2:2/6,5b Bb2:1
G2:2/6,5 A2:1/#
D3:2 C#3:1/6,5
D3:2 Bb2:1
G2:2 Bb2:1/6
A2:1/6,4 A2:2/5,#
D3:2 C3:1/7
F3:2 E3:1/6,5
F3:2 D3:1
Bb2:2 G2:1
C3:1 Bb2:1/4,2 A2:1/6
Bb2:2 D3:1
G2:2 Bb2:1/6,5~
Bb2:1 C3:1 C2:1
F2:3
""",
}


def add(parent: etree._Element, tag: str, text: object = None, **attributes: str) -> etree._Element:
    child = etree.SubElement(parent, tag, attributes)
    if text is not None:
        child.text = str(text)
    return child


def spell(name: str) -> tuple[str, int, int]:
    return name[0], name.count("#") - name[1:].count("b"), int(name[-1])


def signature_alter(letter: str, fifths: int) -> int:
    return -1 if letter in "BEADGCF"[: max(0, -fifths)] else 1 if letter in "FCGDAEB"[: max(0, fifths)] else 0


def figure_columns(bar: etree._Element, text: str, length: int) -> None:
    """One ``<figured-bass>`` for each column; columns share the length of the note."""
    columns = text.split(">")
    for column in columns:
        element = add(bar, "figured-bass")
        for item in column.split(","):
            figure = add(element, "figure")
            digit = "".join(sign for sign in item if sign.isdigit())
            mark = "".join(sign for sign in item if not sign.isdigit())
            if digit:
                add(figure, "figure-number", digit)
                if mark:
                    add(figure, "suffix", ACCIDENTALS[mark])
            else:
                add(figure, "prefix", ACCIDENTALS[mark])
        if len(columns) > 1:
            add(element, "duration", length // len(columns))


def write_note(bar: etree._Element, token: str, state: dict, fifths: int, tie_in: bool) -> bool:
    """Append one note; gives back whether it ties on. ``state`` holds the accidentals of the bar."""
    tie_out = token.endswith("~")
    name, _, rest = token.rstrip("~").partition(":")
    length, extra = parse_length(rest)
    if extra and not extra[0].isalpha():
        figure_columns(bar, extra, length)
    note = add(bar, "note")
    if name == "r":
        add(note, "rest")
    else:
        letter, alter, octave = spell(name)
        pitch = add(note, "pitch")
        add(pitch, "step", letter)
        if alter:
            add(pitch, "alter", alter)
        add(pitch, "octave", octave)
    add(note, "duration", length)
    for there, kind in ((tie_in, "stop"), (tie_out, "start")):
        if there:
            add(note, "tie", type=kind)
    add(note, "voice", 1)
    add(note, "type", KINDS[length])
    if length in (3, 6, 12):
        add(note, "dot")
    if name != "r" and not tie_in:
        in_force = state.get((letter, octave), signature_alter(letter, fifths))
        if alter != in_force:
            add(note, "accidental", {1: "sharp", -1: "flat", 0: "natural"}[alter])
        state[letter, octave] = alter
    if tie_in or tie_out or (extra and extra[0].isalpha()):
        notations = add(note, "notations")
        for there, kind in ((tie_in, "stop"), (tie_out, "start")):
            if there:
                add(notations, "tied", type=kind)
        if extra and extra[0].isalpha():
            add(add(notations, "ornaments"), extra, placement="above")
    return tie_out


def parse_length(text: str) -> tuple[int, str]:
    """``3/2/6,5`` → (6, "6,5"): a fraction has a 2 below, whatever follows it is sign or figure."""
    whole, *others = text.split("/")
    if others and others[0] == "2" and int(whole) in (1, 3):
        return int(Fraction(int(whole), 2) * DIVISIONS), others[1] if len(others) > 1 else ""
    return int(whole) * DIVISIONS, others[0] if others else ""


def write_part(root: etree._Element, movement: dict, part_id: str, lines: str, clef: tuple[str, int]) -> None:
    part = add(root, "part", id=part_id)
    starts, ends = {first for first, _ in movement["repeats"]}, {last for _, last in movement["repeats"]}
    tie, bars = False, lines.strip().splitlines()
    for number, line in enumerate(bars, 1):
        bar = add(part, "measure", number=str(number))
        if number in starts and number > 1:
            add(add(bar, "barline", location="left"), "repeat", direction="forward")
        if number == 1:
            write_attributes(bar, movement, clef)
            if part_id == "P1":
                direction = add(bar, "direction", placement="above")
                add(add(direction, "direction-type"), "words", movement["title"])
                add(direction, "sound", tempo=str(movement["tempo"]))
        state: dict = {}
        for token in line.split():
            tie = write_note(bar, token, state, movement["fifths"], tie)
        beam(bar, movement["beats"])
        if number in ends:
            barline = add(bar, "barline", location="right")
            add(barline, "bar-style", "light-heavy")
            add(barline, "repeat", direction="backward")


def beam(bar: etree._Element, beats: int) -> None:
    """Beam quavers that follow one another: by half bars in common time, by bars in triple time."""
    span = DIVISIONS * (2 if beats == 4 else 3)
    at, run, where = 0, [], -1
    for note in [*bar.iterfind("note"), None]:
        quaver = note is not None and note.findtext("type") == "eighth" and note.find("rest") is None
        if not quaver or at // span != where:
            for place, member in enumerate(run if len(run) > 1 else []):
                kind = "begin" if place == 0 else "end" if place == len(run) - 1 else "continue"
                element = etree.Element("beam", number="1")
                element.text = kind
                last = member.find("accidental") if member.find("accidental") is not None else member.find("type")
                last.addnext(element)
            run, where = [], at // span
        if quaver:
            run.append(note)
        if note is not None:
            at += int(note.findtext("duration"))


def write_attributes(bar: etree._Element, movement: dict, clef: tuple[str, int]) -> None:
    attributes = add(bar, "attributes")
    add(attributes, "divisions", DIVISIONS)
    key = add(attributes, "key")
    add(key, "fifths", movement["fifths"])
    add(key, "mode", movement["mode"])
    time = add(attributes, "time", **({"symbol": "common"} if movement["beats"] == 4 else {}))
    add(time, "beats", movement["beats"])
    add(time, "beat-type", 4)
    element = add(attributes, "clef")
    add(element, "sign", clef[0])
    add(element, "line", clef[1])


def write(movement: dict) -> None:
    root = etree.Element("score-partwise", version="4.0")
    add(add(root, "work"), "work-title", movement["title"])
    add(add(root, "identification"), "creator", "written for gracewright", type="composer")
    parts = add(root, "part-list")
    for part_id, name in (("P1", "Alto recorder"), ("P2", "Bass")):
        add(add(parts, "score-part", id=part_id), "part-name", name)
    write_part(root, movement, "P1", movement["solo"], ("G", 2))
    write_part(root, movement, "P2", movement["bass"], ("F", 4))
    TARGET.mkdir(parents=True, exist_ok=True)
    (TARGET / movement["file"]).write_bytes(
        etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    )


if __name__ == "__main__":
    for piece in (ADAGIO, MENUET):
        write(piece)
