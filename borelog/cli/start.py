"""Opening the screens."""

from __future__ import annotations

import argparse

from borelog.cli.opening import UsageError, bench_for
from borelog.cli.printing import out


def screens(args: argparse.Namespace) -> int:
    """``borelog`` alone, or ``borelog screens``."""
    require_terminal()
    from borelog.tui.app import run

    with bench_for(args, create=True) as bench:
        run(bench)
    return 0


def serve(args: argparse.Namespace) -> int:
    """``borelog serve``: the screens in a browser on this machine, until ctrl+c."""
    from borelog.tui import browser

    browser.check_host(args.host, args.exposed, args.port)
    with bench_for(
        args, create=True
    ) as bench:  # a logbook that cannot be opened is said here, not in a browser
        folder = bench.journal.folder
    out(f"open http://{args.host}:{args.port} in a browser; ctrl+c stops it")
    browser.serve(folder, args.host, args.port, args.exposed)
    return 0


def require_terminal() -> None:
    """Refuse where the screens cannot be shown, with what to do instead.

    Raises
    ------
    UsageError
        Without a terminal, or on one that cannot move its cursor.
    """
    from borelog.tui.guard import why_no_screens

    if reason := why_no_screens():
        raise UsageError(reason)
