"""A study as one JSON object; docs/study-json.md describes it, and it is a promise.

Public: study_json.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from gracewright.score import Piece
from gracewright.study.model import Study


def study_json(study: Study, piece: Piece) -> dict[str, Any]:
    """Plain lists, strings and numbers; times are strings of exact quarters from the start of the score as written."""
    where = _Places(piece)
    return {
        "title": piece.title, "solo": study.solo, "bass": study.bass, "home": str(study.home),
        "tempo": str(study.tempo), "dance": study.dance, "dance_confidence": study.dance_confidence,
        "slow": study.slow,
        "harmony": [
            {**where.at(h.onset), "length": str(h.length), "root": h.root, "quality": h.quality, "bass": h.bass,
             "inversion": h.inversion, "key": str(h.key), "numeral": h.numeral, "figures": list(h.figures),
             "confidence": h.confidence}
            for h in study.harmony
        ],
        "keys": [
            {**where.at(k.onset), "length": str(k.length), "key": str(k.key), "margin": k.margin,
             "runner_up": str(k.runner_up), "evidence": k.evidence}
            for k in study.keys
        ],
        "cadences": [
            {**where.at(c.onset), "kind": c.kind, "strength": c.strength, "key": str(c.key),
             "dominant_onset": str(c.dominant_onset), "penultimate": c.penultimate, "arrival": c.arrival,
             "hemiola": c.hemiola, "reason": c.reason}
            for c in study.cadences
        ],
        "phrases": [
            {"start": str(p.start), "end": str(p.goal), "until": str(p.end), "seconds": p.seconds,
             "breath_after": p.breath_after, "reason": p.reason,
             "breaths": [{**where.at(b.onset), "after": b.after, "seconds": b.seconds, "reason": b.reason}
                         for b in p.breaths]}
            for p in study.phrases
        ],
        "sequences": [
            {"start": str(s.start), "end": str(s.end), "step": s.step, "exact": s.exact, "with_bass": s.with_bass,
             "legs": [{"start": str(leg.start), "end": str(leg.end), "shift": leg.shift} for leg in s.legs]}
            for s in study.sequences
        ],
        "repeats": [
            {"kind": r.kind, "first": [str(time) for time in r.first], "again": [str(time) for time in r.again]}
            for r in study.repeats
        ],
        "order": [
            {"first_bar": s.first_bar, "last_bar": s.last_bar, "time_through": s.time_through} for s in study.order
        ],
        "notes": [
            {**where.at(n.onset), "id": n.note, "pitch": str(n.pitch), "role": n.role, "weight": n.metre_weight,
             "dissonance": n.dissonance, "prepared": n.prepared, "resolved": n.resolved, "interval": n.interval,
             "degree": n.degree}
            for n in study.roles
        ],
        "cues": [{"id": c.note, "kind": c.kind, "weight": round(c.weight, 3)} for c in study.cues],
        "tension": [{**where.at(onset), "value": value} for onset, value in study.tension],
        "hemiolas": [{"start": str(h.start), "end": str(h.end)} for h in study.hemiolas],
        "imitations": [
            {"leader": i.leader, "start": str(i.start), "entry": str(i.entry), "length": str(i.length), "step": i.step}
            for i in study.imitations
        ],
        "walking_bass": [
            {"start": str(w.start), "end": str(w.end), "value": str(w.value)} for w in study.walking
        ],
        "remarks": list(study.remarks),
    }  # fmt: skip


class _Places:
    """Bar and beat of a time; times asked for in order are found quickly."""

    def __init__(self, piece: Piece) -> None:
        self._piece, self._bar = piece, 0

    def at(self, onset: Fraction) -> dict[str, str]:
        bars = self._piece.bars
        if bars[self._bar].onset > onset:
            self._bar = 0
        while self._bar + 1 < len(bars) and bars[self._bar + 1].onset <= onset:
            self._bar += 1
        beat = self._piece.beat_of(onset, self._bar)
        return {"onset": str(onset), "bar": bars[self._bar].number, "beat": str(beat)}
