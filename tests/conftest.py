"""Makes the helpers beside this file importable from every room's tests."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

from snapcheck.words import use_language

# how long an example takes says nothing about it: the machine may be busy
settings.register_profile(
    "patient", settings.default, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("patient")


@pytest.fixture(autouse=True)
def english(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests hold English sentences, whatever the surroundings speak."""
    for name in ("LANGUAGE", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "C.UTF-8")
    use_language("en")
