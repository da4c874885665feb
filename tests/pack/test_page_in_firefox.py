"""report.html in Debian's Firefox ESR from the disk, driven over Marionette (the protocol it speaks by itself)."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from borelog.pack import page as page_module
from borelog.pack.build import build

pytestmark = pytest.mark.long
PREFS = """user_pref("marionette.port", %d);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("toolkit.telemetry.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("network.captive-portal-service.enabled", false);
user_pref("app.update.auto", false);
"""


class Fox:
    """A browser window: commands go out as '[0, number, name, parameters]' behind their length, answers come the same way."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), timeout=60)
        self._number = 0
        self._read()  # its greeting
        self("WebDriver:NewSession", {})

    def _read(self) -> Any:
        length = b""
        while not length.endswith(b":"):
            got = self._socket.recv(1)
            assert got, "Firefox hung up"
            length += got
        data = b""
        while len(data) < int(length[:-1]):
            data += self._socket.recv(int(length[:-1]) - len(data))
        return json.loads(data)

    def __call__(self, name: str, parameters: dict[str, Any]) -> Any:
        self._number += 1
        raw = json.dumps([0, self._number, name, parameters]).encode()
        self._socket.sendall(b"%d:%s" % (len(raw), raw))
        _, number, error, value = self._read()
        assert number == self._number
        assert error is None, error
        return value.get("value") if isinstance(value, dict) and set(value) == {"value"} else value

    def close(self) -> None:
        self._socket.close()

    def open(self, path: Path) -> None:
        self("WebDriver:Navigate", {"url": path.as_uri()})

    def js(self, code: str) -> Any:
        return self("WebDriver:ExecuteScript", {"script": f"return {code}", "args": []})

    def press(self, *keys: str) -> None:
        for key in keys:
            steps = [{"type": "keyDown", "value": key}, {"type": "keyUp", "value": key}]
            actions = [{"type": "key", "id": "keyboard", "actions": steps}]
            self("WebDriver:PerformActions", {"actions": actions})

    def click(self, css: str) -> None:
        found = self("WebDriver:FindElement", {"using": "css selector", "value": css})
        self("WebDriver:ElementClick", {"id": next(iter(found.values()))})

    def until(self, code: str) -> None:
        for _ in range(200):
            if self.js(code):
                return
            time.sleep(0.05)
        raise AssertionError(f"never true: {code}")


@pytest.fixture(scope="module")
def fox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Fox]:
    binary = os.environ.get("BORELOG_FIREFOX") or shutil.which("firefox-esr")
    if not binary:
        pytest.skip("no Firefox ESR here; install the package firefox-esr")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    profile = tmp_path_factory.mktemp("profile")
    (profile / "user.js").write_text(PREFS % port)
    line = [
        binary,
        "--headless",
        "--marionette",
        "--no-remote",
        "--width",
        "1280",
        "--height",
        "900",
        "--profile",
        str(profile),
    ]
    with subprocess.Popen(
        line, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
    ) as browser:
        try:
            for _ in range(600):
                assert browser.poll() is None, "Firefox ended by itself"
                try:
                    opened = Fox(port)
                    break
                except OSError:
                    time.sleep(0.1)
            else:
                pytest.skip("Firefox does not answer here")
            yield opened
            opened.close()
        finally:
            os.killpg(browser.pid, signal.SIGTERM)
            browser.wait(30)


PLATE = "document.getElementById('plate-a').style.transform"


def test_opens_from_the_disk_and_asks_for_nothing(fox: Fox, packs) -> None:
    for reader in ("archive", "buyer"):
        fox.open(packs[reader].folder / "report.html")
        fox.js("[...document.images].forEach((i) => { i.loading = 'eager' })")
        fox.until("[...document.images].every((i) => i.complete)")
        assert fox.js("[...document.images].every((i) => i.naturalWidth > 0)")
        asked = fox.js("performance.getEntriesByType('resource').map((r) => r.name)")
        assert [a for a in asked if not a.startswith("data:")] == []
        assert "findings pack" in fox.js("document.title")


def test_keys_buttons_wipe_and_blink(fox: Fox, packs) -> None:
    fox.open(packs["archive"].folder / "report.html")
    fox.click("button[data-open=s001]")
    assert fox.js("document.activeElement.id") == "stage"
    start = fox.js(PLATE)
    seen = {start}
    for key in ("+", "\ue014", "\ue015", "x"):
        fox.press(key)
        seen.add(fox.js(PLATE))
    assert len(seen) >= 4
    fox.press("f")
    assert fox.js(PLATE) == start
    fox.click("#nearer")
    assert fox.js(PLATE) != start
    fox.js("document.getElementById('stage').focus()")
    fox.press("3")
    assert "50%" in fox.js("getComputedStyle(document.getElementById('pane-b')).clipPath")
    fox.press(".")
    assert "55%" in fox.js("getComputedStyle(document.getElementById('pane-b')).clipPath")
    fox.press("4")
    states = set()
    for _ in range(60):
        states.add(fox.js("document.getElementById('pane-b').style.visibility"))
        time.sleep(0.1)
        if len(states) == 2:
            break
    assert states == {"hidden", "visible"}
    fox.press("\ue00c")
    assert not fox.js("document.getElementById('viewer').open")


def test_no_sideways_scroll_on_a_narrow_window(fox: Fox, packs) -> None:
    fox.open(packs["archive"].folder / "report.html")
    fox("WebDriver:SetWindowRect", {"width": 360, "height": 740})
    try:
        fox.until("innerWidth <= 500")
        assert fox.js("document.documentElement.scrollWidth <= innerWidth")
    finally:
        fox("WebDriver:SetWindowRect", {"width": 1280, "height": 900})


@pytest.mark.parametrize("escape", [True, False], ids=["escaped", "not escaped"])
def test_hostile_words_do_nothing(fox: Fox, scenes, tmp_path: Path, escape: bool, monkeypatch) -> None:
    words = (
        "MARKER <script>document.title='owned'</script><img src=x onerror=\"document.title='owned'\">"
        "<a id=trap href=\"javascript:document.title='owned'\">t</a><img src=http://example.invalid/x.png>"
    )
    scene = scenes.build_scene(tmp_path / "log", note=words)
    whole = page_module.page
    monkeypatch.setattr(page_module, "page", lambda d, p: whole(d, p, escape=escape))
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", entries=scene.entries,
        pdf=False, sync=False,
    )  # fmt: skip
    fox.open(built.folder / "report.html")
    assert fox.js("document.documentElement.textContent.includes('MARKER')")
    assert bool(fox.js("document.getElementById('trap') !== null")) != escape
    fox.js("document.getElementById('trap')?.click()")
    time.sleep(0.5)
    assert "owned" not in fox.js("document.title")
    asked = fox.js(
        "performance.getEntriesByType('resource').filter((r) => r.transferSize > 0).map((r) => r.name)"
    )
    assert [a for a in asked if a.startswith("http")] == []
    scene.journal.close()
