"""A browser for the tests that need one."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if BROWSER is None:
        pytest.skip("no Chromium here; .ci/run installs one")
    api = pytest.importorskip("playwright.sync_api", reason="pip install '.[test]'")
    pytest.importorskip("axe_playwright_python.sync_playwright", reason="pip install '.[test]'")
    with api.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        yield running
        running.close()
