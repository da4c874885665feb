"""Taking in pictures of every kept format without trusting them.

A file is read only when it is a plain file, known by its first bytes, opened by that one decoder, refused above 60
megapixels before a pixel is decoded, and always ends as a usable picture or as one plain sentence. Pillow is the only
decoder for foreign bytes: it is silent, where other JPEG readers write to the terminal.
"""

from __future__ import annotations

import contextlib
import io
import os
import stat
import threading
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PIL import Image, UnidentifiedImageError

from borelog.stills import StillError
from borelog.stills.kinds import PICTURES, kind_by_name, kind_of
from borelog.text import one_line

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PIXEL_CAP = 60_000_000
BYTE_CAP = 512 * 1024 * 1024
SMALLEST_SIDE = 16
_MOST_MISSING = 0.75

_DECODERS: dict[str, tuple[str, ...]] = {
    "JPEG": ("JPEG", "MPO"),
    "PNG": ("PNG",),
    "BMP": ("BMP",),
    "TIFF": ("TIFF",),
    "WebP": ("WEBP",),
    "AVIF": ("AVIF",),
    "HEIC": ("HEIF",),
}
# Pillow's own ceiling is set to ours so that nothing else in the process decodes more by accident.
Image.MAX_IMAGE_PIXELS = PIXEL_CAP


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What is known of a picture once it has been decoded.

    ``width`` and ``height`` are those of the upright picture. ``taken`` and ``camera`` are what the file claims:
    evidence, not truth. ``remarks`` says in words what was done to make it showable.
    """

    format: str
    width: int
    height: int
    orientation: int = 1
    taken: str = ""
    camera: str = ""
    remarks: tuple[str, ...] = ()


class _Quiet:
    # warnings.catch_warnings is not safe across threads; the first one in saves the filters, the last one out
    # puts them back, so that decoders in several threads stay silent and leave no trace.
    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._inside = 0
        self._saved: Any = None

    @contextlib.contextmanager
    def __call__(self) -> Iterator[None]:
        with self._lock:
            if self._inside == 0:
                self._saved = warnings.catch_warnings()
                self._saved.__enter__()
                warnings.simplefilter("ignore")
            self._inside += 1
        try:
            yield
        finally:
            with self._lock:
                self._inside -= 1
                if self._inside == 0:
                    self._saved.__exit__(None, None, None)


quiet = _Quiet()


def shown(name: str | os.PathLike[str]) -> str:
    """A file's name as it may be shown: the last part, cleaned, at most 60 characters."""
    return one_line(os.fspath(name).rstrip("/").rsplit("/", 1)[-1], 60) or "picture"


def read_file(path: str | os.PathLike[str], cap: int = BYTE_CAP) -> bytes:
    """The bytes of a plain file, and of nothing else.

    Parameters
    ----------
    path : path
        Links are followed; what they lead to must be a plain file.
    cap : int
        Largest size in bytes.

    Raises
    ------
    StillError
        When it is missing, unreadable, empty, too large, or not a plain file (folder, pipe, device, socket).
    """
    name = shown(path)
    try:
        # Without O_NONBLOCK, opening a pipe that nobody writes to would wait for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError:
        raise StillError(f"{name}: there is no such file; check the name") from None
    except PermissionError:
        raise StillError(f"{name}: may not be read; change its permissions or copy it first") from None
    except (OSError, ValueError) as error:
        raise StillError(f"{name}: cannot be opened ({_reason(error)})") from None
    try:
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            raise StillError(f"{name}: is {_what(about.st_mode)}, not a file; name the picture itself")
        if about.st_size > cap:
            raise StillError(
                f"{name}: {about.st_size / 1e6:.0f} MB is more than the {cap / 1e6:.0f} MB that are taken in"
            )
        with os.fdopen(handle, "rb", closefd=False) as stream:
            data = stream.read(cap + 1)
    except OSError as error:
        raise StillError(f"{name}: cannot be read ({_reason(error)}); copy the card again") from None
    finally:
        os.close(handle)
    if not data:
        raise StillError(f"{name}: the file is empty (0 bytes); copy it from the card again")
    if len(data) > cap:
        raise StillError(f"{name}: grew beyond {cap / 1e6:.0f} MB while it was read")
    return data


def _reason(error: BaseException) -> str:
    if isinstance(error, UnidentifiedImageError):
        return "its beginning says no size or coding that can be shown"
    return one_line(getattr(error, "strerror", None) or str(error) or type(error).__name__, 80)


def _what(mode: int) -> str:
    for test, words in (
        (stat.S_ISDIR, "a folder"),
        (stat.S_ISFIFO, "a pipe"),
        (stat.S_ISCHR, "a device"),
        (stat.S_ISBLK, "a device"),
        (stat.S_ISSOCK, "a socket"),
    ):
        if test(mode):
            return words
    return "something special"


def check_kind(data: bytes, name: str = "picture") -> str:
    """The picture format of these bytes, one of `kinds.PICTURES`.

    Raises
    ------
    StillError
        For anything else; says what the bytes are, and when the name claims otherwise.
    """
    if not data:
        raise StillError(f"{shown(name)}: the file is empty (0 bytes); copy it from the card again")
    kind, claimed = kind_of(data), kind_by_name(name)
    if kind.is_picture:
        return kind.name
    if kind.is_film:
        raise StillError(f"{shown(name)}: is {kind.words}; pick frames from it with 'borelog film'")
    if claimed in PICTURES:
        raise StillError(
            f"{shown(name)}: is named like {_article(claimed)} but holds {kind.words}; not taken in"
        )
    raise StillError(f"{shown(name)}: holds {kind.words}; kept are {', '.join(PICTURES)}")


def _article(kind: str) -> str:
    return f"{'an' if kind[0] in 'AH' and kind != 'HEIC' else 'a'} {kind}"


def _register_heic(name: str) -> None:
    try:
        import pillow_heif
    except ImportError:
        raise StillError(
            f"{shown(name)}: is a HEIC, which needs the optional plugin: install 'borelog[heic]', "
            "or set the phone to store JPEG"
        ) from None
    pillow_heif.register_heif_opener()


@contextlib.contextmanager
def opened(data: bytes, name: str = "picture", cap: int = PIXEL_CAP) -> Iterator[tuple[Image.Image, str]]:
    """The picture opened by the one decoder its first bytes name, size checked, no pixel decoded yet.

    Yields
    ------
    tuple of (PIL.Image.Image, str)
        The image and its format. Every failure inside the block leaves it as a `StillError`.
    """
    kind = check_kind(data, name)
    if kind == "HEIC":
        _register_heic(name)
    with quiet():
        try:
            with Image.open(io.BytesIO(data), formats=_DECODERS[kind]) as image:
                width, height = image.size
                if width * height > cap:
                    raise Image.DecompressionBombError
                if min(width, height) < SMALLEST_SIDE:
                    raise StillError(
                        f"{shown(name)}: {width} x {height} pixels are too few to show anything; take in the full picture"
                    )
                yield image, kind
        except StillError:
            raise
        except Image.DecompressionBombError:
            raise StillError(
                f"{shown(name)}: more than {cap / 1e6:.0f} megapixels; save a smaller copy and take that in"
            ) from None
        except MemoryError:
            raise StillError(f"{shown(name)}: needs more memory than there is; save a smaller copy") from None
        except Exception as error:  # noqa: BLE001 - foreign bytes raise anything; each becomes one plain sentence
            raise StillError(
                f"{shown(name)}: is damaged and cannot be shown ({_reason(error)}); copy it from the card again"
            ) from None


def _exif(image: Image.Image) -> tuple[int, str, str]:
    try:
        exif = image.getexif()
        turn = exif.get(0x0112, 1)
        camera = one_line(str(exif.get(0x0110, "") or ""), 60)
        stamp = str(exif.get_ifd(0x8769).get(0x9003) or exif.get(0x0132) or "")
    except Exception:  # noqa: BLE001 - a broken note beside a good picture is no reason to refuse the picture
        return 1, "", ""
    turn = turn if isinstance(turn, int) and 1 <= turn <= 8 else 1
    try:
        taken = datetime.strptime(stamp.strip("\0 ")[:19], "%Y:%m:%d %H:%M:%S").isoformat(sep=" ")
    except ValueError:
        taken = ""
    return turn, taken, camera.strip()


def _load(image: Image.Image, kind: str, data: bytes) -> tuple[Image.Image, list[str]]:
    try:
        image.load()
        return image, []
    except OSError:
        if kind != "JPEG":
            raise
    # A JPEG cut short keeps its upper part when the end mark is put back; what is missing comes out mid-grey.
    mended = Image.open(io.BytesIO(data + b"\x00\x00\xff\xd9"), formats=("JPEG",))
    mended.load()
    return mended, ["the file is cut short"]


def _to_rgb(image: Image.Image, data: bytes) -> tuple[Image.Image, list[str]]:
    mode = image.mode
    if mode in ("RGB", "L"):
        deep = kind_of(data).name == "PNG" and data[24] == 16
        return image, ["16 bits a channel shown in 8"] if deep else []
    if mode in ("RGBA", "LA", "PA", "La", "RGBa") or "transparency" in image.info:
        flat = Image.new("RGBA", image.size, (128, 128, 128, 255))
        flat.alpha_composite(image.convert("RGBA"))
        return flat.convert("RGB"), ["see-through parts shown on grey"]
    if mode.startswith(("I", "F")):
        low, high = image.getextrema()
        low, high = float(low), float(high)  # type: ignore[arg-type]
        if mode.startswith("I") and low >= 0:
            # Sensors of 10 or 12 bits leave the upper bits empty; the lowest full range that holds all values is used.
            low, high = 0.0, next((float(2**b - 1) for b in (8, 10, 12, 14, 16) if high < 2**b), high)
        scale = 255.0 / (high - low) if high > low else 0.0
        wide = image.convert("F") if mode != "F" else image
        return wide.point(lambda v: v * scale + (0.5 - low * scale)).convert("L"), [
            "16 bits a channel shown in 8"
        ]
    note = ["print colours (CMYK) shown in RGB; colours are not to be judged"] if mode == "CMYK" else []
    return image.convert("RGB"), note


def _upright(array: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    import numpy as np

    # Exif 2.32 (CIPA DC-008) table 6: what the 0th row and column of the stored picture are.
    steps = {
        1: lambda a: a,
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: a[::-1].swapaxes(0, 1),
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: a[:, ::-1].swapaxes(0, 1),
    }
    return np.ascontiguousarray(steps[orientation](array))


def _missing_share(array: NDArray[np.uint8]) -> float:
    rows = array.reshape(array.shape[0], -1)
    same = (rows == rows[-1, -1]).all(axis=1)[::-1]
    return float(same.argmin() if not same.all() else same.size) / rows.shape[0]


def decode(
    data: bytes, name: str = "picture", *, longest: int | None = None, cap: int = PIXEL_CAP
) -> tuple[NDArray[np.uint8], PictureFacts]:
    """The upright picture and what is known of it.

    Parameters
    ----------
    data : bytes
        A whole file of a kept format.
    name : str
        Used in messages, and compared with the content.
    longest : int, optional
        When given, the result may be smaller than the original, but its longer side is at least this many pixels (a
        JPEG is then decoded at a half, quarter or eighth, which is faster); `PictureFacts` still gives the full size.
    cap : int
        Most pixels, checked before decoding.

    Returns
    -------
    tuple of (ndarray, PictureFacts)
        ``uint8`` (height, width, 3) in the order blue, green, red.

    Raises
    ------
    StillError
        For everything that is not a usable picture.
    """
    import cv2
    import numpy as np

    with opened(data, name, cap) as (image, kind):
        width, height = image.size
        remarks: list[str] = []
        claimed = kind_by_name(name)
        if claimed and claimed != kind:
            remarks.append(f"named like {_article(claimed)}, is {_article(kind)}")
        if getattr(image, "is_animated", False) and image.format != "MPO":
            remarks.append("holds several pictures; the first is used")
        if longest is not None and kind == "JPEG":
            ratio = longest / max(width, height)
            image.draft("RGB", (max(1, round(width * ratio)), max(1, round(height * ratio))))
        loaded, notes = _load(image, kind, data)
        # Only now: for a PNG, asking for Exif decodes the pixels, and a failure in there would go unseen.
        orientation, taken, camera = _exif(image)
        # TIFF and HEIC are turned upright by their decoders, which shows in the size or the cleared tag.
        if kind in ("TIFF", "HEIC"):
            width, height = loaded.size
            orientation = 1
        flat, more = _to_rgb(loaded, data)
        array = np.asarray(flat)
        if array.ndim == 2:
            bgr: NDArray[np.uint8] = np.asarray(cv2.cvtColor(array, cv2.COLOR_GRAY2BGR), np.uint8)
        else:
            bgr = np.asarray(cv2.cvtColor(array, cv2.COLOR_RGB2BGR), np.uint8)
        if notes:
            missing = _missing_share(bgr)
            if missing > _MOST_MISSING:
                raise StillError(
                    f"{shown(name)}: {missing:.0%} of the picture is missing; copy it from the card again"
                )
            notes = [
                f"the file is cut short: the last {missing:.0%} is missing"
                if missing
                else "the file is cut short"
            ]
    upright = _upright(bgr, orientation)
    if orientation >= 5:
        width, height = height, width
    return upright, PictureFacts(
        kind, width, height, orientation, taken, camera, tuple(remarks + notes + more)
    )


def decode_file(path: str | os.PathLike[str]) -> tuple[NDArray[np.uint8], PictureFacts]:
    """`read_file` and `decode` in one step."""
    return decode(read_file(path), Path(path).name)


def encode(bgr: NDArray[np.uint8], kind: str = "PNG", quality: int = 95) -> bytes:
    """A picture as PNG, or as JPEG without colour subsampling; free of all metadata.

    Parameters
    ----------
    bgr : ndarray
        ``uint8`` (height, width, 3) or (height, width).
    kind : {'PNG', 'JPEG'}
        The format written.
    quality : int
        JPEG quality, 1 to 100.
    """
    import cv2

    if kind == "PNG":
        options = [cv2.IMWRITE_PNG_COMPRESSION, 3]
    elif kind == "JPEG":
        sampling = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
        options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
    else:
        raise StillError(f"pictures are written as PNG or JPEG, not as {one_line(kind, 20)}")
    done, out = cv2.imencode(".png" if kind == "PNG" else ".jpg", bgr, options)
    if not done:
        raise StillError("the picture could not be written; is it larger than 65500 pixels on a side?")
    return out.tobytes()
