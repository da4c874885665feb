"""The one error of this room."""

from __future__ import annotations

from dataclasses import dataclass

from borelog.text import BorelogError


class PackError(BorelogError):
    """A pack that cannot be built, read or taken in; the text says why and what to do."""

    exit_code = 4


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong with a pack: a stable ``kind``, the file it concerns ('' for the whole), and plain words."""

    kind: str
    where: str
    words: str

    def __str__(self) -> str:
        return f"{self.where}: {self.words}" if self.where else self.words


class Refused(PackError):
    """A pack that was refused before anything was written; ``fault`` is the first reason."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(f"the pack is refused and nothing was taken in. {fault}")
        self.fault = fault
