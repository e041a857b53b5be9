"""The engraving worker: a program of its own, started by :mod:`gracewright.sheet.engrave`, never imported.

It reads jobs from standard input and answers on standard output, each as one JSON line. The engraving library can
crash or run without end on bad input; here it takes only this process with it.

A job: ``{"mei": text, "options": {...}, "pages": null or [1, 2 …], "timemap": true}``. An answer: ``{"pages": [...],
"count": n, "timemap": [...]}`` or ``{"fault": "one sentence"}``.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any

import verovio

MEMORY = 3 << 30  # bytes of address space, a guard against scores that grow without end


class Engraver:
    """Keeps a toolkit from job to job, since loading a font of one's own takes a tenth of a second."""

    def __init__(self) -> None:
        self.toolkit = verovio.toolkit(False)
        self.toolkit.setResourcePath(os.path.join(os.path.dirname(verovio.__file__), "data"))
        self.fonts: list[str] = []

    def engraved(self, job: dict[str, Any]) -> dict[str, Any]:
        toolkit = self.toolkit
        options = dict(job["options"])
        toolkit.resetOptions()
        if options.get("fontAddCustom", self.fonts) == self.fonts:
            options.pop("fontAddCustom", None)
        else:
            self.fonts = options["fontAddCustom"]
        if not toolkit.setOptions(options):
            return {"fault": "the engraver does not know one of its options"}
        if not toolkit.loadData(job["mei"]):
            return {"fault": "the engraver cannot read the score"}
        count = toolkit.getPageCount()
        wanted = job.get("pages") or range(1, count + 1)
        pages = [toolkit.renderToSVG(page) for page in wanted if page <= count]
        timemap = toolkit.renderToTimemap({"includeMeasures": True}) if job.get("timemap") else []
        return {"pages": pages, "count": count, "timemap": timemap}


def main() -> None:
    """Answer jobs until standard input ends."""
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)  # whatever the library prints must not mix with the answers
    try:
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    except (ImportError, ValueError, OSError):
        pass
    engraver = Engraver()
    answers.write("ready\n")
    answers.flush()
    for line in sys.stdin:
        try:
            answer = engraver.engraved(json.loads(line))
        except (RuntimeError, ValueError, MemoryError) as fault:
            answer = {"fault": str(fault) or type(fault).__name__}
        sys.stderr.flush()
        answers.write(json.dumps(answer) + "\n")
        answers.flush()


if __name__ == "__main__":
    main()
