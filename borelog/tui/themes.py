"""The two colour sets, own dark and own light, and the contrast arithmetic that keeps them honest.

Status colours are the sky, vermillion and yellow of Okabe and Ito (2008), plus grey; on the light ground they are
darkened until text reads. A status is always glyph + word as well, never colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.theme import Theme


@dataclass(frozen=True, slots=True)
class Palette:
    """One colour set, as '#rrggbb'.

    ``ground`` is the screen, ``panel`` a raised strip, ``ink`` text, ``quiet`` lesser text, ``rule`` lines that carry
    no meaning, ``edge`` lines that do; ``pick`` and ``pick_ink`` mark the one thing in hand; ``good``, ``bad``,
    ``watch`` and ``blank`` are the status colours as text.
    """

    name: str
    dark: bool
    ground: str
    panel: str
    ink: str
    quiet: str
    rule: str
    edge: str
    pick: str
    pick_ink: str
    good: str
    bad: str
    watch: str
    blank: str


NIGHT = Palette(
    name="borelog-night", dark=True,
    ground="#16181b", panel="#22262b", ink="#ece7dc", quiet="#a9a69d", rule="#3a3f45", edge="#7d8085",
    pick="#ece7dc", pick_ink="#16181b",
    good="#56b4e9", bad="#f07a33", watch="#f0e442", blank="#b3b3b3",
)  # fmt: skip
DAY = Palette(
    name="borelog-day", dark=False,
    ground="#f6f2e8", panel="#e7e1d2", ink="#1b1a17", quiet="#55524a", rule="#c9c2b1", edge="#77736a",
    pick="#1b1a17", pick_ink="#f6f2e8",
    good="#005a8c", bad="#6f1800", watch="#6b5b00", blank="#595959",
)  # fmt: skip
PALETTES = {p.name: p for p in (NIGHT, DAY)}

TEXT_ROLES = ("ink", "quiet", "good", "bad", "watch", "blank")
"""Roles that colour words: 4.5 to 1 on ground and panel (WCAG 2.2, 1.4.3)."""
PART_ROLES = ("edge",)
"""Roles that colour parts a person must make out: 3 to 1 (WCAG 2.2, 1.4.11)."""


def luminance(colour: str) -> float:
    """Relative luminance of '#rrggbb', 0 to 1, by the formula of WCAG 2.2."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21, by WCAG 2.2."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def pairs(palette: Palette) -> list[tuple[str, str, float]]:
    """Every pair of colours drawn one on the other, with the least contrast it needs."""
    out = [
        (getattr(palette, role), ground, 4.5)
        for role in TEXT_ROLES
        for ground in (palette.ground, palette.panel)
    ]
    out += [(getattr(palette, role), palette.ground, 3.0) for role in PART_ROLES]
    out += [(palette.ground, getattr(palette, role), 4.5) for role in ("good", "bad", "watch", "blank")]
    return [*out, (palette.pick_ink, palette.pick, 4.5), (palette.pick, palette.ground, 3.0)]


def textual_theme(palette: Palette) -> Theme:
    """The colour set as a theme of the widget library, every role also as a style variable ``$role``."""
    from textual.theme import Theme

    roles = {f.name: getattr(palette, f.name) for f in fields(palette) if f.name not in ("name", "dark")}
    return Theme(
        name=palette.name,
        dark=palette.dark,
        primary=palette.edge,
        secondary=palette.quiet,
        accent=palette.good,
        foreground=palette.ink,
        background=palette.ground,
        surface=palette.ground,
        panel=palette.panel,
        success=palette.good,
        warning=palette.watch,
        error=palette.bad,
        variables={
            **{f"{role.replace('_', '-')}": value for role, value in roles.items()},
            "text": palette.ink,
            "text-muted": palette.quiet,
            "text-disabled": palette.quiet,
            "border": palette.edge,
            "border-blurred": palette.edge,
            "block-cursor-background": palette.pick,
            "block-cursor-foreground": palette.pick_ink,
            "block-cursor-blurred-background": palette.panel,
            "block-cursor-blurred-foreground": palette.ink,
            "input-cursor-background": palette.ink,
            "input-cursor-foreground": palette.ground,
            "input-selection-background": palette.edge,
            "scrollbar": palette.edge,
            "scrollbar-hover": palette.quiet,
            "scrollbar-active": palette.ink,
            "scrollbar-background": palette.panel,
            "scrollbar-background-hover": palette.panel,
            "scrollbar-background-active": palette.panel,
            "scrollbar-corner-color": palette.panel,
            "link-color": palette.ink,
        },
    )
