"""Scenes outside the stories: damage, known hatch angles, a pair, spoiled frames, and each state of a plug."""

from __future__ import annotations

from borelog.demo.pictures import spoiled
from borelog.demo.pictures.bore import bore_view, wall_view
from borelog.demo.pictures.camera import camera
from borelog.demo.pictures.chamber import TWO, RoofLook, chamber_view, wandering
from borelog.demo.pictures.crown import CrownLook
from borelog.demo.pictures.pairs import before_after_stills
from borelog.demo.pictures.plug import STATES, plug_profile
from borelog.demo.pictures.rendered import Rendered
from borelog.demo.pictures.subject import SMALL, Subject
from borelog.demo.pictures.wall import Line, Wall, scored


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


_FLAT = (Line(0.0, 20.0, 66.0, 0.22, -0.6),)

DAMAGE_SCENES: dict[str, Subject] = {
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
            "off": (7.0, 5.0),
            "tilt_deg": (21.0, 15.0),
            "crown": CrownLook(carbon=0.6, thick=0.3, bite_deg=35.0, bite_mm=15.0, oil=0.0),
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
            "made_by": camera("tip720", exposure=0.185),
            **SMALL,
        },
    ),
}


_GROUNDS = ("rag", "paper", "card", "bench")
for _number, _state in enumerate(STATES):
    DAMAGE_SCENES[f"plug_{_state}"] = Subject(
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
