"""The few things every chart here needs: escaped text, short numbers, and paint that survives a dark page.

Charts carry classes for a page's style sheet and presentation attributes for readers without one (paper, documentation).
Nothing is told by colour alone: every level has its own sign.
"""

from __future__ import annotations

from html import escape

FONT = "DejaVu Sans Mono, ui-monospace, monospace"
INK, FAINT, PAPER = "#1a1d21", "#6b7178", "#ffffff"

LEVELS: dict[str, tuple[str, str, str]] = {
    "sound": ("○", "#56b4e9", "no sign of trouble"),
    "watch": ("△", "#f0e442", "watch"),
    "bad": ("✕", "#d55e00", "trouble"),
    "open": ("?", "#b9bec5", "not enough evidence"),
    "blank": ("–", "#e4e6e9", "nothing recorded"),
}
"""Level to (sign, fill, words). Fills are four of the Okabe-Ito set and greys (Okabe & Ito 2008)."""


def short(value: float) -> str:
    """A coordinate with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float = 13,
    anchor: str = "start",
    faint: bool = False,
    bold: bool = False,
) -> str:
    """A line of text, escaped; ``y`` is its base line."""
    weight = ' font-weight="bold"' if bold else ""
    kind, ink = ("faint", FAINT) if faint else ("ink", INK)
    return (
        f'<text class="{kind}" x="{short(x)}" y="{short(y)}" font-size="{short(size)}" fill="{ink}"'
        f' font-family="{FONT}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'
    )


def picture(width: float, height: float, title: str, parts: list[str]) -> str:
    """A whole SVG with its name for people who cannot see it."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-label="{escape(title, quote=True)}"'
        f' viewBox="0 0 {short(width)} {short(height)}" width="{short(width)}" height="{short(height)}">'
        + "".join(parts)
        + "</svg>"
    )
