"""One simulator for the room."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from snapcheck.simulate import Simulator, is_available


@pytest.fixture(scope="session")
def simulator() -> Iterator[Simulator]:
    if not is_available():
        pytest.skip("the ngspice library is not installed")
    with Simulator() as one:
        yield one
