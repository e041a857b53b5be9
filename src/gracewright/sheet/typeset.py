"""Set pages as PDF: engraved systems and words, by templates that take the words as data.

Conventions: a template (``templates/NAME.typ``) reads ``data.json`` beside it; nothing of the user's is pasted into
markup. Images are named ``s0.svg``, ``s1.svg`` … and given in tenths of a millimetre.

Public: typeset, PAPERS, Paper, check_paper.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any, Final, Literal

import typst

from gracewright.errors import BadInput, EngravingFailed
from gracewright.sheet.fonts import font_folder

MARGIN: Final = 120


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper size in tenths of a millimetre; ``name`` as the typesetter knows it."""

    name: str
    width: int
    height: int

    @property
    def line(self) -> int:
        """Width of a system."""
        return self.width - 2 * MARGIN

    @property
    def column(self) -> int:
        """Height for music and words; the foot keeps 7 mm."""
        return self.height - 2 * MARGIN - 70


PAPERS: Final = {"a4": Paper("a4", 2100, 2970), "letter": Paper("us-letter", 2159, 2794)}


def check_paper(name: str) -> Paper:
    """The paper of that name. Raises BadInput."""
    if name not in PAPERS:
        raise BadInput(f"the paper {name!r} is not known", remedy=f"take {' or '.join(PAPERS)}")
    return PAPERS[name]


def typeset(template: str, data: Mapping[str, Any], images: Sequence[str] = (), *, paper: Paper,
            form: Literal["pdf", "png"] = "pdf", ppi: float = 110.0) -> bytes:
    """The pages as PDF, or its first page as PNG. Raises EngravingFailed."""
    files = resources.files("gracewright.sheet").joinpath("templates")
    with tempfile.TemporaryDirectory(prefix="gracewright-") as name:
        folder = Path(name)
        for source in ("common.typ", f"{template}.typ"):
            (folder / source).write_text(files.joinpath(source).read_text(encoding="utf-8"), encoding="utf-8")
        for number, svg in enumerate(images):
            (folder / f"s{number}.svg").write_text(svg, encoding="utf-8")
        whole = {**data, "paper": paper.name, "margin": MARGIN / 10}
        (folder / "data.json").write_text(json.dumps(whole, ensure_ascii=False), encoding="utf-8")
        try:
            made: object = typst.compile(
                str(folder / f"{template}.typ"), root=str(folder), font_paths=[str(font_folder())],
                ignore_system_fonts=True, format=form, ppi=ppi,
            )  # fmt: skip
        except typst.TypstError as fault:
            raise EngravingFailed(f"the sheet cannot be set ({fault})") from None
    first = made[0] if isinstance(made, list) else made
    assert isinstance(first, bytes), "no output file was named"
    return first
