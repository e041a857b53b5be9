"""Values made by hand for the tests of this room: hosts, an instrument, a study, a small score."""

from dataclasses import dataclass
from fractions import Fraction

from gracewright.graces import Context
from gracewright.pitch import Key, Pitch
from gracewright.score import Piece, find_bass, find_solo, read
from gracewright.study.model import KeySpan, Segment, Study


@dataclass(frozen=True)
class Fingers:
    """An instrument that shakes equally well everywhere."""

    strokes: float = 5.0
    shortest: float = 0.06

    def rate(self, level: str, lower: Pitch, upper: Pitch) -> float:
        return self.strokes

    def least(self, level: str) -> float:
        return self.shortest


def host(pitch: str = "C5", length: Fraction | int = 1, key: str = "C major", **more: object) -> Context:
    """A host in a key; one quarter lasts a second unless told otherwise."""
    local = Key.parse(key)
    names = {name: Pitch.parse(str(more.pop(name))) for name in ("previous", "following", "bass") if name in more}
    return Context(Pitch.parse(pitch), Fraction(0), Fraction(length), local, local.signature, **names, **more)  # type: ignore[arg-type]


def plain_study(piece: Piece, key: str = "C major", order: tuple[Segment, ...] = ()) -> Study:
    """A study that knows only the lines, the key and the order as played."""
    solo = find_solo(piece)
    home = Key.parse(key)
    span = KeySpan(Fraction(0), piece.length, home, 1.0, home, "by hand")
    return Study(
        solo=solo, bass=find_bass(piece, solo), home=home, harmony=(), keys=(span,), cadences=(), phrases=(),
        sequences=(), repeats=(), order=order or (Segment(0, len(piece.bars) - 1, 1),), roles=(), cues=(),
        tension=(), hemiolas=(), dance="", dance_confidence=0.0, slow=False, tempo=Fraction(60),
    )  # fmt: skip


def note(step: str, octave: int, duration: int, *, alter: int = 0, notations: str = "", extra: str = "") -> str:
    """A MusicXML note; ``duration`` in eighths of a quarter (divisions 8)."""
    raised = f"<alter>{alter}</alter>" if alter else ""
    marks = f"<notations>{notations}</notations>" if notations else ""
    return (f"<note><pitch><step>{step}</step>{raised}<octave>{octave}</octave></pitch>"
            f"<duration>{duration}</duration>{extra}{marks}</note>")  # fmt: skip


def small(step: str, octave: int, *, alter: int = 0, slash: bool = False, attributes: str = "") -> str:
    """A MusicXML small note (an eighth)."""
    raised = f"<alter>{alter}</alter>" if alter else ""
    cut = ' slash="yes"' if slash else ""
    return (f"<note><grace{cut}{attributes}/><pitch><step>{step}</step>{raised}<octave>{octave}</octave></pitch>"
            "<type>eighth</type></note>")  # fmt: skip


def score(*bars: str, bass: tuple[str, ...] = (), fifths: int = 0, beats: int = 4, unit: int = 4) -> Piece:
    """A piece of one line, or of a line over a bass, from the inside of its bars."""
    parts = [("P1", "Flute", bars)] + ([("P2", "Bass", bass)] if bass else [])
    listed = "".join(f'<score-part id="{i}"><part-name>{name}</part-name></score-part>' for i, name, _ in parts)
    first = (f"<attributes><divisions>8</divisions><key><fifths>{fifths}</fifths></key>"
             f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time></attributes>")  # fmt: skip
    bodies = "".join(
        f'<part id="{i}">' + "".join(
            f'<measure number="{n}">{first if n == 1 else ""}{inside}</measure>' for n, inside in enumerate(content, 1)
        ) + "</part>"
        for i, _, content in parts
    )  # fmt: skip
    text = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{bodies}</score-partwise>'
    return read("by hand.musicxml", text.encode())
