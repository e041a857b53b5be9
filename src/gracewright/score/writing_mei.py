"""MEI 5 (common notation) with both sides of an ornamented piece: the page with its signs, and what is played.

Conventions: two movements (``<mdiv>``). The first is the user's page with all signs, ours bearing ``type="gw-ours"``;
the second, itself ``type="gw-ours"``, is the order as played with the line in written-out notes. A second movement and
not an ossia, because the played order writes repeats out and each time through has notes of its own. A staff for each
stave of each part, ids kept; ids of the second movement begin with ``played-``, and ``corresp`` leads from each played
note to the note on the page that it comes from.

Public: write_mei.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.pitch import Pitch
from gracewright.score.lines import part_of
from gracewright.score.mei_bar import BarWriter, Hand, add, clef_of, staves_of
from gracewright.score.model import Bar, Clef, Part, Piece
from gracewright.score.musicxml import read_musicxml
from gracewright.score.unfolding import Order
from gracewright.score.writing_played import Sounded, write_played
from gracewright.score.writing_signs import Addition, write_signs

NAMESPACE: Final = "http://www.music-encoding.org/ns/mei"
OURS_TYPE: Final = "gw-ours"


def write_mei(
    piece: Piece,
    line: str,
    additions: Sequence[Addition],
    sounded: Sequence[Sounded],
    order: Order,
    *,
    repeat_additions: Sequence[Addition] = (),
) -> bytes:
    """The page with its signs and the line as played, as two movements of one MEI document (UTF-8).

    The arguments are those of :func:`write_signs` and :func:`write_played`; the same BadInput is raised.
    """
    name = piece.source or "score.musicxml"
    page = read_musicxml(write_signs(piece, line, additions, repeat_additions=repeat_additions), name)
    played = read_musicxml(write_played(piece, line, sounded, order), name)
    root = etree.Element("mei", meiversion="5.0")
    _head(root, piece)
    body = add(add(root, "music"), "body")
    on_page = Hand(page, "")
    _movement(body, on_page, n="1", label="as written, with its signs")
    hosts = _hosts(played, line, sounded)
    written_as = {note: on_page.id_of(host) for note, host in hosts.items() if host in page.by_id}
    _movement(body, Hand(played, "played-", written_as=written_as), n="2", label="as played", type=OURS_TYPE)
    root.set("xmlns", NAMESPACE)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True, pretty_print=True)


def _head(root: etree._Element, piece: Piece) -> None:
    description = add(add(root, "meiHead"), "fileDesc")
    title = add(description, "titleStmt")
    add(title, "title").text = piece.title
    if piece.composer:
        add(title, "composer").text = piece.composer
    add(description, "pubStmt")


def _hosts(played: Piece, line: str, sounded: Sequence[Sounded]) -> dict[str, str]:
    """Note of the played line → id of the note on the page."""
    part, staff = part_of(line)
    hosts = {(note.onset, note.pitch): note.host for note in sounded if note.host}
    found: dict[str, str] = {}
    for note in played.by_part[part]:
        if note.pitch is not None and (not staff or note.staff == staff) and not note.tie_in:
            host = hosts.get((note.onset, note.pitch))
            if host:
                found[note.id] = host
    return found


def _movement(body: etree._Element, hand: Hand, **attributes: str) -> None:
    piece = hand.piece
    score = add(add(body, "mdiv", **attributes), "score")
    _definition(score, piece)
    section = add(score, "section")
    previous: Bar | None = None
    for endings, bars in itertools.groupby(piece.bars, key=lambda bar: bar.endings):
        inside = add(section, "ending", n=", ".join(map(str, endings))) if endings else section
        for bar in bars:
            if previous is not None:
                _changes(inside, piece, previous, bar)
            BarWriter(hand, bar).write(inside)
            previous = bar
    hand.close_slurs()


def _definition(score: etree._Element, piece: Piece) -> None:
    first = piece.bars[0]
    definition = add(score, "scoreDef", **_meter(first))
    group = add(definition, "staffGrp")
    for number, part, staff in staves_of(piece):
        if part.staves > 1 and staff == 1:
            braced = add(group, "staffGrp", symbol="brace")
            add(braced, "label").text = part.name
        own = add(braced if part.staves > 1 else group, "staffDef", n=str(number), lines="5")
        if part.staves > 1:
            own.set("label", part.name or part.id)
        else:
            add(own, "label").text = part.name or part.id
        own.set("keysig", _signature(first.fifths, part))
        if first.mode in ("major", "minor"):
            own.set("key.mode", first.mode)
        for key, value in clef_of(_first_clef(part, staff)).items():
            own.set(f"clef.{key}", value)
        if part.transpose != (0, 0):
            own.set("trans.diat", str(part.transpose[0]))
            own.set("trans.semi", str(part.transpose[1]))


def _first_clef(part: Part, staff: int) -> Clef:
    return next((clef for clef in part.clefs if clef.staff == staff), Clef(Fraction(0), staff, "G", 2))


def _meter(bar: Bar) -> dict[str, str]:
    if not bar.meter.measured:
        return {}
    found = {"meter.count": str(bar.meter.beats), "meter.unit": str(bar.meter.unit)}
    if bar.meter.symbol in ("common", "cut"):
        found["meter.sym"] = bar.meter.symbol
    return found


def _changes(section: etree._Element, piece: Piece, previous: Bar, bar: Bar) -> None:
    """A new key or time before a bar."""
    meter = _meter(bar) if bar.meter != previous.meter else {}
    keys = (bar.fifths, bar.mode) != (previous.fifths, previous.mode)
    if not meter and not keys:
        return
    definition = add(section, "scoreDef", **meter)
    if keys:
        group = add(definition, "staffGrp")
        for number, part, _ in staves_of(piece):
            own = add(group, "staffDef", n=str(number), keysig=_signature(bar.fifths, part))
            if bar.mode in ("major", "minor"):
                own.set("key.mode", bar.mode)


def _signature(fifths: int, part: Part) -> str:
    """The written key signature of a part: ``2s``, ``3f``, ``0``."""
    diatonic, chromatic = part.transpose
    written = fifths + Pitch(4, 0).transposed(-diatonic, -chromatic).fifths
    return f"{abs(written)}{'s' if written > 0 else 'f'}" if written else "0"
