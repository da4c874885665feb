"""Handing over and taking in: a pack is built from the record and its verdict, and the hand-over becomes an entry."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path

from borelog.acts.bench import NOT_NAMED, Bench
from borelog.acts.judging import freeze, verdict_of
from borelog.acts.ruled import rule_rows
from borelog.logbook.described import engine_of
from borelog.logbook.entries import FOR_A_PACK, HandedOver
from borelog.pack.bag import refuse_taken
from borelog.pack.build import Built, build, pack_name
from borelog.pack.gather import pack_number

Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class Handed:
    """A pack that left the house. ``remarks`` is what the person should be told, ``left_out`` what it does not hold."""

    built: Built
    left_out: tuple[str, ...]
    remarks: tuple[str, ...]


def hand_over(
    bench: Bench,
    inspection_id: str,
    folder: Path,
    *,
    reader: str = "customer",
    also: Collection[str] = (),
    zipped: bool = False,
    paper: str = "a4",
    cards: bool = False,
    coco: bool = False,
    key: Path | None = None,
    progress: Progress | None = None,
) -> Handed:
    """Build the next pack of an inspection under ``folder``, freeze the verdict, and note the hand-over.

    The verdict is frozen first, so that the pack holds the call it was made with.

    Raises
    ------
    PackError
        If the pack is there already; nothing is noted then. If the folder cannot be written; the frozen call stays, but no
        hand-over is noted then.
    """
    target = folder / pack_name(
        bench.inspection(inspection_id), pack_number(bench.inspection(inspection_id)), reader
    )
    refuse_taken(target)
    verdict = verdict_of(bench, inspection_id).verdict
    freeze(bench, inspection_id, verdict, why=FOR_A_PACK)
    inspection = bench.inspection(inspection_id)
    folder.mkdir(parents=True, exist_ok=True)
    built = build(
        inspection,
        engine_of(inspection),
        verdict,
        bench.journal.pictures,
        target,
        reader=reader,
        entries=bench.journal.entries(inspection_id),
        rules=rule_rows(inspection),
        also=also,
        paper=paper,
        cards=cards,
        coco=coco,
        key=key,
        zipped=zipped,
        progress=progress,
    )
    bench.append(inspection_id, [(built.handed_over, "")])
    left_out = tuple(f"{x.what}: {x.why}" if x.why else x.what for x in built.document.about.left_out)
    return Handed(built, left_out, (*built.remarks, *_unnamed(bench, inspection_id)))


def _unnamed(bench: Bench, inspection_id: str) -> tuple[str, ...]:
    count = sum(1 for s in bench.journal.entries(inspection_id) if s.entry.who == NOT_NAMED)
    if not count:
        return ()
    return (
        f"{count} entries stand under '{NOT_NAMED}': give --who or set BORELOG_WHO to the name you want read",
    )


def earlier_packs(bench: Bench, inspection_id: str) -> tuple[HandedOver, ...]:
    """The packs of an inspection that left the house, first to last."""
    return tuple(r.body for r in bench.inspection(inspection_id).of(HandedOver))
