"""Fonts for sheets and for the desk, made once from the engraving library's own and kept in a cache folder.

Conventions: the music font is the library's main one with our own drawings added for signs it lacks
(``glyphs.toml``); it is called ``Gracewright`` so that nothing passes for the original. ``Liberation`` sets the texts.

Public: FONT, font_archive, font_folder, web_fonts, text_fonts, cache_folder.
"""

from __future__ import annotations

import atexit
import base64
import hashlib
import os
import re
import shutil
import tempfile
import zipfile
from functools import cache
from importlib import metadata, resources
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Final

from font_source_serif_pro import font_files_ttf
from fontTools.ttLib import TTFont
from lxml import etree

from gracewright.sheet.glyphs import DRAWINGS, Drawing

FONT: Final = "Gracewright"
_MUSIC: Final = "Bravura"  # the library's font that ours starts from
_KEPT: Final = frozenset(
    {
        "E04", "E05", "E06", "E07", "E08", "E0A", "E0F", "E1D", "E1E", "E22", "E23", "E24", "E26", "E4A", "E4B", "E4C",
        "E4D", "E4E", "E50", "E51", "E52", "E53", "E56", "E58", "E59", "E5B", "E5C", "E61", "E88", "EA5", "EA6",
    }
)  # fmt: skip
"""Blocks of the library's font that a Baroque page needs; a smaller archive loads eight times faster."""

_FACE: Final = re.compile(r"@font-face\s*{(.*?)}", re.S)
_WOFF2: Final = re.compile(r"base64,([A-Za-z0-9+/=]+)")
_STYLES: Final = {("normal", "normal"): "Regular", ("bold", "normal"): "Bold",
                  ("normal", "italic"): "Italic", ("bold", "italic"): "BoldItalic"}  # fmt: skip


def _library_data() -> Path:
    found = find_spec("verovio")
    assert found is not None, "a dependency"
    assert found.origin is not None
    return Path(found.origin).parent / "data"


@cache
def cache_folder() -> Path:
    """Where derived fonts are kept: below ``XDG_CACHE_HOME`` or ``~/.cache``, else a folder that lasts for this run."""
    ours = resources.files("gracewright.sheet").joinpath("glyphs.toml").read_bytes()
    key = hashlib.sha256(ours + metadata.version("verovio").encode() + b"5").hexdigest()[:12]
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = base / "gracewright" / f"fonts-{key}"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError:
        folder = Path(tempfile.mkdtemp(prefix="gracewright-fonts-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _kept(path: Path, data: bytes) -> Path:
    """Write whole or not at all; two processes may do so at once."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.name)
    with os.fdopen(handle, "wb") as stream:
        stream.write(data)
    os.replace(name, path)
    return path


@cache
def font_archive() -> Path:
    """The music font in the form that the engraver loads: outlines and boxes in a zip archive."""
    path = cache_folder() / f"{FONT}.zip"
    if path.exists():
        return path
    data = _library_data()
    boxes = etree.fromstring((data / f"{_MUSIC}.xml").read_bytes())
    boxes.set("font-family", FONT)
    for box in list(boxes):
        if not _wanted(box.get("c", "")):
            boxes.remove(box)
    for drawing in DRAWINGS:
        boxes.append(_box(drawing))
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(f"{FONT}.xml", etree.tostring(boxes))
        archive.writestr(f"{FONT}.css", "")
        for glyph in sorted((data / _MUSIC).glob("*.xml")):
            if _wanted(glyph.stem):
                archive.writestr(f"{FONT}/{glyph.name}", glyph.read_bytes())
        for drawing in DRAWINGS:
            outline = f'<g id="{drawing.code:X}"><path transform="scale(1,-1)" d="{drawing.path}"/></g>'
            archive.writestr(f"{FONT}/{drawing.code:X}.xml", outline)
    return _kept(path, packed.getvalue())


def _wanted(code: str) -> bool:
    return code[:3] in _KEPT and code not in {f"{drawing.code:X}" for drawing in DRAWINGS}


def _box(drawing: Drawing) -> etree._Element:
    left, bottom, right, top = drawing.box
    box = {"x": left, "y": bottom, "w": right - left, "h": top - bottom}
    numbers = {name: f"{value}.0" for name, value in box.items()} | {"h-a-x": str(drawing.advance)}
    return etree.Element("g", {"c": f"{drawing.code:X}", "n": drawing.name, **numbers})


def _faces(name: str) -> dict[str, bytes]:
    """Style → WOFF2 data, from the library's style sheet of that name."""
    sheet = (_library_data() / f"{name}.css").read_text(encoding="utf-8")
    faces = {}
    for face in _FACE.findall(sheet):
        packed = _WOFF2.search(face)
        assert packed is not None, "the library embeds its fonts"
        weight, style = ("bold" if "font-weight: bold" in face else "normal",
                         "italic" if "font-style: italic" in face else "normal")  # fmt: skip
        faces[_STYLES[weight, style]] = base64.b64decode(packed[1])
    return faces


@cache
def web_fonts() -> dict[str, bytes]:
    """Name → WOFF2, for ``@font-face`` rules: ``Gracewright-Regular``, ``Liberation-Regular``, ``-Bold`` …"""
    music = {f"{FONT}-Regular": _faces(_MUSIC)["Regular"]}
    return music | {f"Liberation-{style}": data for style, data in _faces("Liberation").items()}


@cache
def text_fonts() -> dict[str, bytes]:
    """Name → TrueType, for the texts of a page: ``Text-Regular``, ``Text-Italic``, ``Text-Semibold``."""
    styles = {"Regular": "SourceSerifPro", "Italic": "SourceSerifProIt", "Semibold": "SourceSerifProSemibold"}
    return {f"Text-{style}": Path(font_files_ttf[name]).read_bytes() for style, name in styles.items()}


@cache
def font_folder() -> Path:
    """A folder of TrueType files for typesetting: the music font and the text font, under the names the SVG gives."""
    folder = cache_folder() / "truetype"
    if folder.exists():
        return folder
    made = Path(tempfile.mkdtemp(dir=cache_folder(), prefix="truetype-"))
    for name, packed in web_fonts().items():
        family, style = name.split("-")
        font = TTFont(BytesIO(packed), recalcTimestamp=False)
        font.flavor = None
        _rename(font, family, style)
        font.save(made / f"{name}.ttf")
    try:
        made.rename(folder)
    except OSError:  # another process was first
        return folder if folder.exists() else made
    return folder


def _rename(font: TTFont, family: str, style: str) -> None:
    spaced = style.replace("BoldItalic", "Bold Italic")
    values = {1: family, 2: spaced, 3: f"{family} {spaced}", 4: f"{family} {spaced}", 6: f"{family}-{style}"}
    names = font["name"]
    names.names = [record for record in names.names if record.nameID not in (1, 2, 3, 4, 6, 16, 17, 21, 22)]
    for name_id, value in values.items():
        names.setName(value, name_id, 3, 1, 0x409)
