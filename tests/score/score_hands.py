"""Small scores for the tests of the score room."""

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">\n  <part-list>\n'
    '    <score-part id="P1"><part-name>Flute</part-name></score-part>\n  </part-list>\n  <part id="P1">\n'
)
ATTRIBUTES = (
    "<attributes><divisions>{divisions}</divisions><key><fifths>{fifths}</fifths></key>"
    "<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time><clef><sign>G</sign><line>2</line></clef>{more}"
    "</attributes>"
)
TYPES = {1: "eighth", 2: "quarter", 3: "quarter", 4: "half", 6: "half", 8: "whole"}


def note(name: str, length: int = 2, more: str = "", **attributes: str) -> str:
    """``F#5`` as a note of so many eighths."""
    step, octave = name[0], name[-1]
    alter = name.count("#") - name.count("b")
    words = "".join(f' {key}="{value}"' for key, value in attributes.items())
    dot = "<dot/>" if length in (3, 6) else ""
    return (
        f"<note{words}><pitch><step>{step}</step>{f'<alter>{alter}</alter>' if alter else ''}<octave>{octave}</octave>"
        f"</pitch><duration>{length}</duration><voice>1</voice><type>{TYPES[length]}</type>{dot}{more}</note>"
    )


def score(*bars: str, beats: int = 4, unit: int = 4, fifths: int = 0, more: str = "", newline: str = "\n") -> bytes:
    """A one-part score; two divisions to the quarter."""
    attributes = ATTRIBUTES.format(divisions=2, fifths=fifths, beats=beats, unit=unit, more=more)
    text = HEAD
    for number, bar in enumerate(bars, 1):
        text += f'<measure number="{number}">{newline}{attributes if number == 1 else ""}{bar}{newline}</measure>'
    return (text + "</part></score-partwise>").encode()
