"""The scenes of the three demo engines: a burnt valve, a bad test, and a suspicion of coolant."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from borelog.demo.pictures import bench
from borelog.demo.pictures.bore import bore_view, wall_view
from borelog.demo.pictures.camera import camera
from borelog.demo.pictures.chamber import FOUR, RoofLook, chamber_view, wandering
from borelog.demo.pictures.crown import CrownLook
from borelog.demo.pictures.rendered import Rendered
from borelog.demo.pictures.subject import SMALL, Subject
from borelog.demo.pictures.wall import Wall, pin_streaks


def _burnt() -> RoofLook:
    return RoofLook(
        valves=(*FOUR[:3], replace(FOUR[3], notch_deg=62.0, notch_mm=6.5, deposit=0.5)), carbon=0.6
    )


_LINE = wandering((0.7, 6.4), (-0.25, 16.0), 5, jitter=0.04)


def _roof_line(seed: int, *, phase_deg: float, at: tuple[float, float], **looks: Any) -> Rendered:
    """The thin line between the seats that may be a crack or a reflection; relit by turning the tip."""
    roof = RoofLook(flow_lines=(_LINE,), carbon=0.30, steam_clean=0.85, tan=0.15)
    shot = chamber_view(seed, roof=roof, lean=at, ring={"phase_deg": phase_deg, "count": 4}, **looks)
    shot.truth["line"] = {"really": "casting line", "looks_like": "a crack between the seats"}
    return shot


STORY_SCENES: dict[str, Subject] = {
    # An in-line four with one burnt exhaust valve.
    "slate_cylinder_3": Subject(
        bench.slate, 3, "card held up before the stills of cylinder 3", "slate", {"text": "CYL 3"}
    ),
    "exhaust_valve_burnt": Subject(
        chamber_view,
        11,
        "exhaust valve with a gutter burnt through its rim",
        "chamber",
        {"roof": _burnt(), "target": (13.0, 15.0), "distance": 31.0, "lean": (-0.1, -0.35), "roll_deg": 12.0},
    ),
    "exhaust_valve_even": Subject(
        chamber_view,
        12,
        "exhaust valves with even colour all round",
        "chamber",
        {
            "roof": RoofLook(carbon=0.6),
            "target": (6.0, 15.0),
            "distance": 36.0,
            "lean": (0.2, -0.3),
            "roll_deg": -8.0,
            **SMALL,
        },
    ),
    "intake_valves": Subject(
        chamber_view,
        13,
        "intake valves, ordinary",
        "chamber",
        {
            "roof": RoofLook(carbon=0.55),
            "target": (3.0, -13.0),
            "distance": 34.0,
            "lean": (-0.2, 0.25),
            **SMALL,
        },
    ),
    "bore_hatch_clear": Subject(
        wall_view,
        21,
        "clear cross-hatch, included angle 45 degrees",
        "bore",
        {"wall": Wall(hone_deg=45.0, oil=0.15, soot=0.05), "at_deg": 70.0, "z": 50.0, "distance": 20.0},
    ),
    "bore_down_ordinary": Subject(
        bore_view,
        22,
        "ordinary bore and crown, piston at the bottom",
        "bore",
        {
            "depth": 90.0,
            "off": (5.0, -4.0),
            "wall": Wall(soot=0.25, oil=0.3),
            "crown": CrownLook(carbon=0.62, thick=0.3),
        },
    ),
    "crown_thin_carbon": Subject(
        bore_view,
        23,
        "crown with thin even carbon",
        "crown",
        {
            "depth": 62.0,
            "tip_z": 16.0,
            "off": (3.0, 4.0),
            "crown": CrownLook(carbon=0.66, thick=0.12, tan=0.45),
            **SMALL,
        },
    ),
    "gauge_low": Subject(bench.gauge, 24, "compression gauge at 62 psi", "gauge", {"psi": 62.0}),
    "plug_tray_four": Subject(
        bench.plug_tray,
        25,
        "four plugs in the order they were pulled",
        "plug tray",
        {"states": ("tan", "tan", "fuel_wet", "tan"), "size": (960, 540)},
    ),
    # A six in V whose readings were low because of the test; its bores only look alarming.
    "bore_pin_streaks": Subject(
        bore_view,
        31,
        "rubbed streaks in line with the piston pin, mostly harmless",
        "bore",
        {
            "depth": 92.0,
            "off": (-14.0, 3.0),
            "tilt_deg": (24.0, 2.0),
            "roll_deg": 12.0,
            "wall": Wall(lines=pin_streaks(31), soot=0.2, fine_lines=0.6),
            "crown": CrownLook(carbon=0.8, thick=0.4, pockets=4),
        },
    ),
    "bore_hatch_faint_top": Subject(
        wall_view,
        32,
        "hatch worn faint in the upper third, ordinary",
        "bore",
        {
            "wall": Wall(hone_deg=40.0, faint_top=0.92, oil=0.25, carbon_top=0.9),
            "at_deg": 20.0,
            "z": 22.0,
            "distance": 34.0,
            **SMALL,
        },
    ),
    "bore_mid_shine": Subject(
        wall_view,
        33,
        "mid-bore shine on the thrust side, ordinary",
        "bore",
        {
            "wall": Wall(hone_deg=42.0, shine=0.95, oil=0.2),
            "at_deg": 88.0,
            "z": 47.0,
            "distance": 32.0,
            "tilt_deg": (14.0, 8.0),
            **SMALL,
        },
    ),
    "crown_heavy_carbon": Subject(
        bore_view,
        34,
        "thick dry carbon, broken up like mud",
        "crown",
        {
            "depth": 58.0,
            "tip_z": 18.0,
            "off": (-3.0, 2.0),
            "crown": CrownLook(carbon=0.95, thick=0.95, tan=0.12, pockets=4, oil=0.0),
            "made_by": camera("tip480", exposure=0.13),
            **SMALL,
        },
    ),
    "gauge_all_low": Subject(bench.gauge, 35, "compression gauge at 104 psi", "gauge", {"psi": 104.0}),
    "plug_tray_six": Subject(
        bench.plug_tray,
        36,
        "six plugs in the order they were pulled, all tan or sooty",
        "plug tray",
        {"states": ("tan", "dry_soot", "tan", "tan", "dry_soot", "tan"), "size": (960, 540)},
    ),
    # A flat engine under suspicion of losing coolant.
    "crown_steam_clean": Subject(
        bore_view,
        41,
        "one side of the crown washed bright, sharp edge to the carbon",
        "crown",
        {
            "depth": 62.0,
            "tip_z": 14.0,
            "off": (4.0, -2.0),
            "tilt_deg": (-3.0, 4.0),
            "crown": CrownLook(carbon=0.85, thick=0.4, washed_deg=35.0, oil=0.0),
            "wall": Wall(soot=0.15, oil=0.05),
        },
    ),
    "crown_neighbour": Subject(
        bore_view,
        42,
        "the neighbour's crown under even carbon",
        "crown",
        {
            "depth": 62.0,
            "tip_z": 14.0,
            "off": (4.0, -2.0),
            "tilt_deg": (-3.0, 4.0),
            "crown": CrownLook(carbon=0.85, thick=0.4),
            **SMALL,
        },
    ),
    "chamber_line": Subject(
        _roof_line,
        43,
        "a thin line between the exhaust seats: crack or reflection",
        "chamber",
        {"phase_deg": 10.0, "at": (0.30, -0.2), "target": (-1.0, 10.0), "distance": 24.0, **SMALL},
    ),
    "chamber_line_relit": Subject(
        _roof_line,
        43,
        "the same line with the tip turned: it changes with the light",
        "chamber",
        {
            "phase_deg": 55.0,
            "at": (-0.30, 0.12),
            "target": (-0.5, 10.5),
            "distance": 23.0,
            "roll_deg": 30.0,
            **SMALL,
        },
    ),
    "bore_coolant_run": Subject(
        wall_view,
        44,
        "clean track washed down the wall with a pale edge",
        "bore",
        {
            "wall": Wall(coolant_run_deg=58.0, soot=0.45, oil=0.3, hone_deg=44.0),
            "at_deg": 60.0,
            "z": 40.0,
            "distance": 30.0,
            **SMALL,
        },
    ),
}
"""By name; the order is that of the three engines."""
