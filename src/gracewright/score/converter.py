"""The converting worker: a program of its own, started by :mod:`gracewright.score.guarded`, never imported.

It takes the kind of file as its argument and the file itself on standard input, and answers with one JSON line:
``{"text": MEI or MusicXML, "said": [what the converter remarked]}`` or ``{"fault": "one sentence"}``. The converting
libraries can crash or run without end on bad input; here they take only this process with them.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

MEMORY = 2 << 30  # bytes of address space, a guard against scores that grow without end
MOST_SAID = 20


def humdrum(data: bytes) -> dict[str, Any]:
    """Humdrum to MEI."""
    import verovio

    toolkit = verovio.toolkit(False)
    toolkit.setResourcePath(os.path.join(os.path.dirname(verovio.__file__), "data"))
    toolkit.setOptions({"xmlIdSeed": 1, "inputFrom": "humdrum"})
    text = data.decode("utf-8-sig", errors="replace")
    if not toolkit.loadData(text):
        return {"fault": "it cannot be read as Humdrum"}
    return {"text": toolkit.getMEI({"removeIds": False}), "said": []}


def abc(data: bytes) -> dict[str, Any]:
    """The first ABC tune to MusicXML."""
    import lytk

    text = data.decode("utf-8-sig", errors="replace")
    tunes = lytk.from_abc_tunes_string(text)
    if not tunes:
        return {"fault": "it holds no tune"}
    said = [str(diagnostic.message) for diagnostic in tunes[0].diagnostics][:MOST_SAID]
    if len(tunes) > 1:
        said.insert(0, f"the file holds {len(tunes)} tunes; the first is read")
    return {"text": lytk.to_musicxml(tunes[0]), "said": said}


def midi(data: bytes) -> dict[str, Any]:
    """MIDI to MusicXML."""
    import lytk

    score = lytk.from_midi_bytes(data)
    said = [str(diagnostic.message) for diagnostic in score.diagnostics][:MOST_SAID]
    return {"text": lytk.to_musicxml(score), "said": said}


def to_abc(data: bytes) -> dict[str, Any]:
    """MusicXML to ABC."""
    import lytk

    score = lytk.from_musicxml_bytes(data)
    said = [str(diagnostic.message) for diagnostic in score.diagnostics][:MOST_SAID]
    return {"text": lytk.to_abc(score), "said": said}


def main(kind: str) -> None:
    """Read standard input, answer with one line."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever the libraries print must not mix with the answer
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    except (ImportError, ValueError, OSError):
        pass
    data = sys.stdin.buffer.read()
    try:
        answer = {"humdrum": humdrum, "abc": abc, "midi": midi, "to_abc": to_abc}[kind](data)
    except Exception as fault:  # every fault of a library becomes one sentence
        answer = {"fault": " ".join(str(fault).split())[:160] or type(fault).__name__}
    answers.write(json.dumps(answer) + "\n")
    answers.close()


if __name__ == "__main__":
    main(sys.argv[1])
