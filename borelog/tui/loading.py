"""Pictures off the disk and ready to be shown, on threads of their own; the last few stay in memory."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from borelog.text import BorelogError

if TYPE_CHECKING:
    from borelog.acts.bench import Bench
    from borelog.tui.sampling import Source

KEPT = 6
"""Sources kept: at 12 megapixels each is about 48 MB with its pyramid."""

ENHANCE: tuple[tuple[str, dict[str, float | bool]], ...] = (
    ("", {}),
    ("even light, glare filled", {"gamma": 0.75, "fill_glare": True}),
    ("more contrast", {"contrast": 2.0}),
    ("less grain, sharper", {"denoise": 1.0, "sharpen": 1.0}),
)
"""Ways of showing a picture clearer, in words and as display settings; the first is none."""


class Loader:
    """Loads and keeps sources by (digest, enhancement). Safe to call from several threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[tuple[str, int], Source] = OrderedDict()
        self._lock = Lock()

    def held(self, sha256: str, enhance: int) -> Source | None:
        """The source if it is in memory."""
        with self._lock:
            found = self._kept.get((sha256, enhance))
            if found is not None:
                self._kept.move_to_end((sha256, enhance))
            return found

    def load(self, path: Path, sha256: str, enhance: int) -> Source:
        """The source, from memory or from disk; raises `BorelogError` in plain words for what is no usable picture."""
        if (found := self.held(sha256, enhance)) is not None:
            return found
        import cv2

        from borelog.stills.intake import decode_file
        from borelog.tui.sampling import source_of

        bgr, _ = decode_file(path)
        if enhance:
            from borelog.stills.look import apply, from_plain

            bgr = apply(bgr, from_plain(dict(ENHANCE[enhance][1]))).image
        source = source_of(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]
        with self._lock:
            self._kept[(sha256, enhance)] = source
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return source


def thumb_sources(bench: Bench, stills: list[str]) -> Iterator[tuple[str, Source | None]]:
    """Each still with its thumbnail ready to be shown; None where it cannot be."""
    import cv2

    from borelog.acts.filing import thumbnails_of
    from borelog.stills.intake import decode_file
    from borelog.tui.sampling import source_of

    for still, path in thumbnails_of(bench, stills):
        try:
            bgr = decode_file(path)[0] if path else None
        except BorelogError:
            bgr = None
        yield still, None if bgr is None else source_of(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]


def file_thumb(path: str) -> Source | None:
    """A small picture of a file that is not filed yet; None where it cannot be shown."""
    import cv2

    from borelog.stills.intake import decode, read_file
    from borelog.stills.thumbs import LONGEST, shrink
    from borelog.tui.sampling import source_of

    try:
        bgr, _ = decode(read_file(path), path, longest=LONGEST)
    except BorelogError:
        return None
    return source_of(cv2.cvtColor(shrink(bgr, LONGEST), cv2.COLOR_BGR2RGB))  # type: ignore[arg-type]
