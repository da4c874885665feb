"""The wheel alone is enough: built from the tree, installed into a bare environment, run from a folder of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.long


def run(folder: Path, *command: str | Path) -> str:
    """Standard output of a command that must succeed, with nothing of this environment in reach."""
    env = {k: v for k, v in os.environ.items() if not k.startswith(("PYTHON", "BORELOG", "VIRTUAL_ENV"))}
    done = subprocess.run(
        list(map(str, command)), cwd=folder, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-3000:]
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel as ``pip wheel`` builds it; skips where the build's own needs cannot be had."""
    folder = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "--no-deps", "-q", "-w", str(folder), str(ROOT)],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    if "No matching distribution found for hatchling" in done.stderr:
        pytest.skip("the build backend cannot be had here")
    assert done.returncode == 0, done.stderr[-2000:]
    return next(folder.glob("borelog-*.whl"))


def test_the_wheel_holds_tables_templates_sheets_pictures_and_licence(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    here = {p.relative_to(ROOT).as_posix() for p in (ROOT / "borelog").rglob("*") if p.is_file()}
    wanted = {n for n in here if "__pycache__" not in n}
    assert wanted - names == set()
    stills = {p.name for p in (ROOT / "sample_images").iterdir()}
    assert {f"borelog/demo/sample_images/{n}" for n in stills} - names == set()
    assert any(n.endswith("licenses/LICENSE") for n in names)


def test_an_installed_wheel_does_the_job(wheel: Path, tmp_path: Path) -> None:
    """Demo, an own engine with a picture, verdict, pack and check, from a folder that knows no source tree."""
    bare = tmp_path / "bare"
    subprocess.run([sys.executable, "-m", "venv", str(bare)], check=True)
    python, borelog = bare / "bin" / "python", bare / "bin" / "borelog"
    run(tmp_path, python, "-m", "pip", "install", "-q", "--disable-pip-version-check", wheel)
    where = run(tmp_path, python, "-c", "import borelog; print(borelog.__file__)")
    assert str(bare) in where
    book = ("--logbook", str(tmp_path / "book"))
    told = run(tmp_path, borelog, "--logbook", str(tmp_path / "demo"), "demo", "--no-screen")
    assert "DEMO" in told
    assert (tmp_path / "demo" / "packs").is_dir()
    run(tmp_path, borelog, *book, "new", "Own", "layout=inline 4")
    run(tmp_path, borelog, *book, "note", "last", "compression dry", "1=170", "2=172", "3=60", "4=171")
    samples = run(
        tmp_path, python, "-c", "from borelog.demo.engines import samples_folder; print(samples_folder())"
    )
    assert str(bare) in samples
    run(
        tmp_path,
        borelog,
        *book,
        "add",
        "last",
        f"{samples.strip()}/exhaust_valve_burnt.jpg",
        "-c",
        "3",
        "-p",
        "exhaust valve",
    )
    verdict = json.loads(run(tmp_path, borelog, *book, "verdict", "last", "--json"))
    assert next(c for c in verdict["cylinders"] if c["cylinder"] == 3)["level"] in ("bad", "open")
    pack = json.loads(run(tmp_path, borelog, *book, "pack", "last", "-o", "out", "--json"))
    run(tmp_path, borelog, *book, "check", pack["folder"])
