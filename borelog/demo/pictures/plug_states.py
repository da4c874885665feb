"""How plug ends come out of an engine: twelve states with the ceramic's colour, dirt and wear."""

from __future__ import annotations

from dataclasses import dataclass

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class PlugState:
    """How a plug end came out. ``nose_lab`` is the ceramic in CIELAB (D65); ``term`` the trade's word for it."""

    term: str
    nose_lab: Colour
    shell: Colour = (0.10, 0.09, 0.08)
    """Linear colour of the shell's end and strap."""
    blotch: float = 0.25
    wet: float = 0.0
    crust: float = 0.0
    crust_lab: Colour = (70.0, 2.0, 8.0)
    wear: float = 0.12
    """Rounding of the electrodes in mm."""
    specks: int = 0
    beads: int = 0
    chip: float = 0.0
    blued: float = 0.0
    gap_mm: float = 0.9
    rust: float = 0.0


STATES: dict[str, PlugState] = {
    "tan": PlugState("Tan nose", (72, 5, 17), (0.15, 0.135, 0.12)),
    "dry_soot": PlugState("Dry soot", (19, 0, 1), (0.030, 0.029, 0.028), blotch=0.5),
    "fuel_wet": PlugState("Wet with fuel", (47, 4, 13), (0.060, 0.055, 0.050), wet=0.7, blotch=0.6),
    "oil_wet": PlugState(
        "Wet with oil", (12, 1, 3), (0.022, 0.019, 0.016), wet=1.0, crust=0.25, crust_lab=(9, 1, 3)
    ),
    "ash": PlugState("Ash crust", (66, 3, 13), (0.16, 0.145, 0.12), crust=0.8, crust_lab=(74, 2, 11)),
    "white_hot": PlugState(
        "White hot nose", (91, -1, 3), (0.27, 0.26, 0.25), blotch=0.08, wear=0.28, blued=0.8
    ),
    "pepper": PlugState("Pepper specks", (82, 1, 7), (0.17, 0.155, 0.14), specks=70),
    "beads": PlugState("Bright beads", (80, 1, 8), (0.18, 0.17, 0.16), beads=26, wear=0.3),
    "closed_gap": PlugState("Closed or hammered gap", (64, 5, 15), (0.15, 0.14, 0.125), gap_mm=0.04),
    "cracked_nose": PlugState("Cracked nose", (74, 3, 13), (0.15, 0.14, 0.13), chip=1.0),
    "melted": PlugState(
        "Melted electrode", (85, 0, 5), (0.22, 0.21, 0.20), wear=0.75, blued=0.5, beads=8, gap_mm=1.7
    ),
    "coolant": PlugState(
        "Washed or coolant crust",
        (88, -1, 4),
        (0.20, 0.19, 0.17),
        crust=0.35,
        crust_lab=(78, -7, 12),
        rust=0.5,
    ),
}
"""States by name; the terms are those of the findings vocabulary."""


def lab_to_linear(lab: Colour) -> Colour:
    """CIELAB (D65, 2 degrees) to linear sRGB, clipped to 0..1 (ISO/CIE 11664-4, IEC 61966-2-1)."""
    fy = (lab[0] + 16) / 116
    f = (fy + lab[1] / 500, fy, fy - lab[2] / 200)
    xyz = [
        w * (v**3 if v > 6 / 29 else 3 * (6 / 29) ** 2 * (v - 4 / 29))
        for w, v in zip((0.95047, 1.0, 1.08883), f, strict=True)
    ]
    matrix = (
        (3.2404542, -1.5371385, -0.4985314),
        (-0.9692660, 1.8760108, 0.0415560),
        (0.0556434, -0.2040259, 1.0572252),
    )
    red, green, blue = (
        min(1.0, max(0.0, sum(m * v for m, v in zip(row, xyz, strict=True)))) for row in matrix
    )
    return red, green, blue
