"""What pictures tell on their own: measures by name, two files compared, a lens calibrated. Nothing is recorded here."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import msgspec

from borelog.acts.outputs import spare, write_made
from borelog.logbook.pictures import digest_of_file
from borelog.quantity import parse
from borelog.text import BorelogError, one_line


class PicturingError(BorelogError):
    """An option for pictures that cannot be used."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Told:
    """A result in words and as plain values."""

    text: str
    values: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Compared:
    """Two pictures compared and written out."""

    aligned: bool
    lines: tuple[str, ...]
    values: dict[str, Any]


def _point_pairs(text: str) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """'120,80>131,84 ...' as pairs of points."""
    number = r"(-?\d+(?:\.\d+)?)"
    found = re.findall(rf"{number},{number}\s*>\s*{number},{number}", text)
    pairs = [((float(a), float(b)), (float(c), float(d))) for a, b, c, d in found]
    if len(pairs) < 4:
        raise PicturingError(
            "--pairs needs four pairs of points, for example '120,80>131,84 500,90>512,95 ...'"
        )
    return pairs


def compare_files(
    first: Path,
    second: Path,
    out: Path,
    *,
    thorough: bool = False,
    pairs: str = "",
    gif: bool = False,
    threshold: float = 0.0,
) -> Compared:
    """Align two pictures of one place and write pair, map, regions and pictures for a chat.

    Raises
    ------
    PicturingError
        For a threshold or pairs of points that cannot be used.
    OutputError
        Where the folder cannot be written, or one of the two pictures would be replaced.
    """
    from borelog.stills.change import THRESHOLD, THRESHOLD_RANGE
    from borelog.stills.compare import compare, files_of
    from borelog.stills.intake import decode_file

    low, high = THRESHOLD_RANGE
    if threshold and not low <= threshold <= high:
        raise PicturingError(f"a threshold goes from {low:g} to {high:g}; {THRESHOLD:g} is usual")
    a, _ = decode_file(first)
    b, _ = decode_file(second)
    points = _point_pairs(pairs) if pairs else None
    modes: tuple[Literal["thorough", "fast"], ...] = ("thorough",) if thorough else ("fast", "thorough")
    # What the fast way cannot lay is given to the thorough one before a person is asked for points.
    tries = (compare(a, b, mode=m, points=points, threshold=threshold or THRESHOLD) for m in modes)
    result = next(tries)
    if not result.alignment.accepted:
        result = next(tries, result)
    files = files_of(result, (one_line(first.name, 40), one_line(second.name, 40)), blink=gif)
    originals = {digest_of_file(first), digest_of_file(second)}
    kept = [write_made(out / name, data, never=originals) for name, data in files.items()]
    lines = [*result.text().splitlines()]
    lines += [
        f"{r.rank}. different, {'lighter' if r.lighter else 'darker'}, at {r.box.x:.0f},{r.box.y:.0f}, "
        f"{r.box.width:.0f} x {r.box.height:.0f} px, strength {r.score:.1f}"
        for r in result.regions
    ]
    lines += [f"written: {f}" for f in kept]
    if not result.alignment.accepted:
        lines.append("not aligned: mark four pairs of points with --pairs 'x,y>x,y ...'")
    return Compared(
        result.alignment.accepted, tuple(lines), {**result.as_dict(), "files": [str(f) for f in kept]}
    )


def measures() -> list[tuple[str, str, str]]:
    """Every measure there is: name, what it measures, its parameters."""
    from borelog.stills.measuring import MEASURES

    return [(m.name, m.summary, ", ".join(p.usage for p in m.parameters)) for m in MEASURES.values()]


def measure_file(name: str, path: Path, options: dict[str, str]) -> Told:
    """One measure on one picture, with plain parameters as typed.

    Raises
    ------
    OutputError
        If what is laid flat would be written over the picture itself.
    """
    from borelog.stills.intake import decode_file
    from borelog.stills.measuring import run

    pixels, _ = decode_file(path)
    if options.get("out"):
        spare(Path(options["out"]), (digest_of_file(path),))
    result = run(name, pixels, options)
    return Told(result.text, result.values)


def calibrate(paths: Sequence[Path], inner: str, square: str) -> Told:
    """A probe's lens from pictures of a chessboard; '9x6' inner corners. ``values['lens']`` can be kept with a probe.

    Raises
    ------
    StillError
        Where the board is found in too few of them; pictures that cannot be read are named beside the result.
    """
    from borelog.stills import StillError
    from borelog.stills.intake import decode_file
    from borelog.stills.lens import calibrate as fit

    match = re.fullmatch(r"\s*(\d{1,2})\s*[x×]\s*(\d{1,2})\s*", inner.lower())
    if not match:
        raise PicturingError(
            f"{one_line(inner, 20)!r}: give the inner corners across and down, for example 9x6"
        )
    side = parse(square, "mm").to("mm") if square else 1.0
    unread: list[str] = []

    def boards() -> Iterator[tuple[str, Any]]:
        for path in paths:
            try:
                yield path.name, decode_file(path)[0]
            except StillError as error:
                unread.append(str(error))

    found = fit(boards(), int(match[1]), int(match[2]), side)
    lens = found.lens
    refused = [*unread, *found.refused]
    lines = [
        f"fx {lens.fx:.1f}, fy {lens.fy:.1f}, centre {lens.cx:.1f}, {lens.cy:.1f} px; rms {lens.rms:.2f} px over {lens.views} views"
    ]
    lines += [f"{n}: {e:.2f} px" for n, e in found.errors]
    lines += [*refused, *found.advice]
    return Told("\n".join(lines), {"lens": _plain(lens), "errors": dict(found.errors), "refused": refused})


def _plain(lens: Any) -> dict[str, Any]:
    plain = msgspec.to_builtins(lens)
    return dict(plain)


def shown_as(path: Path, options: dict[str, str], out: Path) -> Told:
    """A copy of a picture as the display settings show it; the picture itself is not touched.

    Raises
    ------
    PicturingError
        For a setting that is no number or yes/no, or a copy that is neither PNG nor JPEG.
    OutputError
        If the copy cannot be written, or would replace the picture itself.
    """
    from borelog.stills.intake import decode_file, encode
    from borelog.stills.look import CLEARER, apply, from_plain

    values: dict[str, Any] = {}
    for name, typed in options.items():
        words = typed.strip().lower()
        if words in ("yes", "no"):
            values[name] = words == "yes"
            continue
        try:
            values[name] = float(words.replace(",", "."))
        except ValueError:
            raise PicturingError(
                f"{one_line(name, 20)}={one_line(typed, 20)}: type a number, yes or no"
            ) from None
    if not out.is_dir() and out.suffix.lower() not in (".png", ".jpg", ".jpeg"):
        raise PicturingError(f"{one_line(out.name, 60)}: a copy is written as .png or .jpg")
    look = from_plain(values) if values else CLEARER
    image, _ = decode_file(path)
    shown = apply(image, look)
    if out.is_dir():
        out = out / f"{path.stem}-shown.png"
    data = encode(shown.image, "JPEG" if out.suffix.lower() in (".jpg", ".jpeg") else "PNG")
    write_made(out, data, never=(digest_of_file(path),))
    text = f"written: {out} ({shown.words}); for the eye only, nothing is measured in it"
    return Told(text, {"file": str(out), "settings": values, "words": shown.words})
