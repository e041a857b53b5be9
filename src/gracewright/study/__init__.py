"""What the music is doing: metre, keys, harmony, note roles, cadences, phrases, sequences, repeats."""

from gracewright.study.analysis import study
from gracewright.study.as_json import study_json
from gracewright.study.describe import describe
from gracewright.study.model import (
    Cadence,
    CadenceKind,
    Cue,
    Harmony,
    Hemiola,
    Imitation,
    KeySpan,
    Leg,
    NoteRole,
    Phrase,
    Quality,
    Repeat,
    Role,
    Segment,
    Sequence,
    Study,
    WalkingBass,
)
from gracewright.study.overview import overview_svg

__all__ = [
    "Cadence",
    "CadenceKind",
    "Cue",
    "Harmony",
    "Hemiola",
    "Imitation",
    "KeySpan",
    "Leg",
    "NoteRole",
    "Phrase",
    "Quality",
    "Repeat",
    "Role",
    "Segment",
    "Sequence",
    "Study",
    "WalkingBass",
    "describe",
    "overview_svg",
    "study",
    "study_json",
]
