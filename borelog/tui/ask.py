"""Short questions over a screen: one or more fields, or one of several answers. None ever opens another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, TextArea

from borelog.tui.chosen import Choices
from borelog.tui.painted import Bar, Painted
from borelog.tui.views.words import Line, Span, cells, pieces, shorter, wrapped

if TYPE_CHECKING:
    from borelog.tui.app import Screens

_CSS = """
Question { align: center middle; background: $ground 60%; }
Question > Vertical { width: 76; max-width: 96%; height: auto; max-height: 92%; background: $ground; border: outer $edge; padding: 0 1; }
Question.-letters > Vertical { border: ascii $edge; }
Question Input { border: none; height: 1; background: $panel; padding: 0 1; margin: 0 0 1 0; }
Question.-tight Input { margin: 0; }
Question.-tight TextArea { height: 4; }
Question Input:focus { border: none; background: $panel; text-style: underline; }
Question TextArea { height: 8; border: none; background: $panel; padding: 0 1; }
Question Painted { height: auto; max-height: 14; }
"""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a question: id, what it is called, a hint, what stands in it, whether it takes many lines."""

    id: str
    label: str
    hint: str = ""
    value: str = ""
    long: bool = False


class Question(ModalScreen[Any]):
    """The frame of a question."""

    DEFAULT_CSS = _CSS
    BINDINGS = [
        Binding("escape", "leave", "Back", show=False),
        Binding("ctrl+o", "leave", "Back", show=False),
        Binding("ctrl+q", "leave", "Back", show=False),
    ]

    def __init__(self, title: str = "", words: str = "") -> None:
        super().__init__()
        self.title_words, self.words = title, words

    @property
    def screens(self) -> Screens:
        """The application."""
        return cast("Screens", self.app)

    def show_head(self) -> None:
        """Title and words above everything else."""
        room = min(72, self.size.width - 6)
        lines: list[Line] = [(Span(self.title_words, "ink", "bold"),)]
        lines += [(Span(text, "quiet"),) for text in (wrapped(self.words, room) if self.words else ())]
        self.query_one("#head", Painted).set_lines([*lines, ()])
        self.query_one("#head").styles.height = len(lines) + 1

    def on_screen_resume(self) -> None:
        """ASCII frames where only letters may be used."""
        self.set_class(self.screens.letters, "-letters")

    def action_leave(self) -> None:
        """Go back without an answer."""
        self.dismiss(None)


class Ask(Question):
    """Fields one under the other; Enter goes on and accepts after the last, ctrl+s accepts at once."""

    BINDINGS = [
        Binding("ctrl+s", "accept", "Accept", show=False),
        Binding("down", "next", show=False),
        Binding("up", "previous", show=False),
    ]

    def __init__(
        self,
        title: str,
        fields: Sequence[Field],
        *,
        words: str = "",
        check: Callable[[dict[str, str]], str] = lambda values: "",
    ) -> None:
        super().__init__(title, words)
        self.fields, self.check = tuple(fields), check

    def compose(self) -> ComposeResult:
        """Title, words, fields, and how to go on."""
        with Vertical():
            yield Painted(id="head", reads=False)
            for field in self.fields:
                yield Bar(id=f"label-{field.id}", panel=False)
                if field.long:
                    yield TextArea(field.value, id=f"field-{field.id}", tab_behavior="focus")
                else:
                    yield Input(
                        field.value, id=f"field-{field.id}", placeholder=field.hint, select_on_focus=False
                    )
            yield Bar(id="fault", panel=False)
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Fill in the words and take the first field; what has to be small is made small, so that all of it is seen."""
        room = max(20, min(72, self.app.size.width * 96 // 100 - 6))
        labels = {f.id: wrapped(f.label, room) for f in self.fields}
        for name, texts in labels.items():
            bar = self.query_one(f"#label-{name}", Bar)
            bar.styles.height = len(texts)
            bar.set_lines(*((Span(text, "ink"),) for text in texts))
        free = self.app.size.height * 92 // 100 - 4 - sum(map(len, labels.values()))
        words = wrapped(self.words, room) if self.words else ()
        tight = free < 2 + len(words) + sum(8 if f.long else 2 for f in self.fields)
        self.set_class(tight, "-tight")
        if tight:
            left = max(0, free - 2 - sum(4 if f.long else 1 for f in self.fields))
            self.words = " ".join(words[:left])
        self.show_head()
        last = (
            "ctrl+s accepts" if any(f.long for f in self.fields) else "Enter goes on, accepts after the last"
        )
        self.query_one("#how", Bar).set_lines((Span(pieces(f"{last} · Esc or ^O goes back", room), "quiet"),))
        self.query_one(f"#field-{self.fields[0].id}").focus()

    def values(self) -> dict[str, str]:
        """What stands in the fields."""
        out = {}
        for field in self.fields:
            widget = self.query_one(f"#field-{field.id}")
            out[field.id] = widget.text if isinstance(widget, TextArea) else cast(Input, widget).value
        return out

    def on_key(self, event: events.Key) -> None:
        """A keypad's Enter is an Enter."""
        if event.key == "ctrl+j" and isinstance(self.focused, Input):
            event.stop()
            self._onward()

    def on_input_submitted(self) -> None:
        """Go on."""
        self._onward()

    def _onward(self) -> None:
        ids = [f"field-{f.id}" for f in self.fields]
        here = self.focused.id if self.focused and self.focused.id in ids else ids[-1]
        if here == ids[-1]:
            self.action_accept()
        else:
            self.set_focus(self.query_one(f"#{ids[ids.index(here) + 1]}"))

    def action_next(self) -> None:
        """The next field."""
        self.focus_next(Input)

    def action_previous(self) -> None:
        """The field before."""
        self.focus_previous(Input)

    def action_accept(self) -> None:
        """Answer, unless something is missing; then say what."""
        values = self.values()
        if fault := self.check(values):
            self.query_one("#fault", Bar).set_lines((Span(fault, "bad"),))
            return
        self.dismiss(values)


def narrowed(options: Sequence[tuple[Any, str, str]], typed: str) -> list[tuple[Any, str, str]]:
    """The options that hold every word typed: those that begin with it first, then those that name it, then the rest."""
    wanted = " ".join(typed.casefold().split())
    words = wanted.split()

    def rank(option: tuple[Any, str, str]) -> int | None:
        name, more = option[1].casefold(), option[2].casefold()
        if name.startswith(wanted):
            return 0
        if all(w in name for w in words):
            return 1
        return 2 if all(w in name or w in more for w in words) else None

    ranked = [(r, k) for k, o in enumerate(options) if (r := rank(o)) is not None]
    return [options[k] for _, k in sorted(ranked)]


def _beside(more: str, room: int) -> str:
    """More words beside an answer, where there is room for some."""
    return f"  {shorter(more, room)}" if more and room > 8 else ""


class Choose(Question):
    """One of several answers: arrows and Enter, or the answer's own letter. Typing more letters narrows the list."""

    BINDINGS = [Binding("enter", "accept", show=False), Binding("ctrl+j", "accept", show=False)]

    def __init__(
        self, title: str, options: Sequence[tuple[Any, str, str]], *, words: str = "", typing: bool = False
    ) -> None:
        """``options`` are (answer, words, key or more words); with ``typing`` letters narrow the list by its words."""
        super().__init__(title, words)
        self.options, self.typing = tuple(options), typing
        self.typed = ""
        self.shown = list(self.options)

    def compose(self) -> ComposeResult:
        """Title, list, what was typed."""
        with Vertical():
            yield Painted(id="head", reads=False)
            yield Choices(id="options")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Show all answers."""
        self.show_head()
        self._list()
        self.query_one("#options").focus()

    def _list(self) -> None:
        self.shown = narrowed(self.options, self.typed) if self.typing else list(self.options)
        entries: list[tuple[Line, ...]] = []
        room = min(72, self.app.size.width * 96 // 100 - 4)
        for _, text, more in self.shown:
            line: Line = (
                (
                    Span(f" {shorter(text, room - 2)}", "ink"),
                    Span(_beside(more, room - cells(text) - 8), "quiet"),
                )
                if self.typing
                else (Span(f" {more or ' '} ", "ink", "bold"), Span(f" {text}", "ink"))
            )
            entries.append((line,))
        box = self.query_one("#options", Choices)
        box.set_entries(entries)
        box.styles.height = max(1, min(len(entries), 16, self.app.size.height - 9))
        words_line = (
            f"typed: {self.typed or '...'} · Enter takes it · Esc or ^O goes back"
            if self.typing
            else "arrows and Enter, or its key · Esc or ^O goes back"
        )
        self.query_one("#how", Bar).set_lines((Span(pieces(words_line, room), "quiet"),))

    def on_key(self, event: events.Key) -> None:
        """A letter picks, or narrows."""
        char = event.character or ""
        if self.typing and (event.key == "backspace" or (len(char) == 1 and char.isprintable())):
            self.typed = self.typed[:-1] if event.key == "backspace" else self.typed + char
            self.query_one("#options", Choices).index = 0
            self._list()
            event.stop()
            return
        if not self.typing and len(char) == 1:
            for answer, _, key in self.options:
                if key and key == char:
                    event.stop()
                    self.dismiss(answer)
                    return

    def on_choices_opened(self) -> None:
        """A second click takes it."""
        self.action_accept()

    def action_accept(self) -> None:
        """Take the answer in hand."""
        if self.shown:
            self.dismiss(self.shown[self.query_one("#options", Choices).index][0])
