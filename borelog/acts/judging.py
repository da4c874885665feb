"""The verdict of an inspection in a logbook: with the person's own tables and prices; calls, truth and the score."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from borelog.acts.bench import Bench
from borelog.acts.words import finding_term
from borelog.knowledge import faults as fault_tables
from borelog.knowledge.faults import FaultTables
from borelog.logbook.described import engine_of
from borelog.logbook.entries import CallTaken, Finding, Stored
from borelog.logbook.inspection import Inspection
from borelog.logbook.summaries import Said
from borelog.text import BorelogError, one_line
from borelog.verdict.calls import CALL_WORDS

if TYPE_CHECKING:
    from borelog.verdict.judge import Judgement
    from borelog.verdict.judged import Verdict

# A list of inspections needs the tables but no arithmetic: what weighs a record is imported where it is weighed.


class JudgingError(BorelogError):
    """A call or a truth that cannot be recorded as said."""

    exit_code = 2


def own_tables_folder(bench: Bench) -> Path:
    """Where a person's own tables lie: the folder ``tables`` of the logbook."""
    return bench.journal.folder / "tables"


@lru_cache(maxsize=8)
def _loaded(folder: str, stamp: tuple[tuple[str, int, int], ...]) -> FaultTables:
    del stamp
    return fault_tables.load(Path(folder))


def tables_of(bench: Bench) -> FaultTables:
    """The shipped tables with the logbook's own laid over them; a broken own table is named in ``notices``."""
    folder = own_tables_folder(bench)
    files = sorted(folder.glob("*.csv")) if folder.is_dir() else []
    if not files:
        return fault_tables.shipped()
    return _loaded(str(folder), tuple((f.name, f.stat().st_mtime_ns, f.stat().st_size) for f in files))


def verdict_of(bench: Bench, inspection_id: str, *, depth: int = 3) -> Judgement:
    """The verdict as it stands now, with money where prices are set or with the placeholder tables."""
    return verdict_on(bench, bench.inspection(inspection_id), depth=depth)


def verdict_on(bench: Bench, inspection: Inspection, *, depth: int = 3) -> Judgement:
    """The same for an inspection at hand (what-if: an inspection with other prices)."""
    from borelog.acts.money import priced_for
    from borelog.verdict.judge import judge

    tables = tables_of(bench)
    if depth < 3:
        return judge(inspection, tables, depth=depth)
    return judge(inspection, tables, priced_for(bench, inspection, tables), depth=depth)


def worst_finding(inspection: Inspection) -> str:
    """The most severe finding in words with its cylinder, '' if there is none above 'ordinary look'."""
    standing = [r.body for r in inspection.of(Finding) if r.body.severity > 0]
    if not standing:
        return ""
    worst = max(standing, key=lambda b: b.severity)
    on = f" on {worst.cylinder}" if worst.cylinder is not None else ""
    return one_line(f"{finding_term(worst)}{on}", 60)


def say_summary(bench: Bench, inspection_id: str) -> Said:
    """Work out the list's line for one inspection and keep it in the logbook's cache."""
    from borelog.verdict.judge import judge

    inspection = bench.inspection(inspection_id)
    tables = tables_of(bench)
    engine = engine_of(inspection)
    # Whether the evidence is enough is asked of the reasons too: without them the list would count fewer as open.
    judged = judge(inspection, tables, depth=2).verdict.cylinders
    unjudged = engine.cylinders if engine else ()
    calls = inspection.of(CallTaken)
    said = Said(
        engine=engine.name if engine else "",
        worst=worst_finding(inspection),
        call=one_line(calls[-1].body.words or calls[-1].body.course, 80) if calls else "",
        open=sum(not c.enough for c in judged) if judged else len(unjudged),
    )
    if not bench.journal.read_only:
        bench.journal.say(inspection_id, said, head=bench.journal.head(inspection_id), tables=tables.digest)
    return said


COURSES = tuple(CALL_WORDS)


def take_call(bench: Bench, inspection_id: str, course: str, words: str = "", why: str = "decided") -> Stored:
    """Freeze the verdict as it stands, with the digest of its tables, as the call a person took.

    Raises
    ------
    JudgingError
        For a course that does not exist.
    """
    key = course.strip().lower().replace(" ", "_").replace("-", "_")
    if key not in COURSES:
        raise JudgingError(
            f"{one_line(course, 40)!r} is no course; courses: {', '.join(c.replace('_', ' ') for c in COURSES)}"
        )
    body = _call(verdict_of(bench, inspection_id).verdict, key, words, why)
    return bench.append(inspection_id, [(body, "")])[0]


def freeze(bench: Bench, inspection_id: str, verdict: Verdict, why: str) -> None:
    """Freeze the verdict as it stands, unless the last call froze this very one."""
    calls = bench.inspection(inspection_id).of(CallTaken)
    if calls and calls[-1].body.verdict == msgspec.to_builtins(verdict):
        return
    course = calls[-1].body.course if calls else "test_first"
    bench.append(inspection_id, [(_call(verdict, course, verdict.call, why), "")])


def _call(verdict: Verdict, course: str, words: str, why: str) -> CallTaken:
    frozen: dict[str, Any] = msgspec.to_builtins(verdict)
    return CallTaken(
        course=course,
        words=words or CALL_WORDS[course],
        verdict=frozen,
        tables=verdict.tables,
        why=why,
    )
