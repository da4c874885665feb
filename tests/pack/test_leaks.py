"""No secret reaches a reader who is not to have it: every file of every pack is searched, paper and attachments too.

Each secret is a word or number that stands nowhere else. The table says who may see it; the test looks that it is there
for those, so that it cannot pass by searching in the wrong place.
"""

from __future__ import annotations

import html
import io
import re
import shutil
import subprocess
from pathlib import Path

import msgspec
import pytest

from borelog.logbook import entries as e
from borelog.pack.build import build
from borelog.pack.privacy import READERS

ALL = set(READERS)
OWNERS = {"archive", "customer", "insurer"}
SECRETS: dict[str, tuple[str, set[str]]] = {
    "seller's words": ("quokkastory", OWNERS),
    "who said it": ("quokkateller", OWNERS),
    "consent": ("quokkaconsent", OWNERS),
    "who consented": ("quokkaowner", OWNERS),
    "price of putting it back": ("41771", OWNERS),
    "stop price of the consent": ("41773", OWNERS),
    "note": ("quokkanote", OWNERS | {"machinist"}),
    "purchase price": ("41777", {"archive"}),
    "hourly rate": ("41779", {"archive"}),
    "course, worse": ("41801", OWNERS),
    "course, middle": ("41809", OWNERS),
    "course, better": ("41813", OWNERS),
    "stop of the verdict": ("41843", OWNERS),
    "what moves it": ("quokkamover", OWNERS),
    "sentence of the money": ("41849", OWNERS),
    "most to pay": ("41851", {"archive"}),
    "profit": ("41863", {"archive"}),
    "chance of a loss": ("0.41887", {"archive"}),
    "gain of a test": ("41893", OWNERS),
    "worth of a test": ("41897", OWNERS),
    "call": ("quokkacall", OWNERS),
    "withdrawn note": ("quokkawithdrawn", {"archive", "insurer"}),
    "corrected reading": ("41903", {"archive", "insurer"}),
    "camera's file name": ("quokkafile", {"archive"}),
    "camera": ("quokkacamera", {"archive"}),
    "number plate": ("QUOKKA 77", {"archive"}),
    "chassis number": ("QKKZZINVENT417", {"archive"}),
    "finding": ("quokkafinding", ALL),
    "reading": ("41911", ALL),
}
"""What: (the word, readers who may see it). Plate and chassis number stand only in the archive's journal."""


@pytest.fixture(scope="module")
def secretive(scenes, tmp_path_factory):
    """A scene with a secret of each kind."""
    made = scenes.build_scene(tmp_path_factory.mktemp("secrets"), name="Grey saloon")
    data = scenes.encoded(scenes.picture(31), "JPEG")
    filed = scenes.filed(made.journal, "quokkafile.jpg", data, "JPEG", 640, 480)
    filed = msgspec.structs.replace(filed, camera="quokkacamera")
    bodies = [
        (e.Told("quokkateller", "quokkastory", "2 May"), "told"),
        (e.Consent("quokkaowner", "41771", "41773", "quokkaconsent", "3 May"), ""),
        (e.Note("quokkanote"), ""),
        (e.Prices({"purchase_price": "41777", "paid_hour": "41779"}), ""),
        (e.CallTaken("head_off", "quokkacall", {}, "a" * 64, "decided"), ""),
        (filed, ""),
        (e.StillPlaced(filed.sha256, cylinder=2), ""),
        (e.Facts({"plate": "QUOKKA 77", "chassis_number": "QKKZZINVENT417"}), ""),
        (e.Finding("own_words", cylinder=2, own="quokkafinding", severity=1), "seen"),
        (e.Reading("oil_pressure", None, "41911 Pa", (41911.0,), "Pa"), "measured"),
    ]
    made.journal.append_many(made.id, bodies, who=scenes.WHO, at=scenes.AT)
    first = made.journal.append(
        made.id, e.Reading("compression_wet", 2, "41903 Pa", (41903.0,), "Pa"), who=scenes.WHO, at=scenes.AT
    )
    corrected = e.Reading("compression_wet", 2, "160 psi", (160.0,), "psi")
    made.journal.append(made.id, e.Correct(first.entry.id, corrected), who=scenes.WHO, at=scenes.AT)
    gone = made.journal.append(made.id, e.Note("quokkawithdrawn"), who=scenes.WHO, at=scenes.AT)
    made.journal.append(made.id, e.Withdraw(gone.entry.id, "wrong car"), who=scenes.WHO, at=scenes.AT)
    money = made.verdict.money
    first_course = msgspec.structs.replace(
        money.courses[0], worse=41801.0, middle=41809.0, better=41813.0, loss_chance=0.41887
    )
    money = msgspec.structs.replace(
        money, courses=(first_course, *money.courses[1:]), stops=("Stop if over 41843.",), movers=("quokkamover",),
        sentence="Ahead by 41849.", most=41851.0, profit=41863.0,
    )  # fmt: skip
    test = msgspec.structs.replace(made.verdict.next_tests[0], gain="worth about 41893", worth=41897.0)
    made.verdict = msgspec.structs.replace(made.verdict, money=money, next_tests=(test,))
    yield made
    made.journal.close()


def _paper(path: Path) -> str:
    """What the paper says: its text where poppler is here, its attachments and its metadata in any case."""
    import pikepdf

    out = ""
    if shutil.which("pdftotext"):
        out = subprocess.run(["pdftotext", str(path), "-"], capture_output=True, check=True).stdout.decode()
    with pikepdf.open(io.BytesIO(path.read_bytes())) as pdf:
        for spec in pdf.attachments.values():
            out += spec.get_file().read_bytes().decode()
        out += "".join(str(v) for v in pdf.docinfo.values())
        out += "".join(
            str(o.get("/Alt")) for o in pdf.objects if isinstance(o, pikepdf.Dictionary) and "/Alt" in o
        )
    return out


def told(folder: Path) -> str:
    """Every text a reader can get at, on one line without soft line breaks."""
    out = []
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        if path.suffix == ".pdf":
            out.append(_paper(path))
        raw = path.read_bytes()
        out.append(raw.decode("utf-8", "replace"))
        if path.suffix == ".html":
            out.append(html.unescape(re.sub(r"<[^>]*>", "", re.sub(r'src="data:[^"]*"', "", out[-1]))))
    return " ".join(out)


@pytest.mark.parametrize("reader", READERS)
def test_every_secret_reaches_those_who_may_see_it_and_nobody_else(secretive, reader, tmp_path):
    pytest.importorskip("typst")
    built = build(
        secretive.inspection, secretive.engine, secretive.verdict, secretive.journal.pictures, tmp_path / "pack",
        reader=reader, entries=secretive.entries, rules=secretive.rules, coco=True, sync=False,
    )  # fmt: skip
    assert (built.folder / "report.pdf").exists()
    text = told(built.folder)
    # Whole words only: a digest may hold any five digits.
    seen = {
        what
        for what, (word, _) in SECRETS.items()
        if re.search(rf"(?<![0-9A-Za-z]){re.escape(word)}(?![0-9A-Za-z])", text)
    }
    wanted = {what for what, (_, readers) in SECRETS.items() if reader in readers}
    assert seen - wanted == set(), "leaked"
    assert wanted - seen == set(), "lost"
