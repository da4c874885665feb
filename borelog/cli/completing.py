"""Completion for three shells, made from the table of commands.

One small description (a command's options, what an option takes, what may stand at each place) is worked out from the
table; each shell's file is that description in its own words. No completion starts the program: what it offers is fixed when
the file is made.
"""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from borelog.cli.commands import COMMANDS, Command
from borelog.cli.printing import out

_FILES = ("PICTURE", "SHEET", "FILM", "CSV", "PACK", "DIR", "BACKUP", "FILE", "KEY", "A", "B")
_COMMON = (("--logbook", "DIR"), ("--who", "NAME"), ("--debug", ""), ("--help", ""))
FILES = "files"


@dataclass(frozen=True, slots=True)
class Taken:
    """What one option or place takes: fixed ``words``, or files, or free text ('' and no words)."""

    words: tuple[str, ...] = ()
    kind: str = ""


def _taken(command: Command, label: str, choices: tuple[object, ...], dest: str) -> Taken:
    if choices:
        return Taken(tuple(str(c) for c in choices))
    if dest in _WORDS:
        return Taken(_WORDS[dest]())
    return Taken(kind=FILES) if label.strip("[]") in _FILES else Taken()


def _calculations() -> tuple[str, ...]:
    from borelog.readings.calc import calculators

    return ("list", *calculators())


def _measures() -> tuple[str, ...]:
    from borelog.stills.measuring import MEASURES

    return ("list", *MEASURES)


def _places() -> tuple[str, ...]:
    from borelog.marks.places import views

    return tuple(v.label for v in views().values())


def _courses() -> tuple[str, ...]:
    from borelog.acts.judging import COURSES

    return COURSES


_WORDS: dict[str, Callable[[], tuple[str, ...]]] = {
    "inspection": lambda: ("last",),
    "calculation": _calculations,
    "measure": _measures,
    "place": _places,
    "course": _courses,
}


def options_of(command: Command) -> dict[tuple[str, ...], Taken | None]:
    """The options of a command, each with what it takes (None: nothing)."""
    found: dict[tuple[str, ...], Taken | None] = {}
    for arg in command.args:
        if not arg.names[0].startswith("-"):
            continue
        dest = arg.options.get("dest", arg.names[-1].lstrip("-").replace("-", "_"))
        plain = arg.options.get("action") == "store_true"
        label = arg.options.get("metavar", dest.upper())
        found[arg.names] = None if plain else _taken(command, label, arg.options.get("choices", ()), dest)
    for name, label in _COMMON:
        found[(name,)] = (Taken(kind=FILES) if label == "DIR" else Taken()) if label else None
    return found


def places_of(command: Command) -> tuple[Taken, ...]:
    """What stands at each place after the command; the last one repeats."""
    return tuple(
        _taken(command, a.options.get("metavar", ""), a.options.get("choices", ()), a.names[0])
        for a in command.args
        if not a.names[0].startswith("-")
    )


def bash() -> Iterator[str]:
    """The file for bash: one function, a case over commands."""
    names = tuple(c.name for c in COMMANDS)
    yield "# borelog completion for bash: source it, or put it into ~/.local/share/bash-completion/completions/borelog"
    yield "_borelog() {"
    yield '  local cur="${COMP_WORDS[COMP_CWORD]}" prev="${COMP_WORDS[COMP_CWORD-1]}" command="" at=0 i words=""'
    yield "  local IFS=$'\\n'"
    yield "  COMPREPLY=()"
    yield "  for ((i = 1; i < COMP_CWORD; i++)); do"
    yield '    case "${COMP_WORDS[i]}" in'
    yield "      --logbook|--who) ((i++)) ;;"
    yield "      -*) ;;"
    yield '      *) if [ -z "$command" ]; then command="${COMP_WORDS[i]}"; else ((at++)); fi ;;'
    yield "    esac"
    yield "  done"
    yield '  case "$command:$prev" in'
    yield "    *:--logbook) return ;;"
    for c in COMMANDS:
        for spelled, taken in options_of(c).items():
            if taken is not None and spelled[0] != "--logbook":
                yield f"    {'|'.join(f'{c.name}:{n}' for n in spelled)}) {_bash_words(taken)} return ;;"
    yield "  esac"
    yield '  if [ -z "$command" ]; then'
    yield f'    COMPREPLY=($(compgen -W "$(printf "%s\\n" {" ".join(names)} --logbook --who --debug --help --version)" -- "$cur"))'
    yield "    return"
    yield "  fi"
    yield '  case "$command" in'
    for c in COMMANDS:
        spelled_all = " ".join(n for names_ in options_of(c) for n in names_)
        yield f"    {c.name})"
        yield f'      if [[ "$cur" == -* ]]; then COMPREPLY=($(compgen -W "$(printf "%s\\n" {spelled_all})" -- "$cur")); return; fi'
        places = [(k, p) for k, p in enumerate(places_of(c)) if p.words]
        if places:
            yield '      case "$at" in'
            yield from (f"        {k}) {_bash_words(p)} ;;" for k, p in places)
            yield "      esac"
        yield "      ;;"
    yield "  esac"
    yield "}"
    yield "complete -o default -F _borelog borelog"


def _bash_words(taken: Taken) -> str:
    if not taken.words:
        return ""
    listed = " ".join(shlex.quote(w) for w in taken.words)
    return (
        f'while read -r i; do [[ "$i" == "$cur"* ]] && COMPREPLY+=("$(printf %q "$i")"); '
        f'done < <(printf "%s\\n" {listed});'
    )


def fish() -> Iterator[str]:
    """The file for fish: one ``complete`` line for each thing that may be typed."""
    yield "# borelog completion for fish: put it into ~/.config/fish/completions/borelog.fish"
    yield "complete -c borelog -n __fish_use_subcommand -f"
    for c in COMMANDS:
        yield f"complete -c borelog -n __fish_use_subcommand -a {c.name} -d {_fish(c.sentence)}"
    for c in COMMANDS:
        seen = f'"__fish_seen_subcommand_from {c.name}"'
        for spelled, taken in options_of(c).items():
            flags = " ".join(f"-l {n[2:]}" if n.startswith("--") else f"-s {n[1:]}" for n in spelled)
            takes = "" if taken is None else " -r" if taken.kind == FILES else " -x"
            listed = f" -a {_fish(' '.join(_fish(w) for w in taken.words))}" if taken and taken.words else ""
            yield f"complete -c borelog -n {seen} {flags}{takes}{listed}"
        for k, place in enumerate(places_of(c)):
            if place.words:
                here = (
                    f'"__fish_seen_subcommand_from {c.name}; and test (count (commandline -opc)) -eq {k + 2}"'
                )
                yield f"complete -c borelog -n {here} -f -a {_fish(' '.join(_fish(w) for w in place.words))}"


def _fish(text: str) -> str:
    return "'" + text.replace("\\", "\\\\").replace("'", "\\'") + "'"


def zsh() -> Iterator[str]:
    """The file for zsh: ``_arguments`` for each command."""
    yield "#compdef borelog"
    yield "# borelog completion for zsh: put it as _borelog into a folder of $fpath"
    yield "_borelog() {"
    yield "  local context state line; typeset -A opt_args"
    yield "  _arguments -C '--logbook[folder of the logbook]:folder:_files -/' '--who[who is at it]:name:' \\"
    yield "    '--debug[show the traceback]' '--help[help]' '--version[version]' '1:command:->command' '*::rest:->rest'"
    yield "  case $state in"
    yield "    command) local -a commands; commands=("
    yield from (f"      {_zsh(f'{c.name}:{c.sentence}')}" for c in COMMANDS)
    yield "    ); _describe command commands ;;"
    yield "    rest) case $words[1] in"
    for c in COMMANDS:
        parts = [
            _zsh(f"{n}[{n.lstrip('-')}]{_zsh_taken(taken)}")
            for spelled, taken in options_of(c).items()
            for n in spelled
        ]
        places = places_of(c)
        labels = [a.options.get("metavar", "word") for a in c.args if not a.names[0].startswith("-")]
        for k, (place, label) in enumerate(zip(places, labels, strict=True), 1):
            parts.append(_zsh(f"{k if k < len(places) else '*'}:{label.lower()}:{_zsh_action(place)}"))
        yield f"      {c.name}) _arguments {' '.join(parts)} ;;"
    yield "    esac ;;"
    yield "  esac"
    yield "}"
    yield "compdef _borelog borelog"


def _zsh(text: str) -> str:
    return "'" + text.replace("'", "'\\''") + "'"


def _zsh_action(taken: Taken) -> str:
    if taken.words:
        return f"({' '.join(w.replace(' ', chr(92) + ' ') for w in taken.words)})"
    return "_files" if taken.kind == FILES else ""


def _zsh_taken(taken: Taken | None) -> str:
    return "" if taken is None else f":value:{_zsh_action(taken)}"


SHELLS: dict[str, Callable[[], Iterator[str]]] = {"bash": bash, "zsh": zsh, "fish": fish}


def completion(args: argparse.Namespace) -> int:
    """``borelog completion bash|zsh|fish``."""
    out("\n".join(SHELLS[args.shell]()))
    return 0
