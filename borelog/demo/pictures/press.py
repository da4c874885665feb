"""JPEG so that a file hardly depends on the machine that drew it.

Two processors differ in a drawn level by a millionth. Rounding to whole levels first would turn that into a whole level
now and then, and the encoder would turn the level into several coefficients. So the coefficients are rounded here,
straight from the unrounded levels, and the encoder gets a picture whose coefficients all lie at the middle of their
steps: it can only keep them. One differing coefficient then moves a pixel by a quarter of its step at most.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from borelog.demo.pictures.grain import Picture


def _cosines() -> NDArray[np.float64]:
    n = np.arange(8)
    rows = np.sqrt(2 / 8) * np.cos(np.pi * (2 * n[None, :] + 1) * n[:, None] / 16)
    rows[0] = np.sqrt(1 / 8)
    return np.asarray(rows, np.float64)


_COSINES = _cosines()


def _stepped(plane: NDArray[Any], table: NDArray[np.float64]) -> NDArray[np.uint8]:
    """A plane whose 8x8 block coefficients are whole multiples of the table's steps (ITU-T T.81, A.3)."""
    rows, columns = plane.shape
    tall, wide = -(-rows // 16) * 16, -(-columns // 16) * 16
    padded = np.pad(np.asarray(plane, np.float64) - 128, ((0, tall - rows), (0, wide - columns)), mode="edge")
    blocks = padded.reshape(tall // 8, 8, wide // 8, 8).transpose(0, 2, 1, 3)
    waves = _COSINES @ blocks @ _COSINES.T
    back = _COSINES.T @ (np.rint(waves / table) * table) @ _COSINES
    whole = back.transpose(0, 2, 1, 3).reshape(tall, wide)[:rows, :columns]
    return np.asarray(np.clip(np.rint(whole + 128), 0, 255), np.uint8)


def to_jpeg(levels: NDArray[Any], step: int = 8) -> bytes:
    """JPEG bytes of a picture, colour at half size, even tables.

    Parameters
    ----------
    levels : (H, W, 3) RGB, 0 to 255, whole or not
    step : quantiser step of brightness; half of it for the mean of a block and for colour
    """
    from PIL import Image

    fine = max(1, step // 2)
    red, green, blue = (np.asarray(levels[..., i], np.float64) for i in range(3))
    luma = 0.299 * red + 0.587 * green + 0.114 * blue  # JFIF (ITU-T T.871)
    chroma = ((blue - luma) / 1.772 + 128, (red - luma) / 1.402 + 128)
    height, width = luma.shape
    table = np.full((8, 8), float(step))
    table[0, 0] = fine
    planes = [_stepped(luma, table)]
    for plane in chroma:
        even = np.pad(plane, ((0, height % 2), (0, width % 2)), mode="edge")
        small = even.reshape(even.shape[0] // 2, 2, even.shape[1] // 2, 2).mean(axis=(1, 3))
        coarse = _stepped(small, np.full((8, 8), float(fine)))
        planes.append(coarse.repeat(2, axis=0).repeat(2, axis=1)[:height, :width])
    tables = {0: [fine] + [step] * 63, 1: [fine] * 64}
    out = io.BytesIO()
    Image.merge("YCbCr", [Image.fromarray(p) for p in planes]).save(
        out, "JPEG", qtables=tables, subsampling=2, optimize=True
    )
    return out.getvalue()


def from_jpeg(data: bytes) -> Picture:
    """The pixels a reader of the file gets, (H, W, 3) uint8 RGB."""
    from PIL import Image

    with Image.open(io.BytesIO(data)) as opened:
        return np.asarray(opened.convert("RGB"), np.uint8).copy()
