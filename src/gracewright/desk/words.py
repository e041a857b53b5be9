"""What the desk says about a note: its name, its place, what the harmony does under it.

Conventions: sentences for a player, British terms; note names in full for a screen reader, with signs for the eye.

Public: spoken, shown, place, here, harmony_words, friendly, source_title.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Final

from gracewright.graces import is_source, load_source
from gracewright.pitch import STEPS, Pitch, fifths_of
from gracewright.score import Piece, Tone, beat_words
from gracewright.study.model import Harmony, NoteRole, Study

ALTERS_SPOKEN: Final = {-2: " double flat", -1: " flat", 0: "", 1: " sharp", 2: " double sharp"}
ALTERS_SHOWN: Final = {-2: "♭♭", -1: "♭", 0: "", 1: "♯", 2: "𝄪"}
CHORD_NOTES: Final = ("root", "", "third", "", "fifth", "", "seventh")
INTERVALS: Final = ("", "unison or octave", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth")
ROLES: Final = {
    "chord": "It belongs to the chord.",
    "passing": "It passes between two notes of the chord.",
    "neighbour": "It leaves a note of the chord and returns to it.",
    "suspension": "It is a suspension: held over from the harmony before, it resolves downward.",
    "appoggiatura": "It leans on the chord from outside and resolves.",
    "escape": "It steps away from the chord and leaps off.",
    "anticipation": "It touches the next harmony early.",
    "pedal": "It is held while the harmony moves.",
    "free": "It lies outside the chord.",
}
CADENCES: Final = {
    "authentic-perfect": "a full close", "authentic-imperfect": "an imperfect close", "half": "a half close",
    "phrygian": "a Phrygian close", "deceptive": "a deceptive close", "evaded": "an evaded close",
}  # fmt: skip
_PITCH: Final = re.compile(r"\b[A-G](?:##?|bb?)?[0-8]\b")
_MOVE: Final = re.compile(r'(\. )?--transpose "([^"]+)"')
_OTHER: Final = "; --manner names another"
_SOURCE: Final = re.compile(r"\b[a-z]+1[5-7]\d\d\b")
INVERSIONS: Final = ("root position", "first inversion", "second inversion", "third inversion")


def spoken(pitch: Pitch) -> str:
    """For a screen reader.

    >>> spoken(Pitch.parse("F#5"))
    'f sharp'
    """
    return STEPS[pitch.step].lower() + ALTERS_SPOKEN.get(pitch.alter, "")


def shown(pitch: Pitch) -> str:
    """For the eye, with the octave marks players know: c′ is middle C.

    >>> shown(Pitch.parse("F#5")), shown(Pitch.parse("Bb2")), shown(Pitch.parse("C4"))
    ('f♯″', 'B♭', 'c′')
    """
    name = STEPS[pitch.step] + ALTERS_SHOWN.get(pitch.alter, "")
    if pitch.octave <= 2:
        return name + "͵" * (2 - pitch.octave)
    return name[0].lower() + name[1:] + ("", "′", "″", "‴", "⁗")[min(pitch.octave - 3, 4)]


def place(piece: Piece, tone: Tone) -> str:
    return f"Bar {piece.bars[tone.bar].number}, beat {beat_words(piece.beat_of(tone.onset, tone.bar))}"


def chord_note(pitch: Pitch, harmony: Harmony) -> str:
    """Which note of the chord a pitch is, or empty."""
    root = STEPS.index(harmony.root[0])
    if pitch.fifths - fifths_of(harmony.root) not in (0, 4, -3, 1, -6, 8, 2, -2, 5, -9, -5):
        return ""
    return CHORD_NOTES[(pitch.step - root) % 7]


def harmony_words(harmony: Harmony) -> str:
    """A chord in words.

    >>> from fractions import Fraction
    >>> from gracewright.pitch import Key
    >>> harmony_words(Harmony(Fraction(0), Fraction(1), "D", "major", "F#", 1, Key.parse("G minor"), "V6"))
    'D major, first inversion: V6 in G minor'
    """
    return (f"{letter(harmony.root)} {harmony.quality}, {INVERSIONS[harmony.inversion % 4]}: {harmony.numeral} in "
            f"{letter(harmony.key.tonic)} {harmony.key.mode}")  # fmt: skip


def letter(name: str) -> str:
    """``Bb`` → ``B♭``; what follows the first word stays.

    >>> letter("Bb minor"), letter("F#")
    ('B♭ minor', 'F♯')
    """
    first, space, rest = name.partition(" ")
    return first[0] + first[1:].replace("#", "♯").replace("b", "♭") + space + rest


def here(piece: Piece, study: Study, tone: Tone) -> list[str]:
    """What the music does at a note, as sentences."""
    said: list[str] = []
    role: NoteRole | None = study.role_of.get(tone.id)
    harmony = study.harmony_at(tone.onset)
    if harmony is not None:
        member = chord_note(tone.pitch, harmony) if role is not None and role.role == "chord" else ""
        said.append(harmony_words(harmony) + (f". This note is its {member}." if member else "."))
    if role is not None:
        if role.role != "chord" or harmony is None:
            said.append(ROLES[role.role])
        if study.bass and role.interval:
            discord = " — a discord" if role.dissonance >= 0.5 else ""
            said.append(f"It stands {article(INTERVALS[min(role.interval, 9)])} above the bass{discord}.")
    said.extend(form_words(piece, study, tone))
    return said


def article(noun: str) -> str:
    return f"{'an' if noun[0] in 'aeio' else 'a'} {noun}"


def form_words(piece: Piece, study: Study, tone: Tone) -> list[str]:
    """Cadence, phrase end and sequence at a note."""
    said = []
    for cadence in study.cadences:
        where = {cadence.penultimate: "It prepares", cadence.arrival: "It arrives at"}.get(tone.id)
        if where:
            key = f"{letter(cadence.key.tonic)} {cadence.key.mode}"
            said.append(f"{where} {CADENCES[cadence.kind]} in {key}.")
    for phrase in study.phrases:
        if phrase.breath_after == tone.id:
            said.append("The phrase ends here; breathe after it.")
    for sequence in study.sequences:
        for index, leg in enumerate(sequence.legs):
            if leg.start <= tone.onset < leg.end:
                said.append(f"It lies in leg {index + 1} of {len(sequence.legs)} of a sequence.")
    return said


def friendly(sentence: str) -> str:
    """A sentence of another room with note names, sources and remedies as this page shows them.

    >>> friendly("appoggiatura: A5 G5, as danglebert1689 has it")
    "appoggiatura: a″ g″, as Jean-Henry D'Anglebert (1689) has it"
    """
    sentence = _MOVE.sub(lambda move: f"{'. M' if move[1] else 'm'}oving it {move[2]}", sentence.replace(_OTHER, ""))
    sentence = _PITCH.sub(lambda name: shown(Pitch.parse(name[0])), sentence)
    return _SOURCE.sub(lambda name: author(name[0]), sentence)


@cache
def author(source: str) -> str:
    """Author and year of a shelf id; anything else as it stands."""
    if not is_source(source):
        return source
    found = load_source(source)
    return f"{found.author} ({found.year})"


@cache
def source_title(source: str) -> str:
    """Author, title and year of a source, or its words as they stand where it is none of the shelf.

    >>> source_title("common practice")
    'common practice'
    """
    shelf = source if source.endswith(".toml") else source.partition(".")[0]
    if not is_source(shelf):
        return source
    found = load_source(shelf)
    return f"{found.author}, {found.title} ({found.year})"
