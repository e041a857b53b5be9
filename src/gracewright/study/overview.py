"""One picture of a whole piece: bars along, keys, cadences, phrases, sequences, repeats, tension. Plain SVG.

Conventions: time runs evenly from left to right; every colour is also told by a word or a shape, and the picture
carries a description for those who do not see it.

Public: overview_svg.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, Final
from xml.sax.saxutils import escape, quoteattr

from gracewright.pitch import Key
from gracewright.score import Piece

if TYPE_CHECKING:
    from gracewright.study.model import Study

WIDTH: Final = 1000
LEFT: Final = 90
RIGHT: Final = 16
ROWS: Final = {"phrases": 62, "keys": 84, "cadences": 128, "sequences": 172, "repeats": 196, "tension": 216}
HEIGHT: Final = 300
TENSION_HEIGHT: Final = 54
MARKS: Final = {
    "authentic-perfect": "PAC", "authentic-imperfect": "IAC", "half": "HC", "phrygian": "Phr", "deceptive": "DC",
    "evaded": "EC",
}  # fmt: skip
Across = Callable[[Fraction], float]


def overview_svg(study: Study, piece: Piece, *, family: str = "sans-serif") -> str:
    """The picture as an SVG document; ``family`` is the font of its words."""
    total = float(piece.length) or 1.0

    def across(time: Fraction) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * float(time) / total, 1)

    parts = [
        *_bars(piece, across), *_phrases(study, across), *_keys(study, piece, across), *_cadences(study, across),
        *_sequences(study, across), *_repeats(study, across), *_tension(study, piece, across),
    ]  # fmt: skip
    title = escape(f"{piece.title or 'Untitled'}: {study.home}")
    words = (
        f"{len(piece.bars)} bars, {len(study.keys)} key areas, {len(study.cadences)} cadences, "
        f"{len(study.phrases)} phrases, {len(study.sequences)} sequences."
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
        f'font-family={quoteattr(family)} font-size="11" fill="#222">'
        f"<title>{title}</title><desc>{escape(words)}</desc>"
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>'
        f'<text x="8" y="18" font-size="14" font-weight="bold">{title}</text>' + "".join(parts) + "</svg>"
    )


def _text(x: float, y: float, words: str, **more: object) -> str:
    attributes = "".join(f" {name.replace('_', '-')}={quoteattr(str(value))}" for name, value in more.items())
    return f'<text x="{x}" y="{y}"{attributes}>{escape(words)}</text>'


def _label(row: str, words: str, below: float = 12) -> str:
    return _text(8, ROWS[row] + below, words, fill="#555")


def _bars(piece: Piece, across: Across) -> list[str]:
    many = len(piece.bars)
    every = next(step for step in (1, 2, 4, 5, 8, 10, 20, 50, 100, 200, 500, 1000, many + 1) if many / step <= 24)
    parts = [_text(8, 290, "bar", fill="#555")]
    last = -99.0
    for bar in piece.bars:
        x = across(bar.onset)
        named = bar.number.isdigit() and (int(bar.number) % every == 0 or int(bar.number) == 1)
        if named and x - last > 18:
            last = x
            parts.append(f'<line x1="{x}" y1="30" x2="{x}" y2="278" stroke="#ddd"/>')
            parts.append(_text(x + 2, 290, bar.number))
        if bar.repeat_end or bar.double_bar or bar.final_bar:
            end = across(bar.end)
            parts.append(f'<line x1="{end}" y1="30" x2="{end}" y2="278" stroke="#888" stroke-width="2"/>')
    return parts


def _phrases(study: Study, across: Across) -> list[str]:
    parts = [_text(8, 56, "phrases", fill="#555")]
    for phrase in study.phrases:
        begin, end = across(phrase.start), across(phrase.end)
        rise = min(26.0, 6 + (end - begin) / 6)
        hint = escape(f"{phrase.seconds:.1f} s, {phrase.reason}")
        parts.append(
            f'<path d="M{begin + 1} 62 Q{(begin + end) / 2:.1f} {62 - rise:.1f} {end - 1} 62" fill="none" '
            f'stroke="#333"><title>{hint}</title></path>'
        )
    return parts


def colour(key: Key) -> str:
    """Warm for sharps, cool for flats, darker in minor."""
    hue = (45 - 25 * max(-6, min(6, key.signature))) % 360
    return f"hsl({hue} 60% {72 if key.mode == 'minor' else 86}%)"


def _keys(study: Study, piece: Piece, across: Across) -> list[str]:
    parts = [_label("keys", "keys", 20)]
    for span in study.keys:
        begin, end = across(span.onset), across(span.onset + span.length)
        name = str(span.key).replace(" major", "").replace("b", "♭").replace("#", "♯")
        name = name.replace(" minor", " min")
        hint = escape(f"{span.key}: {span.evidence}")
        parts.append(
            f'<rect x="{begin}" y="{ROWS["keys"]}" width="{max(1.0, end - begin):.1f}" height="30" '
            f'fill="{colour(span.key)}" stroke="#fff"><title>{hint}</title></rect>'
        )
        if end - begin > 7 * len(name):
            parts.append(_text(begin + 4, ROWS["keys"] + 19, name))
    return parts


def _cadences(study: Study, across: Across) -> list[str]:
    parts = [_label("cadences", "cadences")]
    last = -99.0
    for cadence in study.cadences:
        x = across(cadence.onset)
        size = 3 + 5 * cadence.strength
        filled = "#333" if cadence.kind.startswith("authentic") else "#fff"
        hint = escape(f"{cadence.kind} in {cadence.key}: {cadence.reason}")
        y = ROWS["cadences"] + 6
        parts.append(
            f'<path d="M{x} {y - size:.1f} L{x + size:.1f} {y + size:.1f} L{x - size:.1f} {y + size:.1f} Z" '
            f'fill="{filled}" stroke="#333"><title>{hint}</title></path>'
        )
        if x - last > 26:
            parts.append(_text(x, y + 22, MARKS[cadence.kind], text_anchor="middle", font_size=9))
            last = x
    return parts


def _sequences(study: Study, across: Across) -> list[str]:
    parts = [_label("sequences", "sequences")]
    for sequence in study.sequences:
        for leg in sequence.legs:
            begin, end = across(leg.start), across(leg.end)
            lift = max(-8.0, min(8.0, 2.0 * leg.shift))
            y = ROWS["sequences"] + 8 - lift
            parts.append(f'<path d="M{begin + 1} {y} H{end - 1}" stroke="#246" stroke-width="4" fill="none"/>')
    return parts


def _repeats(study: Study, across: Across) -> list[str]:
    parts = [_label("repeats", "repeats", 8)]
    for repeat in study.repeats:
        for begin, end in {repeat.first, repeat.again}:
            x, right, y = across(begin), across(end), ROWS["repeats"] + 4
            hint = escape(repeat.kind)
            parts.append(
                f'<path d="M{x + 1} {y + 5} V{y} H{right - 1} V{y + 5}" fill="none" stroke="#963">'
                f"<title>{hint}</title></path>"
            )
    return parts


def _tension(study: Study, piece: Piece, across: Across) -> list[str]:
    base = ROWS["tension"] + TENSION_HEIGHT
    points = [f"{across(onset)},{base - TENSION_HEIGHT * value:.1f}" for onset, value in study.tension]
    shape = f"M{LEFT},{base} L" + " L".join(points) + f" L{across(piece.length)},{base} Z" if points else ""
    return [_label("tension", "tension", 30), f'<path d="{shape}" fill="#c66" fill-opacity="0.35" stroke="#a33"/>']
