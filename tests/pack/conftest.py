"""One invented engine and its packs, built once for the room."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from pathlib import Path
from types import ModuleType

import pytest

from borelog.logbook.journal import Journal
from borelog.pack.build import Built, build


def _sibling(name: str) -> ModuleType:
    full = f"pack_{name}"
    if full not in sys.modules:
        spec = importlib.util.spec_from_file_location(full, Path(__file__).with_name(f"{name}.py"))
        assert spec
        assert spec.loader
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


scene_module = _sibling("scene")
spoil_module = _sibling("spoil")
more_module = _sibling("spoil_more")


@pytest.fixture(scope="session")
def scenes() -> ModuleType:
    """The module that makes logbooks."""
    return scene_module


@pytest.fixture(scope="session")
def spoils() -> ModuleType:
    """The module that spoils packs."""
    return spoil_module


@pytest.fixture(scope="session")
def scene(tmp_path_factory: pytest.TempPathFactory):
    """A logbook with one inspection; to be read, not written."""
    made = scene_module.build_scene(tmp_path_factory.mktemp("logbook"))
    yield made
    made.journal.close()


@pytest.fixture(scope="session")
def packs(scene, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Built]:
    """The pack of every reader, with zip and without PDF."""
    folder = tmp_path_factory.mktemp("packs")
    return {
        reader: build(
            scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, folder / reader, reader=reader,
            entries=scene.entries, rules=scene.rules, pdf=False, zipped=True, sync=False,
        )
        for reader in ("archive", "customer", "buyer", "machinist", "insurer")
    }  # fmt: skip


@pytest.fixture
def copy_of(packs: dict[str, Built], tmp_path: Path):
    """A copy of a reader's pack that a test may spoil."""

    def copy(reader: str) -> Path:
        target = tmp_path / f"{reader}-copy"
        shutil.copytree(packs[reader].folder, target)
        return target

    return copy


@pytest.fixture
def logbook(tmp_path: Path):
    """An empty logbook to take packs into."""
    journal = Journal.open(tmp_path / "here" / "logbook")
    yield journal
    journal.close()
