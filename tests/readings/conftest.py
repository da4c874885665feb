"""Made-up starters for the trace tests."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def _beside(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def starter_current():
    """The function that makes a starter current with known hump heights."""
    return _beside("starter").starter_current


@pytest.fixture(scope="session")
def starters():
    """Starter currents of many makes: drawn humps of several shapes, and an engine turned by a motor."""
    return _beside("starters")
