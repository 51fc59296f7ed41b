"""One simulator for the tests of this room."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from snapcheck.simulate import Simulator, is_available


@pytest.fixture(scope="session")
def simulator() -> Iterator[Simulator]:
    if not is_available():
        pytest.skip("ngspice is not installed")
    with Simulator() as made:
        yield made
