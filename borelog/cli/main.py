"""``borelog``: reads the arguments, finds the command, turns errors into one plain line and an exit code.

Exit codes: 0 done; 1 ran and found something wrong; 2 usage; 3 a file is missing or unreadable; 4 data invalid or from
a newer version; 5 a conflict (locked, target exists); 70 an error of the program itself; 130 stopped by Ctrl+C.
"""

from __future__ import annotations

import argparse
import errno
import os
import re
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import NoReturn

import borelog
from borelog.cli.commands import COMMANDS, Command
from borelog.text import BorelogError, one_line

_GROUPS = ("start", "record", "pictures", "judge", "hand over", "keep")


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        if match := re.search(r"invalid choice: '([^']*)'.*?\(choose from", message):
            import difflib

            near = difflib.get_close_matches(match[1], [c.name for c in COMMANDS], 1)
            if "COMMAND" in message or "command" in message:
                hint = f"; did you mean {near[0]}?" if near else ""
                message = f"there is no command {match[1]!r}{hint}"
        self.exit(2, f"borelog: {one_line(message, 300)}; see '{self.prog} --help'\n")


def build_parser() -> argparse.ArgumentParser:
    """The parser of all commands, from the table."""
    lines = []
    for group in _GROUPS:
        lines.append(f"{group}:")
        lines += [f"  {c.name:<10} {c.sentence}" for c in COMMANDS if c.group == group]
    parser = _Parser(
        prog="borelog",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="A cylinder-by-cylinder look at a damaged petrol engine: record, verdict, findings pack.\n"
        "Alone it opens the screens on the default logbook.",
        epilog="\n".join(lines),
        usage="borelog [--logbook DIR] [COMMAND ...]",
    )
    parser.add_argument("--version", action="version", version=f"borelog {borelog.__version__}")
    parser.add_argument(
        "--logbook", metavar="DIR", help="the logbook's folder (else BORELOG_LOGBOOK, else your data folder)"
    )
    parser.add_argument("--who", metavar="NAME", help="who is at it (else BORELOG_WHO, else 'not named')")
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    commands = parser.add_subparsers(
        dest="command", metavar="COMMAND", help=argparse.SUPPRESS, parser_class=_Parser
    )
    for command in COMMANDS:
        sub = commands.add_parser(command.name, description=command.sentence.capitalize() + ".")
        for arg in command.args:
            sub.add_argument(*arg.names, **arg.options)
        for name in ("--logbook", "--who"):
            sub.add_argument(name, default=argparse.SUPPRESS, help=argparse.SUPPRESS)
        sub.add_argument("--debug", action="store_true", default=argparse.SUPPRESS, help=argparse.SUPPRESS)
    return parser


def handler_of(command: Command) -> Callable[[argparse.Namespace], int]:
    """The function behind a command, imported on use."""
    module, _, name = command.handler.partition(":")
    found: Callable[[argparse.Namespace], int] = getattr(import_module(f"borelog.cli.{module}"), name)
    return found


_FILE_TROUBLE = {
    errno.ENOENT: "is not there; check the name",
    errno.EACCES: "may not be read or written by you; check its permissions or choose another folder",
    errno.EPERM: "may not be read or written by you; check its permissions or choose another folder",
    errno.EISDIR: "is a folder; name a file",
    errno.ENOTDIR: "is no folder; name a folder",
    errno.EEXIST: "is there already and is no folder; name another one",
    errno.ENAMETOOLONG: "has too long a name; give it a shorter one",
    errno.ENOSPC: "cannot be written: the disk is full; make room and say it again, nothing entered was lost",
    errno.EROFS: "cannot be written: the disk is read-only; choose another folder with --logbook or -o",
}


def _file_error(error: OSError) -> str:
    name = os.path.basename(str(error.filename or "")) or "the file"
    why = _FILE_TROUBLE.get(
        error.errno or 0, f"cannot be used ({(error.strerror or 'unknown reason').lower()})"
    )
    return f"{one_line(name, 80)} {why}"


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code."""
    parser = build_parser()
    args, left = parser.parse_known_args(argv)
    # NAME=VALUE may stand behind an option too; the parser alone would give up on it there.
    if left and hasattr(args, "values") and all("=" in x and not x.startswith("-") for x in left):
        args.values, left = [*args.values, *left], []
    if left:
        parser.error(f"unrecognized arguments: {' '.join(left)}")
    by_name = {c.name: c for c in COMMANDS}
    command = by_name[args.command or "screens"]
    try:
        return handler_of(command)(args)
    except BorelogError as error:
        return _fail(args.debug, str(error), error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("borelog: stopped; what was said to be saved is saved", file=sys.stderr)
        return 130
    except OSError as error:
        return _fail(args.debug, _file_error(error), 3)
    except Exception as error:  # noqa: BLE001 - the last line between a fault of ours and a person
        return _fail(
            args.debug,
            f"a fault of the program itself ({type(error).__name__}: {one_line(str(error), 120)}); nothing saved was lost; "
            "the same command with --debug shows where",
            70,
        )


def _fail(debug: bool, message: str, code: int) -> int:
    if debug:
        import traceback

        traceback.print_exc()
    print(f"borelog: {one_line(message, 600)}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
