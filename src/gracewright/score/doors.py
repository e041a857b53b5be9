"""The doors for Humdrum and ABC; each says what it could not carry.

Public: read_humdrum, read_abc.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace

from gracewright.errors import BadInput
from gracewright.score.abc_marks import known, marked, unmarked
from gracewright.score.guarded import Converted, convert
from gracewright.score.mei import read_mei
from gracewright.score.model import Piece
from gracewright.score.musicxml import read_tree
from gracewright.score.safe import parse_xml, text_of


def _with(piece: Piece, *remarks: str) -> Piece:
    return replace(piece, remarks=(*piece.remarks, *(remark for remark in remarks if remark)))


def _said(converted: Converted) -> list[str]:
    return [f"{text[:1].upper()}{text[1:].rstrip('.')}." for text in converted.said]


def read_humdrum(data: bytes, name: str) -> Piece:
    """Read Humdrum (``**kern``). Raises BadInput."""
    text = text_of(data, name)
    if "**kern" not in text and "**mens" not in text:
        raise BadInput("the Humdrum file holds no **kern spine", file=name, remedy="give one with notes")
    if "**mens" in text and "**kern" not in text:
        raise BadInput("mensural notation is not read", file=name, remedy="give a score in common notation")
    piece = read_mei(convert("humdrum", text.encode("utf-8"), name).data, name)
    reference = dict(re.findall(r"^!!!(OTL|COM|OPR|SCT|ODT)[^:\n]*:\s*(.+)$", text, re.M))
    title = piece.title or ": ".join(reference[key].strip() for key in ("OPR", "OTL") if key in reference)
    return replace(piece, title=title, composer=piece.composer or reference.get("COM", "").strip(),
                   date=piece.date or reference.get("ODT", "").strip())  # fmt: skip


def read_abc(data: bytes, name: str) -> Piece:
    """Read ABC. Raises BadInput."""
    text = text_of(data, name)
    if not re.search(r"^K:", text, re.M):
        raise BadInput("the ABC file has no key line (K:)", file=name, remedy="begin with X:, T:, M:, L: and K: lines")
    converted = convert("abc", marked(text).encode("utf-8"), name)
    tree = parse_xml(converted.data, name)
    unmarked(tree.getroot())
    piece = read_tree(tree, name)
    lost = Counter(word for word in re.findall(r"!([^!\s]+)!", text) if not known(word))
    remark = ""
    if lost:
        listed = ", ".join(f"!{word}! ({count})" for word, count in sorted(lost.items())[:8])
        remark = f"These ABC decorations were not carried over: {listed}."
    return _with(piece, *_said(converted), remark)
