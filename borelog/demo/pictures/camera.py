"""The cheap sensor behind the lens: exposure, bloom, blur, noise, colour guess and sharpening."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from borelog.demo.pictures.grain import Plane, blur, fractal, normal


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera's faults. Defaults are a common 1280x720 tip; see :data:`CAMERAS` for others."""

    exposure: float = 0.22
    """Level (of 1) to which the automatic exposure brings the middle of the picture."""
    gain_noise: float = 0.010
    read_noise: float = 0.004
    row_noise: float = 0.0008
    chroma_noise: float = 1.0
    blur_px: float = 0.75
    corner_blur_px: float = 0.8
    fringe: float = 0.0008
    """Share by which red is larger and blue smaller than green: colour edges towards the corners."""
    bloom: float = 0.05
    haze: float = 0.006
    vignette: float = 0.45
    sharpen: float = 0.7
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    smear: float = 0.3
    """Oil on the front glass: soft patches of lower contrast."""
    round_view: float = 0.0
    """Radius of the round picture as a share of the half height; 0 for a full frame."""
    saturation: float = 0.9
    quality: int = 8
    """Step of the JPEG tables, the same for all frequencies (half of it for colour)."""


CAMERAS: dict[str, Camera] = {
    "tip720": Camera(),
    "tip480": Camera(gain_noise=0.013, blur_px=0.85, sharpen=1.0, cast=(0.97, 1.0, 1.05), fringe=0.0012),
    "round480": Camera(gain_noise=0.012, blur_px=0.9, round_view=1.02, sharpen=0.8, cast=(1.04, 1.0, 0.95)),
    "phone": Camera(
        gain_noise=0.007,
        read_noise=0.003,
        row_noise=0.0005,
        blur_px=0.6,
        corner_blur_px=0.4,
        haze=0.004,
        vignette=0.15,
        smear=0.0,
        fringe=0.0003,
        sharpen=0.8,
        bloom=0.02,
    ),
}


def camera(name: str, **changes: Any) -> Camera:
    """A camera of :data:`CAMERAS` with some faults changed."""
    return replace(CAMERAS[name], **changes)


def expose(light: Plane, target: float, weight: Plane | None = None) -> float:
    """The factor an automatic exposure would choose: centre-weighted mean of what is not clipped."""
    small: Any = cv2.resize(light.mean(axis=2), (64, 48), interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[-1:1:48j, -1:1:64j]
    centre = np.exp(-(x * x + y * y) / 0.6)
    scale = target / max(float(np.median(small)), 1e-6)
    for _ in range(12):
        mean = float((np.minimum(small * scale, 1.2) * centre).sum() / centre.sum())
        scale *= (target / max(mean, 1e-6)) ** 0.7
    return scale


def _corners(height: int, width: int) -> Plane:
    y = ((np.arange(height, dtype=np.float32) + 0.5) / height * 2 - 1)[:, None]
    x = ((np.arange(width, dtype=np.float32) + 0.5) / width * 2 - 1)[None, :]
    return np.asarray((x * x + y * y) * 0.5, np.float32)


def _fringed(light: Plane, amount: float) -> Plane:
    if amount <= 0:
        return light
    height, width = light.shape[:2]
    out = light.copy()
    for channel, grow in ((0, 1.0 + amount), (2, 1.0 - amount)):
        move = np.array(
            [[1 / grow, 0, (1 - 1 / grow) * width / 2], [0, 1 / grow, (1 - 1 / grow) * height / 2]],
            np.float64,
        )
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        plane = np.ascontiguousarray(light[..., channel])
        out[..., channel] = cv2.warpAffine(
            plane, move, (width, height), flags=flags, borderMode=cv2.BORDER_REPLICATE
        )
    return out


def develop(light: Plane, made_by: Camera, seed: int, scale: float | None = None) -> Plane:
    """A linear picture as the camera would store it, before JPEG.

    Parameters
    ----------
    light : (H, W, 3) float32, linear
    made_by : the camera
    seed : of noise and smears
    scale : fixed exposure factor; chosen automatically when None

    Returns
    -------
    (H, W, 3) float32 RGB levels, 0 to 255, not yet rounded
    """
    height, width = light.shape[:2]
    light = light * np.float32(expose(light, made_by.exposure) if scale is None else scale)
    corners = _corners(height, width)
    light = _fringed(light, made_by.fringe)
    light = blur(light, made_by.blur_px)
    if made_by.corner_blur_px > 0.1:
        soft = blur(light, made_by.blur_px + made_by.corner_blur_px)
        light = light + (soft - light) * np.clip(corners * 1.1, 0, 1)[..., None]
    over = np.clip(light - 0.9, 0.0, 4.0)
    wide = blur(over, max(width, height) / 160) * 1.2 + blur(over, max(width, height) / 28)
    light = light + np.float32(made_by.bloom) * wide
    if made_by.smear > 0:
        patch = np.clip(fractal((height, width), width / 2.5, "camera.smear", seed, 3), 0.0, 2.0)[..., None]
        veil = blur(light, width / 40)
        light = light + (veil * 1.1 - light) * (patch * np.float32(0.16 * made_by.smear))
    mean = light.reshape(-1, 3).mean(axis=0)
    light = light + np.float32(made_by.haze) * (0.3 + np.minimum(mean, 1.0))
    light *= (1.0 - made_by.vignette * np.clip(corners, 0, 1) ** 1.3)[..., None]
    light *= np.array(made_by.cast, np.float32)
    if made_by.round_view > 0:
        y = (np.arange(height, dtype=np.float32) + 0.5 - height / 2)[:, None]
        x = (np.arange(width, dtype=np.float32) + 0.5 - width / 2)[None, :]
        radius = np.sqrt(x * x + y * y) / (height / 2)
        light *= np.clip((made_by.round_view - radius) * height / 16, 0.0, 1.0)[..., None]
    light = np.maximum(light, 0.0)
    return _to_levels(_noisy(light, made_by, seed), made_by)


def _noisy(light: Plane, made_by: Camera, seed: int) -> Plane:
    height, width = light.shape[:2]
    grain = normal((height, width, 3), "camera.grain", seed)
    grain = blur(grain, 0.55) * np.float32(1.6)
    grey = grain.mean(axis=2, keepdims=True) * np.float32(1.5)
    colour = blur(grain - grey / 1.5, 1.1) * np.float32(1.3 * made_by.chroma_noise)
    depth = np.sqrt(made_by.gain_noise**2 * np.clip(light, 0.0, 1.5) + made_by.read_noise**2)
    light = light + (grey + colour) * depth
    rows = normal((height, 1, 1), "camera.rows", seed) * np.float32(made_by.row_noise)
    return np.asarray(light + rows, np.float32)


def _to_levels(light: Plane, made_by: Camera) -> Plane:
    # A shoulder that starts late, as cheap sensors clip hard.
    light = np.clip(light, 0.0, None)
    light = np.where(light > 0.8, 0.8 + 0.2 * (1.0 - np.exp(-(light - 0.8) / 0.2)), light)
    toned = light ** np.float32(1 / 2.1)
    toned = toned + np.float32(0.45) * (toned * toned * (3.0 - 2.0 * toned) - toned)
    grey = toned.mean(axis=2, keepdims=True)
    toned = grey + (toned - grey) * np.float32(made_by.saturation)
    if made_by.sharpen > 0:
        toned = toned + np.float32(made_by.sharpen) * (toned - blur(np.ascontiguousarray(toned), 1.3))
    return np.asarray(np.clip(toned * 255.0, 0, 255), np.float32)
