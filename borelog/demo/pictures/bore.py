"""Views inside a bore: down to the crown, or close on the wall through a side mirror."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures.camera import Camera, camera
from borelog.demo.pictures.cast import Floor, Hits, cast, floor_normals, floor_openness, look_up, see_labels
from borelog.demo.pictures.crown import CrownLook, make_crown
from borelog.demo.pictures.grain import Dice, Plane
from borelog.demo.pictures.light import Lamps, Surface, shade
from borelog.demo.pictures.optics import Lens, Pose, lamp_ring, look, project
from borelog.demo.pictures.rendered import Rendered, ellipse_of, finish, outlines
from borelog.demo.pictures.wall import Wall, footprint, paint_wall


def dress(
    hits: Hits, wall: Wall, floor: Floor | None, seed: int
) -> tuple[Surface, dict[str, Any], dict[str, Any]]:
    """Clothe what the rays met: the surface to be lit, the labels seen, and truth maps."""
    x, y, z = hits.point
    # In double precision: single-precision arc tangents differ between processors, and fine grooves would show it.
    theta = np.arctan2(y.astype(np.float64), x.astype(np.float64)).astype(np.float32)
    s = theta * np.float32(wall.radius)
    foot_s = footprint(s, seam=wall.radius)
    foot_z = footprint(z, seam=30.0)
    paint = paint_wall(wall, s, z, np.clip(foot_s, 1e-3, 8), np.clip(foot_z, 1e-3, 8), seed)
    inward_x, inward_y = -np.cos(theta), -np.sin(theta)
    tangent = np.stack([-np.sin(theta), np.cos(theta)])
    normal = np.stack(
        [inward_x - tangent[0] * paint.slope_s, inward_y - tangent[1] * paint.slope_s, -paint.slope_z]
    )
    open_sky = np.full(z.shape, 0.75, np.float32)
    labels = {name: mask & hits.on_wall for name, mask in paint.labels.items()}
    colour, gloss, rough, along = paint.colour, paint.gloss, paint.rough, paint.rough_along
    if floor is not None:
        side = np.float32(-1.0 if floor.depth > 0 else 1.0)
        seen = hits.on_floor
        packed = np.dstack([floor.colour, floor.gloss])
        got = look_up(np.ascontiguousarray(packed), floor.half, x, y)
        extra = np.dstack([floor_normals(floor), floor.rough, floor_openness(floor)])
        more = look_up(np.ascontiguousarray(extra), floor.half, x, y)
        colour = np.where(seen, got[..., :3].transpose(2, 0, 1), colour)
        gloss = np.where(seen, got[..., 3], gloss)
        rough = np.where(seen, more[..., 2], rough)
        along = np.where(seen, more[..., 2], along)
        open_sky = np.where(seen, more[..., 3], open_sky)
        up = np.stack([-more[..., 0], -more[..., 1], np.full(z.shape, side, np.float32)])
        normal = np.where(seen, up, normal)
        labels |= see_labels(floor, hits)
        # The wall just above the floor stands in its shade, and the floor next to the wall in the wall's.
        corner = np.clip(np.abs(z - np.float32(floor.depth)) / 6.0, 0.0, 1.0)
        open_sky = np.where(seen, open_sky, 0.25 + 0.5 * corner)
    normal = normal / np.sqrt((normal * normal).sum(axis=0))
    axis = np.zeros_like(normal)
    axis[2] = 1.0
    surface = Surface(
        hits.point,
        np.asarray(normal, np.float32),
        np.asarray(colour, np.float32),
        np.asarray(gloss, np.float32),
        np.clip(rough, 0.12, 0.95).astype(np.float32),
        np.asarray(open_sky, np.float32),
        axis,
        np.clip(along, 0.12, 0.95).astype(np.float32),
    )
    maps = {
        "theta_deg": np.where(hits.on_wall, np.rad2deg(theta), np.nan).astype(np.float32),
        "z_mm": z,
        "point_mm": hits.point.transpose(1, 2, 0),
        "on_wall": hits.on_wall,
        "on_floor": hits.on_floor,
    }
    return surface, labels, maps


def halved(light: Plane, times: int) -> Plane:
    """Average blocks of pixels: the finer drawing as the sensor's cells see it."""
    if times == 1:
        return light
    size = (light.shape[1] // times, light.shape[0] // times)
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)


def take(
    lens: Lens,
    pose: Pose,
    wall: Wall,
    floor: Floor | None,
    made_by: Camera,
    seed: int,
    fine: int = 1,
    lamps: dict[str, Any] | None = None,
    ring: dict[str, Any] | None = None,
    scale: float | None = None,
    shot: int = 0,
) -> Rendered:
    """Take one still of a bore or chamber with everything known about it.

    ``seed`` is of the engine: wall, dirt, what the metal mirrors. ``shot`` tells one still of it from the next: only
    the sensor's noise and the smears on the glass differ. ``fine`` draws at that many times the size and averages,
    which small pictures need for clean edges.
    """
    big = lens.enlarged(fine)
    hits = cast(big, pose, wall.radius, floor)
    surface, labels, maps = dress(hits, wall, floor, seed)
    forward = pose.matrix[:, 2]
    lights = Lamps(lamp_ring(pose, **(ring or {})), forward, seed=seed, **(lamps or {}))
    light = halved(shade(surface, np.array(pose.at), lights), fine)
    if fine > 1:
        labels = {name: mask[fine // 2 :: fine, fine // 2 :: fine] for name, mask in labels.items()}
        maps = {name: field[fine // 2 :: fine, fine // 2 :: fine] for name, field in maps.items()}
    truth: dict[str, Any] = {
        "lens": lens.truth(),
        "tip": pose.truth(),
        "bore_mm": 2 * wall.radius,
        "where": {
            name: {"outlines": outlines(mask), "share": float(mask.mean())}
            for name, mask in sorted(labels.items())
            if mask.any()
        },
    }
    maps |= {f"label/{name}": mask for name, mask in labels.items()}
    return finish(light, made_by, seed + shot, truth, maps, scale)


def ring_points(lens: Lens, pose: Pose, radius: float, z: float, count: int = 360) -> np.ndarray[Any, Any]:
    """Where a circle about the bore's axis lands, (n, 2) pixels, only what is in the picture."""
    angle = np.linspace(0, 2 * np.pi, count, endpoint=False)
    circle = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.full(count, z)], axis=-1)
    at = project(lens, pose, circle)
    inside = (at[:, 0] > 0) & (at[:, 0] < lens.width) & (at[:, 1] > 0) & (at[:, 1] < lens.height)
    return np.asarray(at[inside])


def bore_view(
    seed: int = 0,
    *,
    size: tuple[int, int] = (1280, 720),
    focal: float | None = None,
    k1: float = -0.06,
    depth: float = 88.0,
    off: tuple[float, float] = (4.0, -3.0),
    tip_z: float = 4.0,
    tilt_deg: tuple[float, float] = (3.0, -2.0),
    roll_deg: float = 0.0,
    wall: Wall | None = None,
    crown: CrownLook | None = None,
    made_by: Camera | None = None,
    fine: int = 1,
    lamps: dict[str, Any] | None = None,
) -> Rendered:
    """Look down a bore to the crown, with the tip's pose and the rim's ellipse as truth.

    Parameters
    ----------
    seed : of everything that is left to chance
    size : (width, height) px
    focal : px; by default 0.52 of the width, a wide tip
    depth : mm from the deck to the crown
    off, tip_z : place of the tip in mm across and below the deck
    tilt_deg : lean of the view from the bore's axis, towards x and y
    wall, crown : looks; ordinary ones by default

    Returns
    -------
    Rendered
        truth: ``lens``, ``tip``, ``bore_mm``, ``rim`` (ellipse of the bore at the crown's edge, with its points),
        ``where`` (outlines per label); maps: ``theta_deg``, ``z_mm``, ``point_mm``, ``on_wall``, ``on_floor``,
        ``label/...``.
    """
    wall = wall or Wall()
    lens = Lens(size[0], size[1], focal or 0.52 * size[0], k1)
    floor = make_crown(crown or CrownLook(), wall.radius, depth, seed, 900)
    lean = np.tan(np.deg2rad(tilt_deg))
    pose = look((off[0], off[1], tip_z), (off[0] + lean[0] * 50, off[1] + lean[1] * 50, tip_z + 50), roll_deg)
    shot = take(
        lens,
        pose,
        wall,
        floor,
        made_by or camera("tip720", exposure=0.18),
        seed,
        fine,
        {"lobe": 2.6, **(lamps or {})},
    )
    points = ring_points(lens, pose, wall.radius, depth)
    shot.truth["crown_depth_mm"] = depth
    shot.truth["rim"] = {"points": points.round(3).tolist(), "z_mm": depth}
    if len(points) >= 40:
        shot.truth["rim"]["ellipse"] = ellipse_of(points)
    return shot


def wall_view(
    seed: int = 0,
    *,
    size: tuple[int, int] = (1280, 720),
    focal: float | None = None,
    k1: float = -0.04,
    at_deg: float = 40.0,
    z: float = 45.0,
    distance: float = 22.0,
    tilt_deg: tuple[float, float] = (6.0, 4.0),
    roll_deg: float = 0.0,
    wall: Wall | None = None,
    made_by: Camera | None = None,
    fine: int = 1,
    lamps: dict[str, Any] | None = None,
) -> Rendered:
    """A close view of the wall, as a side mirror gives, with pose and hatch angle as truth.

    ``at_deg`` and ``z`` name the spot in the middle; ``tilt_deg`` how far the view is from square-on, along the
    circumference and along the bore.
    """
    wall = wall or Wall()
    lens = Lens(size[0], size[1], focal or 0.85 * size[0], k1)
    angle = np.deg2rad(at_deg)
    target = (float(wall.radius * np.cos(angle)), float(wall.radius * np.sin(angle)), z)
    inward = np.array([-np.cos(angle), -np.sin(angle), 0.0])
    along = np.array([-np.sin(angle), np.cos(angle), 0.0])
    lean = np.tan(np.deg2rad(tilt_deg))
    back = inward + along * lean[0] + np.array([0, 0, -1.0]) * lean[1]
    place = np.array(target) + back / np.linalg.norm(back) * distance
    pose = _upright(look((float(place[0]), float(place[1]), float(place[2])), target), roll_deg)
    shot = take(lens, pose, wall, None, made_by or camera("tip720"), seed, fine, lamps)
    middle = project(
        lens, pose, np.array([target, np.array(target) + along, np.add(target, (0.0, 0.0, 1.0))])
    )
    shot.truth["hatch"] = {
        "included_angle_deg": wall.hone_deg,
        "convention": "included angle, bisected by the circumferential direction",
        "spot_px": middle[0].tolist(),
        "px_per_mm_round": float(np.linalg.norm(middle[1] - middle[0])),
        "px_per_mm_along": float(np.linalg.norm(middle[2] - middle[0])),
    }
    return shot


def _upright(pose: Pose, roll_deg: float) -> Pose:
    """Turn the picture so that the bore's axis runs down it, plus the asked roll."""
    turn = pose.matrix
    forward = turn[:, 2]
    down = np.array([0.0, 0.0, 1.0]) - forward[2] * forward
    down /= np.linalg.norm(down)
    right = np.cross(down, forward)
    roll = np.deg2rad(roll_deg)
    turned = np.stack(
        [np.cos(roll) * right + np.sin(roll) * down, -np.sin(roll) * right + np.cos(roll) * down, forward],
        axis=1,
    )
    return Pose(pose.at, tuple((float(r[0]), float(r[1]), float(r[2])) for r in turned))


def rim_scene(
    seed: int = 0, *, size: tuple[int, int] = (1280, 720), k1: float = 0.0, **view: Any
) -> Rendered:
    """A view down the bore whose crown edge is well in the frame: truth ``rim`` is the exact ellipse (k1 = 0).

    With k1 other than 0 the rim is no exact conic: compare with ``rim.points``.
    """
    dice = Dice("rim", seed)
    chosen: dict[str, Any] = {
        "depth": dice.between(52, 80),
        "off": (dice.between(-9, 9), dice.between(-9, 9)),
        "tilt_deg": (dice.between(-7, 7), dice.between(-7, 7)),
        "roll_deg": dice.between(-40, 40),
        "focal": 0.42 * size[0],
    }
    return bore_view(seed, size=size, k1=k1, **(chosen | view))
