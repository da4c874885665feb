"""What a named scene is made of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from borelog.demo.pictures.rendered import Rendered

SMALL: dict[str, Any] = {"size": (640, 480), "fine": 2}


@dataclass(frozen=True, slots=True)
class Subject:
    """One named scene."""

    draw: Callable[..., Rendered]
    seed: int
    shows: str
    view: str
    """Where it would be filed: a view of a cylinder, or the engine as a whole."""
    looks: dict[str, Any] = field(default_factory=dict)
