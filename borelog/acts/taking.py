"""Taking in: a pack, which is checked before anything is written, or another logbook, whose entries are united."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from borelog.acts.bench import Bench
from borelog.logbook.connection import FILE


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What came in, in lines for a person; ``inspection`` is its id where it was one pack."""

    inspection: str
    entries: int
    stills: int
    lines: tuple[str, ...]


def take_in(bench: Bench, path: Path, progress: Callable[[int, int, str], None] | None = None) -> TakenIn:
    """Take in a pack (folder or zip) or another logbook's folder.

    Raises
    ------
    BorelogError
        With what is wrong; nothing was written then.
    """
    if (path / FILE).is_file():
        merged = bench.journal.merge_logbook(path)
        lines = [
            f"{sum(merged.added.values())} entries and {merged.stills} stills came in, {len(merged.fresh)} inspections are new here"
        ]
        lines += [f"inspection {k[:8]} was not taken in: {why}" for k, why in merged.refused.items()]
        if merged.missing:
            lines.append(f"{len(merged.missing)} stills were missing over there too")
        if merged.prices_left:
            lines.append(
                "the other logbook's prices were left there; yours stand: 'borelog price shop NAME=VALUE' sets them"
            )
        return TakenIn("", sum(merged.added.values()), merged.stills, tuple(lines))
    from borelog.pack.take import take

    taken = take(bench.journal, path, who=bench.who, at=bench.at, progress=progress)
    return TakenIn(taken.inspection, taken.entries, taken.stills, taken.words)
