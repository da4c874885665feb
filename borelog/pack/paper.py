"""`report.pdf`: the same record on A4 or Letter, PDF/A-3a and PDF/UA-1 with `inspection.json` attached."""

from __future__ import annotations

import importlib.util
import json
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from borelog.pack import telling
from borelog.pack.coding import encode
from borelog.pack.document import Document, StillRow
from borelog.pack.errors import PackError
from borelog.pack.overlay import overlay
from borelog.pack.page import template_text
from borelog.pack.sheet import sheet
from borelog.text import one_line

MOST_STILLS = 150
"""Stills in one PDF: typesetting takes about 3 MiB each."""
PAPERS = ("a4", "us-letter")
_SECONDS = 600


@dataclass(frozen=True, slots=True)
class Printed:
    """The PDF (empty: none was made), whether it keeps the archive standards, and what to tell the person."""

    data: bytes
    archival: bool
    remarks: tuple[str, ...]


def available() -> bool:
    """Whether the paper maker is installed; a machine without its wheel still makes the page."""
    return importlib.util.find_spec("typst") is not None


def printed(document: Document, stills: Mapping[str, tuple[bytes, str]], *, paper: str = "a4") -> Printed:
    """Print the document.

    Parameters
    ----------
    document
        What to print.
    stills
        By id: bytes and media type of each copy, stripped and masked. JPEG streams go in untouched.
    paper
        'a4' or 'us-letter'.

    Raises
    ------
    PackError
        For a paper that is not known, or when the paper maker fails.
    """
    if paper not in PAPERS:
        raise PackError(f"no paper is called {paper!r}; papers: {', '.join(PAPERS)}")
    if not available():
        words = "no report.pdf: print report.html from the browser, or pip install typst"
        return Printed(b"", False, (words,))
    chosen = _chosen(document, stills)
    remarks = []
    if len(chosen) < len(stills):
        remarks.append(
            f"report.pdf shows {len(chosen)} of {len(stills)} stills, those of findings first; report.html shows all"
        )
    with tempfile.TemporaryDirectory(prefix="borelog-") as folder:
        job = Path(folder)
        lay_out(job, document, chosen, "report.typ", paper)
        answer = run(job)
        data = (job / "report.pdf").read_bytes()
    if not answer["archival"]:
        why = one_line(answer["trouble"], 120) or "some letters are in no font here"
        remarks.append(f"report.pdf is a plain PDF, not PDF/A: {why}")
    return Printed(data, bool(answer["archival"]), tuple(remarks))


def _chosen(document: Document, stills: Mapping[str, tuple[bytes, str]]) -> dict[str, tuple[bytes, str]]:
    """The stills that fit: those of the worst findings first, then in order."""
    worst = sorted(document.findings, key=lambda f: -f.severity)
    wanted = (
        [m.still for f in worst for m in f.marks]
        + [s.id for s in document.stills if not s.aside]
        + list(stills)
    )
    picked = [i for i in dict.fromkeys(wanted) if i in stills][:MOST_STILLS]
    return {i: stills[i] for i in stills if i in set(picked)}


def run(job: Path) -> dict[str, Any]:
    """Let the child print a job folder; what it says of it."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "borelog.pack.press", str(job)],
            capture_output=True, timeout=_SECONDS, stdin=subprocess.DEVNULL, check=False,
        )  # fmt: skip
    except (OSError, subprocess.TimeoutExpired) as error:
        raise PackError("the paper maker did not come to an end; make the pack without PDF") from error
    if done.returncode != 0:
        lines = done.stderr.decode("utf-8", "replace").strip().splitlines() or [""]
        raise PackError(f"the paper maker failed ({one_line(lines[-1], 160)}); make the pack without PDF")
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def lay_out(
    job: Path, document: Document, stills: Mapping[str, tuple[bytes, str]], template: str, paper: str = "a4"
) -> None:
    """Everything the paper maker may see, in one folder of its own: ``template`` is what it sets."""
    marks = telling.marks_on(document)
    turns: dict[str, int] = {}
    for s in document.stills:
        if s.id not in stills:
            continue
        data, mime = stills[s.id]
        if mime == "image/jpeg" and s.orientation != 1:
            data, turned = _unturned(data, s)
            turns |= turned
        (job / f"{s.id}.{mime.removeprefix('image/')}").write_bytes(data)
        if marks[s.id]:
            drawn = overlay(marks[s.id], s.width, s.height)
            (job / f"{s.id}.svg").write_text(drawn, encoding="utf-8")
    (job / "plan.svg").write_text(telling.plan(document), encoding="utf-8")
    if chart := telling.money_chart(document):
        (job / "money.svg").write_text(chart, encoding="utf-8")
    files = {i: f"{i}.{mime.removeprefix('image/')}" for i, (_, mime) in stills.items()}
    for i, group in enumerate(telling.reading_groups(document)):
        if group.chart:
            (job / f"chart{i}.svg").write_text(group.chart, encoding="utf-8")
    told = sheet(document, files, turns)
    (job / "told.json").write_text(json.dumps(told, ensure_ascii=False), encoding="utf-8")
    (job / "inspection.json").write_bytes(encode(document))
    (job / template).write_text(template_text(template), encoding="utf-8")
    letters = "".join(sorted({c for text in _texts(told) for c in text if ord(c) > 126}))
    order = {
        "template": template,
        "paper": paper,
        "made": document.about.made,
        "letters": letters,
    }
    (job / "order.json").write_text(json.dumps(order, ensure_ascii=False), encoding="utf-8")


def _unturned(data: bytes, still: StillRow) -> tuple[bytes, dict[str, int]]:
    """A JPEG whose stored turn is taken out, to be turned by the typesetter: it would re-encode the picture otherwise."""
    from borelog.stills.metadata import strip_jpeg

    bare = strip_jpeg(data, 1, still.id)[0]
    return (bare, {still.id: still.orientation}) if bare != data else (data, {})


def _texts(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for v in value.values():
            yield from _texts(v)
    elif isinstance(value, list | tuple):
        for v in value:
            yield from _texts(v)
