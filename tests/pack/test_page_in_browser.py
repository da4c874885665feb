"""report.html in Debian's Chromium from the disk: silent, alone, operable by keys and buttons, accessible, harmless."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from borelog.pack import page as page_module
from borelog.pack.build import build

pytestmark = [pytest.mark.long, pytest.mark.filterwarnings("ignore::DeprecationWarning")]
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
HOSTILE = "".join(
    (
        "HOSTILE-MARKER ",
        "<script>document.title='owned'</script>",
        "<img src=x onerror=\"document.title='owned'\">",
        "<svg onload=\"document.title='owned'\"></svg>",
        "<a id=trap href=\"javascript:document.title='owned'\">trap</a>",
        "<iframe srcdoc=\"<script>parent.document.title='owned'</script>\"></iframe>",
        "<link rel=stylesheet href=http://example.invalid/x.css><img src=http://example.invalid/x.png>",
        "<form action=http://example.invalid><button>x</button></form><base href=http://example.invalid/>",
        "<details open ontoggle=\"document.title='owned'\">x</details>",
        "<style>*{background:url(http://example.invalid/y)}</style>",
        "'\"><!-- ]]> {{7*7}}",
    )
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api")
    binary = os.environ.get("BORELOG_CHROMIUM") or shutil.which("chromium")
    if not binary:
        pytest.skip("no Chromium here; install the package chromium")
    with sync_api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=binary, args=ARGUMENTS)
        yield opened
        opened.close()


class Visit:
    """A page with everything it said and asked for."""

    def __init__(
        self,
        browser: Any,
        path: Path,
        width: int = 1280,
        height: int = 800,
        scheme: str = "light",
        **more: Any,
    ):
        self.context = browser.new_context(
            viewport={"width": width, "height": height}, color_scheme=scheme, offline=True, **more
        )
        self.page = self.context.new_page()
        self.said: list[str] = []
        self.asked: list[str] = []
        self.page.on("console", lambda m: self.said.append(m.text))
        self.page.on("pageerror", lambda e: self.said.append(str(e)))
        self.page.on("request", lambda r: self.asked.append(r.url) if not r.url.startswith("data:") else None)
        # The browser also reports what its policy stopped before it left; that is no request.
        self.page.on(
            "requestfailed",
            lambda r: self.asked.remove(r.url) if "csp" in (r.failure or "").lower() else None,
        )
        self.page.goto(path.as_uri())

    def js(self, code: str) -> Any:
        return self.page.evaluate(code)

    def __enter__(self) -> Visit:
        return self

    def __exit__(self, *_: object) -> None:
        self.context.close()


@pytest.fixture(scope="module")
def report(packs) -> Path:
    return packs["archive"].folder / "report.html"


def plate(visit: Visit, which: str = "a") -> str:
    return visit.js(f"document.getElementById('plate-{which}').style.transform")


@pytest.mark.parametrize("reader", ["archive", "customer", "buyer", "machinist", "insurer"])
def test_silent_alone_and_whole(browser, packs, reader):
    with Visit(browser, packs[reader].folder / "report.html") as visit:
        visit.js("for (const i of document.images) i.loading = 'eager'")
        visit.page.wait_for_function("[...document.images].every((i) => i.complete)")
        assert visit.said == []
        assert len(visit.asked) == 1
        assert visit.js("[...document.images].every((i) => i.naturalWidth > 0)")


@pytest.mark.parametrize("width", [320, 360, 412, 768, 1280])
def test_no_sideways_scroll(browser, report, width):
    with Visit(browser, report, width=width) as visit:
        assert visit.js("document.documentElement.scrollWidth") <= width
        visit.page.click("button[data-open=s001]")
        for key in "1234":
            visit.page.press("#stage", key)
            assert visit.js("document.getElementById('viewer').scrollWidth") <= width


def test_first_screen_of_a_phone(browser, report):
    """Seven-second view: engine, every cylinder, call and the heading of what is unknown without scrolling at 360 x 740."""
    with Visit(browser, report, width=360, height=740) as visit:
        for where in (".which", ".lines", ".call", ".unknown h2"):
            box = visit.page.locator(where).first.bounding_box()
            assert box["y"] + box["height"] < 740, where


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1280])
def test_axe_finds_nothing(browser, report, scheme, width):
    """axe-core, all rules, page and open viewer in each mode."""
    axe_module = pytest.importorskip("axe_playwright_python.sync_playwright")
    axe = axe_module.Axe()
    with Visit(browser, report, width=width, scheme=scheme) as visit:
        found = axe.run(visit.page).response["violations"]
        assert [(v["id"], [n["html"][:80] for n in v["nodes"][:3]]) for v in found] == []
        visit.page.click("button[data-open=s001]")
        for key in "1234":
            visit.page.press("#stage", key)
            found = axe.run(visit.page).response["violations"]
            assert [(v["id"], [n["html"][:80] for n in v["nodes"][:3]]) for v in found] == []


def test_keys_move_the_picture(browser, report):
    with Visit(browser, report) as visit:
        visit.page.click("button[data-open=s001]")
        assert visit.js("document.activeElement.id") == "stage"
        start = plate(visit)
        visit.page.keyboard.press("+")
        nearer = plate(visit)
        assert nearer != start
        moves = {start, nearer}
        for key in ("ArrowRight", "ArrowDown", "ArrowLeft", "x"):
            visit.page.keyboard.press(key)
            moves.add(plate(visit))
        assert len(moves) >= 5
        visit.page.keyboard.press("f")
        assert plate(visit) == start
        visit.page.keyboard.press("n")
        first = visit.js("document.getElementById('tag-a').textContent")
        visit.page.keyboard.press("p")
        assert visit.js("document.getElementById('tag-a').textContent") != first
        visit.page.keyboard.press("m")
        assert visit.js("getComputedStyle(document.querySelector('#plate-a .marks')).display") == "none"
        visit.page.keyboard.press("Escape")
        assert not visit.js("document.getElementById('viewer').open")
        assert visit.said == []


def test_single_pixels_can_be_seen(browser, report):
    with Visit(browser, report) as visit:
        visit.page.click("button[data-open=s001]")
        for _ in range(14):
            visit.page.keyboard.press("+")
        assert visit.js("parseInt(document.getElementById('scale').textContent)") >= 1600
        assert (
            visit.js("getComputedStyle(document.querySelector('#plate-a img')).imageRendering") == "pixelated"
        )


def test_every_key_has_a_button(browser, report):
    """WCAG 2.2, 2.1.1 and 2.5.7: all of it by buttons too, each at least 24 pixels (2.5.8)."""
    with Visit(browser, report, width=360, height=740) as visit:
        visit.page.click("button[data-open=s001]")
        start = plate(visit)
        seen = {start}
        for button in ("nearer", "right", "down", "left", "up", "whole", "farther"):
            visit.page.click(f"#{button}")
            seen.add(plate(visit))
        assert len(seen) >= 5
        visit.page.click("#home")
        assert plate(visit) == start
        visit.page.click("#marks")
        assert visit.js("document.getElementById('marks').getAttribute('aria-pressed')") == "false"
        visit.page.click("#next")
        visit.page.click("#back")
        boxes = "[...document.querySelectorAll('#viewer button')].map((b) => b.getBoundingClientRect())"
        for box in visit.js(f"{boxes}.filter((r) => r.width).map((r) => [r.width, r.height])"):
            assert min(box) >= 24
        visit.page.click("#shut")
        assert not visit.js("document.getElementById('viewer').open")


def test_side_by_side_wipe_and_blink(browser, report):
    with Visit(browser, report) as visit:
        visit.page.click("button[data-open=s001]")
        visit.page.click("#mode-side")
        a, b = (visit.page.locator(f"#pane-{x}").bounding_box() for x in "ab")
        assert abs(a["width"] - b["width"]) < 2
        assert a["x"] + a["width"] <= b["x"] + 1
        before = plate(visit, "b")
        visit.page.click("#nearer")
        assert plate(visit, "b") != before
        visit.page.click("#mode-wipe")
        clip = "getComputedStyle(document.getElementById('pane-b')).clipPath"
        assert "50%" in visit.js(clip)
        visit.page.focus("#stage")
        visit.page.keyboard.press(".")
        assert "55%" in visit.js(clip)
        visit.page.fill("#wipe", "20")
        assert "20%" in visit.js(clip)
        visit.page.select_option("#pick-b", index=3)
        wanted = visit.js("document.getElementById('pick-b').selectedOptions[0].textContent")
        assert visit.js("document.getElementById('tag-b').textContent") == wanted
        visit.page.click("#mode-blink")
        state = "document.getElementById('pane-b').style.visibility"
        seen = set()
        for _ in range(20):
            seen.add(visit.js(state))
            visit.page.wait_for_timeout(100)
        assert seen == {"hidden", "visible"}
        visit.page.click("#pause")
        held = visit.js(state)
        visit.page.wait_for_timeout(1600)
        assert visit.js(state) == held
        visit.page.click("#flip")
        assert visit.js(state) != held
        assert visit.said == []


def test_blink_stays_still_where_motion_is_unwanted(browser, report):
    """WCAG 2.2, 2.2.2: nothing moves by itself under prefers-reduced-motion; flipping by hand still works."""
    with Visit(browser, report, reduced_motion="reduce") as visit:
        visit.page.click("button[data-open=s001]")
        visit.page.keyboard.press("4")
        state = "document.getElementById('pane-b').style.visibility"
        held = visit.js(state)
        visit.page.wait_for_timeout(1700)
        assert visit.js(state) == held
        visit.page.keyboard.press(" ")
        assert visit.js(state) != held


def test_without_script_everything_is_there(browser, report):
    with Visit(browser, report, java_script_enabled=False) as visit:
        assert visit.page.locator("figure img").count() == 6
        assert visit.page.locator("button[data-open]").first.is_hidden()


@pytest.mark.parametrize("escape", [True, False], ids=["escaped", "not escaped"])
def test_hostile_words_do_nothing(browser, scenes, tmp_path, escape, monkeypatch):
    """Two walls: escaping, and with it switched off the policy alone."""
    scene = scenes.build_scene(tmp_path / "log", note=HOSTILE)
    whole = page_module.page
    monkeypatch.setattr(page_module, "page", lambda d, p: whole(d, p, escape=escape))
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", entries=scene.entries,
        pdf=False, sync=False,
    )  # fmt: skip
    with Visit(browser, built.folder / "report.html") as visit:
        assert "HOSTILE-MARKER" in visit.page.content()
        visit.page.wait_for_timeout(300)
        traps = visit.page.locator("#trap")
        assert bool(traps.count()) != escape
        if traps.count():
            visit.js("document.getElementById('trap').click()")
        visit.page.wait_for_timeout(200)
        assert "owned" not in visit.page.title()
        assert [u for u in visit.asked if not u.startswith(("file:", "about:"))] == []
        if escape:
            assert visit.said == []
    scene.journal.close()


def test_prints_without_buttons_on_few_pages(browser, report, tmp_path):
    pikepdf = pytest.importorskip("pikepdf")
    with Visit(browser, report) as visit:
        visit.page.emulate_media(media="print")
        assert visit.js("getComputedStyle(document.querySelector('nav')).display") == "none"
        assert visit.js("getComputedStyle(document.querySelector('.act')).display") == "none"
        raw = visit.page.pdf(format="A4")
    (tmp_path / "print.pdf").write_bytes(raw)
    with pikepdf.open(tmp_path / "print.pdf") as pdf:
        assert 4 <= len(pdf.pages) <= 16


def test_linked_stills_show_from_the_disk(browser, scene, tmp_path, monkeypatch):
    from borelog.pack import build as module

    monkeypatch.setattr(module, "INSIDE", 1000)
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer", pdf=False,
        sync=False,
    )  # fmt: skip
    with Visit(browser, built.folder / "report.html") as visit:
        visit.page.click("button[data-open=s001]")
        visit.page.wait_for_function("document.querySelector('#plate-a img').complete")
        assert visit.js("document.querySelector('#plate-a img').naturalWidth") == 640
        assert visit.said == []
