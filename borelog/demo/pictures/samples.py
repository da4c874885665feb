"""The folder of sample pictures: every named scene, a film, and one file with the truth about them."""

from __future__ import annotations

import json
import platform
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from borelog.demo.pictures.catalogue import SCENES, scene
from borelog.demo.pictures.film import write_film
from borelog.demo.pictures.rendered import PictureError

TRUTH_FILE = "truth.json"
FILM_FILE = "bore_walk.avi"
COPY = ("bore_hatch_clear_copy", "bore_hatch_clear")
"""A byte-for-byte double, as a card holds after copying twice."""
CONVENTION = (
    "Pixels: x right, y down, pixel centres at .5. Lengths in mm, angles in degrees. Bore coordinates: z down the "
    "bore from the deck, angle from x towards y. Outlines are [x, y] lists; at most 12 per label, largest first. "
    "All pictures are drawn, none is a photograph."
)


def made_with() -> dict[str, str]:
    """The versions and machine that decide the last bit of a picture."""
    import cv2
    import numpy as np
    import PIL

    return {
        "python": platform.python_version(),
        "numpy": np.__version__,
        "opencv": cv2.__version__,
        "pillow": PIL.__version__,
        "machine": platform.machine(),
        "cpu": cv2.getCPUFeaturesLine(),
    }


def _short(value: Any) -> Any:
    """Numbers to what they are worth: a thousandth in general, a tenth of a pixel in outlines."""
    if isinstance(value, dict):
        return {
            str(k): ([[_outline(p) for p in v][:12]][0] if k == "outlines" else _short(v))
            for k, v in value.items()
        }
    if isinstance(value, list | tuple):
        return [_short(v) for v in value]
    if isinstance(value, float):
        return float(f"{value:.7g}")
    return value


def _outline(points: list[list[float]]) -> list[list[float]]:
    return [[round(x, 1), round(y, 1)] for x, y in points]


def write_samples(
    folder: Path | str,
    names: Iterable[str] | None = None,
    *,
    film: bool = True,
    tell: Callable[[str], None] | None = None,
) -> dict[str, Any]:
    """Draw the sample pictures into a folder, with ``truth.json``.

    Parameters
    ----------
    folder : made if missing; files of the same name are written anew, others are left alone
    names : some of :data:`~borelog.demo.pictures.catalogue.SCENES`; all by default
    film : write the AVI, too
    tell : called with each file's name once it is written

    Returns
    -------
    dict
        What ``truth.json`` holds.

    Raises
    ------
    PictureError
        The folder cannot be written to.
    """
    place = Path(folder)
    wanted = list(SCENES) if names is None else list(names)
    stills: dict[str, Any] = {}
    try:
        place.mkdir(parents=True, exist_ok=True)
        for name in wanted:
            shot = scene(name)
            (place / f"{name}.jpg").write_bytes(shot.jpeg)
            stills[f"{name}.jpg"] = shot.truth
            if tell:
                tell(f"{name}.jpg")
        if COPY[1] in wanted:
            shutil.copyfile(place / f"{COPY[1]}.jpg", place / f"{COPY[0]}.jpg")
            stills[f"{COPY[0]}.jpg"] = {"copy_of": f"{COPY[1]}.jpg"}
        truth: dict[str, Any] = {"made_with": made_with(), "convention": CONVENTION, "stills": stills}
        if film:
            truth["films"] = {FILM_FILE: write_film(place / FILM_FILE)}
            if tell:
                tell(FILM_FILE)
        truth = _short(truth)
        text = _lines(truth)
        (place / TRUTH_FILE).write_text(text + "\n", encoding="utf-8")
    except OSError as error:
        raise PictureError(
            f"The pictures cannot be written to {place}: {error.strerror}. Choose another folder."
        ) from error
    return truth


def _lines(truth: dict[str, Any]) -> str:
    """JSON with one still on a line: a changed picture is then one changed line."""

    def line(value: Any) -> str:
        return json.dumps(value, separators=(",", ":"), sort_keys=True, ensure_ascii=False)

    parts = []
    for key, value in sorted(truth.items()):
        if key in ("stills", "films"):
            inner = ",\n".join(
                f"  {json.dumps(name)}: {line(entry)}" for name, entry in sorted(value.items())
            )
            parts.append(f"{json.dumps(key)}: {{\n{inner}\n}}")
        else:
            parts.append(f"{json.dumps(key)}: {line(value)}")
    return "{\n" + ",\n".join(parts) + "\n}"
