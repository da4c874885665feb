"""Shared by all tests: nothing of the person's own settings leaks in."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# A slow machine is no fault of the code: no example has a deadline, and drawing one may take its time.
settings.register_profile("suite", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("suite")


@pytest.fixture(autouse=True)
def _own_surroundings(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    home = tmp_path_factory.mktemp("home")
    for name in ("BORELOG_LOGBOOK", "NO_COLOR", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.setenv(name, str(home))
