"""Measures by name: a picture and plain parameters in, one text and plain values out. For the command line.

Points are 'x,y' in the original's pixels, several side by side; a scale is 'x,y x,y 14.2 mm': two points and their
distance.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from borelog.marks.shapes import Box, Line, Polygon
from borelog.stills import StillError
from borelog.stills.ellipse import EllipseFit, fit_ellipse
from borelog.stills.planes import Picture
from borelog.stills.typed import Options, millimetres, number, points, without_points
from borelog.text import one_line


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: how it is typed, and whether it must be there."""

    name: str
    usage: str
    needed: bool = False


@dataclass(frozen=True, slots=True)
class Named:
    """One measure of the table."""

    name: str
    summary: str
    parameters: tuple[Parameter, ...]
    work: Callable[[Picture, Options], Measured]


@dataclass(frozen=True, slots=True)
class Measured:
    """``text`` for a person, ``values`` for JSON."""

    text: str
    values: dict[str, Any]


def _scale(options: Options) -> Any:
    """The scale of 'scale=x,y x,y LENGTH', or None."""
    from borelog.stills.scale import from_length

    text = options.get("scale", "")
    if not text:
        return None
    first, second = points(text, "scale", 2)[:2]
    rest = without_points(text)
    if not rest:
        raise StillError(
            "scale: put the distance of the two points behind them, for example 10,20 200,20 14 mm"
        )
    return from_length(first, second, millimetres(rest, "scale"))


def _plain(measure: Any) -> Measured:
    rests = "; ".join(measure.rests_on)
    text = f"{measure.kind}: {measure.in_words}" + (f" (rests on {rests})" if rests else "")
    values = {"kind": measure.kind, "value": measure.value, "unit": measure.unit, "u": measure.u}
    return Measured(text, {**values, "rests_on": list(measure.rests_on)})


def _distance(_: Picture, options: Options) -> Measured:
    from borelog.stills.measure import distance

    (x1, y1), (x2, y2) = points(options["points"], "points", 2)[:2]
    return _plain(distance(Line(x1, y1, x2, y2), _scale(options)))


def _area(_: Picture, options: Options) -> Measured:
    from borelog.stills.measure import area

    return _plain(area(Polygon(tuple(points(options["points"], "points", 3))), _scale(options)))


def _angle(_: Picture, options: Options) -> Measured:
    from borelog.stills.measure import angle

    a, b, c = points(options["points"], "points", 3)[:3]
    return _plain(angle((a, b, c), _scale(options)))


def _share(_: Picture, options: Options) -> Measured:
    from borelog.stills.measure import share

    part = Polygon(tuple(points(options["points"], "points", 3)))
    return _plain(share(part, Polygon(tuple(points(options["whole"], "whole", 3))), _scale(options)))


def _rim_of(image: Picture, options: Options) -> EllipseFit:
    """The rim through the points typed on it, or else the one found round a tap or the middle of the picture."""
    from borelog.stills.rim import find_rim

    if options.get("rim"):
        return fit_ellipse(points(options["rim"], "rim", 6), tolerance_px=4.0)
    height, width = image.shape[:2]
    at = points(options["at"], "at")[0] if options.get("at") else (width / 2, height / 2)
    return find_rim(image, *at)


def _rim(image: Picture, options: Options) -> Measured:
    fit = _rim_of(image, options)
    s = fit.shape
    text = (
        f"rim at {s.cx:.1f}, {s.cy:.1f} px, half axes {s.rx:.1f} and {s.ry:.1f} px, turned {s.angle:.1f} degrees; "
        f"{fit.inliers:.0%} of the points on it, seen over {fit.covered:.0%} of the way round"
    )
    return Measured(text, fit.as_dict())


def _hone(image: Picture, options: Options) -> Measured:
    from borelog.stills.hone import hone_angle, squared_up

    squared = bool(options.get("corners"))
    if squared:
        corners = tuple(points(options["corners"], "corners", 4)[:4])
        wide, high = (
            millimetres(options.get("width", ""), "width"),
            millimetres(options.get("height", ""), "height"),
        )
        image = squared_up(image, corners, wide, high)
    found = hone_angle(image, axis_deg=number(options, "axis", 90.0), squared=squared)
    return Measured(found.text(), found.as_dict())


def _thread(image: Picture, options: Options) -> Any:
    from borelog.stills.plug_photo import thread_scale

    ends = points(options["thread"], "thread", 2)
    lines = tuple(Line(*a, *b) for a, b in zip(ends[::2], ends[1::2], strict=False))
    return thread_scale(image, lines, number(options, "pitch", 1.25), _camera_mm(options))


def _camera_mm(options: Options) -> float | None:
    return millimetres(options["distance"], "distance") if options.get("distance") else None


def _thread_scale(image: Picture, options: Options) -> Measured:
    found = _thread(image, options)
    return Measured(found.text(), found.as_dict())


def _gap(image: Picture, options: Options) -> Measured:
    from borelog.stills.gap import measure_gap

    (x1, y1), (x2, y2) = points(options["points"], "points", 2)[:2]
    scale = _thread(image, options) if options.get("thread") else None
    found = measure_gap(image, Line(x1, y1, x2, y2), scale, _camera_mm(options))
    return Measured(found.text(), found.as_dict())


def _box(text: str, name: str) -> Box:
    (x1, y1), (x2, y2) = points(text, name, 2)[:2]
    return Box(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1))


def _nose(image: Picture, options: Options) -> Measured:
    from borelog.stills.plug_photo import nose_colour

    patch = _box(options["patch"], "patch") if options.get("patch") else None
    found = nose_colour(image, _box(options["nose"], "nose"), patch, options.get("patch_kind", "white"))
    lab = None if not found.calibrated else [round(v, 2) for v in found.lab]
    values = {
        "calibrated": found.calibrated,
        "lab": lab,
        "nearest": found.nearest,
        "term": found.term,
        "ask": found.ask,
    }
    return Measured(found.text(), values)


def _unroll(image: Picture, options: Options) -> Measured:
    from borelog.stills.unroll import (
        lens_of,
        poses_from_rim,
        read_wall,
        unroll,
        upright_score,
        wall_spot,
        with_zero,
    )

    height, width = image.shape[:2]
    lens = lens_of(width, height, number(options, "view", 70.0))
    poses = poses_from_rim(_rim_of(image, options).shape, lens, millimetres(options["bore"], "bore"))
    which = int(number(options, "pose", 0))
    if which not in (1, 2):
        tilts = " or ".join(
            f"pose={k} ({p.tilt_deg:.0f} degrees, axis {p.axis[0]:+.2f}, {p.axis[1]:+.2f})"
            for k, p in enumerate(poses, 1)
        )
        scores = [upright_score(unroll(image, lens, p)) for p in poses]
        likelier = (
            ""
            if abs(scores[0] - scores[1]) < 0.05
            else f"; lines run straighter with pose={1 + scores.index(max(scores))}, a hint only"
        )
        raise StillError(
            f"the rim can be seen from two sides: say {tilts}; the right one leans as the probe did{likelier}"
        )
    pose = poses[which - 1]
    if options.get("zero"):
        pose = with_zero(pose, lens, *points(options["zero"], "zero")[0])
    flat = unroll(image, lens, pose)
    per_round, per_along = flat.px_per_mm
    text = [
        f"laid flat: {flat.image.shape[1]} x {flat.image.shape[0]} px, {per_round:.1f} px per mm round, {per_along:.1f} along"
    ]
    values: dict[str, Any] = {
        "px_per_mm_round": per_round,
        "px_per_mm_along": per_along,
        "tilt_deg": pose.tilt_deg,
    }
    if not options.get("zero"):
        text.append(
            "angles count from an arbitrary side: say zero=x,y on the wall, for example the exhaust side"
        )
    if options.get("spots"):
        spots = []
        for x, y in points(options["spots"], "spots"):
            angle, above = (float(v) for v in read_wall(lens, pose, [x, y]))
            if not math.isfinite(angle):
                raise StillError(f"{x:g},{y:g} is not on the wall")
            spot = wall_spot(pose, angle, above)
            spots.append({"at": [x, y], **asdict(spot)})
            text.append(f"{x:g},{y:g}: {spot.text()}")
        values["spots"] = spots
    if options.get("out"):
        text.append(f"written: {_written(flat.image, options['out'])}")
        values["file"] = options["out"]
    return Measured("\n".join(text), values)


def _written(image: Picture, name: str) -> str:
    from borelog.stills.intake import encode, shown

    try:
        with open(name, "wb") as file:
            file.write(encode(image, "PNG"))
    except OSError as error:
        raise StillError(
            f"{shown(name)}: cannot be written ({error.strerror}); name another with out="
        ) from None
    return name


def _missing(image: Picture, options: Options) -> Measured:
    from borelog.stills.missing_crown import cut_out, missing_share

    if options.get("points"):
        outline = Polygon(tuple(points(options["points"], "points", 3)))
    elif options.get("tap"):
        outline = cut_out(image, *points(options["tap"], "tap")[0])
    else:
        raise StillError("missing: type tap=x,y inside the piece, or points=x,y x,y x,y ... round it")
    bore = millimetres(options["bore"], "bore") if options.get("bore") else None
    rim = _rim_of(image, options).shape
    found = missing_share(outline, rim, bore_mm=bore)
    text = f"{found.text()}; rests on the rim round {rim.cx:.0f}, {rim.cy:.0f} and the outline; no picture measures depth"
    return Measured(text, found.as_dict())


def _suggest(image: Picture, options: Options) -> Measured:
    from borelog.stills.suggest import suggest

    kinds = tuple(k for k in re.split(r"[\s,]+", options.get("kinds", "")) if k) or None
    found = suggest(image, options.get("view", "bore"), kinds)  # type: ignore[arg-type]
    return Measured(found.text(), found.as_dict())


def _quality(image: Picture, _: Options) -> Measured:
    from borelog.stills.quality import judge

    found = judge(image)
    values = {
        "focus": found.gate.focus,
        "noise": found.gate.noise,
        "light": found.gate.light,
        "glare": found.glare,
    }
    return Measured(
        found.in_words, {**values, "useless": found.gate.useless, "remarks": [str(r) for r in found.remarks]}
    )


_SCALE = Parameter("scale", "[scale=x,y x,y LENGTH]")
_DISTANCE = Parameter("distance", "[distance=mm from the camera]")
_POINTS = Parameter("points", "points=x,y x,y ...", True)
_AT = Parameter("at", "[at=x,y near the crown's middle]")
_RIM = Parameter("rim", "[rim=six or more x,y on it]")

MEASURES: dict[str, Named] = {
    m.name: m
    for m in (
        Named("distance", "length between two points", (_POINTS, _SCALE), _distance),
        Named("area", "area of an outline", (_POINTS, _SCALE), _area),
        Named("angle", "angle at the middle of three points", (_POINTS, _SCALE), _angle),
        Named("share", "share of a whole outline that a part takes", (_POINTS, Parameter("whole", "whole=x,y ...", True), _SCALE), _share),
        Named("rim", "round rim of a bore or valve", (_AT, _RIM), _rim),
        Named(
            "hone",
            "cross-hatch angle of a wall view",
            (
                Parameter("axis", "[axis=degrees of the bore's axis]"),
                Parameter("corners", "[corners=four x,y]"),
                Parameter("width", "[width=mm]"),
                Parameter("height", "[height=mm]"),
            ),
            _hone,
        ),
        Named(
            "thread",
            "scale from a thread's outline",
            (Parameter("thread", "thread=x,y x,y [x,y x,y]", True), Parameter("pitch", "[pitch=1.25]"), _DISTANCE),
            _thread_scale,
        ),
        Named(
            "gap",
            "electrode gap of a plug",
            (_POINTS, Parameter("thread", "[thread=x,y x,y ...]"), Parameter("pitch", "[pitch=1.25]"), _DISTANCE),
            _gap,
        ),
        Named(
            "nose",
            "colour of a plug's nose against a patch",
            (
                Parameter("nose", "nose=x,y x,y", True),
                Parameter("patch", "[patch=x,y x,y]"),
                Parameter("patch_kind", "[patch_kind=white|grey]"),
            ),
            _nose,
        ),
        Named(
            "unroll",
            "a view down the bore laid flat",
            (
                Parameter("bore", "bore=mm", True),
                Parameter("view", "[view=degrees]"),
                _AT,
                _RIM,
                Parameter("pose", "pose=1|2"),
                Parameter("zero", "[zero=x,y on the wall where the angle is 0]"),
                Parameter("spots", "[spots=x,y x,y ... read in degrees and mm]"),
                Parameter("out", "[out=FILE.png]"),
            ),
            _unroll,
        ),
        Named(
            "missing",
            "missing piece of crown as a share of it",
            (
                Parameter("tap", "tap=x,y"),
                Parameter("points", "[points=x,y x,y x,y ...]"),
                _AT,
                _RIM,
                Parameter("bore", "[bore=mm]"),
            ),
            _missing,
        ),
        Named("suggest", "regions to look at", (Parameter("view", "[view=bore|wall|crown|roof]"), Parameter("kinds", "[kinds=score oil ...]")), _suggest),
        Named("quality", "focus, light, glare and noise in words", (), _quality),
    )
}  # fmt: skip


def run(name: str, image: Picture, options: Options) -> Measured:
    """One measure on one picture.

    Parameters
    ----------
    name
        A key of `MEASURES`.
    image
        (H, W, 3) uint8 in the order blue, green, red, upright.
    options
        As typed.

    Raises
    ------
    StillError
        For an unknown measure or parameter, one that is missing, or a picture that does not allow it.
    """
    measure = MEASURES.get(name)
    if measure is None:
        near = difflib.get_close_matches(name, MEASURES, 1)
        hint = f"did you mean {near[0]!r}? " if near else ""
        raise StillError(
            f"no measure is called {one_line(name, 30)!r}; {hint}measures: {', '.join(MEASURES)}"
        )
    known = {p.name: p for p in measure.parameters}
    for option in options:
        if option not in known:
            raise StillError(
                f"{name} has no {one_line(option, 30)!r}; it takes {' '.join(p.usage for p in known.values()) or 'nothing'}"
            )
    for p in known.values():
        if p.needed and not options.get(p.name):
            raise StillError(f"{name} needs {p.usage}")
    return measure.work(image, options)
