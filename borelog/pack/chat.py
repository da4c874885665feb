"""A few pictures for a chat: plan and verdict, then the worst stills with their marks and words burned in.

Messengers shrink and re-encode pictures and strip what stands beside them, so each picture carries its own engine, pack
number and caption, in letters that survive that.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from pathlib import Path

from borelog.pack import paper
from borelog.pack.document import Document
from borelog.pack.errors import PackError
from borelog.text import one_line

SIZE = (1080, 1350)
"""Pixels of a card: what common messengers pass on without shrinking much."""


def cards(document: Document, stills: Mapping[str, tuple[bytes, str]], folder: Path) -> tuple[Path, ...]:
    """Write the cards as PNG into ``folder``, which must not exist.

    Parameters
    ----------
    document
        What a reader may see.
    stills
        By id: bytes and media type of each copy, stripped and masked.
    folder
        Made here.

    Raises
    ------
    PackError
        Without the paper maker, or if the folder is there or cannot be written.
    """
    if not paper.available():
        raise PackError("cards need the paper maker: pip install typst")
    wanted = {m.still for f in document.findings for m in f.marks}
    with tempfile.TemporaryDirectory(prefix="borelog-") as desk:
        job = Path(desk)
        paper.lay_out(job, document, {i: s for i, s in stills.items() if i in wanted}, "chat.typ")
        paper.run(job)
        made = sorted(job.glob("card-*.png"), key=lambda p: int(p.stem.rpartition("-")[2]))
        try:
            folder.mkdir(parents=True)
            out = [folder / p.name for p in made]
            for source, target in zip(made, out, strict=True):
                target.write_bytes(source.read_bytes())
        except OSError as error:
            raise PackError(
                f"the cards cannot be written to {one_line(folder.name, 80)} ({error.strerror}); move it away first"
            ) from error
    return tuple(out)
