"""The interface for programs: what its description promises, who gets in, and what they are told."""

from __future__ import annotations

import asyncio
import json
import re
import shutil
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from benchmaker import CLASS, JPEG, REVERSED, Instant, Room, Somebody, told

from snapcheck.web import Limits
from snapcheck.web._openapi import OPERATIONS, description
from snapcheck.web._tokens import HAND_IN, TEACHER

DANGER = told(REVERSED)
SCRIPT = "<script>alert(1)</script>{{7*7}}"
HAND = "/v1/tasks/speech-stage/photos"
PLACE = {
    "told": {
        "student": "1", "task": "speech-stage", "path": "a.jpg", "kind": "cell", "place": "C4",
        "points_now": "1", "points_most": "4", "question": SCRIPT, "reason": "", "choices": [],
    },
    "crop": None, "plan": "", "drawn": [], "idle": False,
}  # fmt: skip


class Program:
    """Somebody with a token and no cookies."""

    def __init__(self, room: Room, token: str = "") -> None:
        self.client, self.token = room.somebody().client, token

    def ask(self, method: str, path: str, **more: Any) -> Any:
        headers = {"authorization": f"Bearer {self.token}"} if self.token else {}
        more["headers"] = {**headers, **more.get("headers", {})}
        answer = self.client.request(method, path, **more)
        as_described(method, path, answer)
        return answer

    def send(self, path: str = HAND, photo: bytes = JPEG, kind: str = "image/jpeg", **more: Any) -> Any:
        return self.ask("POST", path, content=photo, headers={"content-type": kind}, **more)


@cache
def _described() -> dict[str, Any]:
    return description(Limits(), tls=False)


def as_described(method: str, path: str, answer: Any) -> None:
    """Every answer has a form that the description names for it."""
    told = _described()
    for template, methods in told["paths"].items():
        if re.fullmatch(re.sub(r"\\{\w+\\}", "[^/%]+", re.escape(template)), path.partition("?")[0]):
            answers = methods.get(method.lower(), {"responses": {}})["responses"]
            content = answers.get(str(answer.status_code), {"content": {}})["content"]
            form = content.get(answer.headers["content-type"], {"schema": answer.status_code == 405})[
                "schema"
            ]
            if isinstance(form, dict):
                form = {**form, "components": told["components"]}
            jsonschema.Draft202012Validator(form).validate(answer.json())


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    limits = Limits(photo_bytes=20_000, body_bytes=6_000, tries=3, program_waiting=3)
    room = Room(tmp_path / "kept", Instant({"told": DANGER}), limits=limits)
    yield room
    room.close()


@pytest.fixture
def course(tmp_path: Path) -> Iterator[Room]:
    shutil.copytree(CLASS, tmp_path / "class", ignore=shutil.ignore_patterns("*.jpg"))
    from snapcheck import api

    room = Room(tmp_path / "kept", Instant({"told": DANGER}), course=tmp_path / "class")
    assert api.course_of(tmp_path / "class").students
    yield room
    room.close()


def answered(program: Program, room: Room, sent: Any) -> dict[str, Any]:
    for _ in range(500):
        if not room.site.keep.waiting():
            break
        time.sleep(0.01)
    found: dict[str, Any] = program.ask("GET", sent.headers["location"]).json()
    return found


def addresses() -> list[tuple[str, str, str]]:
    filled = {"{task}": "speech-stage", "{shot}": "A" * 22, "{place}": "0" * 20}
    found = []
    for one in OPERATIONS:
        path = one.path
        for name, value in filled.items():
            path = path.replace(name, value)
        found.append((one.method.upper(), path, one.scope))
    return found


def is_problem(answer: Any, status: int) -> None:
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == status and answer.json()["detail"]


# ---------------------------------------------------------------- what it does


def test_a_photo_is_handed_in_and_its_answer_fetched(room: Room) -> None:
    program = Program(room, room.site.tokens.new("platform", HAND_IN))
    assert "speech-stage" in [t["name"] for t in program.ask("GET", "/v1/tasks").json()["tasks"]]
    sent = program.send()
    assert sent.status_code == 202 and sent.json()["state"] == "waiting" and sent.json()["answer"] is None
    room.site.keep.keep("step", "0")
    shot = answered(program, room, sent)
    assert shot["state"] == "done" and shot["answer"]["verdict"] == "do-not-power"
    (finding,) = shot["answer"]["findings"]
    # a danger by its place alone, as on a phone
    assert finding["title"] == DANGER["findings"][0]["hint"][0] and finding["mend"] == ""
    assert "expected" not in finding and "same" not in finding
    room.site.keep.keep("step", "3")
    (finding,) = program.ask("GET", sent.headers["location"]).json()["answer"]["findings"]
    assert finding["mend"] == DANGER["findings"][0]["mend"]
    teacher = Program(room, room.site.tokens.new("gradebook", TEACHER))
    (finding,) = teacher.ask("GET", sent.headers["location"]).json()["answer"]["findings"]
    assert finding["found"] == DANGER["findings"][0]["found"] and finding["cells"] == ["F6"]


def test_a_second_photo_of_the_build_goes_with_the_first(room: Room) -> None:
    program = Program(room, room.site.tokens.new("platform", HAND_IN))
    first = answered(program, room, program.send())
    second = program.send(params={"with": first["id"]})
    assert second.status_code == 202 and second.json()["id"] != first["id"]
    shot = room.site.keep.shot(second.json()["id"])
    assert shot.photos == 2 and all(room.site.keep.photo(shot.id, n).read_bytes() == JPEG for n in (0, 1))
    is_problem(program.send("/v1/tasks/first-light/photos", params={"with": first["id"]}), 422)
    is_problem(program.send(params={"with": "../" + first["id"]}), 422)
    other = Program(room, room.site.tokens.new("another", HAND_IN))
    is_problem(other.send(params={"with": first["id"]}), 422)  # not its own
    answered(program, room, second)
    more = second.json()["id"]
    while (sent := program.send(params={"with": more})).status_code == 202:
        more = answered(program, room, sent)["id"]
    is_problem(sent, 413)
    assert room.site.keep.shot(more).photos == room.site.settings.limits.photos


def test_in_a_course_it_becomes_a_submission_of_its_student(course: Room) -> None:
    assert course.site.plans.course is not None
    program = Program(course, course.site.tokens.new("platform", HAND_IN))
    task, student = next(iter(course.site.plans.exercises)), course.site.plans.course.students[0].number
    path = f"/v1/tasks/{task}/photos"
    is_problem(program.send(path), 422)
    is_problem(program.send(path, params={"student": "nobody"}), 422)
    is_problem(program.send(f"{path}?student={student}&student=x"), 422)
    shot = answered(program, course, program.send(path, params={"student": student}))
    assert shot["submission"] and shot["student"] == student
    assert (course.site.plans.course.submissions / shot["submission"]).read_bytes() == JPEG


def test_places_are_decided_and_grades_fetched(course: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    from snapcheck import api

    teacher = Program(course, course.site.tokens.new("gradebook", TEACHER))
    desk = next(r.endpoint.__self__ for r in course.app._app.routes if r.path == "/desk/review")
    assert teacher.ask("GET", "/v1/places").json() == {"state": "", "error": "", "places": []}
    desk.looking.state, desk.looking.result = "done", [PLACE]
    (place,) = teacher.ask("GET", "/v1/places").json()["places"]
    assert place["question"] == SCRIPT and place["decided"] == ""
    asked: list[Any] = []
    monkeypatch.setattr(api, "decide", lambda folder, wanted, by: [asked.extend((*wanted, by)), 1][1:])
    path = f"/v1/places/{place['id']}/decisions"
    said = {"decide": "C4 npn BC547", "reason": SCRIPT, "by": "platform"}
    done = teacher.ask("POST", path, json=said)
    assert done.status_code == 201 and done.json()["decided"] == "C4 npn BC547"
    assert asked[0].text == "C4 npn BC547" and asked[0].reason == SCRIPT and asked[1] == "platform"
    is_problem(teacher.ask("POST", path, json={**said, "decide": " "}), 422)
    is_problem(teacher.ask("POST", path, json={**said, "more": "x"}), 422)
    is_problem(teacher.ask("POST", path, json=[said]), 422)
    is_problem(
        teacher.ask("POST", path, content=b"[" * 5000, headers={"content-type": "application/json"}), 400
    )
    is_problem(teacher.ask("POST", path, data=said), 415)
    is_problem(teacher.ask("POST", f"/v1/places/{'0' * 20}/decisions", json=said), 404)
    assert teacher.ask("GET", "/v1/grades").json()["grades"] == []


# ---------------------------------------------------------------- who gets in


def test_without_a_token_that_holds_nothing_is_told(room: Room) -> None:
    made = room.site.tokens.new("platform", HAND_IN)
    for method, path, scope in addresses():
        nobody = Program(room).ask(method, path)
        if scope:
            is_problem(nobody, 401)
            assert nobody.headers["www-authenticate"] == "Bearer"
        else:
            assert nobody.status_code == 200
        if scope == TEACHER:
            is_problem(Program(room, made).ask(method, path), 403)
    basic = {"authorization": f"Basic {made}"}
    is_problem(Program(room).ask("GET", "/v1/tasks", headers=basic), 401)
    assert room.site.keep.waiting() == 0


def test_tokens_cannot_be_tried_out_forged_or_used_again(room: Room) -> None:
    made = room.site.tokens.new("platform", HAND_IN)
    program = Program(room, made)
    assert program.ask("GET", "/v1/tasks").status_code == 200
    (token,) = room.site.tokens.all()
    assert room.site.tokens.revoke(token.id) and not room.site.tokens.revoke(token.id)
    is_problem(program.ask("GET", "/v1/tasks"), 401)  # replayed
    is_problem(Program(room, token.id).ask("GET", "/v1/tasks"), 401)
    is_problem(Program(room, "' or 1=1 --").ask("GET", "/v1/tasks"), 401)
    late = Program(room, room.site.tokens.new("other", HAND_IN)).ask("GET", "/v1/tasks")
    is_problem(late, 429)
    assert int(late.headers["retry-after"]) > 60
    assert [w for _, _, w, _ in room.site.keep.notes()].count("wrong token") == 3
    kept = (room.site.keep.folder / "bench.db").read_bytes()
    kept += (room.site.keep.folder / "bench.db-wal").read_bytes()
    assert made.encode() not in kept and b"platform" in kept


def test_a_program_sees_its_own_photos_alone_and_opens_no_page(room: Room) -> None:
    one, other = (Program(room, room.site.tokens.new(n, HAND_IN)) for n in ("one", "other"))
    sent = one.send()
    theirs = other.ask("GET", sent.headers["location"])
    missing = other.ask("GET", f"/v1/shots/{'A' * 22}")
    is_problem(theirs, 404)
    assert theirs.json() == missing.json()
    phone = Somebody(room.somebody().client)
    phone.join(room.site)
    phone.send(JPEG)
    (shot,) = room.site.keep.shots(4)
    is_problem(one.ask("GET", f"/v1/shots/{shot.id}"), 404)
    for path in ("/desk/part", "/bench/part", "/desk/programs"):
        assert one.ask("GET", path).status_code == 403
    is_problem(phone.client.get("/v1/tasks"), 401)  # cookies open nothing here
    assert "set-cookie" not in one.ask("GET", "/v1/tasks").headers


def test_the_teacher_makes_and_revokes_tokens_at_the_desk(room: Room) -> None:
    teacher = room.somebody()
    teacher.enter()
    teacher.get("/desk/programs")
    page = teacher.post("/desk/programs/new", {"name": SCRIPT, "scope": HAND_IN}).text
    assert "&lt;script&gt;" in page and "<script>alert" not in page
    made = page.partition('id="made" readonly value="')[2].partition('"')[0]
    assert len(made) > 40 and made not in teacher.get("/desk/programs").text
    assert Program(room, made).ask("GET", "/v1/tasks").status_code == 200
    assert teacher.post("/desk/programs/new", {"name": "x", "scope": "all"}).status_code == 422
    assert teacher.post("/desk/programs/new", {"name": "", "scope": HAND_IN}).status_code == 422
    (token,) = room.site.tokens.all()
    teacher.get("/desk/programs")
    teacher.post("/desk/programs/revoke", {"id": token.id})
    is_problem(Program(room, made).ask("GET", "/v1/tasks"), 401)
    page = teacher.get("/desk/audit").text
    assert "token made" in page and "token revoked" in page and "<script>alert" not in page


# ---------------------------------------------------------------- how much, and of what


def test_what_is_no_photo_or_too_much_is_refused(room: Room) -> None:
    program = Program(room, room.site.tokens.new("platform", HAND_IN))
    is_problem(program.send(photo=JPEG + b"x" * 20_001), 413)
    is_problem(program.send(photo=b"GIF89a"), 415)
    is_problem(program.send(photo=b""), 415)
    is_problem(program.send(kind="text/html"), 415)
    is_problem(program.send("/v1/tasks/no-such/photos"), 404)
    is_problem(program.send(params={"student": SCRIPT}), 422)
    is_problem(program.ask("POST", "/v1/places/x/decisions", content=b"x" * 7000), 413)
    for _ in range(3):
        room.site.keep.add_shot(0, "speech-stage", "en", [JPEG], sender=room.site.tokens.all()[0].id)
    is_problem(program.send(), 429)


def test_a_program_that_asks_too_often_waits(tmp_path: Path) -> None:
    room = Room(tmp_path, Instant({"told": DANGER}), limits=Limits(calls=2))
    program = Program(room, room.site.tokens.new("platform", HAND_IN))
    assert [program.ask("GET", "/v1/tasks").status_code for _ in range(3)] == [200, 200, 429]
    room.close()


@pytest.mark.parametrize("name", ["..%2f..%2fbench.db", "%2e%2e%2fbench.db", "a' or '1'='1", "*", "%00"])
def test_no_name_leads_out(room: Room, name: str) -> None:
    program = Program(room, room.site.tokens.new("gradebook", TEACHER))
    for path in (f"/v1/shots/{name}", f"/v1/tasks/{name}/photos", f"/v1/{name}"):
        for method in ("GET", "POST"):
            answer = program.ask(method, path)
            assert answer.status_code in (404, 405) and b"SQLite" not in answer.content
            assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize(("headers", "status"), [
    ({"host": "evil.example"}, 421), ({"origin": "http://evil.example"}, 403),
    ({"sec-fetch-site": "cross-site"}, 403),
])  # fmt: skip
def test_the_house_rules_hold_here_too(room: Room, headers: dict[str, str], status: int) -> None:
    program = Program(room, room.site.tokens.new("platform", HAND_IN))
    answer = program.ask("POST", HAND, content=JPEG, headers={"content-type": "image/jpeg", **headers})
    is_problem(answer, status)


def test_errors_speak_the_language_that_is_asked_for(room: Room) -> None:
    german = Program(room).ask("GET", "/v1/tasks", headers={"accept-language": "de-AT,en;q=0.5"})
    assert "Schlüssel" in german.json()["detail"] and "needed" not in german.json()["detail"]


def sent(room: Room, pieces: list[bytes], token: str, **headers: str) -> tuple[int, dict[str, Any]]:
    """Status and body of the answer to a request that comes in these pieces, and then no further."""
    came: list[Any] = []

    async def receive() -> dict[str, Any]:
        if pieces:
            return {"type": "http.request", "body": pieces.pop(0), "more_body": True}
        await asyncio.sleep(3600)
        raise AssertionError

    async def send(message: dict[str, Any]) -> None:
        came.append(message.get("status") or message.get("body"))

    head = {"host": "testserver", "authorization": f"Bearer {token}", "content-type": "image/jpeg", **headers}
    scope = {
        "type": "http", "method": "POST", "path": HAND, "raw_path": HAND.encode(), "scheme": "http",
        "query_string": b"", "headers": [(k.encode(), v.encode()) for k, v in head.items()],
        "client": ("192.0.2.9", 5), "server": ("testserver", 80), "root_path": "", "http_version": "1.1",
    }  # fmt: skip
    asyncio.run(room.app(scope, receive, send))
    return came[0], json.loads(came[1])


def test_without_a_length_it_is_counted_and_nobody_is_waited_for(tmp_path: Path) -> None:
    limits = Limits(photo_bytes=20_000, idle_s=0.05)
    room = Room(tmp_path, Instant({"told": DANGER}), limits=limits)
    token = room.site.tokens.new("platform", HAND_IN)
    assert sent(room, [JPEG, *[b"y" * 10_000] * 3], token)[0] == 413
    status, body = sent(room, [JPEG], token)
    assert status == 408 and body["status"] == 408
    assert sent(room, [], token, **{"content-length": "-1"})[0] == 413
    assert list(room.site.keep.pictures.iterdir()) == []
    room.close()


# ---------------------------------------------------------------- the description


def test_the_description_is_one_of_openapi(room: Room) -> None:
    """Its schemas are of the dialect of OpenAPI 3.1 (JSON Schema 2020-12), its references lead somewhere, and
    every address is there."""
    told = Program(room).ask("GET", "/v1/openapi.json").json()
    assert told["openapi"].startswith("3.1.")
    for schema in told["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)
    text = json.dumps(told)
    for name in told["components"]["schemas"]:
        assert f"#/components/schemas/{name}" in text
    assert {(m.upper(), p) for p, ms in told["paths"].items() for m in ms} == {
        (one.method.upper(), one.path) for one in OPERATIONS
    }
