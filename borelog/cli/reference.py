"""``python -m borelog.cli.reference docs/commands.md`` writes the tables of commands anew from the one table."""

from __future__ import annotations

import sys
from pathlib import Path

from borelog.cli.commands import COMMANDS, Arg, Command

FIRST, AFTER = "## Start", "## Exit codes"
_GROUPS = ("start", "record", "pictures", "judge", "hand over", "keep")


def usage(command: Command) -> str:
    """``borelog pack INSPECTION [-o DIR] [--zip]``, with bars escaped for a table's cell."""
    return " ".join(["borelog", command.name, *map(_part, command.args)]).replace("|", "\\|")


def _part(arg: Arg) -> str:
    many = arg.options.get("nargs")
    if not arg.names[0].startswith("-"):
        label = str(arg.options.get("metavar", arg.names[0].upper()))
        return {"*": f"[{label} ...]", "+": f"{label} ...", "?": f"[{label}]"}.get(str(many), label)
    said = arg.names[0]
    if arg.options.get("action") != "store_true":
        choices = arg.options.get("choices", ())
        default = "|".join(map(str, choices)) or arg.names[-1].lstrip("-").upper()
        label = default if choices else arg.options.get("metavar", default)
        said += f" {label}"
    return said if arg.options.get("required") else f"[{said}]"


def tables() -> str:
    """Every command with what it does, in its group."""
    parts = []
    for group in _GROUPS:
        rows = [f"| `{usage(c)}` | {c.sentence} |" for c in COMMANDS if c.group == group]
        parts += [f"## {group.capitalize()}", "", "| command | what it does |", "|---|---|", *rows, ""]
    return "\n".join(parts)


def renewed(page: str) -> str:
    """The page with its tables written anew; what stands before and after them stays."""
    before, rest = page.split(FIRST, 1)
    return before + tables() + "\n" + AFTER + rest.split(AFTER, 1)[1]


if __name__ == "__main__":
    path = Path(sys.argv[1])
    path.write_text(renewed(path.read_text(encoding="utf-8")), encoding="utf-8")
