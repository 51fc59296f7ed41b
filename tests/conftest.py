"""Makes the helpers beside this file importable from every room's tests."""

from __future__ import annotations

import os

import pytest
from hypothesis import HealthCheck, settings

from snapcheck.processes import ONE_THREAD
from snapcheck.words import use_language

# how long an example takes says nothing about it: the machine may be busy
settings.register_profile(
    "patient", settings.default, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("patient")

if "PYTEST_XDIST_WORKER" in os.environ:  # they share the cores, and so do the processes that they start
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))


@pytest.fixture(autouse=True)
def english(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tests hold English sentences, whatever the surroundings speak."""
    for name in ("LANGUAGE", "LC_MESSAGES", "LANG"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("LC_ALL", "C.UTF-8")
    use_language("en")
