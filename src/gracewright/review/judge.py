"""Judge a version: every check, told in words.

Public: review.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from gracewright.graces.model import Version
from gracewright.instruments import Instrument
from gracewright.review import checks_graces, checks_line
from gracewright.review.checks_graces import Hit
from gracewright.review.model import Finding, Review
from gracewright.review.rules import rules
from gracewright.review.scene import Scene, scene_of
from gracewright.score import Piece
from gracewright.study.model import Study


def review(
    piece: Piece,
    study: Study,
    version: Version,
    instrument: Instrument,
    level: str,
    *,
    source: str = "",
    tempo: Fraction | None = None,
) -> Review:
    """Faults and remarks about a version, ours or a student's, in the order as played.

    Everything is judged from the notes as they sound. ``source`` is the id of the source that speaks for the signs: a
    rule that this source does not share is left out. ``tempo`` is in quarters a minute, the study's where None.
    """
    scene = scene_of(piece, study, version, instrument, level, tempo)
    found: list[tuple[int, Finding]] = []
    for check in (*checks_graces.CHECKS, *checks_line.CHECKS):
        found += [(hit.at.start, _told(scene, hit)) for hit in check(scene) if source not in rules()[hit.rule].unless]
    found.sort(key=lambda pair: (pair[0], pair[1].kind, pair[1].rule))
    return Review(_once(scene, [finding for _, finding in found]))


def _once(scene: Scene, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The same finding in several times through is told at the first, with "each time" where it is in all."""
    times = Counter(bar for passage in scene.version.passes for bar in range(passage.first_bar, passage.last_bar + 1))
    same: dict[Finding, list[Finding]] = {}
    for finding in findings:
        group = same.setdefault(replace(finding, time_through=0), [])
        if all(one.time_through != finding.time_through for one in group):
            group.append(finding)
    said = []
    for group in same.values():
        first = group[0]
        bar = scene.piece.by_id[first.note].bar
        if len(group) > 1:
            again = "Each time" if len(group) >= times[bar] else f"{len(group)} times"
            named = any(sign.isdigit() for sign in first.what.split()[0])  # a note's name keeps its capital
            what = first.what if named else f"{first.what[:1].lower()}{first.what[1:]}"
            first = replace(first, what=f"{again}, {what}")
        said.append(first)
    return tuple(said)


def _told(scene: Scene, hit: Hit) -> Finding:
    rule = rules()[hit.rule]
    words = {"pitch": "", "upper": "", "other": "", "number": "", "seconds": "", "notes": "", "where": ""}
    values = {**words, **{name: str(value) for name, value in hit.values.items()}}
    tone = hit.at.tone
    return Finding(
        rule.kind, rule.id, scene.piece.bars[tone.bar].number, hit.at.passage.time_through,
        tone.onset if hit.page_onset is None else hit.page_onset, tone.id, _sentence(rule.what.format(**values)),
        rule.source, _sentence(rule.remedy.format(**values)),
    )  # fmt: skip


def _sentence(words: str) -> str:
    """With a capital and a full stop."""
    return f"{words[:1].upper()}{words[1:]}."
