"""How long a pack takes, as a ratio to the floor: reading every still and hashing it (SHA-256).

Targets (bench of the design notes, 60 stills of about 140 kB): data part 4x, with page 12x, check 1 GB/s and three times
`sha256sum -c`, paper under 5 ms a still warm, taking in under 10 ms a still, a hostile pack refused in under 50 ms.
Measured, never asserted: run with ``-m bench``.
"""

from __future__ import annotations

import hashlib
import importlib.util
import itertools
import shutil
import subprocess
import sys
import time
from pathlib import Path
from types import ModuleType

import pytest

from borelog.logbook.journal import Journal
from borelog.pack import build as build_module
from borelog.pack import views
from borelog.pack.build import build
from borelog.pack.check import check
from borelog.pack.errors import Refused
from borelog.pack.take import take

pytestmark = pytest.mark.bench
STILLS = 60
_number = itertools.count()


def _sibling(name: str) -> ModuleType:
    full = f"pack_{name}"
    if full not in sys.modules:
        path = Path(__file__).parents[1] / "pack" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(full, path)
        assert spec
        assert spec.loader
        module = importlib.util.module_from_spec(spec)
        sys.modules[full] = module
        spec.loader.exec_module(module)
    return sys.modules[full]


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """60 JPEG stills, 1280 x 720, about 140 kB each, 120 findings with a mark each, four readings."""
    from borelog.logbook import entries as e
    from borelog.marks.places import Place
    from borelog.marks.shapes import Box, Ellipse

    scenes = _sibling("scene")
    journal = Journal.open(tmp_path_factory.mktemp("logbook"))
    id_ = journal.create("speed", who="T")
    bodies: list = [(e.Facts({"layout": "inline 4"}), "")]
    for i in range(STILLS):
        image = scenes.picture(i, 1280, 720)
        data = scenes.encoded(image, "JPEG", quality=80)
        filed = scenes.filed(journal, f"i{i}.jpg", data, "JPEG", 1280, 720)
        bodies += [(filed, ""), (e.StillPlaced(filed.sha256, cylinder=1 + i % 4, place=Place("crown")), "")]
        for shape in (Box(100, 100, 200, 150), Ellipse(700, 300, 60, 40, 10 + i)):
            marks = (e.Mark(filed.sha256, shape, label="pitted rim"),)
            found = e.Finding("crown_pits", cylinder=1 + i % 4, place=Place("crown"), severity=3, marks=marks)
            bodies.append((found, "seen"))
    for c, v in ((1, 176.0), (2, 165.0), (3, 108.0), (4, 174.0)):
        bodies.append((e.Reading("compression_dry", c, str(v), (v,), "psi"), "measured"))
    journal.append_many(id_, bodies, who="T", at=scenes.AT)
    yield scenes.Scene(journal, id_, {}, scenes.verdict(), scenes.RULES)
    journal.close()


def best(run, rounds: int = 5) -> float:
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        run()
        times.append(time.perf_counter() - start)
    return min(times)


def floor(scene) -> float:
    paths = [path for _, path in scene.journal.pictures.all()]
    return best(lambda: [hashlib.sha256(p.read_bytes()).hexdigest() for p in paths], 9)


def packed(scene, folder: Path, **more):
    return build(
        scene.inspection, scene.engine, scene.verdict, scene.journal.pictures, folder / f"pack{next(_number)}",
        entries=scene.entries, rules=scene.rules, **{"pdf": False, "sync": False, **more},
    )  # fmt: skip


READ = "reading and hashing the stills"


def _ratio(benchmark, base: float) -> float:
    return benchmark.stats.stats.min / base


def test_data_part(benchmark, scene, tmp_path, monkeypatch, speed):
    """Everything but page and paper; target 4x the floor."""
    monkeypatch.setattr(build_module.page, "page", lambda document, pictures: b"")
    # Copies of JPEG originals serve page and paper only.
    monkeypatch.setattr(views, "view_of", lambda data, kind, **_: views.View(b"", kind, ""))
    base = floor(scene)
    benchmark.pedantic(lambda: packed(scene, tmp_path), rounds=7, warmup_rounds=1)
    speed("pack_data", value=_ratio(benchmark, base), floor=base)


def test_with_page(benchmark, scene, tmp_path, speed):
    """Target 12x the floor."""
    base = floor(scene)
    benchmark.pedantic(lambda: packed(scene, tmp_path), rounds=7, warmup_rounds=1)
    speed("pack_page", value=_ratio(benchmark, base), floor=base)


def test_for_a_buyer(benchmark, scene, tmp_path, speed):
    """Stripped copies instead of originals."""
    base = floor(scene)
    benchmark.pedantic(lambda: packed(scene, tmp_path, reader="buyer"), rounds=5, warmup_rounds=1)
    speed(what="pack for a buyer, 60 stripped stills", room="pack", floor=base, floor_is=READ)


def test_on_the_disk(benchmark, scene, tmp_path, speed):
    """With every file synced, as it is done in use."""
    base = floor(scene)
    benchmark.pedantic(lambda: packed(scene, tmp_path, sync=True), rounds=3, warmup_rounds=1)
    speed(what="pack with page, every file synced", room="pack", floor=base, floor_is=READ)


def test_with_paper(benchmark, scene, tmp_path, speed):
    """Cold: the child starts, loads the typesetter and ends; target 5 ms a still warm."""
    pytest.importorskip("typst")
    base = floor(scene)
    benchmark.pedantic(lambda: packed(scene, tmp_path, pdf=True), rounds=3, warmup_rounds=1)
    speed(what="pack with page and paper, 60 stills, cold", room="pack", floor=base, floor_is=READ)


def test_paper_warm(benchmark, scene, tmp_path, speed):
    """The typesetter alone, in a process that has already loaded it."""
    pytest.importorskip("typst")
    from borelog.pack import paper, press

    kept = tmp_path / "job"
    lay_out = paper.lay_out

    def keep(job, *rest):
        lay_out(kept, *rest)
        lay_out(job, *rest)

    kept.mkdir()
    paper.lay_out = keep
    try:
        packed(scene, tmp_path, pdf=True)
    finally:
        paper.lay_out = lay_out
    benchmark.pedantic(lambda: press.press(kept), rounds=4, warmup_rounds=1)
    speed("paper", per=STILLS)


def test_zip(benchmark, scene, tmp_path, speed):
    """The page deflates at level 1, pictures are stored; target 3 ms a still."""
    from borelog.pack.bag import zip_bag

    folder = packed(scene, tmp_path).folder
    benchmark.pedantic(
        lambda: zip_bag(folder, tmp_path / f"z{next(_number)}.zip", "2031-05-04T10:00:00"), rounds=5
    )
    speed(what="zip of a pack, a still of 60", room="pack", target=3, per=STILLS)


def test_check(benchmark, scene, tmp_path, speed):
    """Target 1 GB/s and three times `sha256sum -c`."""
    folder = packed(scene, tmp_path).folder
    size = sum(p.stat().st_size for p in folder.rglob("*") if p.is_file())
    assert check(folder).good
    benchmark.pedantic(lambda: check(folder), rounds=9, warmup_rounds=2)
    took = benchmark.stats.stats.min
    speed("check_rate", value=size / took / 1e9)
    if shutil.which("sha256sum"):
        line = ["sha256sum", "-c", "--quiet", "manifest-sha256.txt", "tagmanifest-sha256.txt"]
        other = best(lambda: subprocess.run(line, cwd=folder, check=True))
        speed("check_ratio", value=other / took, floor=other)


def test_take(benchmark, scene, tmp_path, speed):
    """A good archive pack into an empty logbook, every picture decoded in the guarded child; target 10 ms a still."""
    folder = packed(scene, tmp_path).folder

    def fresh():
        return (Journal.open(tmp_path / f"log{next(_number)}"),), {}

    def one(journal):
        take(journal, folder, who="T")
        journal.close()

    benchmark.pedantic(one, setup=fresh, rounds=3)
    speed("take", per=STILLS)


def test_hostile_packs_are_refused_at_once(benchmark, tmp_path, speed):
    """The slowest of all hostile packs; target 50 ms."""
    scenes, spoil, _ = _sibling("scene"), _sibling("spoil"), _sibling("spoil_more")
    scene = scenes.build_scene(tmp_path / "log")
    base = {r: packed(scene, tmp_path, reader=r).folder for r in ("archive", "customer")}
    made = {}
    for name, (_, reader, make) in spoil.SPOILERS.items():
        copy = tmp_path / f"spoiled-{name}"
        shutil.copytree(base[reader], copy)
        made[name] = make(copy)
    journal = Journal.open(tmp_path / "here")

    def refuse(path: Path) -> None:
        with pytest.raises(Refused):
            take(journal, path, who="T")

    times = {name: best(lambda path=path: refuse(path), 3) for name, path in made.items()}
    slow = sorted(times, key=times.__getitem__, reverse=True)
    benchmark.pedantic(lambda: refuse(made["flipped_bit"]), rounds=5)
    speed("refuse", value=1e3 * times[slow[0]])
    benchmark.extra_info["slowest_ms"] = {n: round(1000 * times[n], 1) for n in slow[:4]}
    benchmark.extra_info["over_50_ms"] = [n for n in slow if times[n] > 0.05]
    journal.close()
    scene.journal.close()
