"""Copies of stills that may leave the house: stripped of metadata, masks filled solid, in a format that any reader opens."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from borelog.marks.shapes import Box, Ellipse, Freehand, Polygon, Shape, bounds
from borelog.stills import StillError, metadata
from borelog.stills.kinds import SUFFIXES

SHOWN = ("JPEG", "PNG", "WebP")
"""Formats that a browser and the paper maker both show as they are."""
_LOSSLESS = ("BMP", "TIFF", "PNG")
_BLOCK = 8


@dataclass(frozen=True, slots=True)
class View:
    """A copy: its bytes, its format ('JPEG', 'PNG' or 'WebP') and in words what was changed."""

    data: bytes
    format: str
    changed: str

    @property
    def suffix(self) -> str:
        """The ending of its file name."""
        return SUFFIXES[self.format][0]


def _closed(shape: Shape) -> Box | Ellipse | Polygon | Freehand:
    """A mask as a closed shape: a line, arrow, point or label hides the box around it, with some air."""
    if isinstance(shape, Box | Ellipse | Polygon | Freehand):
        return shape
    box = bounds(shape)
    return Box(box.x - 12, box.y - 12, box.width + 24, box.height + 24)


def _masked(data: bytes, masks: Sequence[Shape], name: str, kind: str) -> bytes:
    # The fill is grown to whole 8x8 blocks: a block of one value keeps it exactly through the JPEG transform, so that
    # the masked area is constant in every copy and no ringing at its edge hints at what was there.
    import numpy as np

    from borelog.stills.intake import decode, encode

    bgr, _ = decode(data, name)
    height, width = bgr.shape[:2]
    high, wide = -height % _BLOCK, -width % _BLOCK
    plain = np.zeros((height, width, 3), np.uint8)
    touched = metadata.burn_masks(plain, [_closed(m) for m in masks], 255)[:, :, 0] > 0
    padded = np.pad(touched, ((0, high), (0, wide)))
    rows, columns = padded.shape[0] // _BLOCK, padded.shape[1] // _BLOCK
    blocks = padded.reshape(rows, _BLOCK, columns, _BLOCK).any(axis=(1, 3))
    grown = np.kron(blocks, np.ones((_BLOCK, _BLOCK), bool))[:height, :width]
    out = bgr.copy()
    out[grown] = 64
    return encode(out, kind)


def view_of(
    data: bytes, format_: str, *, orientation: int = 1, masks: Sequence[Shape] = (), name: str = "picture"
) -> View:
    """The copy of a picture that others may see.

    Parameters
    ----------
    data
        The original's bytes.
    format_
        Its format as filed.
    orientation
        The stored turn (Exif 1 to 8), kept as the only tag where pixels are not re-encoded.
    masks
        Shapes in upright original pixels to be filled solid.

    Raises
    ------
    StillError
        If the bytes are no usable picture.
    """
    if masks:
        kind = "PNG" if format_ in ("BMP", "TIFF") else "JPEG"
        words = (
            f"{len(masks)} masked {'area' if len(masks) == 1 else 'areas'} filled; re-encoded, no metadata"
        )
        return View(_masked(data, masks, name, kind), kind, words)
    try:
        if format_ == "JPEG":
            return View(metadata.strip_jpeg(data, orientation, name)[0], "JPEG", "metadata taken out")
        if format_ == "PNG":
            return View(metadata.strip_png(data, orientation, name)[0], "PNG", "metadata taken out")
        if format_ == "WebP":
            return View(metadata.strip_webp(data, orientation, name)[0], "WebP", "metadata taken out")
    except StillError:
        pass
    from borelog.stills.intake import decode, encode

    bgr, _ = decode(data, name)
    kind = "PNG" if format_ in _LOSSLESS else "JPEG"
    return View(encode(bgr, kind), kind, f"re-encoded from {format_}; no metadata")


def smaller(data: bytes, longest: int, name: str = "picture") -> bytes:
    """A JPEG of a view whose longer side is at most ``longest`` pixels."""
    from borelog.stills.thumbs import thumbnail

    return thumbnail(data, longest, name)
