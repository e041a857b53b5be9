"""The whole study of a piece, one reader after another.

Public: study.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from threadpoolctl import ThreadpoolController

from gracewright.pitch import Key
from gracewright.score import Piece
from gracewright.study.cadences import find_cadences
from gracewright.study.closes import read_closes
from gracewright.study.dance import guess_dance
from gracewright.study.expression import find_cues, tension_curve
from gracewright.study.harmony import confirm_keys, harmonies, read_harmony
from gracewright.study.hemiola import find_hemiolas
from gracewright.study.keys import key_spans
from gracewright.study.material import Material, gather
from gracewright.study.model import KeySpan, Study
from gracewright.study.phrases import find_phrases
from gracewright.study.repeats import find_repeats, played_order
from gracewright.study.roles import note_roles
from gracewright.study.sequences import find_sequences
from gracewright.study.texture import find_imitations, find_walking_bass


def study(piece: Piece, *, solo: str = "", bass: str = "", tempo: Fraction | None = None) -> Study:
    """What the music is doing.

    ``solo`` and ``bass`` name lines where they are not to be found by themselves; ``tempo`` is in quarter notes a
    minute. Raises BadInput for an unknown name or a score without notes.
    """
    with _libraries().limit(limits=1):
        return _study(piece, solo, bass, tempo)


@cache
def _libraries() -> ThreadpoolController:
    """The number libraries that are loaded: our tables are small, and more threads would only wait for each other."""
    return ThreadpoolController()


def _study(piece: Piece, solo: str, bass: str, tempo: Fraction | None) -> Study:
    material = gather(piece, solo, bass)
    line, frames = material.line, material.frames
    reading = read_harmony(piece, line, frames)
    harmony = harmonies(line, frames, reading)
    hemiolas = find_hemiolas(material)
    sequences = find_sequences(material)
    closes = read_closes(material, reading, sequences)
    cadences = find_cadences(material, harmony, closes, hemiolas)
    keyed = confirm_keys(reading, line, frames, cadences)
    if keyed is not reading:
        harmony = harmonies(line, frames, keyed)
        cadences = find_cadences(material, harmony, closes, hemiolas)
    keys = key_spans(line, frames, keyed.keys)
    roles = note_roles(material, harmony)
    dance = guess_dance(piece, material.melody, tempo)
    phrases = find_phrases(material, closes, cadences, dance.tempo, sequences)
    order = played_order(piece.bars)
    home = home_key(piece, keys)
    return Study(
        solo=material.solo, bass=material.bass, home=home, harmony=harmony, keys=keys, cadences=cadences,
        phrases=phrases, sequences=sequences,
        repeats=find_repeats(material, order), order=order, roles=roles,
        cues=find_cues(material, harmony, roles, phrases),
        tension=tension_curve(material, harmony, roles, home.signature), hemiolas=hemiolas,
        dance=dance.name, dance_confidence=dance.confidence, slow=dance.slow, tempo=dance.tempo,
        remarks=_remarks(material), imitations=find_imitations(material), walking=find_walking_bass(material),
        piece=piece,
    )  # fmt: skip


def home_key(piece: Piece, keys: tuple[KeySpan, ...]) -> Key:
    """The key that frames the piece: long, at both ends, and near the signature."""
    score: dict[Key, float] = {}
    total = float(sum(span.length for span in keys)) or 1.0
    for span in keys:
        score[span.key] = score.get(span.key, 0.0) + float(span.length) / total
    score[keys[-1].key] += 0.5
    score[keys[0].key] += 0.4
    printed = piece.bars[0].fifths
    return max(score, key=lambda key: (score[key] - 0.3 * max(0, abs(key.signature - printed) - 1), key))


def _remarks(material: Material) -> tuple[str, ...]:
    if not material.ground and len(material.piece.parts) <= 1:
        return ("There is no bass: the harmony is guessed from the melody alone.",)
    return ()
