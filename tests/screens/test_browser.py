"""The screens in a browser: loopback by default, and the real server answers."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from borelog.tui.browser import BrowserError, check_host, command_for


def test_only_this_machine_unless_said_otherwise() -> None:
    check_host("127.0.0.1", False)
    check_host("0.0.0.0", True)
    with pytest.raises(BrowserError, match="no log-in"):
        check_host("0.0.0.0", False)
    assert "borelog.tui.browser" in command_for(Path("/a b")) and "'/a b'" in command_for(Path("/a b"))


def test_without_the_extra_the_line_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from borelog.cli.main import main

    monkeypatch.setitem(sys.modules, "textual_serve.server", None)
    assert main(["--logbook", str(tmp_path / "logbook"), "serve", "--port", "8123"]) == 2
    told = capsys.readouterr().err
    assert "pip install 'borelog[browser]'" in told and "Traceback" not in told


@pytest.mark.long
def test_a_browser_shows_the_first_screen(tmp_path: Path) -> None:
    pytest.importorskip("textual_serve")
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("needs Chromium")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    code = f"from pathlib import Path; from borelog.tui.browser import serve; serve(Path({str(tmp_path / 'logbook')!r}), port={port})"
    server = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        end = time.monotonic() + 20
        while True:
            try:
                page = urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=2).read().decode()
                break
            except OSError:
                assert time.monotonic() < end and server.poll() is None
                time.sleep(0.1)
        assert "borelog" in page
        shot = tmp_path / "shot.png"
        subprocess.run(
            [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--window-size=1200,700", "--virtual-time-budget=8000", f"--screenshot={shot}", f"http://127.0.0.1:{port}/"],
            check=True, capture_output=True, timeout=60,
        )  # fmt: skip
        from PIL import Image

        colours = Image.open(shot).convert("RGB").getcolors(1 << 24)
        assert colours is not None and len(colours) > 3
    finally:
        server.terminate()
        server.wait(timeout=10)
