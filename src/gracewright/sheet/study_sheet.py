"""The score with its study written about it: numerals, figures, keys, cadences, phrases, sequences, dissonances.

Conventions: the head of the first page shows the whole piece in one picture and says what the marks mean; figures of
the page stand as printed, and where there are none, proposed ones stand in square brackets.

Public: study_sheet, study_staves, study_systems, legend, MARKS.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from gracewright.score import Figure, Piece, part_of
from gracewright.sheet.ink import figures_ink, numeral_ink
from gracewright.sheet.mei import Staff
from gracewright.sheet.study_marks import annotated
from gracewright.sheet.systems import System, break_evenly, natural_widths, systems_of
from gracewright.sheet.typeset import check_paper, typeset
from gracewright.study import Role, Study, describe, overview_svg
from gracewright.study.continuo import propose_figures

MARKS: Final[Mapping[Role, tuple[str, str]]] = {
    "passing": ("p", "passing note"), "neighbour": ("n", "neighbour note"), "suspension": ("s", "suspension"),
    "appoggiatura": ("a", "appoggiatura"), "escape": ("e", "escape note"), "anticipation": ("an", "anticipation"),
    "pedal": ("pd", "held against the chord"), "free": ("f", "foreign to the chord, left by leap"),
}  # fmt: skip
MOST_STAVES: Final = 6
OPTIONS: Final[Mapping[str, object]] = {"unit": 7.6, "spacingStaff": 10}
"""Staves 6 mm high, so that a page holds several systems with their lanes."""


def study_sheet(piece: Piece, study: Study, *, paper: str = "a4") -> bytes:
    """The sheet as PDF. Raises BadInput for a paper that is not known."""
    size = check_paper(paper)
    systems = study_systems(piece, study, width=size.line)
    told = describe(study, piece).split("\n\n")
    data = {
        "title": piece.title or "Untitled", "composer": piece.composer, "subtitle": "what the music is doing",
        "foot": piece.title or "Untitled", "about": told[0].splitlines()[1:],
        "marks": _columns(legend(piece, study), 3),
        "systems": [{"image": f"s{n}.svg", "width": system.width} for n, system in enumerate(systems)],
        "overview": f"s{len(systems)}.svg", "width": size.line,
        "sections": _halves([_section(section) for section in told[1:]]),
    }  # fmt: skip
    picture = overview_svg(study, piece, family="Liberation")
    return typeset("study", data, [*(system.svg for system in systems), picture], paper=size)


def _section(section: str) -> dict[str, Any]:
    """A heading and its lines; a section of full lines has none."""
    lines = section.splitlines()
    headed = len(lines) > 1 and all(line.startswith("  ") for line in lines[1:])
    return {"head": lines[0] if headed else "", "lines": [line.strip() for line in lines[headed:]]}


def _columns(rows: Sequence[dict[str, str]], count: int) -> list[Sequence[dict[str, str]]]:
    tall = -(-len(rows) // count)
    return [rows[at : at + tall] for at in range(0, len(rows), tall)]


def _halves(sections: Sequence[dict[str, Any]]) -> list[Sequence[dict[str, Any]]]:
    """Sections in two columns of about the same length."""
    lines = [1 + sum(1 + len(line) // 65 for line in section["lines"]) for section in sections]
    at = min(range(len(lines) + 1), key=lambda n: abs(sum(lines[:n]) - sum(lines[n:])))
    return [sections[:at], sections[at:]]


def study_systems(piece: Piece, study: Study, *, width: int = 1860) -> tuple[System, ...]:
    """The systems with the study about them; their boxes hold our own texts too."""
    staves = study_staves(piece, study)
    shown = replace(piece, words=tuple(words for words in piece.words if any(map(str.isalnum, words.text))))
    figures = () if _has_figures(piece, study) else propose_figures(piece, study)
    needed = zip(natural_widths(shown, staves), _needed(piece, study, figures), strict=True)
    breaks = break_evenly([max(own, need) for own, need in needed], width)
    systems = systems_of(shown, staves, width=width, breaks=breaks, boxes=True, options=OPTIONS)
    return tuple(annotated(system, piece, study, _inside(figures, system)) for system in systems)


def _inside(figures: Sequence[Figure], system: System) -> tuple[Figure, ...]:
    return tuple(figure for figure in figures if system.first_bar <= figure.bar <= system.last_bar)


def _has_figures(piece: Piece, study: Study) -> bool:
    return bool(study.bass) and any(figure.part == part_of(study.bass)[0] for figure in piece.figures)


def _needed(piece: Piece, study: Study, figures: Sequence[Figure]) -> list[int]:
    """Room that the numerals of each bar take in one row, or the figures of its bass in two."""
    columns = [0.0] * len(piece.bars)
    for figure in figures:
        columns[figure.bar] += (figures_ink(figure.items).width + 26) / 2
    needed = [0.0] * len(piece.bars)
    bars = iter(piece.bars)
    bar = next(bars)
    for chord in study.harmony:
        while chord.onset >= bar.end and bar.index + 1 < len(piece.bars):
            bar = next(bars)
        needed[bar.index] += numeral_ink(chord.numeral, unsure=True).width + 10
    return [round(max(need, column)) for need, column in zip(needed, columns, strict=True)]


def study_staves(piece: Piece, study: Study) -> list[Staff]:
    """Every staff of the score; of a large score only those of the solo and the bass."""
    letters = {role.note: MARKS[role.role][0] for role in study.roles if role.role in MARKS}
    lines = _lines(piece)
    if len(lines) > MOST_STAVES:
        lines = [line for line in lines if line in (study.solo, study.bass)] or [study.solo, study.bass]
    solo = study.solo if study.solo in lines else next(line for line in lines if part_of(line)[0] == study.solo)
    figured = _figured(piece, study, lines)
    staves = []
    for line in lines:
        part = piece.part(part_of(line)[0])
        first = line == part.id or line.endswith("/1")
        staves.append(
            Staff(
                "written", line, part.name if first else "", figures=line in figured, words=first, lyrics=True,
                fingerings=letters if line == solo else {},
            )
        )  # fmt: skip
    return staves


def _lines(piece: Piece) -> list[str]:
    return [
        f"{part.id}/{staff}" if part.staves > 1 else part.id
        for part in piece.parts
        for staff in range(1, part.staves + 1)
    ]


def _figured(piece: Piece, study: Study, lines: Sequence[str]) -> set[str]:
    """The lowest staff of each part that has figures."""
    parts = {figure.part for figure in piece.figures}
    return {[line for line in lines if part_of(line)[0] == part][-1] for part in parts if any(
        part_of(line)[0] == part for line in lines)}  # fmt: skip


def legend(piece: Piece, study: Study) -> list[dict[str, str]]:
    """What the marks mean; only those that stand on this sheet."""
    used = {role.role for role in study.roles}
    proposed = not _has_figures(piece, study) and bool(propose_figures(piece, study))
    repeated = any(repeat.kind not in ("sign", "da capo", "dal segno") for repeat in study.repeats)
    rows = [
        ("V", "Roman numeral: the chord in the key named below it", True),
        ("?", "beside a numeral: a guess", any(chord.confidence < 0.5 for chord in study.harmony)),
        ("[6]", "figures proposed; the page has none", proposed),
        ("⎵", "bracket below: a cadence, from dominant to arrival; thicker where stronger", bool(study.cadences)),
        ("PAC", "in the picture: perfect authentic; IAC imperfect authentic, HC half, Phr Phrygian, DC deceptive, "
                "EC evaded", bool(study.cadences)),
        ("⏜", "arc above: a phrase", bool(study.phrases)),
        ("1 2 3", "dashed arcs: the legs of a sequence", bool(study.sequences)),
        ("⎴", "bracket above: heard before, at the bars named", repeated),
    ]  # fmt: skip
    found = [{"sign": sign, "means": means} for sign, means, shown in rows if shown]
    return [*found, *({"sign": mark, "means": means} for role, (mark, means) in MARKS.items() if role in used)]
