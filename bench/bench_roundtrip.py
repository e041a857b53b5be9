"""Round trips of every MusicXML file at hand: what is equal, what comes out again, what is valid.

    python bench/bench_roundtrip.py [--every 10]

Empty: canonical XML equal with nothing added. Stripped: our signs added to every fifth note, taken out, equal again.
Valid: of the files that are valid against the MusicXML 4.0 schema, those still valid with our signs.
"""

import argparse
import os
from collections import Counter
from fractions import Fraction
from pathlib import Path

from lxml import etree

from bench_corpus import all_files
from gracewright.errors import BadInput
from gracewright.score import (
    Addition,
    Sign,
    SmallNote,
    canonical,
    find_solo,
    read,
    strip_ours,
    tones,
    write_signs,
)
from gracewright.score.safe import unpack_mxl


def one(path: Path, schema: etree.XMLSchema | None) -> Counter[str]:
    data = path.read_bytes()
    try:
        piece = read(path, data)
    except BadInput:
        return Counter(refused=1)
    line = find_solo(piece)
    added = [
        Addition(tone.id, (Sign("trill-mark", accidental_above="sharp"), Sign("words", "+")),
                 (SmallNote("", tone.pitch.transposed(1, 2), Fraction(1, 2), slurred=True),))
        for tone in tones(piece, line)[::5]
    ]  # fmt: skip
    signed = write_signs(piece, line, added, repeat_additions=added[:2])
    found = Counter(read=1)
    found["empty"] = canonical(write_signs(piece, line, ())) == canonical(data)
    found["stripped"] = canonical(strip_ours(signed)) == canonical(data)
    plain = unpack_mxl(data, path.name) if data[:2] == b"PK" else data
    if schema is not None and schema.validate(etree.fromstring(plain)):
        found["valid before"] = 1
        found["valid with signs"] = schema.validate(etree.fromstring(signed))
    return found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    shared = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared"))
    xsd = shared / "data" / "open" / "musicxml_schema" / "musicxml.xsd"
    schema = etree.XMLSchema(etree.parse(xsd)) if xsd.is_file() else None
    if schema is None:
        print("the schema is absent: validity is not checked")
    files = [path for path in all_files() if path.suffix in (".musicxml", ".xml", ".mxl")][:: options.every]
    total: Counter[str] = Counter()
    for path in files:
        total += one(path, schema)
    for name in ("read", "refused", "empty", "stripped", "valid before", "valid with signs"):
        print(f"{name:18}{total[name]:6}")


if __name__ == "__main__":
    main()
