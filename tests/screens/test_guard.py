"""Terminals that report no pixels, and a terminal left as it was found after a crash."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import time

import pytest
from textual import events
from textual._xterm_parser import XTermParser

from borelog.tui.guard import cell_pixels, guard_zero_pixels, why_no_screens


@pytest.mark.parametrize("report", ["\x1b[48;40;120;0;0t", "\x1b[48;0;0;0;0t"])
def test_a_report_of_zero_pixels_does_not_kill_the_keyboard(report: str) -> None:
    # The in-band size report of mode 2048 must carry 0 where a terminal does not know its pixels.
    guard_zero_pixels()
    guard_zero_pixels()
    parser = XTermParser()
    list(parser.feed(report))
    mouse = [e for e in parser.feed("\x1b[<0;12;6M") if isinstance(e, events.MouseEvent)]
    assert [(e.x, e.y) for e in mouse] == [(11, 5)]
    keys = [e.key for e in parser.feed("a") if isinstance(e, events.Key)]
    assert keys == ["a"]


def test_pixels_are_used_where_they_are_known() -> None:
    guard_zero_pixels()
    parser = XTermParser()
    list(parser.feed("\x1b[48;40;120;800;1200t"))
    mouse = [e for e in parser.feed("\x1b[<0;126;46M") if isinstance(e, events.MouseEvent)]
    assert mouse[0].pointer_x == pytest.approx(12.5, abs=0.1) and (mouse[0].x, mouse[0].y) == (12, 2)


@pytest.mark.parametrize(
    ("size", "pixels", "wanted"),
    [
        ((120, 40), (1200, 800), (10.0, 20.0)),
        ((120, 40), (0, 0), None),
        ((120, 40), None, None),
        ((0, 0), (1200, 800), None),
        # A report of one pixel a cell, or of cells wider than high, is a mistake and would bend every picture.
        ((120, 40), (120, 40), None),
        ((120, 40), (2400, 400), None),
    ],
)
def test_the_size_of_a_cell_is_known_or_not_said(
    size: tuple[int, int], pixels: tuple[int, int] | None, wanted: tuple[float, float] | None
) -> None:
    assert cell_pixels(size, pixels) == wanted


def test_without_a_terminal_the_reason_is_plain() -> None:
    assert "terminal" in (why_no_screens() or "")


def _on_a_terminal(code: str, term: str = "xterm-256color", seconds: float = 90.0) -> tuple[str, int]:
    """Run Python code on a pseudo-terminal; what it wrote, and its exit code."""
    leader, follower = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env={**os.environ, "TERM": term},
        close_fds=True,
    )
    os.close(follower)
    out, end = b"", time.monotonic() + seconds
    while time.monotonic() < end:
        ready, _, _ = select.select([leader], [], [], 0.1)
        if ready:
            try:
                chunk = os.read(leader, 65536)
            except OSError:
                break
            out += chunk
        elif process.poll() is not None:
            break
    process.wait(timeout=seconds)
    os.close(leader)
    return out.decode(errors="replace"), process.returncode


def test_dumb_terminals_are_refused() -> None:
    text, _ = _on_a_terminal("from borelog.tui.guard import why_no_screens; print(why_no_screens())", "dumb")
    assert "TERM=dumb" in text
    text, _ = _on_a_terminal("from borelog.tui.guard import why_no_screens; print(why_no_screens())")
    assert "None" in text


def test_a_crash_restores_the_terminal(tmp_path: object) -> None:
    code = (
        "from pathlib import Path\nfrom borelog.acts.bench import open_bench\nimport borelog.tui.app as a\n"
        f"bench = open_bench(Path({str(tmp_path)!r}) / 'b', who='t')\n"
        "def boom(self): raise RuntimeError('planted')\na.Screens.go = lambda self, where: boom(self)\na.run(bench)"
    )
    text, code_ = _on_a_terminal(code)
    assert code_ != 0
    assert "planted" in text
    after = text[text.rfind("\x1b[?1049h") :]
    for mode in ("\x1b[?1049l", "\x1b[?1003l", "\x1b[?1016l", "\x1b[?25h"):
        assert mode in after, repr(mode)
