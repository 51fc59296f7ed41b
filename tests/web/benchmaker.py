"""A bench page for tests: with a worker that answers at once, and somebody who asks."""

from __future__ import annotations

import copy
import re
import time
from functools import cache
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from snapcheck import api
from snapcheck.web import Limits, Settings, make_app, make_site
from snapcheck.web._site import Site

ROOT = Path(__file__).parents[2]
CLASS = ROOT / "fixtures" / "class"
DESIGNS = ROOT / "fixtures" / "designs"
PHOTOS = ROOT / "fixtures" / "photos"
#: begins as a JPEG does
JPEG = b"\xff\xd8\xff\xe0 no more than the beginning of a picture"
PHRASE = "a passphrase for tests"


@cache
def _told(changes: tuple[tuple[str, str], ...]) -> dict[str, Any]:
    text = (ROOT / "fixtures/designs/speech-stage.board").read_text(encoding="utf-8")
    built = text
    for old, new in changes:
        assert old in built
        built = built.replace(old, new)
    return api.check(built, text, calculate=False).pieces().told


def told(*changes: tuple[str, str]) -> dict[str, Any]:
    """The answer to a build of the speech stage with these changes to its layout."""
    return copy.deepcopy(_told(changes))


#: mistakes: a danger, and one that changes what it does
REVERSED = ("F6 electrolytic 100u plus=up", "F6 electrolytic 100u plus=down")
OTHER_VALUE = ("E2 resistor 2k2", "E2 resistor 22k")


class Instant:
    """A worker that answers from a list, or what it was told last."""

    def __init__(self, *answers: dict[str, Any]) -> None:
        self.answers = list(answers)
        self.jobs: list[dict[str, Any]] = []

    def do(self, job: dict[str, Any]) -> dict[str, Any]:
        if "warm" in job:
            return {}
        self.jobs.append(job)
        Path(job["flat"]).write_bytes(b"\xff\xd8\xff above")
        return self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]

    def stop(self) -> None:
        pass


class Somebody:
    """A browser without JavaScript: it keeps cookies and sends the tokens of the forms that it was shown."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.page = ""

    def get(self, path: str, **more: Any) -> Any:
        answer = self.client.get(path, **more)
        self.page = answer.text
        return answer

    def token(self) -> str:
        found = re.search(r'name="token" value="([0-9a-f]+)"', self.page)
        assert found is not None, self.page[:300]
        return found[1]

    def post(self, path: str, data: dict[str, str] | None = None, **more: Any) -> Any:
        answer = self.client.post(path, data={"token": self.token(), **(data or {})}, **more)
        if answer.status_code == 200 and "text/html" in answer.headers["content-type"]:
            self.page = answer.text
        return answer

    def join(self, site: Site, bench: int = 4, **more: str) -> Any:
        self.get("/join")
        usual = {"code": site.access.code(), "bench": str(bench), "task": "speech-stage"}
        return self.post("/join", {**usual, **more})

    def enter(self) -> Any:
        self.get("/desk")
        return self.post("/desk/enter", {"phrase": PHRASE})

    def send(self, *photos: bytes) -> Any:
        self.get("/bench")
        files = [("photo", ("photo.jpg", photo, "image/jpeg")) for photo in photos]
        return self.client.post("/bench/photos", data={"token": self.token()}, files=files)

    def answered(self, site: Site, bench: int = 4) -> Any:
        """The page of a bench, once nothing waits there any more."""
        for _ in range(500):
            if not site.keep.waiting(bench):
                return self.get("/bench")
            time.sleep(0.01)
        raise AssertionError("no answer came")


class Room:
    """A running bench page; leave it with `close`."""

    def __init__(self, folder: Path, worker: Instant, **settings: Any) -> None:
        settings.setdefault("limits", Limits())
        self.worker = worker
        self.site = make_site(Settings(folder=folder, **settings), [worker])
        self.site.access.new_code()
        self.site.access.set_phrase(PHRASE)
        self.app = make_app(self.site, "http://testserver", ["testserver", "127.0.0.1"])
        self._client = TestClient(self.app)
        self._client.__enter__()

    def somebody(self) -> Somebody:
        """Another browser, on the same server."""
        client = TestClient(self.app, follow_redirects=True)
        client.portal = self._client.portal  # the same event loop
        return Somebody(client)

    def close(self) -> None:
        self._client.__exit__(None, None, None)
