"""From the common arguments to an open bench and an inspection."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from borelog.acts.bench import Bench, default_logbook, open_bench, unsaved_lines
from borelog.cli.printing import tell
from borelog.text import BorelogError, one_line


class UsageError(BorelogError):
    """Arguments that do not fit together."""

    exit_code = 2


def folder_of(args: argparse.Namespace) -> Path:
    """The logbook's folder that ``--logbook`` names, else the default one."""
    return Path(args.logbook) if args.logbook else default_logbook()


@contextmanager
def bench_for(args: argparse.Namespace, *, create: bool = False, read_only: bool = False) -> Iterator[Bench]:
    """The bench that ``--logbook`` and ``--who`` name; closed at the end.

    Only a command that begins something makes a logbook where there is none: a name typed wrongly must not become one.
    What the logbook warns of, and what a failing disk kept from being saved, is said on standard error.
    """
    bench = open_bench(folder_of(args), who=args.who, create=create, read_only=read_only)
    try:
        for warning in bench.journal.warnings:
            tell(f"borelog: {warning}")
        yield bench
    finally:
        for line in unsaved_lines(bench):
            tell(line)
        bench.journal.close()


def pairs(words: Sequence[str]) -> dict[str, str]:
    """['bore=81 mm', 'layout=V6'] as a dictionary.

    Raises
    ------
    UsageError
        For a word without '='.
    """
    found: dict[str, str] = {}
    for word in words:
        name, sign, value = word.partition("=")
        if not sign or not name.strip():
            raise UsageError(f"{one_line(word, 40)!r} is no NAME=VALUE; write for example bore=81")
        found[name.strip()] = value.strip()
    return found
