"""Ornament signs, small notes and figures: counted in the raw files and in what was read. All must be kept.

    python bench/bench_kept.py             every open score and every MusicXML file of music21's corpus
    python bench/bench_kept.py --every 5   a sample

MusicXML is counted by its elements, MEI by ``trill``, ``mordent``, ``turn``, ``ornam``, ``f`` and notes with ``grace``,
Humdrum by the ornament letters of the tokens, the ``q`` of small notes and the ``**fb`` spines. What stands in a second
movement, a part this program added, an unpitched part or an editorial reading not chosen is no loss and left out of the
count where the raw text tells it.
"""

from __future__ import annotations

import argparse
import re
from collections import Counter
from pathlib import Path

from lxml import etree

from bench_readers import files_of
from gracewright.errors import BadInput
from gracewright.score import FigureItem, Piece, read
from gracewright.score.musicxml_note import SIGN_ELEMENTS
from gracewright.score.safe import checked, text_of, unpack_mxl

KINDS = ("signs", "small notes", "figures")


def read_in(piece: Piece) -> Counter[str]:
    """Signs that are elements (lone words apart), small notes, single figures."""
    marks = [note.marks for note in piece.notes]
    small = [small for mark in marks for small in (*mark.before, *mark.after)]
    signs = [sign for holder in (*marks, *small) for sign in holder.signs if sign.element in SIGN_ELEMENTS]
    return Counter({
        "signs": len(signs), "small notes": len(small),
        "figures": sum(1 for figure in piece.figures for item in figure.items if _shows(item)),
    })  # fmt: skip


def _shows(item: FigureItem) -> bool:
    """Whether it is a figure and not the line that goes on from one."""
    return bool(item.number or item.prefix or item.suffix)


def in_musicxml(data: bytes, name: str) -> Counter[str]:
    root = etree.fromstring(checked(unpack_mxl(data, name) if data[:2] == b"PK" else data, name))
    found: Counter[str] = Counter()
    for note in root.iter("note"):
        pitched = note.find("pitch") is not None
        signs = (sign for sign in note.iterfind("notations/ornaments/*") if sign.tag in SIGN_ELEMENTS)
        found["signs"] += sum(1 for _ in signs) if pitched else 0
        found["small notes"] += note.find("grace") is not None and pitched
    for figure in root.iter("figure"):
        found["figures"] += any((child.text or "").strip() for child in figure)
    return found


def in_mei(data: bytes, name: str) -> Counter[str]:
    root = etree.fromstring(checked(data, name), etree.XMLParser(remove_comments=True))
    space = "{http://www.music-encoding.org/ns/mei}"
    score = next(root.iter(f"{space}score"))
    for other in [one for tag in ("orig", "sic") for one in score.iter(space + tag)]:
        if any(one.tag in (f"{space}reg", f"{space}corr") for one in other.getparent()):
            other.getparent().remove(other)
    found: Counter[str] = Counter()
    found["signs"] = sum(1 for tag in ("trill", "mordent", "turn") for _ in score.iter(space + tag))
    found["figures"] = sum(1 for figure in score.iter(f"{space}f") if "".join(figure.itertext()).strip())
    for note in score.iter(f"{space}note"):
        above = [note, *note.iterancestors()][:3]
        found["small notes"] += any(e.get("grace") or e.tag == f"{space}graceGrp" for e in above)
    return found


def in_kern(data: bytes, name: str) -> Counter[str]:
    """Tokens of the kern spines; a spine that splits keeps its kind."""
    spines: list[str] = []
    found: Counter[str] = Counter()
    for line in text_of(data, name).splitlines():
        if line.startswith(("!", "=")) or not line:
            continue
        fields = line.split("\t")
        if line.startswith("**"):
            spines = fields
        elif line.startswith("*"):
            spines = _after(spines, fields)
        else:
            for spine, field in zip(spines, fields, strict=False):
                if spine == "**kern":
                    for token in field.split():
                        pitched = re.search(r"[a-gA-G]", token) is not None and "r" not in token
                        found["small notes"] += pitched and "q" in token
                    found["signs"] += len(re.findall(r"[TtMmWwS$]+", field.split()[0]))
                elif spine.startswith("**f") and field != ".":
                    moved = [one for figure in field.split() for one in figure.split(":")]  # 7:6 is two, one by one
                    found["figures"] += sum(1 for figure in moved if figure.strip("Xx_~."))  # else a line, or not shown
    return found


def _after(spines: list[str], fields: list[str]) -> list[str]:
    """The spines after a line of interpretations: split, joined, ended."""
    after: list[str] = []
    joined = False
    for spine, field in zip(spines, fields, strict=False):
        if field == "*^":
            after += [spine, spine]
        elif field == "*v":
            if not joined:
                after.append(spine)
        elif field == "*+":
            after += [spine, ""]
        elif field != "*-":
            after.append(field if field.startswith("**") else spine)
        joined = field == "*v"
    return after


COUNTERS = {"musicxml": in_musicxml, "mei": in_mei, "kern": in_kern}


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--format", choices=tuple(COUNTERS), default="")
    options = parser.parse_args()
    for kind, count in COUNTERS.items():
        if options.format not in ("", kind):
            continue
        raw, ours, files, unequal = Counter[str](), Counter[str](), 0, 0
        for path in files_of(kind)[:: options.every]:
            wanted, found = _pair(path, count)
            if found is None:
                continue
            files += 1
            raw += wanted
            ours += found
            if any(wanted[name] != found[name] for name in KINDS):
                unequal += 1
                print(f"  {path.parent.name}/{path.name}: raw {dict(wanted)}, read {dict(found)}")
        told = ", ".join(f"{name} {ours[name]} of {raw[name]}" for name in KINDS)
        print(f"{kind:10}{files:6} files, {unequal} unequal: {told}")


def _pair(path: Path, count: object) -> tuple[Counter[str], Counter[str] | None]:
    data = path.read_bytes()
    try:
        piece = read(path)
    except BadInput:
        return Counter(), None
    assert callable(count)
    return count(data, path.name), read_in(piece)


if __name__ == "__main__":
    main()
