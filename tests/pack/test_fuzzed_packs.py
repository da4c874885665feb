"""Packs changed at random, their hashes made right again: each is refused in one plain line, or leaves a logbook that works.

Taken in is not the end: what was accepted is listed, judged, told on a page and looked over by the doctor.
"""

from __future__ import annotations

import copy
import json
import random
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from borelog.acts.bench import Bench
from borelog.acts.judging import verdict_of
from borelog.acts.keeping import journal_rows, listed
from borelog.logbook import doctor
from borelog.logbook.described import engine_of
from borelog.logbook.journal import Journal
from borelog.pack.check import check
from borelog.pack.coding import encode
from borelog.pack.errors import PackError
from borelog.pack.gather import gather
from borelog.pack.page import page
from borelog.pack.take import take
from borelog.text import BorelogError

spoil, more = sys.modules["pack_spoil"], sys.modules["pack_spoil_more"]
ODD: tuple[Any, ...] = (
    "", "x", "\u202e", "a\nb", "=1+1", "[/]", "<b>", "../x", "-1", "inline 4", "V99", "9" * 400, "nan", "engine", "s001",
    0, -1, 1, 3, 7, 998, 10**6, 2**53, 0.5, -0.0, 1e-300, 1e300, True, False, None, [], {}, [[]], ["x"], {"x": 1},
)  # fmt: skip


def spots(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every (container, key) inside a plain value."""
    keys = value.keys() if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    for key in list(keys):
        yield value, key
        yield from spots(value[key])


def changed(value: Any, chance: random.Random, times: int) -> None:
    """Change a plain value in a few places: odd values, swapped ones, things left out or doubled."""
    for _ in range(times):
        everywhere = list(spots(value))
        inside, key = chance.choice(everywhere)
        kind = chance.random()
        if kind < 0.5:
            inside[key] = copy.deepcopy(chance.choice(ODD))
        elif kind < 0.75:
            other, where = chance.choice(everywhere)
            inside[key] = copy.deepcopy(other[where])
        elif kind < 0.85 and isinstance(inside, dict):
            del inside[key]
        elif isinstance(inside, list):
            inside.append(copy.deepcopy(inside[key]))
        else:
            inside[f"{key}2"] = inside[key]


def works(bench: Bench) -> None:
    """Everything a person would do next."""
    listed(bench)
    for id_ in bench.journal.ids():
        inspection = bench.inspection(id_)
        journal_rows(bench, id_)
        judged = verdict_of(bench, id_, depth=2).verdict
        document = gather(
            inspection, engine_of(inspection), judged, reader="customer", entries=bench.journal.entries(id_)
        )
        encode(document)
        page(document, {})
    ailments = doctor.examine(bench.journal.folder, deep=False)
    assert {a.kind for a in ailments} <= {"missing still"}, (
        ailments
    )  # the packs here come without their pictures


def ends_well(pack: Path, folder: Path) -> bool:
    """Refused in a plain line, or taken into a logbook that works; whether it was taken."""
    with Journal.open(folder) as journal:
        try:
            take(journal, pack, who="T")
        except BorelogError as refused:
            assert str(refused).isprintable()
            assert journal.ids() == []
            assert not list(journal.pictures.files())
            return False
        works(Bench(journal, who="T"))
    return True


def bare(pack: Path) -> Path:
    """The pack without its pictures, so that thousands can be tried: decoding is another test's."""
    document = json.loads((pack / "data/inspection.json").read_text())
    for row in document["stills"]:
        row.update(file="", sha256="", view="", view_sha256="", size=0, missing="left out")
    for name in ("stills", "views"):
        shutil.rmtree(pack / "data" / name, ignore_errors=True)
    (pack / "data/inspection.json").write_text(json.dumps(document))
    return spoil.relist(pack)


def run(rounds: int, seed: int, pack: Path, make: Callable[[Path, random.Random], Path], place: Path) -> int:
    taken = 0
    for number in range(rounds):
        chance = random.Random(f"{seed}-{number}")
        target = place / "mutant"
        shutil.copytree(pack, target)
        try:
            taken += ends_well(make(target, chance), place / "logbook")
        except BaseException:
            print(f"seed {seed}, number {number}")
            raise
        shutil.rmtree(target)
        (place / "mutant.zip").unlink(missing_ok=True)
        shutil.rmtree(place / "logbook")
    return taken


def in_document(pack: Path, chance: random.Random) -> Path:
    return spoil.edit(pack, lambda d: changed(d, chance, chance.randint(1, 3)))


def in_journal(pack: Path, chance: random.Random) -> Path:
    def change(entries: list[dict[str, Any]]) -> None:
        for _ in range(chance.randint(1, 3)):
            changed(chance.choice(entries)["body"], chance, 1)

    try:
        return more.forged(pack, change)
    except (TypeError, KeyError, AttributeError):  # beyond what can be written as an entry at all
        return pack


def in_zip(pack: Path, chance: random.Random) -> Path:
    target = spoil.zipped(pack)
    raw = bytearray(target.read_bytes())
    for _ in range(chance.randint(1, 4)):
        # Half of them where the list and the heads are: the middle of a file is only a changed digest.
        at = chance.choice(
            [raw.rfind(b"PK\x01\x02", 0, chance.randrange(len(raw)) + 50), chance.randrange(len(raw))]
        )
        raw[max(0, at) + chance.randrange(46)] ^= 1 << chance.randrange(8)
    if chance.random() < 0.2:
        del raw[chance.randrange(len(raw)) :]
    target.write_bytes(raw)
    return target


KINDS = {
    "document": ("customer", in_document),
    "journal": ("archive", in_journal),
    "zip": ("customer", in_zip),
}


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_some_mutants_end_well(kind: str, copy_of, tmp_path: Path) -> None:
    reader, make = KINDS[kind]
    run(10, 1, bare(copy_of(reader)), make, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_many_mutants_end_well(kind: str, copy_of, tmp_path: Path) -> None:
    reader, make = KINDS[kind]
    taken = run(250, 2, bare(copy_of(reader)), make, tmp_path)
    print(kind, "taken", taken, "of 250")


def test_the_bare_pack_itself_is_taken(copy_of, tmp_path: Path) -> None:
    """So that mutants are refused, or taken, for what was changed in them."""
    for reader in ("customer", "archive"):
        assert ends_well(bare(copy_of(reader)), tmp_path / reader)
        assert check(tmp_path / f"{reader}-copy").good


def test_a_folder_of_rubbish_is_one_line(tmp_path: Path) -> None:
    chance = random.Random(3)
    for number in range(60):
        path = tmp_path / f"{number}.zip"
        path.write_bytes(
            chance.choice([b"", b"PK\x05\x06", b"PK\x03\x04"]) + chance.randbytes(chance.randrange(400))
        )
        with pytest.raises(PackError) as refused, Journal.open(tmp_path / "log") as journal:
            take(journal, path, who="T")
        assert str(refused.value).isprintable()
