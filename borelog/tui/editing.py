"""One line of text being edited: pure, so that the grid needs no input widget."""

from __future__ import annotations

from dataclasses import dataclass, replace


@dataclass(frozen=True, slots=True)
class Edit:
    """The text and where the caret stands, 0 before the first character."""

    text: str = ""
    caret: int = 0

    def typed(self, words: str) -> Edit:
        """Characters put in at the caret; line breaks become blanks."""
        words = " ".join(words.splitlines()) if "\n" in words or "\r" in words else words
        return Edit(self.text[: self.caret] + words + self.text[self.caret :], self.caret + len(words))

    def key(self, name: str) -> Edit | None:
        """What an editing key does; None for a key that is none."""
        t, c = self.text, self.caret
        match name:
            case "left":
                return replace(self, caret=max(0, c - 1))
            case "right":
                return replace(self, caret=min(len(t), c + 1))
            case "home" | "ctrl+a":
                return replace(self, caret=0)
            case "end" | "ctrl+e":
                return replace(self, caret=len(t))
            case "backspace":
                return Edit(t[: c - 1] + t[c:], c - 1) if c else self
            case "delete" | "ctrl+d":
                return Edit(t[:c] + t[c + 1 :], c)
            case "ctrl+u":
                return Edit(t[c:], 0)
            case "ctrl+k":
                return Edit(t[:c], c)
            case "ctrl+w" | "ctrl+left":
                head = t[:c].rstrip()
                cut = head.rfind(" ") + 1
                return Edit(t[:cut] + t[c:], cut) if name == "ctrl+w" else replace(self, caret=cut)
        return None


def begun(text: str) -> Edit:
    """Editing of a text that stands there, caret at its end."""
    return Edit(text, len(text))
