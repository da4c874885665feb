"""A made-up starter for the trace tests."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def starter_current():
    """The function that makes a starter current with known hump heights."""
    spec = importlib.util.spec_from_file_location("starter", Path(__file__).with_name("starter.py"))
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.starter_current
