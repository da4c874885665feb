"""From picture files to the samples a view needs: pyramid, one affine warp, two pictures set against each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from borelog.tui.viewport import Viewport

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Pixels = NDArray[np.uint8]
    Map = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Source:
    """A picture ready to be looked at: each level (height, width, 3) uint8 RGB is half the one before."""

    levels: tuple[Pixels, ...]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the original in pixels."""
        return self.levels[0].shape[1], self.levels[0].shape[0]


def source_of(pixels: Pixels) -> Source:
    """A source from pixels (height, width, 3) uint8 RGB; makes the pyramid."""
    import cv2
    import numpy as np

    levels = [np.ascontiguousarray(pixels)]
    while min(levels[-1].shape[:2]) > 64:
        height, width = levels[-1].shape[:2]
        half = cv2.resize(levels[-1], ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA)
        levels.append(np.asarray(half, np.uint8))
    return Source(tuple(levels))


def sample(
    source: Source,
    view: Viewport,
    size: tuple[int, int],
    dots: tuple[int, int],
    ground: tuple[int, int, int] = (0, 0, 0),
    through: Map | None = None,
) -> Pixels:
    """Samples (rows * down, columns * across, 3) uint8 of what a view shows.

    Parameters
    ----------
    size
        (columns, rows) of the area in cells.
    dots
        Samples across and down a cell.
    ground
        Colour outside the picture.
    through
        3 x 3 map from the viewed picture's pixels to this source's, where the view belongs to another picture.
    """
    import cv2
    import numpy as np

    kx, ky = dots
    # Cells are tall: down, samples are farther apart than across. Two rows are taken for each and averaged.
    twice = 2 if view.tall * kx / ky >= 1.9 and view.px * view.tall / ky > 1.0 else 1
    base = np.array([*view.affine(size, (kx, ky * twice)), (0.0, 0.0, 1.0)])
    if through is not None:
        half = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5], [0.0, 0.0, 1.0]])
        base = np.linalg.inv(half) @ through @ half @ base
    step = float(np.hypot(base[0, 0] / max(1e-9, base[2, 2]), base[1, 0]))
    level = min(len(source.levels) - 1, max(0, int(np.floor(np.log2(max(step, 1e-6)) + 0.5))))
    scale = 0.5**level
    shrink = np.array([[scale, 0.0, scale / 2 - 0.5], [0.0, scale, scale / 2 - 0.5], [0.0, 0.0, 1.0]])
    whole = shrink @ base
    flags = (cv2.INTER_NEAREST if step < 0.75 else cv2.INTER_LINEAR) | cv2.WARP_INVERSE_MAP
    area = (size[0] * kx, size[1] * ky * twice)
    picture = source.levels[level]
    if through is None:
        out = cv2.warpAffine(
            picture, whole[:2], area, flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=ground
        )
    else:
        out = cv2.warpPerspective(
            picture, whole, area, flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=ground
        )
    if twice == 2:
        out = cv2.resize(out, (area[0], area[1] // 2), interpolation=cv2.INTER_AREA)
    return out  # type: ignore[return-value]


def wiped(left: Pixels, right: Pixels, share: float) -> Pixels:
    """The left part of one picture beside the right part of the other, cut at ``share`` of the width."""
    import numpy as np

    cut = round(min(1.0, max(0.0, share)) * left.shape[1])
    return np.concatenate([left[:, :cut], right[:, cut:]], axis=1)


def tinted(
    base: Pixels, change: NDArray[Any], colours: tuple[tuple[int, int, int], tuple[int, int, int]]
) -> Pixels:
    """A grey picture with what got darker and what got brighter laid over it in two colours.

    ``change`` is -1 to 1 per sample; strength is opacity.
    """
    import numpy as np

    grey = base.mean(axis=2, keepdims=True).astype(np.float32).repeat(3, axis=2)
    strength = np.clip(np.abs(change), 0, 1)[..., None]
    low, high = np.array(colours[0], np.float32), np.array(colours[1], np.float32)
    colour = np.where(change[..., None] < 0, low, high)
    out: Pixels = (grey * (1 - strength) + colour * strength).astype(np.uint8)
    return out
