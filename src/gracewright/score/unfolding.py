"""A document in the order as played: repeats, endings and jumps written out bar after bar.

Conventions: ``order`` is a sequence of runs (first bar, last bar), both inclusive, as page indices. Where a run does
not follow on the one before it, the attributes in force at its first bar (key, clef, time …) are stated again.

Public: unfold, bars_of, Attributes.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from typing import Final

from lxml import etree

from gracewright.score.musicxml_part import JUMP_WORDS
from gracewright.score.ours import is_ours

ORDER_OF_ATTRIBUTES: Final = (
    "divisions", "key", "time", "staves", "part-symbol", "instruments", "clef", "staff-details", "transpose",
)  # fmt: skip
JUMPS: Final = ("dacapo", "dalsegno", "fine", "tocoda", "segno", "coda", "forward-repeat")

Order = Sequence[tuple[int, int]]
Attributes = dict[tuple[str, str], etree._Element]


def bars_of(order: Order) -> list[int]:
    """Page indices of the bars as played.

    >>> bars_of([(0, 1), (0, 2)])
    [0, 1, 0, 1, 2]
    """
    return [bar for first, last in order for bar in range(first, last + 1)]


def unfold(tree: etree._ElementTree, order: Order) -> None:
    """Write out a document in place. Ids of later times through get an ending of their own."""
    root = tree.getroot()
    for part in root.findall("part"):
        if is_ours(part):
            root.remove(part)
            for entry in root.findall("part-list/score-part"):
                if entry.get("id") == part.get("id"):
                    entry.getparent().remove(entry)  # type: ignore[union-attr]
        else:
            _unfold_part(part, bars_of(order))


def _unfold_part(part: etree._Element, bars: Sequence[int]) -> None:
    measures = part.findall("measure")
    before, after = _states(measures)
    played: list[etree._Element] = []
    heard: dict[int, int] = {}
    number = 0
    previous = -1
    for index in bars:
        if index >= len(measures):
            break
        heard[index] = heard.get(index, 0) + 1
        bar = copy.deepcopy(measures[index])
        if heard[index] > 1:
            _rename(bar, heard[index])
        _plain(bar, last=len(played) == len(bars) - 1)
        if played and index != previous + 1:
            _restate(bar, before[index], after[previous])
            _cut_loose(played[-1], bar)
        if bar.get("implicit") == "yes":
            bar.set("number", f"X{len(played) + 1}" if played else "0")
        else:
            number += 1
            bar.set("number", str(number))
        played.append(bar)
        previous = index
    for measure in measures:
        part.remove(measure)
    part.extend(played)


def _states(measures: Sequence[etree._Element]) -> tuple[list[Attributes], list[Attributes]]:
    """The attributes in force before and after each bar."""
    state: Attributes = {}
    before, after = [], []
    for measure in measures:
        before.append(dict(state))
        for attributes in measure.iterfind("attributes"):
            _note(state, attributes)
        after.append(dict(state))
    return before, after


def _note(state: Attributes, attributes: etree._Element) -> None:
    for child in attributes:
        if child.tag in ORDER_OF_ATTRIBUTES:
            number = child.get("number", "1" if child.tag == "clef" else "")
            if not number:
                for key in [key for key in state if key[0] == child.tag]:
                    del state[key]
            state[str(child.tag), number] = child


def _restate(bar: etree._Element, wanted: Attributes, present: Attributes) -> None:
    """Begin a bar with the attributes that differ from those in force."""
    own: Attributes = {}
    for child in bar:
        if child.tag in ("note", "forward", "backup"):
            break
        if child.tag == "attributes":
            _note(own, child)
    missing = [
        element
        for key, element in wanted.items()
        if key not in own and (key not in present or _same(element, present[key]) is False)
    ]
    if not missing:
        return
    attributes = etree.Element("attributes")
    for element in sorted(missing, key=lambda element: ORDER_OF_ATTRIBUTES.index(str(element.tag))):
        attributes.append(copy.deepcopy(element))
    attributes.tail = bar.text
    bar.insert(0, attributes)


def _same(one: etree._Element, other: etree._Element) -> bool:
    return etree.tostring(one, method="c14n", with_tail=False) == etree.tostring(other, method="c14n", with_tail=False)


def _rename(bar: etree._Element, time_through: int) -> None:
    for element in bar.iter():
        if element.get("id") and element.tag not in ("instrument", "midi-instrument", "midi-device"):
            element.set("id", f"{element.get('id')}.{time_through}")


def _plain(bar: etree._Element, *, last: bool) -> None:
    """Take repeat signs, endings, jumps and page layout out of a bar."""
    for child in list(bar):
        if child.tag == "print":
            bar.remove(child)
        elif child.tag == "barline":
            _plain_barline(bar, child, last=last)
        elif child.tag == "direction":
            _plain_direction(bar, child)
        elif child.tag == "sound":
            _plain_sound(child)


def _plain_barline(bar: etree._Element, barline: etree._Element, *, last: bool) -> None:
    folded = False
    for child in list(barline):
        if child.tag in ("repeat", "ending", "segno", "coda"):
            barline.remove(child)
            folded = True
    for jump in ("segno", "coda"):
        barline.attrib.pop(jump, "")
    style = barline.find("bar-style")
    if folded and style is not None and style.text not in ("light-heavy" if last else "", "light-light"):
        if barline.get("location", "right") == "left" or not last:
            barline.remove(style)
        else:
            style.text = "light-heavy"
    if len(barline) == 0:
        bar.remove(barline)


def _plain_direction(bar: etree._Element, direction: etree._Element) -> None:
    for kind in list(direction.iterfind("direction-type")):
        for mark in list(kind):
            text = "".join(str(piece) for piece in mark.itertext()).strip()
            if mark.tag in ("segno", "coda") or (
                mark.tag == "words" and any(pattern.search(text) for pattern, _ in JUMP_WORDS)
            ):
                kind.remove(mark)
        if len(kind) == 0:
            direction.remove(kind)
    sound = direction.find("sound")
    if sound is not None:
        _plain_sound(sound)
    if direction.find("direction-type") is None:
        bar.remove(direction)


def _plain_sound(sound: etree._Element) -> None:
    for jump in JUMPS:
        sound.attrib.pop(jump, "")


def _cut_loose(left: etree._Element, right: etree._Element) -> None:
    """Where a bar does not follow on the one before it, ties and slurs that lead nowhere end."""
    for tags, key in ((("tie", "tied"), _pitch_key), (("slur",), _slur_key)):
        open_ends = _ends(left, tags, key, "start", "stop")
        loose_ends = _ends(right, tags, key, "stop", "start", backwards=True)
        for name, elements in [*open_ends.items(), *loose_ends.items()]:
            if (name in open_ends) != (name in loose_ends):
                for element in elements:
                    element.getparent().remove(element)  # type: ignore[union-attr]


def _pitch_key(element: etree._Element) -> str:
    note = next(element.iterancestors("note"))
    return f"{element.tag} {note.findtext('pitch/step')} {note.findtext('pitch/alter')} {note.findtext('pitch/octave')}"


def _slur_key(element: etree._Element) -> str:
    return element.get("number", "1")


def _ends(
    bar: etree._Element, tags: Sequence[str], key: object, opening: str, closing: str, *, backwards: bool = False
) -> dict[str, list[etree._Element]]:
    """Starts of a bar that no stop in it answers (or, backwards, stops that no start comes before)."""
    assert callable(key)
    found: dict[str, list[etree._Element]] = {}
    elements = list(bar.iter(*tags))
    for element in reversed(elements) if backwards else elements:
        name = key(element)
        if element.get("type") == opening:
            found.setdefault(name, []).append(element)
        elif element.get("type") == closing:
            found.pop(name, None)
    return found
