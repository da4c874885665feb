"""Every named scene: what draws it, with which looks, and what it shows. The names are the files' names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from borelog.demo.pictures import bench, spoiled
from borelog.demo.pictures.bore import bore_view, wall_view
from borelog.demo.pictures.camera import camera
from borelog.demo.pictures.chamber import FOUR, TWO, RoofLook, chamber_view, wandering
from borelog.demo.pictures.crown import CrownLook
from borelog.demo.pictures.pairs import before_after_stills
from borelog.demo.pictures.plug import STATES, plug_profile
from borelog.demo.pictures.rendered import PictureError, Rendered
from borelog.demo.pictures.wall import Line, Wall, pin_streaks, scored

SMALL: dict[str, Any] = {"size": (640, 480), "fine": 2}


@dataclass(frozen=True, slots=True)
class Subject:
    """One named scene."""

    draw: Callable[..., Rendered]
    seed: int
    shows: str
    view: str
    """Where it would be filed: a view of a cylinder, or the engine as a whole."""
    looks: dict[str, Any] = field(default_factory=dict)


def _pair(
    seed: int, *, kind: str, after: bool, size: tuple[int, int] = (640, 480), move: float = 1.0
) -> Rendered:
    a, b, _, homography, _ = before_after_stills(seed, kind, size=size, move=move)
    shot = b if after else a
    shot.truth["pair"] = {
        "kind": kind,
        "which": "after" if after else "before",
        "before_to_after": homography.tolist(),
    }
    return shot


def _burnt() -> RoofLook:
    return RoofLook(
        valves=(*FOUR[:3], replace(FOUR[3], notch_deg=62.0, notch_mm=6.5, deposit=0.5)), carbon=0.6
    )


_LINE = wandering((0.7, 6.4), (-0.25, 16.0), 5, jitter=0.04)
_FLAT = (Line(0.0, 20.0, 66.0, 0.22, -0.6),)


def _roof_line(seed: int, *, phase_deg: float, at: tuple[float, float], **looks: Any) -> Rendered:
    """The thin line between the seats that may be a crack or a reflection; relit by turning the tip."""
    roof = RoofLook(flow_lines=(_LINE,), carbon=0.30, steam_clean=0.85, tan=0.15)
    shot = chamber_view(seed, roof=roof, lean=at, ring={"phase_deg": phase_deg, "count": 4}, **looks)
    shot.truth["line"] = {"really": "casting line", "looks_like": "a crack between the seats"}
    return shot


SCENES: dict[str, Subject] = {
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
            "z": 27.0,
            "distance": 30.0,
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
    # Damage and angles that are not part of a story.
    "bore_scores": Subject(
        bore_view,
        51,
        "a band of scores down one side",
        "bore",
        {
            "depth": 92.0,
            "off": (-12.0, -7.0),
            "tilt_deg": (24.0, 15.0),
            "wall": Wall(lines=scored(51, 20, 32.0, 40.0), soot=0.15),
            "crown": CrownLook(carbon=0.7, thick=0.3),
        },
    ),
    "bore_single_score": Subject(
        wall_view,
        52,
        "one clear score across the hatch",
        "bore",
        {"wall": Wall(hone_deg=45.0, lines=_FLAT), "at_deg": 2.0, "z": 38.0, "distance": 24.0, **SMALL},
    ),
    "bore_pick_up": Subject(
        wall_view,
        53,
        "torn, smeared metal picked up on the wall",
        "bore",
        {
            "wall": Wall(pick_up_deg=95.0, lines=scored(53, 6, 95.0, 10.0), soot=0.2),
            "at_deg": 93.0,
            "z": 46.0,
            "distance": 30.0,
            **SMALL,
        },
    ),
    "bore_rust": Subject(
        wall_view,
        54,
        "rust spots after standing",
        "bore",
        {
            "wall": Wall(rust=0.2, oil=0.0, hone_deg=50.0, soot=0.1),
            "at_deg": 150.0,
            "z": 52.0,
            "distance": 28.0,
            **SMALL,
        },
    ),
    "hatch_30": Subject(
        wall_view,
        55,
        "cross-hatch, included angle 30 degrees",
        "bore",
        {"wall": Wall(hone_deg=30.0), "z": 55.0, "distance": 18.0, "tilt_deg": (2.0, 2.0), **SMALL},
    ),
    "hatch_60": Subject(
        wall_view,
        56,
        "cross-hatch, included angle 60 degrees",
        "bore",
        {"wall": Wall(hone_deg=60.0), "z": 55.0, "distance": 18.0, "tilt_deg": (3.0, -2.0), **SMALL},
    ),
    "crown_missing_piece": Subject(
        bore_view,
        57,
        "a piece broken out of the crown's edge",
        "crown",
        {
            "depth": 58.0,
            "tip_z": 20.0,
            "off": (-10.0, -7.0),
            "tilt_deg": (20.0, 14.0),
            "crown": CrownLook(carbon=0.6, thick=0.3, bite_deg=35.0, bite_mm=12.0, oil=0.0),
        },
    ),
    "crown_dents": Subject(
        bore_view,
        58,
        "sharp bright nicks at random over the crown",
        "crown",
        {
            "depth": 58.0,
            "tip_z": 22.0,
            "off": (4.0, -3.0),
            "crown": CrownLook(carbon=0.75, thick=0.2, dents=15, oil=0.0),
            **SMALL,
        },
    ),
    "chamber_crack": Subject(
        chamber_view,
        59,
        "a crack from an exhaust seat to the plug hole",
        "chamber",
        {
            "roof": RoofLook(
                cracks=(wandering((-6.2, 6.6), (-3.6, 3.9), 9), wandering((0.4, 5.8), (-0.3, 15.0), 10)),
                crack_mm=0.20,
                carbon=0.4,
            ),
            "target": (-2.5, 8.0),
            "distance": 24.0,
            "lean": (0.25, -0.2),
        },
    ),
    "valves_two_per_cylinder": Subject(
        chamber_view,
        60,
        "one intake and one exhaust valve, ordinary",
        "chamber",
        {
            "roof": RoofLook(valves=TWO, hole=(-24.0, 4.0, 5.6), carbon=0.6),
            "target": (0.0, 1.0),
            "distance": 40.0,
            "focal": 470.0,
            **SMALL,
        },
    ),
    "crown_before": Subject(_pair, 61, "a crown before", "crown", {"kind": "dents", "after": False}),
    "crown_after": Subject(
        _pair,
        61,
        "the same crown after something hard went through",
        "crown",
        {"kind": "dents", "after": True},
    ),
    # What every card holds and nobody wants.
    "frame_blurred": Subject(spoiled.blurred, 71, "out of focus", "chamber"),
    "frame_glared": Subject(spoiled.glared, 72, "burnt out by the lamps", "bore"),
    "frame_black": Subject(spoiled.black, 73, "nothing in the picture", "none"),
    "crown_thin_carbon_again": Subject(
        bore_view,
        23,
        "nearly the same still a moment later",
        "crown",
        {
            "depth": 62.0,
            "tip_z": 16.3,
            "off": (3.2, 4.1),
            "tilt_deg": (3.2, -2.1),
            "crown": CrownLook(carbon=0.66, thick=0.12, tan=0.45),
            "made_by": camera("tip720", exposure=0.23),
            **SMALL,
        },
    ),
}

_GROUNDS = ("rag", "paper", "card", "bench")
for _number, _state in enumerate(STATES):
    SCENES[f"plug_{_state}"] = Subject(
        plug_profile,
        80 + _number,
        f"plug end in profile: {STATES[_state].term}",
        "plug",
        {
            "state": _state,
            "size": (640, 480),
            "px_per_mm": 16.0,
            "fine": 2,
            "ground": _GROUNDS[_number % 4],
            "patch": "white" if _number % 3 == 0 else None,
            "turn_deg": (-14.0, 4.0, 17.0, -6.0)[_number % 4],
        },
    )


def scene(name: str, seed: int | None = None, **params: Any) -> Rendered:
    """Draw a named scene.

    Parameters
    ----------
    name : a key of :data:`SCENES`
    seed : another look of the same subject; the published still's own seed by default
    params : replaces single looks, as the subject's drawing function takes them

    Returns
    -------
    Rendered

    Raises
    ------
    PictureError
        Unknown name; the message lists what there is.
    """
    if name not in SCENES:
        raise PictureError(f"There is no scene '{name}'; choose one of {', '.join(SCENES)}.")
    subject = SCENES[name]
    shot = subject.draw(seed=subject.seed if seed is None else seed, **(subject.looks | params))
    shot.truth.update({"scene": name, "shows": subject.shows, "view": subject.view})
    return shot
