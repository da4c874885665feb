"""report.pdf: archive standards, the record inside, picture streams untouched, every word findable."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest

from borelog.pack import paper
from borelog.pack.build import build
from borelog.pack.views import view_of

pikepdf = pytest.importorskip("pikepdf")
pytest.importorskip("typst")


@pytest.fixture(scope="module")
def printed(scene, tmp_path_factory) -> Path:
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path_factory.mktemp("pdf") / "archive",
        entries=scene.entries, rules=scene.rules, sync=False,
    )  # fmt: skip
    assert not any("plain PDF" in r for r in built.remarks)
    return built.folder


def test_qpdf_finds_nothing_wrong(printed):
    """qpdf --check through pikepdf."""
    with pikepdf.open(printed / "report.pdf") as pdf:
        assert pdf.check_pdf_syntax() == []


def test_qpdf_the_program_finds_nothing_wrong_either(printed):
    if shutil.which("qpdf") is None:
        pytest.skip("no qpdf here; install the package qpdf")
    done = subprocess.run(["qpdf", "--check", "report.pdf"], cwd=printed, capture_output=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def test_metadata_says_pdf_a_3a_and_pdf_ua_1(printed, scene):
    """ISO 19005-3 and ISO 14289-1 name the XMP fields that claim conformance; title and language are demanded by both."""
    with pikepdf.open(printed / "report.pdf") as pdf:
        meta = pdf.open_metadata()
        assert (meta["pdfaid:part"], meta["pdfaid:conformance"]) == ("3", "A")
        assert meta["pdfuaid:part"] == "1"
        assert str(pdf.Root.Lang) == "en"
        assert scene.inspection.name in str(meta["dc:title"])
        assert bool(pdf.Root.MarkInfo.Marked)
        assert "/StructTreeRoot" in pdf.Root


def test_the_record_is_attached(printed):
    with pikepdf.open(printed / "report.pdf") as pdf:
        attached = pdf.attachments["inspection.json"].get_file()
        assert attached.read_bytes() == (printed / "data/inspection.json").read_bytes()
        assert attached.mime_type == "application/json"


def test_jpeg_streams_are_those_of_the_files(printed, scene):
    """A photo is evidence: its compressed bytes stand in the PDF as they stand in the (stripped) file."""
    stripped = set()
    for name, orientation in (("IMG_0002.JPG", 6),):
        data = scene.journal.pictures.read(scene.digests[name])
        assert view_of(data, "JPEG", orientation=orientation).changed == "metadata taken out"
        stripped.add(hashlib.sha256(view_of(data, "JPEG").data).hexdigest())
    stripped.add(hashlib.sha256((printed / "data/views/s001.jpg").read_bytes()).hexdigest())
    with pikepdf.open(printed / "report.pdf") as pdf:
        inside = {
            hashlib.sha256(o.read_raw_bytes()).hexdigest()
            for o in pdf.objects
            if isinstance(o, pikepdf.Stream)
            and o.get("/Subtype") == "/Image"
            and o.get("/Filter") == "/DCTDecode"
        }
    assert inside == stripped


def test_every_word_is_findable(printed, scene):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this system")
    text = subprocess.run(
        ["pdftotext", "-layout", printed / "report.pdf", "-"], capture_output=True, check=True
    ).stdout
    words = " ".join(text.decode().split())
    for wanted in (
        "Head off: cylinder 3 leaks", "Leak-down on cylinders 1, 2 and 4", "Sand-blast pits", "pitted rim", "178 176 psi",
        "Not noted:", "Readings that cannot both stand", "For the machinist", "For a buyer", "For the insurer",
        "Left out of this copy", "It ran fine until last week", "Keep parts by cylinder", scene.digests["crown.png"],
    ):  # fmt: skip
        assert wanted in words, wanted


def test_letter_form(scene, tmp_path):
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer",
        paper="us-letter", sync=False,
    )  # fmt: skip
    with pikepdf.open(built.folder / "report.pdf") as pdf:
        box = [float(x) for x in pdf.pages[0].MediaBox]
    assert (box[2], box[3]) == (612, 792)


def test_unknown_paper(scene, tmp_path):
    with pytest.raises(paper.PackError, match="papers: a4, us-letter"):
        build(
            scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer",
            paper="a3",
        )  # fmt: skip


def test_same_record_same_paper(scene, printed, tmp_path):
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "archive", entries=scene.entries,
        rules=scene.rules, sync=False,
    )  # fmt: skip
    assert (built.folder / "report.pdf").read_bytes() == (printed / "report.pdf").read_bytes()


def test_without_the_paper_maker_the_page_serves(scene, tmp_path, monkeypatch):
    monkeypatch.setattr(paper, "available", lambda: False)
    built = build(
        scene.inspection,
        scene.engine,
        scene.verdict,
        scene.journal.pictures,
        tmp_path / "pack",
        reader="buyer",
        sync=False,
    )
    assert not (built.folder / "report.pdf").exists()
    assert any("print report.html from the browser" in r for r in built.remarks)
    assert "Print   report.html from the browser." in (built.folder / "README.txt").read_text()
    assert "Report-PDF: none" in (built.folder / "bag-info.txt").read_text()


def test_letters_that_no_font_has_make_a_plain_pdf_and_say_so(scenes, tmp_path):
    scene = scenes.build_scene(tmp_path / "log", note="private use \uf8ff here")
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="archive",
        entries=scene.entries, sync=False,
    )  # fmt: skip
    assert any("plain PDF" in r for r in built.remarks)
    assert "Report-PDF: plain" in (built.folder / "bag-info.txt").read_text()
    assert "plain PDF: some letters" in (built.folder / "README.txt").read_text()
    scene.journal.close()


@pytest.mark.parametrize(
    "note", ['#read("/etc/passwd")', '#image("x") $x^2$ *b* _i_ @ref <lab> \\ // `raw`', "@preview/x:1.0.0"]
)
def test_words_are_never_markup(scenes, tmp_path, note):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this system")
    scene = scenes.build_scene(tmp_path / "log", note=note)
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="archive",
        entries=scene.entries, sync=False,
    )  # fmt: skip
    text = subprocess.run(
        ["pdftotext", "-raw", built.folder / "report.pdf", "-"], capture_output=True, check=True
    ).stdout
    assert "".join(note.split()) in "".join(text.decode().split())
    scene.journal.close()


def test_at_most_so_many_stills(scene, monkeypatch):
    monkeypatch.setattr(paper, "MOST_STILLS", 2)
    stills = {s.id: (b"", "image/jpeg") for s in scene.inspection and _document(scene).stills}
    chosen = paper._chosen(_document(scene), stills)
    assert list(chosen) == ["s001", "s002"]


def _document(scene):
    from borelog.pack.gather import gather

    return gather(scene.inspection, scene.engine, scene.verdict)
