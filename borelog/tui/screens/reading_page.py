"""Pages to read over a screen: lines that scroll, with an act on Enter; and sentences that lead to what they rest on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from borelog.tui.ask import Question
from borelog.tui.chosen import Choices
from borelog.tui.painted import Bar, Painted
from borelog.tui.views.words import Line, Span, pieces, shorter


class Page(Question):
    """A page that scrolls by arrows and pages; ``accept`` names what Enter answers with True, '' where it only leaves."""

    DEFAULT_CSS = """
    Page > Vertical { width: 96; height: auto; max-height: 92%; }
    Page #page { height: auto; max-height: 100%; }
    """
    BINDINGS = [
        Binding("enter", "take", show=False), Binding("ctrl+j", "take", show=False), Binding("down", "by(1)", show=False),
        Binding("up", "by(-1)", show=False), Binding("pagedown", "page(1)", show=False), Binding("space", "page(1)", show=False),
        Binding("pageup", "page(-1)", show=False),
    ]  # fmt: skip

    def __init__(self, title: str, lines: Callable[[int], Sequence[Line]], accept: str = "") -> None:
        """``lines`` makes the page for a width in columns."""
        super().__init__()
        self.title_words, self.lines_for, self.accept_words = title, lines, accept

    def compose(self) -> ComposeResult:
        """Title, page, how to leave it."""
        with Vertical():
            yield Bar(id="head", panel=False)
            yield Painted(id="page")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Fill the page."""
        self.show()
        self.query_one("#page").focus()

    def on_resize(self) -> None:
        """Fold anew."""
        self.show()

    def show(self) -> None:
        """The lines for this width."""
        page = self.query_one("#page", Painted)
        room, high = self.app.size.width, self.app.size.height
        lines = list(self.lines_for(max(30, min(92, room * 96 // 100 - 6))))
        page.styles.height = max(1, min(len(lines), high * 92 // 100 - 4))
        page.set_lines(lines)
        self.query_one("#head", Bar).set_lines((Span(self.title_words, "ink", "bold"),))
        accept = (
            f"Enter {self.accept_words} · Esc or ^O leaves it"
            if self.accept_words
            else "Enter, Esc or ^O goes back"
        )
        self.query_one("#how", Bar).set_lines(
            (
                Span(
                    pieces(f"{accept} · arrows and pages scroll", max(30, min(92, room * 96 // 100 - 6))),
                    "quiet",
                ),
            )
        )

    def action_take(self) -> None:
        """Do what belongs to the page, or leave it."""
        self.dismiss(bool(self.accept_words) or None)

    def action_by(self, lines: int) -> None:
        """Scroll by lines."""
        self.query_one("#page", Painted).scroll_relative(y=lines, animate=False)

    def action_page(self, way: int) -> None:
        """Scroll by a page."""
        page = self.query_one("#page", Painted)
        page.scroll_relative(y=way * max(1, page.size.height - 1), animate=False)


class Said(Question):
    """Sentences one of which is in hand; Enter answers with the entries it rests on."""

    DEFAULT_CSS = """
    Said > Vertical { width: 100; height: 92%; }
    Said #page { height: 1fr; max-height: 100%; }
    Said #how { height: 2; }
    """
    BINDINGS = [Binding("enter", "take", show=False), Binding("ctrl+j", "take", show=False)]

    def __init__(
        self, title: str, sentences: Callable[[int], Sequence[tuple[tuple[Line, ...], tuple[str, ...], str]]]
    ) -> None:
        """``sentences`` makes (lines, entries, who says so) for a width in columns; one without entries is only read."""
        super().__init__()
        self.title_words, self.sentences_for = title, sentences
        self.entries: list[tuple[str, ...]] = []
        self.sources: list[str] = []

    def compose(self) -> ComposeResult:
        """Title, sentences, how to leave."""
        with Vertical():
            yield Bar(id="head", panel=False)
            yield Choices(id="page")
            yield Bar(id="how", panel=False)

    def on_mount(self) -> None:
        """Fill the page; the first sentence that leads somewhere is in hand."""
        self.show()
        page = self.query_one("#page", Choices)
        page.focus()
        page.move(min(1, len(self.entries) - 1))

    def on_resize(self) -> None:
        """Fold anew."""
        self.show()

    def show(self) -> None:
        """The sentences for this width."""
        shown = self.sentences_for(max(30, min(96, self.app.size.width * 96 // 100 - 5)))
        self.entries, self.sources = [found for _, found, _ in shown], [source for *_, source in shown]
        self.query_one("#page", Choices).set_entries([lines for lines, *_ in shown])
        self.query_one("#head", Bar).set_lines((Span(self.title_words, "ink", "bold"),))
        self.on_choices_picked()

    def on_choices_picked(self) -> None:
        """Say who says so, and how to go on."""
        index = self.query_one("#page", Choices).index
        source = self.sources[index] if index < len(self.sources) else ""
        room = max(30, min(96, self.app.size.width * 96 // 100 - 5))
        said = shorter(f"source: {source}", room) if source else ""
        words = "Enter shows the reading it rests on · Esc or ^O goes back"
        self.query_one("#how", Bar).set_lines((Span(said, "ink"),), (Span(pieces(words, room), "quiet"),))

    def on_choices_opened(self) -> None:
        """A second click follows."""
        self.action_take()

    def action_take(self) -> None:
        """Lead to what the sentence rests on."""
        found = self.entries[self.query_one("#page", Choices).index] if self.entries else ()
        self.dismiss(found or None)
