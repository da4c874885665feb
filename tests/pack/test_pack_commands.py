"""The commands that hand over, check and take in, as a person types them."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest

from borelog.cli.main import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(scenes, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Commands on a logbook with one inspection of six stills."""
    scenes.build_scene(tmp_path / "log").journal.close()

    def go(*args: str | Path) -> tuple[int, str, str]:
        try:
            code = main(["--logbook", str(tmp_path / "log"), "--who", "MB", *map(str, args)])
        except SystemExit as stop:
            code = int(stop.code or 0)
        said = capsys.readouterr()
        return code, " ".join(said.out.split()), " ".join(said.err.split())

    return go


def made(run: Run, tmp_path: Path, *args: str | Path) -> dict[str, object]:
    code, out, err = run("pack", "last", "-o", tmp_path / "out", "--json", *args)
    assert code == 0, err
    found: dict[str, object] = json.loads(out)
    return found


def test_plate_and_chassis_number_only_when_asked_for(run: Run, tmp_path: Path) -> None:
    plain = Path(str(made(run, tmp_path, "--for", "buyer")["folder"]))
    assert "AB CD 123" not in (plain / "report.html").read_text()
    asked = Path(
        str(made(run, tmp_path, "--for", "buyer", "--also", "plate", "--also", "chassis_full")["folder"])
    )
    text = (asked / "report.html").read_text()
    assert "AB CD 123" in text
    assert "WZZINVENTED123456" in text
    assert run("pack", "last", "--also", "journal")[0] == 2


def test_coco_letter_cards_and_zip(run: Run, tmp_path: Path) -> None:
    pytest.importorskip("typst")
    import pikepdf

    said = made(run, tmp_path, "--coco", "--letter", "--cards", "--zip")
    folder = Path(str(said["folder"]))
    assert json.loads((folder / "data/coco.json").read_text())["annotations"]
    with pikepdf.open(folder / "report.pdf") as pdf:
        box = [float(v) for v in pdf.pages[0].mediabox]
    assert box[2:] == [612.0, 792.0]  # 8.5 x 11 inches of 72 points
    assert len(list(folder.with_name(folder.name + "-chat").glob("*.png"))) >= 2
    code, out, _ = run("check", str(said["zip"]))
    assert code == 0
    assert "every digest right" in out


@pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="no ssh-keygen here; install OpenSSH")
def test_signed_checked_by_us_and_by_the_three_lines_of_the_readme(run: Run, tmp_path: Path) -> None:
    key, signers = tmp_path / "key", tmp_path / "allowed_signers"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
    signers.write_text("shop@example.invalid " + key.with_suffix(".pub").read_text())
    folder = Path(str(made(run, tmp_path, "--sign", key)["folder"]))
    code, out, _ = run("check", folder, "--signers", signers, "--by", "shop@example.invalid")
    assert (code, "the signature holds" in out) == (0, True)
    assert run("check", folder, "--signers", signers, "--by", "other@example.invalid")[0] == 1
    assert run("check", folder, "--signers", signers)[0] == 2
    shutil.copy(signers, folder / "allowed_signers")
    readme = (folder / "README.txt").read_text()
    for tool in ("sha256sum -c", "ssh-keygen -Y verify"):
        line = next(x for x in readme.splitlines() if tool in x)
        line = line[line.index(tool) :].split("     (")[0].replace("WHO", "shop@example.invalid")
        if shutil.which(tool.split()[0]):
            done = subprocess.run(line, shell=True, cwd=folder, capture_output=True, check=False)
            assert done.returncode == 0, done.stderr


def test_taken_in_by_another_and_told_in_words(run: Run, tmp_path: Path) -> None:
    folder = str(made(run, tmp_path, "--for", "archive")["folder"])
    other = ["--logbook", str(tmp_path / "other"), "--who", "TB"]
    assert main([*other, "take", folder]) == 0
    code, out, _ = run("take", folder)
    assert code == 0
    assert "0 new of" in out
    code, _, err = run("take", tmp_path / "nothing")
    assert code in (3, 4)
    assert "no pack at nothing" in err


def test_a_bad_pack_is_one_line_and_exit_code(run: Run, tmp_path: Path) -> None:
    folder = Path(str(made(run, tmp_path)["folder"]))
    (folder / "report2.html").write_text("<h1>me instead</h1>")
    code, out, _ = run("check", folder)
    assert code == 1
    assert "report2.html" in out
    code, _, err = run("take", folder)
    assert code == 4
    assert err.startswith("borelog: the pack is refused and nothing was taken in. report2.html")
