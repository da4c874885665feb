"""The pack held against the outside: other people's tools and published rules say it is right."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from borelog.pack.build import build
from borelog.pack.coding import schema


@pytest.mark.parametrize("reader", ["archive", "customer", "buyer", "machinist", "insurer"])
def test_bagit_library_calls_it_valid(packs, reader):
    """The reference library for RFC 8493 (PyPI bagit, Library of Congress)."""
    bagit = pytest.importorskip("bagit")
    bag = bagit.Bag(str(packs[reader].folder))
    assert bag.validate(processes=1)
    assert bag.version_info == (1, 0)
    assert bag.info["Payload-Oxum"]


def test_declaration_is_rfc_8493(packs):
    """RFC 8493, 2.1.1: exactly two lines, UTF-8, no byte order mark."""
    raw = (packs["archive"].folder / "bagit.txt").read_bytes()
    assert raw == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def test_manifests_are_read_by_sha256sum(packs):
    """What README tells a receiver to run."""
    if shutil.which("sha256sum") is None:
        pytest.skip("no sha256sum on this system")
    done = subprocess.run(
        ["sha256sum", "-c", "--strict", "--quiet", "manifest-sha256.txt", "tagmanifest-sha256.txt"],
        cwd=packs["archive"].folder, capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


def test_schema_is_draft_2020_12_and_the_documents_fit(packs):
    jsonschema = pytest.importorskip("jsonschema")
    made = json.loads(schema())
    assert made["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(made)
    validator = jsonschema.Draft202012Validator(made)
    for built in packs.values():
        folder = built.folder / "data"
        assert (folder / "inspection.schema.json").read_bytes() == schema()
        document = json.loads((folder / "inspection.json").read_text())
        assert not list(validator.iter_errors(document))
        document["about"]["number"] = 0
        document["stills"][0]["file"] = "../x"
        document["stranger"] = 1
        assert len(list(validator.iter_errors(document))) == 3


def test_check_jsonschema_accepts(packs):
    """The command-line checker, as a receiver would run it, offline."""
    pytest.importorskip("check_jsonschema")
    folder = packs["customer"].folder / "data"
    done = subprocess.run(
        [sys.executable, "-m", "check_jsonschema", "--schemafile", folder / "inspection.schema.json",
         folder / "inspection.json"],
        capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout


def test_frictionless_accepts_the_tables(packs):
    """The reference library for Data Package and Table Schema, in a process of its own for its warnings."""
    pytest.importorskip("frictionless")
    code = (
        "import sys, frictionless\n"
        "report = frictionless.validate(sys.argv[1])\n"
        "print(report.flatten(['code', 'message'])); sys.exit(not report.valid)"
    )
    for reader in ("archive", "buyer"):
        path = packs[reader].folder / "data/datapackage.json"
        done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, check=False)
        assert done.returncode == 0, done.stdout


def test_tables_carry_digest_and_size(packs):
    """Data Package 2.0: resource `hash` and `bytes`; paths relative, POSIX, no parent folder."""
    folder = packs["archive"].folder / "data"
    package = json.loads((folder / "datapackage.json").read_text())
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    for resource in package["resources"]:
        data = (folder / resource["path"]).read_bytes()
        assert resource["bytes"] == len(data)
        assert resource["hash"] == f"sha256:{hashlib.sha256(data).hexdigest()}"
        assert ".." not in resource["path"]
        rows = list(csv.reader(data.decode().splitlines()))
        assert rows[0] == [f["name"] for f in resource["schema"]["fields"]]
        assert data.endswith(b"\r\n")


def test_annotations_keep_to_the_web_annotation_model(packs):
    """W3C Web Annotation Data Model (2017): 3.1 context, id, type, target; 4.2.1 fragment and 4.2.8 SVG selectors."""
    page = json.loads((packs["archive"].folder / "data/annotations/annotations.jsonld").read_text())
    assert page["@context"] == "http://www.w3.org/ns/anno.jsonld"
    assert page["type"] == "AnnotationPage"
    kinds = set()
    for item in page["items"]:
        assert item["type"] == "Annotation"
        assert item["id"].startswith("urn:")
        selector = item["target"]["selector"]
        kinds.add(selector["type"])
        if selector["type"] == "FragmentSelector":
            assert selector["conformsTo"] == "http://www.w3.org/TR/media-frags/"
            # Media Fragments URI 1.0, 4.2.2: whole pixels
            assert re.fullmatch(r"xywh=pixel:\d+,\d+,\d+,\d+", selector["value"])
        else:
            assert selector["value"].startswith('<svg xmlns="http://www.w3.org/2000/svg">')
        for body in item["body"]:
            assert body["type"] == "TextualBody"
            assert body["purpose"] in ("tagging", "describing")
    assert kinds == {"FragmentSelector", "SvgSelector"}
    ids = [item["id"] for item in page["items"]]
    assert len(ids) == len(set(ids))


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_pycocotools_loads_the_marks(scene, tmp_path, capsys):
    """The reference library for COCO reads boxes and masks; the mask's area is the outline's within 1 %."""
    pytest.importorskip("pycocotools")
    from pycocotools.coco import COCO

    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer",
        pdf=False, coco=True, sync=False,
    )  # fmt: skip
    coco = COCO(str(built.folder / "data/coco.json"))
    found = coco.loadAnns(coco.getAnnIds())
    assert len(found) == 3
    for one in found:
        drawn = int(coco.annToMask(one).sum())
        assert drawn == pytest.approx(one["area"], rel=0.01)
    from borelog.pack.check import check

    assert check(built.folder).good


def test_signature_is_verified_by_openssh(scene, tmp_path):
    """The three lines a receiver runs; a changed byte and another name space are refused."""
    if shutil.which("ssh-keygen") is None:
        pytest.skip("no ssh-keygen on this system")
    from borelog.pack.check import check

    key, signers = tmp_path / "key", tmp_path / "allowed_signers"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", "", "-f", key], check=True)
    signers.write_text("shop@example.invalid " + key.with_suffix(".pub").read_text())
    built = build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer", pdf=False,
        sync=False, zipped=True, key=key,
    )  # fmt: skip
    for path in (built.folder, built.zip):
        answer = check(path, signers=signers, who="shop@example.invalid")
        assert answer.lines[-1] == "signed by shop@example.invalid, and the signature holds"
    line = ["ssh-keygen", "-Y", "verify", "-f", signers, "-I", "shop@example.invalid", "-n", "findings-pack"]
    line += ["-s", built.folder / "tagmanifest-sha256.txt.sig"]
    whole = (built.folder / "tagmanifest-sha256.txt").read_bytes()
    assert subprocess.run(line, input=whole, capture_output=True, check=False).returncode == 0
    assert subprocess.run(line, input=whole + b" ", capture_output=True, check=False).returncode != 0
    assert "signature" in {
        f.kind for f in check(built.folder, signers=signers, who="other@example.invalid").faults
    }
    bare = check(tmp_path / "pack")
    assert "signed; give" in bare.lines[-1]


def test_a_key_that_cannot_be_used_says_so(scene, tmp_path):
    if shutil.which("ssh-keygen") is None:
        pytest.skip("no ssh-keygen on this system")
    from borelog.pack.errors import PackError

    with pytest.raises(PackError, match="could not be signed"):
        build(
            scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, tmp_path / "pack", reader="buyer",
            pdf=False, sync=False, key=tmp_path / "nokey",
        )  # fmt: skip
    assert not Path(tmp_path / "pack").exists()
