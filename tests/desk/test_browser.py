"""The page in a real browser: choosing, deciding, turning, taking back, hearing. One browser for all."""

import json
import os
import shutil
from pathlib import Path

import pytest

from gracewright.desk import Desk, Keeping
from gracewright.job import demo_piece

from .conftest import serving

playwright = pytest.importorskip("playwright.sync_api", reason="the browser tests need playwright")
CHROMIUM = next((path for name in ("chromium", "chromium-browser") if (path := shutil.which(name))), None)
QUIET = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--no-first-run", "--autoplay-policy=no-user-gesture-required"]  # fmt: skip


@pytest.fixture(scope="module")
def chrome():
    with playwright.sync_playwright() as play:
        try:
            browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        except playwright.Error:
            pytest.skip("no Chromium is here: as root `apt-get install chromium`, else `playwright install chromium`")
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with serving(Desk.open(Keeping(tmp_path_factory.mktemp("state")), demo_piece())) as running:
        yield running


@pytest.fixture
def page(chrome, server):
    """A page at the desk; whatever it complains of, or asks of another address, is a fault."""
    found = chrome.new_context(viewport={"width": 1280, "height": 900}).new_page()
    found.set_default_timeout(10_000)
    found.expected = []
    wrong = []
    found.on("console", lambda said: wrong.append(said.text) if said.type in ("error", "warning") else None)
    found.on("pageerror", lambda fault: wrong.append(str(fault)))
    found.on("request", lambda asked: None if asked.url.startswith(server.origin) else wrong.append(asked.url))
    found.goto(server.url)
    found.locator("figure.system .drawn").first.wait_for()
    yield found
    found.context.close()
    assert [one for one in wrong if one not in found.expected] == []


def revision(page):
    return int(page.locator("body").get_attribute("data-revision"))


def after(page, number):
    page.locator(f'body[data-revision="{number}"]').wait_for()


def turn(page, richness):
    before = revision(page)
    page.locator("#dial-richness").fill(str(richness))
    after(page, before + 1)


def test_a_note_is_chosen_by_mouse_and_by_keyboard(page):
    head = page.locator('figure.system [data-id="P1.b1.n4"] .notehead').bounding_box()
    page.mouse.click(head["x"] + head["width"] / 2, head["y"] + head["height"] / 2)
    page.locator("#card .place", has_text="Bar 1, beat 4").wait_for()
    page.locator("#score").focus()
    page.keyboard.press("ArrowRight")
    page.locator("#card .place", has_text="Bar 2, beat 1").wait_for()

    assert page.locator("#said").text_content().startswith("Bar 2, beat 1")
    page.keyboard.press("Enter")
    page.locator("#card:focus").wait_for()
    page.keyboard.press("Escape")
    page.locator("#score:focus").wait_for()

    assert page.locator("#card[data-empty]").count() == 1


def test_a_grace_is_changed_kept_and_taken_back_from_the_card(page, server):
    page.locator("#score").focus()
    page.keyboard.press("ArrowDown")
    picked = page.locator("#card .pick").nth(1)
    picked.wait_for()
    words = picked.locator("b").text_content().lower()
    before = revision(page)
    picked.click()
    after(page, before + 1)
    page.locator('#card [data-deed="keep"][aria-pressed="true"]').wait_for()

    assert words in page.locator("#card h2").text_content().lower()
    assert page.locator('use[href="#m-player"]').count() > 1
    page.keyboard.press("Control+z")
    after(page, before + 2)
    page.locator('#card [data-deed="keep"][aria-pressed="false"]').wait_for()


def test_ten_turns_are_taken_back_one_by_one(page, server):
    start = server.state()["graces"]
    first = revision(page)
    for number in range(10):
        turn(page, 0.5 + number)
    for number in range(10):
        page.locator("#undo").click()
        after(page, first + 11 + number)

    assert server.state()["graces"] == start


def test_the_richness_curve_is_drawn_up_and_the_plan_follows(page, server):
    before = revision(page)
    grip = page.locator('#shape [data-grip="1"]')
    grip.focus()
    for number in range(1, 4):
        page.keyboard.press("PageUp" if number == 1 else "ArrowUp")
        after(page, before + number)
    drawn_up = [factor for _, factor in server.state()["wishes"]["curve"]]

    assert drawn_up == [1, 1.7, *[1] * (len(drawn_up) - 2)]
    box = page.locator('#shape [data-grip="2"]').bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2 + 60, steps=4)
    page.mouse.up()
    page.wait_for_timeout(300)
    assert server.state()["wishes"]["curve"][2][1] == 0
    page.locator("#undo").click()
    page.wait_for_timeout(300)
    assert [factor for _, factor in server.state()["wishes"]["curve"]] == drawn_up


def test_the_cursor_follows_the_sound_within_fifty_milliseconds(page):
    page.locator("#dial-tempo").fill("120")
    before = revision(page)
    page.locator("#dial-tempo").press("Enter")
    after(page, before + 1)
    page.locator("#play").click()
    page.locator("body[data-sounding]").wait_for()
    lags = page.evaluate(
        """async () => {
          const lags = [], seen = new Set(), until = performance.now() + 2500;
          while (performance.now() < until) {
            await new Promise(requestAnimationFrame);
            const { sounding, lag } = document.body.dataset;
            if (sounding && !seen.has(sounding)) { seen.add(sounding); lags.push(Number(lag)); }
          }
          return lags;
        }"""
    )
    page.locator("#play").click()

    assert len(lags) >= 4
    assert sorted(lags)[len(lags) // 2] <= 50
    assert page.locator("body[data-sounding]").count() == 0


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_nothing_runs_over_the_edge_and_names_are_given(page, width):
    page.set_viewport_size({"width": width, "height": 900})
    page.wait_for_timeout(400)
    page.locator("figure.system .drawn").first.wait_for()

    assert page.evaluate("document.documentElement.scrollWidth") <= width
    nameless = page.evaluate(
        """() => [...document.querySelectorAll("button, select, input, [role=slider], [role=button]")].filter((one) =>
          one.offsetParent !== null && !(one.getAttribute("aria-label") || one.title || one.textContent.trim()
            || one.labels?.[0]?.textContent.trim())).map((one) => one.outerHTML.slice(0, 80))"""
    )
    assert nameless == []


def test_text_stands_out_from_its_ground(page):
    """WCAG 2 contrast of every piece of text on the page against the nearest ground: at least 4.5 to 1."""
    page.locator("#score").focus()
    page.keyboard.press("ArrowDown")
    page.locator("#card .option").first.wait_for()
    poor = page.evaluate(CONTRAST)

    assert poor == []


CONTRAST = """() => {
  const parse = (text) => (text.match(/[\\d.]+/g) ?? []).map(Number);
  const linear = (v) => v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
  const ground = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const c = parse(getComputedStyle(at).backgroundColor);
      if (c.length === 3 || c[3] > 0.9) return c;
    }
    return [255, 255, 255];
  };
  const poor = new Set();
  for (const one of document.querySelectorAll("body *")) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
    if (!own || one.closest("svg, dialog, option, [hidden], :disabled") || one.offsetParent === null) continue;
    const [a, b] = [light(parse(getComputedStyle(one).color)), light(ground(one))].sort((x, y) => y - x);
    if ((a + 0.05) / (b + 0.05) < 4.5) poor.add(one.outerHTML.slice(0, 90));
  }
  return [...poor];
}"""


def test_a_bad_file_is_told_and_the_page_stays_and_a_good_one_is_opened(page, tmp_path):
    bad = tmp_path / "bad.musicxml"
    bad.write_bytes(b"<score-partwise/>")
    page.expected.append("Failed to load resource: the server responded with a status of 422 (Unprocessable Entity)")
    page.locator("#bring").click()
    page.locator("#file").set_input_files(bad)
    page.locator("#fault:not([hidden])").wait_for()

    assert page.locator("#fault").text_content().startswith("bad.musicxml")
    assert page.locator("h1").text_content() == "Adagio"
    page.locator("#bring").click()
    page.locator("#file").set_input_files(demo_piece("menuet"))
    page.locator("h1", has_text="Menuet").wait_for()
    page.locator("#take").click()
    with page.expect_download() as taken:
        page.locator("#results a").first.click()
    assert taken.value.suggested_filename == "menuet-french-signs.musicxml"
    assert Path(taken.value.path()).read_bytes().startswith(b"<?xml")


def test_a_killed_server_is_told_in_a_sentence_and_work_goes_on_after_the_restart(chrome, tmp_path):
    keeping = Keeping(tmp_path / "state")
    page = chrome.new_context().new_page()
    page.set_default_timeout(10_000)
    with serving(Desk.open(keeping, demo_piece())) as first:
        page.goto(first.url)
        page.locator("figure.system .drawn").first.wait_for()
        turn(page, 9)
    page.locator("#dial-manner").select_option("german")
    page.locator("#fault", has_text="nothing decided is lost").wait_for()
    with serving(Desk.open(keeping, None)) as second:
        page.goto(second.url)
        page.locator("figure.system .drawn").first.wait_for()

        assert json.loads(page.evaluate("JSON.stringify(document.getElementById('dial-richness').value)")) == "9"
        assert not page.locator("#undo").is_disabled()
    page.context.close()


def test_a_looped_phrase_comes_again_and_the_view_follows_the_time_through(page):
    page.locator("#score").focus()
    page.keyboard.press("Home")
    page.locator("#dial-tempo").fill("400")
    before = revision(page)
    page.locator("#dial-tempo").press("Enter")
    after(page, before + 1)
    page.locator("#loop").check()
    page.locator("#play").click()
    page.locator("body[data-sounding]").wait_for()
    starts = page.evaluate(
        """async () => {
          const found = [], until = performance.now() + 6000;
          let last = "";
          while (performance.now() < until && found.length < 60) {
            await new Promise(requestAnimationFrame);
            const { sounding } = document.body.dataset;
            if (sounding && sounding !== last) { last = sounding; found.push(sounding); }
          }
          return found;
        }"""
    )
    page.locator("#play").click()

    assert starts.count(starts[0]) >= 2
    assert page.locator("#rows input:checked").get_attribute("value") == "first"


@pytest.mark.parametrize("width", [1280, 768, 390])
def test_axe_core_finds_no_fault(page, width):
    """Judged by axe-core, which is not shipped: AXE_CORE names its axe.min.js (npm install axe-core)."""
    script = os.environ.get("AXE_CORE", "")
    if not script:
        pytest.skip("AXE_CORE does not name an axe.min.js")
    page.set_viewport_size({"width": width, "height": 900})
    page.evaluate(Path(script).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")

    assert [(fault["id"], fault["impact"]) for fault in found["violations"]] == []
