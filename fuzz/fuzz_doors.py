"""Throw damaged scores at every door: each is read, or refused with one sentence, and nothing else happens.

    python fuzz/fuzz_doors.py --seconds 600 --seed 1

A seed score of each format is damaged at random: bytes turned, cut, doubled; numbers replaced; elements dropped, moved,
repeated. MusicXML and MEI are read in this process, the other formats through their guarded converter. Prints a table,
the peak of memory, and every escape with the damaged file's seed.
"""

from __future__ import annotations

import argparse
import random
import re
import resource
import time
import traceback
from collections import Counter
from collections.abc import Callable

from gracewright.errors import BadInput
from gracewright.score import find_bass, find_solo, read, tones, write_signs

NUMBERS = ("0", "-1", "1", "99999999", "1.5", "1e9", "", "x", "NaN", "-0.0001", "4/3", "²")
XML = """<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>A</part-name>
</score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>2</divisions><key><fifths>1</fifths>
</key><time><beats>3</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef><transpose><diatonic>
-1</diatonic><chromatic>-2</chromatic></transpose></attributes><direction><direction-type><words>+</words>
</direction-type><offset>1</offset><sound tempo="60"/></direction><figured-bass><figure><figure-number>6</figure-number>
<suffix>sharp</suffix></figure><duration>1</duration></figured-bass><note id="n1"><grace slash="yes"
steal-time-following="25"/><pitch><step>C</step><octave>5</octave></pitch><type>eighth</type></note><note><pitch><step>B
</step><alter>-1</alter><octave>4</octave></pitch><duration>2</duration><tie type="start"/><voice>1</voice><type>quarter
</type><dot/><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>
<notations><ornaments><trill-mark/><accidental-mark>flat</accidental-mark><tremolo>2</tremolo></ornaments><slur
type="start" number="1"/></notations></note><note><chord/><pitch><step>D</step><octave>4</octave></pitch><duration>2
</duration></note><backup><duration>1</duration></backup><note><rest/><duration>4</duration><staff>1</staff></note>
<barline location="right"><ending number="1" type="start"/><repeat direction="backward" times="2"/></barline></measure>
</part></score-partwise>"""
MEI = """<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><scoreDef meter.count="3"
meter.unit="4" key.sig="2f"><staffGrp><staffDef n="1" lines="5" clef.shape="G" clef.line="2" trans.semi="-2"/>
</staffGrp></scoreDef><section><measure n="1" right="rptend"><staff n="1"><layer n="1"><note xml:id="a" grace="acc"
dur="8" pname="c" oct="5"/><tuplet num="3" numbase="2"><note xml:id="b" dur="8" dots="1" pname="e" oct="5"/>
<chord dur="8"><note pname="c" oct="5" tie="i"/><note pname="e" oct="5" accid="s"/></chord></tuplet>
<bTrem><note dur="4" pname="d" oct="4"/></bTrem><mRest/></layer></staff>
<trill startid="#b" accidupper="f"/><slur startid="#a" endid="#b"/><harm staff="1"
tstamp="1.5"><fb><f>7-6</f><f>4+</f></fb></harm></measure></section></score></mdiv></body></music></mei>"""
KERN = (
    "**kern\t**kern\n*clefF4\t*clefG2\n*k[b-]\t*k[b-]\n*M3/4\t*M3/4\n=1\t=1\n4C\t4gT\n4D\t8aqL\n.\t8bJ\n2E\t2cc\n"
    "=\t=\n*-\t*-\n"
)
ABC = "X:1\nT:a\nM:3/4\nL:1/8\nK:G\n|: GA TB2 {c}d2 | (3abc [GB]4 :|\n"


def damaged(text: str, chance: random.Random) -> bytes:
    """The text with a few things wrong."""
    for _ in range(chance.randint(1, 5)):
        kind = chance.randrange(7)
        if kind == 0:
            spots = list(re.finditer(r"-?\d+", text))
            if spots:
                spot = chance.choice(spots)
                text = text[: spot.start()] + chance.choice(NUMBERS) + text[spot.end() :]
        elif kind == 1:
            spots = list(re.finditer(r"<(\w+)[^<>]*?(?:/>|>[^<]*</\1>)", text))
            if spots:
                spot = chance.choice(spots)
                text = text[: spot.start()] + text[spot.end() :]
        elif kind == 2:
            spots = list(re.finditer(r"<(\w+)[^<>]*?(?:/>|>[^<]*</\1>)", text))
            if spots:
                spot, place = chance.choice(spots), chance.choice(spots).start()
                text = text[:place] + spot[0] * chance.randint(1, 3) + text[place:]
        elif kind == 3:
            spots = list(re.finditer(r'"[^"]*"', text))
            if spots:
                spot = chance.choice(spots)
                text = text[: spot.start()] + f'"{chance.choice(NUMBERS)}"' + text[spot.end() :]
        elif kind == 4:
            at = chance.randrange(len(text) or 1)
            text = text[:at] + chr(chance.choice((0, 9, 38, 60, 62, 200, 0x266F, 0x1F600))) + text[at:]
        elif kind == 5:
            at = chance.randrange(len(text) or 1)
            text = text[:at] + text[at + chance.randrange(1, 40) :]
        else:
            words = re.findall(r"[A-Za-z]{3,}", text)
            if words:
                text = text.replace(chance.choice(words), chance.choice(words), chance.randint(1, 2))
    return text.encode("utf-8", errors="replace")


def outcome(name: str, data: bytes) -> str:
    """``read`` or ``refused``; anything else escapes. A piece that was read can be asked for its lines and written."""
    try:
        piece = read(name, data)
    except BadInput as fault:
        if "\n" in str(fault):
            raise AssertionError(f"more than one line: {fault}") from fault
        return "refused"
    solo = find_solo(piece)
    tones(piece, solo)
    find_bass(piece, solo)
    write_signs(piece, solo, ())
    return "read"


SEEDS: dict[str, str] = {"a.musicxml": XML, "a.mei": MEI, "a.krn": KERN, "a.abc": ABC}


def run(seconds: float, seed: int, *, guarded: bool, say: Callable[[str], None] = print) -> Counter[str]:
    """Damage and read until the time is over; the count of each outcome, ``ESCAPED`` among them."""
    chance, counts, begun = random.Random(seed), Counter[str](), time.monotonic()
    while time.monotonic() - begun < seconds:
        here = chance.randrange(2**32)
        name = "a.musicxml" if chance.random() < 0.5 else "a.mei"
        if guarded and chance.random() < 0.03:
            name = chance.choice(("a.krn", "a.abc"))
        data = damaged(SEEDS[name], random.Random(here))
        try:
            counts[f"{name[2:]} {outcome(name, data)}"] += 1
        except Exception:
            counts["ESCAPED"] += 1
            say(f"seed {here} of {name}:\n{traceback.format_exc(limit=-4)}")
    return counts


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    counts = run(options.seconds, options.seed, guarded=True)
    for name, count in sorted(counts.items()):
        print(f"{name:22}{count:9}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
