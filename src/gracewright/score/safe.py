"""Turn a user's bytes into an XML tree without harm.

Refused, before anything is built from them: entity declarations, outside references, archives that unpack to more
than 64 MiB or climb out of their folder, absurd sizes. Comments and processing instructions are kept: the document is
the user's.

Public: parse_xml, checked, parsed, bars_of, unpack_mxl, text_of.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from typing import Final

from lxml import etree

from gracewright.errors import BadInput, UnsafeInput

MAX_FILE: Final = 20 * 2**20
MAX_XML: Final = 32 * 2**20
MAX_ARCHIVE: Final = 64 * 2**20
MAX_ENTRIES: Final = 200
MAX_TAGS: Final = 3_000_000
LARGE: Final = 2**20
"""Bytes from which on a document is read while it is being parsed; below, parsing it first is quicker."""
_DECLARATION: Final = re.compile(r"\s*<\?xml[^>]*\?>")
_DOCTYPE: Final = re.compile(r"<!DOCTYPE[^\[>]*(\[.*?\])?\s*>", re.S)


def text_of(data: bytes, name: str) -> str:
    """Decode by byte-order mark, else by the XML declaration, else UTF-8, else Latin-1."""
    marks = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
    if not data.startswith((b"\xff\xfe", b"\xfe\xff")) and data[:4].count(b"\0") == 2:  # UTF-16 without its mark
        return data.decode("utf-16-le" if data[1:2] == b"\0" else "utf-16-be", errors="replace")
    declared = re.match(rb"""<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""", data[:200])
    encoding = declared[1].decode("ascii") if declared else "utf-8"
    encoding = next((by_mark for mark, by_mark in marks if data.startswith(mark)), encoding)
    try:
        return data.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        try:
            return data.decode("utf-8")
        except UnicodeDecodeError:
            return data.decode("latin-1")


def checked(data: bytes, name: str) -> bytes:
    """A document in UTF-8, without its XML declaration, that is safe to parse. Raises UnsafeInput."""
    if len(data) > MAX_XML:
        raise UnsafeInput("the score is larger than 32 MiB", file=name, remedy="export a single movement")
    text = text_of(data, name)
    if text.count("<") > MAX_TAGS:
        raise UnsafeInput("the score has more than three million tags", file=name, remedy="export a single movement")
    doctype = _DOCTYPE.search(text[:20_000])
    if "<!ENTITY" in text or (doctype is not None and doctype[1]):
        raise UnsafeInput("the file declares entities of its own, which no score needs", file=name,
                          remedy="export it again from the program it came from")  # fmt: skip
    start = _DECLARATION.match(text)
    return text[start.end() if start else 0 :].lstrip("\ufeff \r\n\t").encode("utf-8")


def parse_xml(data: bytes, name: str) -> etree._ElementTree:
    """Parse a document. Raises UnsafeInput or BadInput with one sentence."""
    return parsed(checked(data, name), name)


def parsed(document: bytes, name: str) -> etree._ElementTree:
    """The tree of a checked document. Raises BadInput where it is not well-formed."""
    try:
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False,
                                 huge_tree=False, strip_cdata=False)  # fmt: skip
        return etree.fromstring(document, parser).getroottree()
    except etree.XMLSyntaxError as fault:
        raise _malformed(fault, name) from None


def bars_of(document: bytes, name: str) -> Iterator[tuple[str, etree._Element]]:
    """The ``part`` elements of a checked partwise document as they begin (``start``) and as they are complete
    (``end``), and between them their ``measure`` elements when complete. In a large document a measure is emptied when
    the next one is asked for, so that the tree, which takes ten times the room of the text, is never whole.

    Raises BadInput where the document is not well-formed.
    """
    if len(document) < LARGE:
        for part in parsed(document, name).getroot().iterchildren("part", "measure"):
            yield "start", part
            for measure in part.iterchildren("measure"):
                yield "end", measure
            yield "end", part
        return
    events = etree.iterparse(
        io.BytesIO(document), events=("start", "end"), tag=("part", "measure"), resolve_entities=False, no_network=True,
        load_dtd=False, dtd_validation=False, huge_tree=False, strip_cdata=False, collect_ids=False,
    )  # fmt: skip
    try:
        for event, element in events:
            yield event, element
            if event == "end" and element.tag == "measure":
                element.clear()
    except etree.XMLSyntaxError as fault:
        raise _malformed(fault, name) from None


def _malformed(fault: etree.XMLSyntaxError, name: str) -> BadInput:
    return BadInput(f"this is not well-formed XML (line {fault.lineno or 0}: {_short(fault.msg)})", file=name,
                    remedy="export it again from the program it came from")  # fmt: skip


def _short(message: str | None) -> str:
    return re.sub(r"\s+", " ", message or "unreadable").split(", line")[0][:120].rstrip(".")


def unpack_mxl(data: bytes, name: str) -> bytes:
    """The score inside a compressed MusicXML archive. Raises UnsafeInput or BadInput."""
    if len(data) > MAX_FILE:
        raise UnsafeInput("the archive is larger than 20 MiB", file=name, remedy="export a single movement")
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _score_in(archive, name)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError) as fault:
        raise BadInput(f"the archive cannot be unpacked ({_short(str(fault))})", file=name,
                       remedy="export it again, or unpack it and give the .musicxml inside") from None  # fmt: skip


def _score_in(archive: zipfile.ZipFile, name: str) -> bytes:
    entries = archive.infolist()
    if len(entries) > MAX_ENTRIES:
        raise UnsafeInput("the archive holds more than 200 files", file=name)
    if sum(entry.file_size for entry in entries) > MAX_ARCHIVE:
        raise UnsafeInput("the archive unpacks to more than 64 MiB", file=name)
    names = {entry.filename for entry in entries}
    for entry in names:
        if entry.startswith(("/", "\\")) or ".." in re.split(r"[/\\]", entry) or ":" in entry:
            raise UnsafeInput("the archive climbs out of its folder", file=name)
    wanted = ""
    if "META-INF/container.xml" in names:
        container = parse_xml(_limited(archive, "META-INF/container.xml", 65_536, name), name)
        rootfile = container.find(".//{*}rootfile")
        wanted = rootfile.get("full-path", "") if rootfile is not None else ""
    if wanted not in names:
        scores = sorted(n for n in names if n.lower().endswith((".xml", ".musicxml")) and not n.startswith("META-INF"))
        if not scores:
            raise BadInput("the archive holds no score", file=name, remedy="export it again")
        wanted = scores[0]
    return _limited(archive, wanted, MAX_XML, name)


def _limited(archive: zipfile.ZipFile, entry: str, limit: int, name: str) -> bytes:
    with archive.open(entry) as stream:
        data = stream.read(limit + 1)
    if len(data) > limit:
        raise UnsafeInput(f"{entry} unpacks to more than {limit // 1024} KiB", file=name)
    return data
