"""A few seconds of a scope's film: motion JPEG in AVI, sharp moments between shakes, a dark start."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures.bore import bore_view
from borelog.demo.pictures.camera import camera
from borelog.demo.pictures.crown import CrownLook
from borelog.demo.pictures.grain import Dice, Picture
from borelog.demo.pictures.rendered import PictureError
from borelog.demo.pictures.wall import Wall

FRAMES, RATE = 24, 8.0


def film_frames(
    seed: int = 91, count: int = FRAMES, size: tuple[int, int] = (320, 240)
) -> list[tuple[Picture, dict[str, Any]]]:
    """The frames with their truth: blur in px, where the tip was, whether the lamp was on."""
    dice = Dice("film", seed)
    wall, crown = Wall(soot=0.2), CrownLook(carbon=0.7, thick=0.35)
    out = []
    for index in range(count):
        way = index / max(count - 1, 1)
        lit = index >= 2
        still = index % 8 in (4, 5)
        shake = 0.0 if still else dice.between(0.4, 1.0)
        blur_px = 0.8 if still else 0.8 + 2.4 * shake
        shot = bore_view(
            seed,
            size=size,
            fine=2 if size[0] < 500 else 1,
            depth=86.0,
            tip_z=4.0 + 40.0 * way,
            off=(4.0 * np.cos(5 * way) + shake * 0.6, 4.0 * np.sin(5 * way)),
            tilt_deg=(4.0 * np.sin(7 * way) + shake, 3.0 * np.cos(6 * way)),
            roll_deg=30.0 * way,
            wall=wall,
            crown=crown,
            made_by=camera("tip480", blur_px=blur_px, exposure=0.22 if lit else 0.004),
        )
        truth = {"frame": index, "blur_px": round(blur_px, 3), "lamp_on": lit, "tip": shot.truth["tip"]}
        out.append((shot.image, truth))
    return out


def write_film(
    path: Path, seed: int = 91, count: int = FRAMES, size: tuple[int, int] = (320, 240)
) -> dict[str, Any]:
    """Write the film; gives back its truth: per frame the blur, the lamp and the tip's place."""
    frames = film_frames(seed, count, size)
    height, width = frames[0][0].shape[:2]
    code = cv2.VideoWriter.fourcc(*"MJPG")
    writer = cv2.VideoWriter(
        str(path), cv2.CAP_OPENCV_MJPEG, code, RATE, (width, height), [cv2.VIDEOWRITER_PROP_IS_COLOR, 1]
    )
    if not writer.isOpened():
        raise PictureError(f"The film {path} cannot be written; choose a folder that can be written to.")
    writer.set(cv2.VIDEOWRITER_PROP_QUALITY, 60)
    for picture, _ in frames:
        writer.write(np.ascontiguousarray(picture[..., ::-1]))
    writer.release()
    return {"frames": [truth for _, truth in frames], "rate": RATE, "width_px": width, "height_px": height}
