"""The two demo movements, studied once; and small pieces made from a line of words."""

from collections.abc import Callable
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path

import pytest

from gracewright.instruments import Instrument, load_instrument
from gracewright.pitch import Pitch
from gracewright.score import Piece, read
from gracewright.study import Study, study

DEMO = Path(str(files("gracewright"))) / "data" / "demo"
PITCHES = {"sharp": 1, "flat": -1}


@cache
def studied(name: str) -> tuple[Piece, Study]:
    piece = read(DEMO / f"{name}.musicxml")
    return piece, study(piece)


@pytest.fixture(params=["adagio", "menuet"])
def movement(request: pytest.FixtureRequest) -> tuple[Piece, Study]:
    return studied(request.param)


@pytest.fixture
def adagio() -> tuple[Piece, Study]:
    return studied("adagio")


@pytest.fixture
def menuet() -> tuple[Piece, Study]:
    return studied("menuet")


@pytest.fixture
def alto() -> Instrument:
    return load_instrument("alto-recorder")


def _notes(words: str, divisions: int) -> list[list[str]]:
    """Bars of MusicXML notes from ``"c5:1 d5:1/2+trill | …"``; ``r:1`` rests."""
    bars = []
    for bar in words.split("|"):
        row = []
        for word in bar.split():
            word, *signs = word.split("+")
            name, length = word.split(":")
            duration = Fraction(length) * divisions
            if name == "r":
                row.append(f"<note><rest/><duration>{duration}</duration></note>")
                continue
            pitch = Pitch.parse(name)
            alter = f"<alter>{pitch.alter}</alter>" if pitch.alter else ""
            marks = "".join(f"<ornaments><{sign}/></ornaments>" for sign in signs)
            marks = f"<notations>{marks}</notations>" if marks else ""
            row.append(
                f"<note><pitch><step>{'CDEFGAB'[pitch.step]}</step>{alter}<octave>{pitch.octave}</octave></pitch>"
                f"<duration>{duration}</duration>{marks}</note>"
            )
        bars.append(row)
    return bars


@pytest.fixture
def compose() -> Callable[..., tuple[Piece, Study]]:
    """A tune over a bass in words → a studied piece."""

    def make(tune: str, bass: str = "", *, fifths: int = 0, beats: int = 4, tempo: int = 60, repeat: bool = False,
             ) -> tuple[Piece, Study]:  # fmt: skip
        parts = {"P1": _notes(tune, 24), **({"P2": _notes(bass, 24)} if bass else {})}
        listed = "".join(f'<score-part id="{name}"><part-name>{name}</part-name></score-part>' for name in parts)
        body = ""
        for name, bars in parts.items():
            clef = "<sign>G</sign><line>2</line>" if name == "P1" else "<sign>F</sign><line>4</line>"
            head = (
                f"<attributes><divisions>24</divisions><key><fifths>{fifths}</fifths></key><time><beats>{beats}</beats>"
                f"<beat-type>4</beat-type></time><clef>{clef}</clef></attributes>"
                f'<direction><direction-type><words/></direction-type><sound tempo="{tempo}"/></direction>'
            )
            body += f'<part id="{name}">'
            for number, row in enumerate(bars, start=1):
                closing = '<barline location="right"><repeat direction="backward"/></barline>'
                end = closing if repeat and number == len(bars) else ""
                body += f'<measure number="{number}">{head if number == 1 else ""}{"".join(row)}{end}</measure>'
            body += "</part>"
        text = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{body}</score-partwise>'
        piece = read("made.musicxml", text.encode())
        return piece, study(piece)

    return make
