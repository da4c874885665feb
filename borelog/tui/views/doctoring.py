"""The doctor page as lines: what this terminal was found to do, and the glyphs and keys to try."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from borelog.text import one_line
from borelog.tui.views.words import Line, Span, padded, plain, wrapped

GLYPHS: tuple[tuple[str, str], ...] = (
    ("quadrants", "▘▝▖▗▚▞▛▜▙▟█"),
    ("half blocks", "▀▄█▌▐"),
    ("sextants", "🬀🬁🬃🬇🬋🬎🬑🬒🬕🬞"),
    ("braille", "⠁⠃⠇⡇⣇⣧⣷⣿"),
    ("status", "✓ ✗ ! ? · ▒ —"),
    ("lines", "─│┌┐└┘├┤┆▸◂▲▼●"),
)


def terminal_facts(
    env: Mapping[str, str], size: tuple[int, int], cell: tuple[float, float] | None, depth: str
) -> list[tuple[str, str, str]]:
    """(what, found, remark) about the terminal."""
    term = env.get("TERM", "")
    inside = [n for n, k in (("tmux", "TMUX"), ("screen", "STY"), ("ssh", "SSH_CONNECTION")) if env.get(k)]
    colours = {
        "full": "16.7 million colours",
        "256": "256 colours",
        "grey": "greys alone (NO_COLOR)",
        "none": "16 colours",
    }[depth]
    more = "set COLORTERM=truecolor if this terminal can do more"
    remark = more if depth == "256" else f"pictures are drawn in letters; {more}" if depth == "none" else ""
    utf8 = "utf" in (env.get("LC_ALL") or env.get("LC_CTYPE") or env.get("LANG") or "").lower()
    return [
        ("terminal", f"{env.get('TERM_PROGRAM', '')} TERM={term}".strip(), ""),
        (
            "inside",
            ", ".join(inside) or "nothing",
            "in tmux the mouse reports whole cells" if "tmux" in inside else "",
        ),
        (
            "size",
            f"{size[0]} × {size[1]}",
            "" if size[0] >= 80 and size[1] >= 24 else "80 × 24 shows more; 40 columns work as a list",
        ),
        ("colours", colours, remark),
        (
            "letters",
            "UTF-8" if utf8 else "no UTF-8 named",
            "" if utf8 else "set LANG to a UTF-8 one, or letters = true in the settings",
        ),
        ("mouse", "by part of a cell" if cell else "whole cells", ""),
    ]


def doctor_lines(
    facts: list[tuple[str, str, str]],
    logbook: list[tuple[str, str, str]],
    last_key: str,
    letters: bool,
    room: int,
    told: Sequence[str] = (),
) -> list[Line]:
    """The whole page, what the logbook warns of (``told``) first; the glyph rows are shown as they come, so that a person can see which are boxes."""
    out: list[Line] = []
    if told:
        out.append((Span("WHAT NEEDS YOU", "watch", "bold"),))
        out += [
            (Span(text, "watch"),)
            for one in told
            for text in wrapped(f" ! {one_line(one, 400)}", room, "   ")
        ]
        out.append(())
    out.append((Span("THIS TERMINAL", "ink", "bold"),))
    for name, found, remark in (*facts, ("", "", ""), *logbook):
        if not name:
            out += [(), (Span("LOGBOOK AND PROGRAM", "ink", "bold"),)]
            continue
        texts = wrapped(f"{found}{f' - {remark}' if remark else ''}", room - 13)
        for k, text in enumerate(texts):
            out.append(
                (
                    Span(padded(f" {name}" if k == 0 else "", 12), "quiet"),
                    Span(f" {text}", "watch" if remark else "ink"),
                )
            )
    out += [
        (),
        *(
            (Span(text, "ink", "bold"),)
            for text in wrapped(
                "GLYPHS  boxes or gaps here: choose other cells, or letters = true, in screens.toml",
                room,
                "        ",
            )
        ),
    ]
    for name, glyphs in GLYPHS:
        out.append((Span(padded(f" {name}", 13), "quiet"), Span(plain(glyphs) if letters else glyphs, "ink")))
    out += [
        (),
        (Span("KEYS  press any key: this is what arrives", "ink", "bold"),),
        (Span(f" {last_key or 'nothing yet'}", "good"),),
    ]
    return out
