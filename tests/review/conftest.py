"""A short score written by hand for these tests, and versions of it spelled out in notes."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from gracewright.graces import perform
from gracewright.graces.model import PlayedNote
from gracewright.instruments import load_instrument
from gracewright.pitch import Pitch
from gracewright.score import read, tones
from gracewright.study import study

HEAD = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>
<score-part id="P2"><part-name>Basso</part-name></score-part></part-list>"""
KINDS = {F(1, 4): "16th", F(1, 2): "eighth", F(1): "quarter", F(2): "half", F(4): "whole"}


def note(text):
    """``A4:1`` → a MusicXML note; ``r:1`` a rest."""
    name, _, length = text.partition(":")
    duration = int(F(length) * 4)
    if name == "r":
        return f"<note><rest/><duration>{duration}</duration></note>"
    pitch = Pitch.parse(name)
    alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
    return (f"<note><pitch><step>{'CDEFGAB'[pitch.step]}</step>{alter}<octave>{pitch.octave}</octave></pitch>"
            f"<duration>{duration}</duration><type>{KINDS.get(F(length), 'quarter')}</type></note>")  # fmt: skip


def part(part_id, bars, fifths, repeat):
    first = (f"<attributes><divisions>4</divisions><key><fifths>{fifths}</fifths></key><time><beats>4</beats>"
             "<beat-type>4</beat-type></time></attributes>")  # fmt: skip
    sign = '<barline location="right"><repeat direction="backward"/></barline>' if repeat else ""
    rows = [
        f'<measure number="{i + 1}">{first if i == 0 else ""}{"".join(note(one) for one in bar.split())}'
        f"{sign if i == len(bars) - 1 else ''}</measure>"
        for i, bar in enumerate(bars)
    ]
    return f'<part id="{part_id}">{"".join(rows)}</part>'


def document(solo, bass, fifths=0, repeat=False):
    """Two parts as MusicXML, bars separated by ``|``."""
    parts = part("P1", solo.split("|"), fifths, repeat) + part("P2", bass.split("|"), fifths, repeat)
    return (HEAD + parts + "</score-partwise>").encode()


class Scored:
    """A piece with its study, and versions made by replacing notes."""

    def __init__(self, solo, bass, fifths=0, tempo=F(60), repeat=False):
        self.data = document(solo, bass, fifths, repeat)
        self.piece = read("test.musicxml", self.data)
        self.study = study(self.piece, solo="P1", bass="P2", tempo=tempo)
        self.alto = load_instrument("alto-recorder")
        self.plain = perform(self.piece, self.study, (), self.alto, "advanced", signs=False)
        self.tones = tones(self.piece, "P1")

    def played(self, **figures):
        """``t0="C6:1/4 B5:1/4 …"`` plays those notes for the first tone; a leading ``-1/8`` starts before the beat."""
        notes = [n for n in self.plain.notes if n.part != "P1" or f"t{self.index(n.host)}" not in figures]
        for name, text in figures.items():
            tone = self.tones[int(name[1:])]
            words = text.split()
            at = F(words.pop(0)) if ":" not in words[0] else F(0)
            for word in words:
                pitch, _, length = word.partition(":")
                if pitch != "r":
                    notes.append(
                        PlayedNote("P1", tone.onset + at, F(length), Pitch.parse(pitch), tone.id, tone.onset + at, 1)
                    )
                at += F(length)
        notes.sort(key=lambda one: (one.onset, one.part))
        return replace(self.plain, notes=tuple(notes))

    def index(self, tone_id):
        return next(i for i, tone in enumerate(self.tones) if tone.id == tone_id)


@pytest.fixture(scope="session")
def written():
    """Make a short score: ``written("G5:2 A5:2 | G5:4", "C4:4 | G3:4")``."""
    return Scored
