"""Probes noted once (mirror, roll, lens), and the scale of a still: set from what is known, kept with what it rests on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.filing import FilingError
from borelog.logbook.entries import Probe, Scaled, StillFiled, StillPlaced
from borelog.logbook.inspection import Inspection
from borelog.marks.shapes import Arrow, Ellipse, Line, Pair, Shape
from borelog.text import one_line

if TYPE_CHECKING:
    from borelog.stills.lens import Lens
    from borelog.stills.scale import Scale


# --- probes ------------------------------------------------------------------------------------------------------


def probes(inspection: Inspection) -> tuple[Probe, ...]:
    """All probes noted, in the order in which they were."""
    return tuple(r.body for r in inspection.of(Probe))


def note_probe(
    bench: Bench,
    inspection_id: str,
    name: str,
    *,
    mirror: bool | None = None,
    roll: float | None = None,
    lens: dict[str, Any] | None = None,
) -> tuple[Probe, int]:
    """Note a probe, or mend what is noted of it; its stills follow. What is None stays as it is.

    Returns
    -------
    tuple of (Probe, int)
        The probe as it stands, and how many stills already filed from it were turned with it.

    Raises
    ------
    FilingError
        Without a name, or with a roll that is no angle.
    """
    name = one_line(name.strip(), 60)
    if not name:
        raise FilingError("a probe needs a name, for example 'straight 5.5 mm' or 'side view'")
    if roll is not None and not math.isfinite(roll):
        raise FilingError("the roll is an angle in degrees, for example 90")
    inspection = bench.inspection(inspection_id)
    now = next((p for p in probes(inspection) if p.name == name), Probe(name))
    changes: dict[str, Any] = {"mirror": mirror, "roll": None if roll is None else roll % 360.0, "lens": lens}
    body = msgspec.structs.replace(now, **{k: v for k, v in changes.items() if v is not None})
    turned = [
        (msgspec.structs.replace(r.body, mirror=body.mirror, roll=body.roll), "")
        for r in inspection.of(StillPlaced)
        if r.body.probe == name and (r.body.mirror, r.body.roll) != (body.mirror, body.roll)
    ]
    bench.append(inspection_id, [(body, ""), *turned])
    return body, len(turned)


def probe_words(probe: Probe) -> str:
    """A probe in one line."""
    parts = [probe.name, "mirror" if probe.mirror else "", f"roll {probe.roll:g}°" if probe.roll else ""]
    parts.append(lens_of(probe.lens).in_words if probe.lens else "lens not calibrated")
    return ", ".join(p for p in parts if p)


def lens_of(plain: dict[str, Any]) -> Lens:
    """A lens from the plain values kept with a probe."""
    from borelog.stills.lens import Lens

    return msgspec.convert(plain, Lens)


def lens_for(inspection: Inspection, still: str) -> Lens | None:
    """The lens of the probe that a still was taken with, for pictures of its size; None where none is known.

    Raises
    ------
    StillError
        Where the lens was calibrated at another shape of picture.
    """
    placed = next((r.body for r in inspection.of(StillPlaced) if r.body.still == still), None)
    probe = next((p for p in probes(inspection) if placed and p.name == placed.probe and p.lens), None)
    filed = next((r.body for r in inspection.of(StillFiled) if r.body.sha256 == still), None)
    if probe is None or filed is None:
        return None
    return lens_of(dict(probe.lens)).resized(filed.width, filed.height)


# --- scales ------------------------------------------------------------------------------------------------------


def scale_of(inspection: Inspection, still: str) -> Scale | None:
    """The scale noted for a still, ready to measure with; None where none is noted."""
    from borelog.stills.scale import Scale

    noted = next((r.body for r in reversed(inspection.of(Scaled)) if r.body.still == still), None)
    if noted is None:
        return None
    s = noted.mm_per_px
    return Scale(
        noted.matrix or (s, 0.0, 0.0, 0.0, s, 0.0, 0.0, 0.0, 1.0),
        noted.u_mm_per_px / s,
        noted.plane or "at the known length, square to the view",
        (noted.rests_on,),
        not noted.matrix,
        lens_of(dict(noted.lens)) if noted.lens else None,
    )


def set_scale(bench: Bench, inspection_id: str, still: str, scale: Scale, at: Pair, what: str = "") -> Scaled:
    """Note a scale for a still; ``at`` is where its millimetres per pixel are stated, ``what`` the known thing."""
    s = float(scale.mm_per_px(*at))
    rests = "; ".join(x for x in (one_line(what, 60), *scale.rests_on) if x)
    body = Scaled(
        still,
        s,
        s * float(scale.u_rel),
        rests,
        () if scale.flat else tuple(float(v) for v in scale.matrix),
        scale.plane,
        msgspec.to_builtins(scale.lens) if scale.lens else {},
    )
    bench.append(inspection_id, [(body, "")])
    return body


def from_known_length(inspection: Inspection, still: str, line: Line | Arrow, mm: float) -> Scale:
    """A scale from a line drawn along a known length in millimetres; through the probe's lens where it is known."""
    from borelog.stills.scale import from_length

    return from_length((line.x1, line.y1), (line.x2, line.y2), mm, lens=lens_for(inspection, still))


def from_known_round(
    inspection: Inspection, still: str, rim: Ellipse, diameter_mm: float, nearer: str = ""
) -> Scale:
    """A scale in the plane of a circle of known diameter (bore, valve).

    Parameters
    ----------
    nearer
        'left', 'right', 'upper' or 'lower': the side of the circle that is nearer to the probe. With it and a probe
        whose lens is known the perspective is taken out; without, it goes into the uncertainty.

    Raises
    ------
    StillError
        Where the side named fits neither of the two ways in which the circle can lie.
    """
    from borelog.stills import StillError
    from borelog.stills.scale import from_disc, from_disc_pose

    lens = lens_for(inspection, still)
    filed = next((r.body for r in inspection.of(StillFiled) if r.body.sha256 == still), None)
    if lens is None or not nearer:
        return from_disc(rim, diameter_mm, filed.width if filed else 1280)
    both = from_disc_pose(rim, diameter_mm, lens=lens)
    for scale in both:
        if f"{nearer} side nearer" in scale.plane:
            return scale
    ways = " or ".join(s.plane.rpartition(", ")[2].removesuffix(" nearer") for s in both)
    raise StillError(f"seen so, the {ways} of the circle is nearer, not the {nearer} side; say which")


def from_known_thread(
    image: Any, outlines: Sequence[Line], pitch_mm: float, distance_mm: float | None = None
) -> Scale:
    """A scale from two lines along the outline of a thread of known pitch (ISO 261: M14 plugs 1.25 mm).

    Parameters
    ----------
    distance_mm : camera to thread; 150 mm are assumed for the uncertainty where it is not given

    Raises
    ------
    StillError
        Where no steady thread shows in the outline, or the distance is not above zero.
    """
    from borelog.stills import StillError
    from borelog.stills.plug_photo import thread_scale
    from borelog.stills.scale import Scale

    if distance_mm is not None and not distance_mm > 0:
        raise StillError("the camera's distance must be above zero, for example distance='170 mm'")
    found = thread_scale(image, tuple(outlines), pitch_mm, distance_mm)
    s = 1 / found.px_per_mm
    away = (
        f"camera {distance_mm:.0f} mm away"
        if distance_mm
        else "camera's distance not known, taken for 150 mm"
    )
    return Scale(
        (s, 0.0, 0.0, 0.0, s, 0.0, 0.0, 0.0, 1.0),
        found.error / found.px_per_mm,
        "in the plane of the thread's axis",
        (f"{found.turns:.1f} turns of {pitch_mm:g} mm in the outline", away),
        True,
    )


def middle_of(shape: Shape) -> Pair:
    """The middle of a shape's frame, in pixels."""
    from borelog.marks.shapes import bounds

    box = bounds(shape)
    return box.x + box.width / 2, box.y + box.height / 2
