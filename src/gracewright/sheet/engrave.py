"""Engrave MEI as SVG in a guarded worker process.

Conventions: lengths are tenths of a millimetre; a page is one SVG text whose ``viewBox`` is its size. Ids given in
the MEI stand in the SVG unchanged. The worker is started on first use, kept for the next call, and replaced when it
crashes or overruns its time. Calls from several threads wait for each other.

Public: engrave, Engraved, OPTIONS, cleaned.
"""

from __future__ import annotations

import atexit
import contextlib
import json
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from gracewright.errors import EngravingFailed
from gracewright.sheet.fonts import FONT, font_archive

OPTIONS: Final[Mapping[str, object]] = {
    "pageWidth": 2100, "pageHeight": 2970, "scale": 100, "svgViewBox": True, "fontTextLiberation": True,
    "smuflTextFont": "none", "header": "none", "footer": "none", "xmlIdSeed": 1, "breaks": "encoded",
}  # fmt: skip
"""What every engraving starts from; the page is A4 with a stave 7.2 mm high."""

_STYLE: Final = re.compile(r"<style[^>]*>[^<]*(?:@import|@font-face)[^<]*</style>\s*")
_TITLE: Final = re.compile(r"<title[^>]*>[^<]*</title>\s*")
_TEXT: Final = re.compile(r"<text\b.*?</text>", re.S)


@dataclass(frozen=True)
class Engraved:
    """Pages as SVG, the engraver's own time map (empty unless asked for), and what it complained of."""

    pages: tuple[str, ...]
    timemap: tuple[Mapping[str, Any], ...] = ()
    warnings: tuple[str, ...] = ()
    count: int = 0


class _Worker:
    """One worker process and the lock about it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._errors: IO[bytes] | None = None

    def ask(self, job: Mapping[str, object], limit: float) -> tuple[dict[str, Any], tuple[str, ...]]:
        """The answer and the warnings. Raises EngravingFailed; the worker is then gone."""
        with self._lock:
            process = self._started()
            mark = self._errors_size()
            overrun = threading.Event()
            timer = threading.Timer(limit, self._overrun, (process, overrun))
            timer.daemon = True
            timer.start()
            try:
                assert process.stdin is not None, "started with pipes"
                assert process.stdout is not None
                process.stdin.write(json.dumps(job) + "\n")
                process.stdin.flush()
                line = process.stdout.readline()
            except (BrokenPipeError, OSError):
                line = ""
            finally:
                timer.cancel()
            warnings = self._errors_since(mark)
            if not line.endswith("\n"):
                self._stop()
                if overrun.is_set():
                    raise EngravingFailed(f"the engraver took longer than {limit:g} seconds and was stopped")
                raise EngravingFailed("the engraver broke down over this score")
            return json.loads(line), warnings

    def _started(self) -> subprocess.Popen[str]:
        if self._process is not None and self._process.poll() is None:
            return self._process
        self._stop()
        self._errors = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the worker
        script = Path(__file__).with_name("worker.py")
        self._process = subprocess.Popen(
            [sys.executable, "-P", str(script)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=self._errors,
            text=True, encoding="utf-8",
        )  # fmt: skip
        assert self._process.stdout is not None, "started with pipes"
        if self._process.stdout.readline() != "ready\n":
            complaint = "; ".join(self._errors_since(0)[-1:])
            self._stop()
            raise EngravingFailed(f"the engraver cannot be started ({complaint})")
        return self._process

    @staticmethod
    def _overrun(process: subprocess.Popen[str], overrun: threading.Event) -> None:
        overrun.set()
        process.kill()

    def _errors_size(self) -> int:
        return self._errors.seek(0, 2) if self._errors else 0

    def _errors_since(self, mark: int) -> tuple[str, ...]:
        if self._errors is None:
            return ()
        self._errors.seek(mark)
        return tuple(self._errors.read().decode("utf-8", "replace").splitlines())

    def _stop(self) -> None:
        if self._process is not None:
            self._process.kill()
            for pipe in (self._process.stdin, self._process.stdout):
                if pipe is not None:
                    with contextlib.suppress(OSError):
                        pipe.close()
            self._process.wait()
        if self._errors is not None:
            self._errors.close()
        self._process, self._errors = None, None

    def close(self) -> None:
        with self._lock:
            self._stop()


_WORKER: Final = _Worker()
atexit.register(_WORKER.close)


def engrave(mei: str, *, options: Mapping[str, object] | None = None, limit: float = 20.0,
            pages: Sequence[int] = (), timemap: bool = False) -> Engraved:
    """Engrave MEI. ``options`` go over :data:`OPTIONS`; ``pages`` (from 1) names the only ones wanted; ``limit`` is in
    seconds. Raises EngravingFailed with one sentence when the engraver refuses, crashes or overruns.

    >>> engrave("nonsense")
    Traceback (most recent call last):
    gracewright.errors.EngravingFailed: the engraver cannot read the score
    """
    asked = {**OPTIONS, "font": FONT, "fontAddCustom": [str(font_archive())], **(options or {})}
    answer, warnings = _WORKER.ask({"mei": mei, "options": asked, "pages": list(pages), "timemap": timemap}, limit)
    if "fault" in answer:
        raise EngravingFailed(str(answer["fault"]))
    drawn = tuple(cleaned(page) for page in answer["pages"])
    return Engraved(drawn, tuple(answer["timemap"]), warnings, int(answer["count"]))


def cleaned(svg: str) -> str:
    """Without outside references (``@import``), embedded fonts, and titles inside texts, which displace them.

    >>> cleaned('<svg><style>@import url("x");</style><text x="1"><title>a</title>b</text></svg>')
    '<svg><text x="1">b</text></svg>'
    """
    return _TEXT.sub(lambda text: _TITLE.sub("", text[0]), _STYLE.sub("", svg))
