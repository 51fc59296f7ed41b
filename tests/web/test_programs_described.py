"""Whatever the description of the JSON interface allows is asked for, and what it forbids, too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from benchmaker import CLASS, REVERSED, Instant, Room, told

from snapcheck.web import Limits
from snapcheck.web._openapi import OPERATIONS
from snapcheck.web._tokens import TEACHER

schemathesis = pytest.importorskip("schemathesis", reason="pip install '.[test]'")
EXAMPLES = 6


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Room]:
    limits = Limits(photo_bytes=5_000, body_bytes=6_000, program_waiting=10_000, calls=10_000, tries=10_000)
    folder = tmp_path_factory.mktemp("room")
    # a course without a gradebook: nothing that takes long is begun by asking
    room = Room(folder, Instant({"told": told(REVERSED)}), course=CLASS, limits=limits)
    yield room
    room.close()


@pytest.mark.parametrize("name", [one.name for one in OPERATIONS])
def test_answers_are_as_described(room: Room, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from hypothesis import HealthCheck, Phase, given, settings

    monkeypatch.setattr("snapcheck.web._errand.Errand.run", lambda *given: None)
    token = room.site.tokens.new("tester", TEACHER)
    schema = schemathesis.openapi.from_asgi("/v1/openapi.json", room.app)
    (operation,) = [o.ok() for o in schema.include(operation_id=name).get_all_operations()]

    @settings(
        max_examples=EXAMPLES, deadline=None, database=None, derandomize=True,
        phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy())
    def asked(case: object) -> None:
        case.call_and_validate(headers={"authorization": f"Bearer {token}", "host": "testserver"})

    asked()
