"""Whatever the description of the JSON interface allows is asked for, and what it forbids, too."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from benchmaker import CLASS, Instant

from snapcheck.web import Limits, Settings, make_app, make_site
from snapcheck.web._errand import Errand
from snapcheck.web._openapi import OPERATIONS
from snapcheck.web._tokens import TEACHER

schemathesis = pytest.importorskip("schemathesis", reason="pip install '.[test]'")
EXAMPLES = 6


class Resting:
    """The application without its workers: what is handed in waits."""

    def __init__(self, folder: Path) -> None:
        limits = Limits(5_000, body_bytes=6_000, program_waiting=10_000, calls=10_000, tries=10_000)
        # a course without a gradebook, and long work is not done: nothing is begun by asking
        site = make_site(Settings(folder=folder, course=CLASS, limits=limits), [Instant({})])
        self.token = site.tokens.new("tester", TEACHER)
        self._app = make_app(site, "http://testserver", ["testserver"])

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            raise RuntimeError
        await self._app(scope, receive, send)


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    app = Resting(tmp_path_factory.mktemp("described"))
    found = schemathesis.openapi.from_asgi("/v1/openapi.json", app)
    found.token = app.token
    return found


@pytest.mark.parametrize("name", [one.name for one in OPERATIONS])
def test_answers_are_as_described(schema: Any, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from hypothesis import HealthCheck, Phase, given, settings
    from schemathesis.specs.openapi.checks import ignored_auth

    monkeypatch.setattr(Errand, "run", lambda *given: None)
    (operation,) = [o.ok() for o in schema.include(operation_id=name).get_all_operations()]

    @settings(
        max_examples=EXAMPLES, deadline=None, database=None, derandomize=True,
        phases=[Phase.explicit, Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(case=operation.as_strategy())
    def asked(case: Any) -> None:
        # test_programs.py asks without a token: this check would send ours again
        case.call_and_validate(
            headers={"authorization": f"Bearer {schema.token}"}, excluded_checks=[ignored_auth]
        )

    asked()
