"""The help page and the keys page of the docs, both made from the one action table."""

from __future__ import annotations

from collections.abc import Mapping

from borelog.knowledge.procedures import cautions_of, procedures
from borelog.tui.actions import ACTIONS, EVERYWHERE, SCREENS, Action, Keys, key_name
from borelog.tui.views.words import Line, Span, padded, wrapped

NAMES = {
    "logbook": "Logbook", "plan": "Cylinders", "facts": "Engine and car", "readings": "Readings", "stills": "Stills",
    "verdict": "Verdict", "pack": "Pack",
}  # fmt: skip


def keys_words(action: Action, keys: Keys) -> str:
    """The keys of an action as a person knows them."""
    force = keys[(action.where, action.id)]
    shown = [k for k in force if not (k == "ctrl+j" and "enter" in force)]
    return " or ".join(key_name(k) for k in shown) or "no key"


def help_lines(
    where: str, keys: Keys, test: str, room: int, facts: Mapping[str, str] | None = None
) -> list[Line]:
    """Cautions of the step first, then the screen's own keys, then those that work everywhere."""
    lines: list[Line] = []
    if cautions := cautions_of(test, facts):
        lines.append((Span(f"CAUTIONS: {procedures()[test].label.upper()}", "watch", "bold"),))
        for caution in cautions:
            lines += [(Span(text, "watch"),) for text in wrapped(f"! {caution}", room, "  ")]
        lines.append(())
    wide = min(20, room // 3)
    for title, group in ((NAMES.get(where, where), where), ("Everywhere", EVERYWHERE)):
        lines.append((Span(title.upper(), "ink", "bold"),))
        for action in (a for a in ACTIONS if a.where == group):
            lines += _action_lines(keys_words(action, keys), action.sentence, room, wide)
        lines.append(())
    more = (
        "Numbers: 12,5 and 12.5 are the same; 150 psi, 11 bar, ~150, 3/8 in, <0.05; repeats side by side: 150 148; "
        "n/a for what cannot be done; words after a semicolon. To select text with the mouse hold Shift."
    )
    lines += [(Span(text, "quiet"),) for text in wrapped(more, room)]
    return lines


def _action_lines(head: str, sentence: str, room: int, wide: int) -> list[Line]:
    """Keys beside their sentence; above it where the keys are wider than their column."""
    if len(head) > wide:
        below = [(Span(f"  {text}", "quiet"),) for text in wrapped(sentence, room - 2)]
        return [(Span(head, "ink", "bold"),), *below]
    texts = wrapped(sentence, room - wide - 1)
    first: Line = (Span(f"{padded(head, wide)} ", "ink", "bold"), Span(texts[0], "quiet"))
    return [first, *((Span(" " * (wide + 1)), Span(text, "quiet")) for text in texts[1:])]


def keys_page(keys: Keys) -> str:
    """The keys page of the docs, as Markdown."""
    out = [
        "# Keys", "",
        "Made from the action table by `python -m borelog.tui.pictures docs/screens`; do not edit by hand.", "",
        "`^Z` means ctrl and z together. A keypad's Enter works like Enter. Keys can be changed in the settings file,",
        "`screens.toml`, for example `[keys.plan]` and below it `finding = \"k\"`; names are in the last column.", "",
    ]  # fmt: skip
    for where in (EVERYWHERE, *SCREENS):
        out += [f"## {NAMES.get(where, 'Everywhere')}", "", "| key | what it does | name |", "|---|---|---|"]
        for action in (a for a in ACTIONS if a.where == where):
            shown = keys_words(action, keys).replace("|", "\\|")
            out.append(f"| {shown} | {action.sentence} | `{where}.{action.id}` |")
        out.append("")
    return "\n".join(out)
