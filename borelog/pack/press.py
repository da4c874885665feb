"""The child that prints: one job folder in, one PDF out. Run as ``python -m borelog.pack.press FOLDER``.

A child, because typesetting takes about 3 MiB a still that only an ending process gives back, and because a failure in
it must not take the screens down.
"""

from __future__ import annotations

import datetime
import json
import sys
from pathlib import Path
from typing import Any

ARCHIVAL: Any = ["a-3a", "ua-1"]


def _moment(text: str) -> datetime.datetime:
    try:
        told = datetime.datetime.fromisoformat(text)
    except ValueError:
        told = datetime.datetime(2000, 1, 1)
    return (told if told.tzinfo else told.replace(tzinfo=datetime.UTC)).astimezone(datetime.UTC)


def _letters(texts: str) -> str:
    """A source that sets every letter used, each once: a font that lacks one makes it fail under the standards."""
    return (
        '#set document(title: "letters", date: datetime(year: 2000, month: 1, day: 1))\n#set text(lang: "en", '
        'font: ("Libertinus Serif", "DejaVu Sans Mono", "New Computer Modern"))\n#text('
        + json.dumps(texts, ensure_ascii=False)
        + ")\n"
    )


def _printable(job: Path, letters: str, system: bool) -> bool:
    import typst

    probe = job / "letters.typ"
    probe.write_text(_letters(letters), encoding="utf-8")
    try:
        typst.compile(str(probe), root=str(job), pdf_standards=ARCHIVAL, ignore_system_fonts=not system)
    except typst.TypstError:
        return False
    return True


def press(job: Path) -> dict[str, Any]:
    """Print a job folder: a report to ``report.pdf``, saying whether it keeps the archive standards, or cards to pictures.

    Letters are tried first with the fonts of the wheel, then with the system's too; where one is in neither, the PDF is
    plain and shows a box for it.
    """
    import typst

    order = json.loads((job / "order.json").read_text(encoding="utf-8"))
    letters = order["letters"]
    system = bool(letters) and not _printable(job, letters, False)
    archival = not system or _printable(job, letters, True)
    common: dict[str, Any] = {
        "root": str(job),
        "ignore_system_fonts": not system,
        "timestamp": _moment(order["made"]),
        "sys_inputs": {"paper": order["paper"]},
    }
    source = str(job / order["template"])
    if order["template"] == "chat.typ":
        pages: Any = typst.compile(source, format="png", ppi=144, **common)
        for i, page in enumerate(pages if isinstance(pages, list) else [pages], 1):
            (job / f"card-{i}.png").write_bytes(page)
        return {"archival": False, "trouble": ""}
    trouble = ""
    data: Any = b""
    if archival:
        try:
            data = typst.compile(source, pdf_standards=ARCHIVAL, **common)
        except typst.TypstError as error:
            archival, trouble = False, error.message
    if not archival:
        data = typst.compile(source, pdf_standards=["1.7"], **common)
    (job / "report.pdf").write_bytes(data)
    return {"archival": archival, "trouble": trouble}


if __name__ == "__main__":
    print(json.dumps(press(Path(sys.argv[1]))))
