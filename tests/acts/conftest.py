"""A bench on a logbook of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from borelog.acts.bench import Bench, open_bench


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    """An open, empty logbook."""
    opened = open_bench(tmp_path / "logbook", who="MB")
    yield opened
    opened.journal.close()
