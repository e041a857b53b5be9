"""Speed of the desk: from a gesture to the redrawn system, on a movement of 60 bars. Prints one table.

The movement is the bundled Menuet with its bars laid end to end until there are enough. Server figures are medians of
turns of the richness dial, each to a setting not tried before; the browser's are taken in Chromium from the input event
to the frame after the new systems stand in the page.

Run: ``python bench/bench_desk.py [BARS]``
"""

from __future__ import annotations

import copy
import json
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import uvicorn
from lxml import etree

from gracewright.desk import Desk, Keeping, Session, make_app
from gracewright.desk.server import listening
from gracewright.job import demo_piece

TURNS = 12


def movement(bars: int) -> bytes:
    """The Menuet, its bars repeated to a length, without repeat signs."""
    tree = etree.parse(demo_piece("menuet"))
    for part in tree.getroot().iter("part"):
        measures = list(part.iter("measure"))
        for sign in part.xpath(".//barline"):
            sign.getparent().remove(sign)
        while len(part) < bars:
            measure = copy.deepcopy(measures[len(part) % len(measures)])
            for once in measure.xpath("attributes | print | direction"):
                measure.remove(once)
            for note in measure.iter("note"):
                note.attrib.pop("id", None)
            part.append(measure)
        for number, measure in enumerate(part, 1):
            measure.set("number", str(number))
    return etree.tostring(tree)


def timed(desk: Desk) -> dict[str, list[float]]:
    session = desk.there
    spent: dict[str, list[float]] = {"plan": [], "engrave": [], "whole answer": []}
    for number in range(TURNS):
        began = time.perf_counter()
        session.turn({"richness": 2.5 + number * 0.37})
        planned = time.perf_counter()
        answer = desk.now({"width": 1900})
        ended = time.perf_counter()
        spent["plan"].append(planned - began)
        spent["engrave"].append(ended - planned)
        spent["whole answer"].append(ended - began)
        assert answer["page"]["systems"]
    return spent


def browser(desk: Desk) -> list[float] | None:
    """Seconds from the input event to the painted frame; None where no browser is found."""
    try:
        from playwright.sync_api import Error, sync_playwright
    except ImportError:
        return None
    bound = listening(0, True)
    app = make_app(desk, "bench")
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", lifespan="off"))
    threading.Thread(target=server.run, kwargs={"sockets": [bound]}, daemon=True).start()
    found: list[float] = []
    try:
        with sync_playwright() as play:
            chromium = Path("/usr/bin/chromium")
            found_path = chromium if chromium.exists() else None
            chrome = play.chromium.launch(executable_path=found_path, args=["--no-sandbox"])
            page = chrome.new_page(viewport={"width": 1280, "height": 900})
            page.goto(f"http://127.0.0.1:{bound.getsockname()[1]}/bench/")
            page.locator("figure.system .drawn").first.wait_for()
            for number in range(TURNS):
                found.append(page.evaluate(GESTURE, 2.25 + number * 0.5) / 1000)
            chrome.close()
    except Error as fault:
        print(f"no browser figures: {str(fault).splitlines()[0]}")
        return None
    finally:
        server.should_exit = True
    return found


GESTURE = """async (value) => {
  const dial = document.getElementById("dial-richness"), before = document.body.dataset.revision;
  const began = performance.now(), waiting = () => document.body.dataset.revision === before;
  dial.value = value;
  dial.dispatchEvent(new Event("input"));
  dial.dispatchEvent(new Event("change"));
  while (waiting() && performance.now() - began < 5000) await new Promise(requestAnimationFrame);
  await new Promise(requestAnimationFrame);
  return performance.now() - began;
}"""


def main() -> None:
    bars = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        desk = Desk(Keeping(Path(folder)))
        desk.session = Session.bring(desk.keeping, "menuet.musicxml", movement(bars))
        opened = time.perf_counter() - began
        size = len(json.dumps(desk.now({"width": 1900}, whole=True)))
        rows = {"open": [opened], **timed(desk)}
        painted = browser(desk)
        if painted:
            rows["gesture to painted page, in the browser"] = painted
    print(f"{bars} bars, {len(desk.there.piece.notes)} notes; whole state {size / 1024:.0f} KiB")
    print(f"{'':42}{'median ms':>10}{'worst ms':>10}")
    for name, spent in rows.items():
        print(f"{name:42}{1000 * statistics.median(spent):10.0f}{1000 * max(spent):10.0f}")


if __name__ == "__main__":
    main()
