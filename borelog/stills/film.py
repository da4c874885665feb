"""The sharp, different frames of a probe's film.

The film is read through twice and nothing it claims about itself is believed: cheap probes write wrong frame counts,
and seeking in their AVI lands anywhere. The first time every frame is scored, the second time the picked ones are kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from borelog.stills import StillError
from borelog.stills.doubles import NEAR, distance, phash
from borelog.stills.focus import DARK_LEVEL, frame_score
from borelog.stills.intake import shown
from borelog.stills.kinds import FILMS, kind_of
from borelog.stills.planes import Cancelled, Picture, Stopped

# FFmpeg writes its complaints about cheap cameras straight onto the terminal unless told not to.
os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")

LOCAL = 31
MIN_GAP = 12
MOST = 40
MOST_FRAMES = 200_000
FRAME_PIXEL_CAP = 60_000_000


@dataclass(frozen=True, slots=True)
class Pick:
    """One frame: its number from 0 as read, ``seconds`` by the film's own clock, focus score, picture."""

    frame: int
    seconds: float
    score: float
    image: Picture


@dataclass(frozen=True, slots=True)
class Scored:
    """Per frame read: focus score, `focus.brightest` level, fingerprint; ``rate`` in frames a second as claimed."""

    scores: NDArray[np.float64]
    light: NDArray[np.float64]
    hashes: tuple[int, ...]
    rate: float


FilmProgress = Callable[[int, int | None], None]


def _open(path: str | os.PathLike[str]) -> cv2.VideoCapture:
    name = shown(path)
    whole = Path(path).absolute()
    try:
        if not whole.is_file():
            raise StillError(f"{name}: is no film file; name the film itself")
        with whole.open("rb") as stream:
            head = stream.read(64)
    except OSError as error:
        raise StillError(f"{name}: cannot be read ({error.strerror})") from None
    kind = kind_of(head)
    # Only containers that hold their own frames: play lists would make the reader open other files and addresses.
    if kind.name not in FILMS:
        what = "the file is empty" if not head else f"holds {kind.words}"
        raise StillError(f"{name}: {what}; films are read as AVI, MP4, MOV or Matroska")
    capture = cv2.VideoCapture(str(whole), cv2.CAP_FFMPEG)
    if not capture.isOpened():
        raise StillError(
            f"{name}: the film is damaged or in a coding that cannot be read; convert it to MJPEG AVI"
        )
    wide, high = capture.get(cv2.CAP_PROP_FRAME_WIDTH), capture.get(cv2.CAP_PROP_FRAME_HEIGHT)
    if wide * high > FRAME_PIXEL_CAP:
        capture.release()
        raise StillError(f"{name}: frames of more than 60 megapixels; save a smaller film")
    return capture


def _frames(
    path: str | os.PathLike[str], wanted: Callable[[int], bool]
) -> Iterator[tuple[int, Picture | None]]:
    capture = _open(path)
    try:
        for number in range(MOST_FRAMES):
            if not capture.grab():
                return
            image = None
            if wanted(number):
                done, frame = capture.retrieve()
                if not done or frame is None:
                    return
                image = np.asarray(frame, np.uint8)
                if image.ndim == 2:
                    image = np.asarray(cv2.cvtColor(image, cv2.COLOR_GRAY2BGR), np.uint8)
            yield number, image
    finally:
        capture.release()


def _one_ahead(frames: Iterator[tuple[int, Picture | None]]) -> Iterator[tuple[int, Picture | None]]:
    """The same frames, each decoded on a thread of its own while the one before is looked at."""
    with ThreadPoolExecutor(1) as pool:
        try:
            coming = pool.submit(next, frames, None)
            while (frame := coming.result()) is not None:
                coming = pool.submit(next, frames, None)
                yield frame
        finally:
            pool.shutdown()
            frames.close()  # type: ignore[attr-defined]


def _claimed_length(path: str | os.PathLike[str]) -> tuple[int | None, float]:
    capture = _open(path)
    try:
        count, rate = capture.get(cv2.CAP_PROP_FRAME_COUNT), capture.get(cv2.CAP_PROP_FPS)
    finally:
        capture.release()
    believable = 0 < count < MOST_FRAMES
    return (int(count) if believable else None), (rate if 0.5 <= rate <= 240 else 25.0)


def score(
    path: str | os.PathLike[str], progress: FilmProgress | None = None, cancelled: Cancelled | None = None
) -> Scored:
    """Read the film through and score every frame.

    Parameters
    ----------
    path : path
        AVI, MP4, MOV or Matroska.
    progress : callable, optional
        Called with the frames done and the count the film claims, or None once that claim has proved wrong.
    cancelled : callable, optional
        Return True to stop.

    Raises
    ------
    StillError
        When it is no film or holds no readable frame; `Stopped` when cancelled.
    """
    claim, rate = _claimed_length(path)
    scores: list[float] = []
    light: list[float] = []
    hashes: list[int] = []
    for number, image in _one_ahead(_frames(path, lambda _: True)):
        if cancelled is not None and cancelled():
            raise Stopped("stopped before the film was read through; nothing was kept")
        assert image is not None
        grey = np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), np.uint8)
        sharpness, level, small = frame_score(grey)
        scores.append(sharpness)
        light.append(level)
        hashes.append(phash(small))
        if progress is not None:
            progress(number + 1, claim if claim is not None and number < claim else None)
    if not scores:
        raise StillError(f"{shown(path)}: no frame can be read; convert the film to MJPEG AVI")
    return Scored(np.asarray(scores), np.asarray(light), tuple(hashes), rate)


def choose(scored: Scored, most: int = MOST, min_gap: int = MIN_GAP, near: int = NEAR) -> tuple[int, ...]:
    """Numbers of the frames worth keeping, in the order of the film.

    A frame is a candidate when it is sharper than the clip's median and the sharpest within its neighbourhood; ranking
    against neighbours alone would pick the best of a shake. Candidates are taken from the sharpest down, as long as
    each looks different from those already taken.

    Parameters
    ----------
    scored : Scored
        From `score`.
    most : int
        Most frames.
    min_gap : int
        Frames between two picks.
    near : int
        Largest distance of fingerprints that counts as the same view.
    """
    scores = scored.scores
    visible = scored.light > DARK_LEVEL
    if not visible.any():
        return ()
    kernel = np.ones(min(LOCAL, scores.size))
    local = np.convolve(scores, kernel, "same") / np.convolve(np.ones_like(scores), kernel, "same")
    median = float(np.median(scores[visible]))
    worth = (scores >= median) & (scores >= local) & visible
    relative = scores / np.maximum(local, 1e-9)
    order = sorted(np.flatnonzero(worth), key=lambda i: (-scores[i] * relative[i], i))
    taken: list[int] = []
    for i in order:
        if len(taken) >= most:
            break
        apart = all(abs(int(i) - j) >= min_gap for j in taken)
        if apart and all(distance(scored.hashes[i], scored.hashes[j]) > near for j in taken):
            taken.append(int(i))
    return tuple(sorted(taken))


def pick(
    path: str | os.PathLike[str],
    most: int = MOST,
    progress: FilmProgress | None = None,
    cancelled: Cancelled | None = None,
) -> Iterator[Pick]:
    """The sharp, different frames of a film, one at a time, in its order.

    Parameters and errors as for `score`; ``most`` as for `choose`. Give ``image`` to `intake.encode` as PNG, so that
    the still is exactly the frame.
    """
    scored = score(path, progress, cancelled)
    chosen = set(choose(scored, most))
    if not chosen:
        raise StillError(f"{shown(path)}: no frame shows anything; was the lamp on?")
    last = max(chosen)
    for number, image in _frames(path, chosen.__contains__):
        if cancelled is not None and cancelled():
            raise Stopped("stopped before all picked frames were kept")
        if image is not None:
            yield Pick(number, number / scored.rate, float(scored.scores[number]), image)
        if number >= last:
            return
