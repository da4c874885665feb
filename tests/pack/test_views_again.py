"""`check --views`: a page or table changed and listed anew is told from the one that the document gives."""

from __future__ import annotations

import base64
import re
import sys
from pathlib import Path

import pytest

from borelog.pack import build as module
from borelog.pack.build import build
from borelog.pack.check import check
from borelog.pack.privacy import READERS

spoil = sys.modules["pack_spoil"]


@pytest.mark.parametrize("reader", READERS)
def test_honest_packs_hold(packs, reader):
    answer = check(packs[reader].folder, views=True)
    assert answer.good, answer.lines
    assert answer.lines[-2].startswith("tables, annotations and page say") or answer.lines[-1].startswith(
        "tables"
    )


@pytest.mark.parametrize("limits", [(0, 1 << 40), (0, 0)])
def test_pages_with_pictures_beside_them_hold_too(scene, limits, monkeypatch, tmp_path):
    monkeypatch.setattr(module, "INSIDE", limits[0])
    monkeypatch.setattr(module, "PREVIEWED", limits[1])
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="archive",
        entries=scene.entries, rules=scene.rules, pdf=False, sync=False,
    )  # fmt: skip
    assert check(built.folder, views=True).good


def changed(pack: Path, name: str, old: bytes, new: bytes) -> Path:
    path = pack / name
    raw = path.read_bytes()
    assert old in raw
    path.write_bytes(raw.replace(old, new))
    return spoil.relist(pack)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("report.html", b"Head off: cylinder 3 leaks", b"All sound: cylinder 3 seals"),
        ("report.html", b"</main>", b"<p>Buy it.</p></main>"),
        ("report.html", b"default-src 'none'", b"default-src *"),
        ("data/tables/readings.csv", b"108", b"178"),
        ("data/annotations/annotations.jsonld", b"pitted rim", b"clean rims"),
        ("data/datapackage.json", b"tables/readings.csv", b"http://evil.invalid/r.csv"),
    ],
)
def test_a_view_listed_anew_is_told(copy_of, name, old, new):
    pack = changed(copy_of("customer"), name, old, new)
    assert check(pack).good  # every digest is right again
    answer = check(pack, views=True)
    assert not answer.good
    assert {(f.kind, f.where) for f in answer.faults} == {("view", name)}


def test_a_picture_swapped_in_the_page_is_told(copy_of):
    pack = copy_of("customer")
    first, second = re.findall(rb"base64,([A-Za-z0-9+/=]+)", (pack / "report.html").read_bytes())[:2]
    assert base64.b64decode(first) != base64.b64decode(second)
    answer = check(changed(pack, "report.html", first, second), views=True)
    assert [f.kind for f in answer.faults] == ["view"]
    assert "another picture in the place of" in str(answer.faults[0])


def test_packs_of_another_version_are_not_compared(copy_of):
    pack = spoil.edit(copy_of("customer"), lambda d: d["about"].update(agent="borelog 99.0"))
    answer = check(pack, views=True)
    assert answer.good
    assert any("another version" in line for line in answer.lines)
