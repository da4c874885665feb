"""Looking after the logbook."""

from __future__ import annotations

import argparse
import os
import shutil
from dataclasses import asdict
from pathlib import Path

from borelog.acts.judging import tables_of
from borelog.acts.mending import rebuild
from borelog.acts.mending import restore as put_back
from borelog.cli.opening import bench_for, folder_of
from borelog.cli.printing import out, out_json, wrapped
from borelog.logbook.doctor import examine


def doctor(args: argparse.Namespace) -> int:
    """``borelog doctor``: says what is wrong and what can be made again; deletes nothing."""
    folder = folder_of(args)
    ailments = examine(folder) if folder.exists() else ()
    made = 0
    if args.rebuild and ailments:
        made = rebuild(folder, ailments)
        ailments = examine(folder)
    notices: tuple[str, ...] = ()
    if folder.exists() and not ailments:
        with bench_for(args, read_only=True) as bench:
            notices = tables_of(bench).notices
    terminal = _terminal()
    if args.json:
        out_json(
            {
                "ailments": [asdict(a) for a in ailments],
                "made_again": made,
                "tables": notices,
                "terminal": terminal,
            },
            "borelog.doctor/1",
        )
        return 1 if ailments else 0
    if not folder.exists():
        out("there is no logbook yet; 'borelog new NAME' begins one")
    if made:
        out(f"made again: {made}")
    for a in ailments:
        again = " ('borelog doctor --rebuild')" if a.rebuildable else ""
        out(wrapped(f"{a.kind}: {a.sentence}{again}", "  ", ""))
    if folder.exists() and not ailments:
        out("the logbook is sound: every entry, chain and still is as it was written")
    for n in notices:
        out(wrapped(n))
    out()
    for what, found, remark in terminal:
        out(wrapped(f"{what}: {found}" + (f" - {remark}" if remark else ""), "  ", ""))
    return 1 if ailments else 0


def _terminal() -> list[tuple[str, str, str]]:
    """What this terminal can do, as the screens would see it."""
    from borelog.tui.views.doctoring import terminal_facts

    size = shutil.get_terminal_size()
    depth = "grey" if os.environ.get("NO_COLOR") else "full" if os.environ.get("COLORTERM") else "256"
    return terminal_facts(os.environ, (size.columns, size.lines), None, depth)


def backup(args: argparse.Namespace) -> int:
    """``borelog backup DIR``."""
    with bench_for(args) as bench:
        copied = bench.journal.backup(Path(args.folder))
    out(f"backed up: {copied.entries} entries in all, {copied.stills} stills copied now")
    for sha in copied.faulty:
        out(f"still {sha[:12]} is not what it should be; run 'borelog doctor'")
    return 1 if copied.faulty else 0


def restore(args: argparse.Namespace) -> int:
    """``borelog restore BACKUP``: the journal that was there is set aside, never deleted."""
    folder = folder_of(args)
    done = put_back(folder, Path(args.folder), sure=args.yes)
    out("restored: the journal of the backup is in its place, and the stills that were missing are back")
    if done.aside is not None:
        out(
            wrapped(
                f"the journal that was here is kept as {done.aside.name}; delete it yourself when you are sure"
            )
        )
    for a in done.ailments:
        out(wrapped(f"{a.kind}: {a.sentence}", "  ", ""))
    return 1 if done.ailments else 0
