"""What somebody in the network may try who is not meant to be here, or is too curious."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from benchmaker import JPEG, PHRASE, REVERSED, Instant, Room, Somebody, told

from snapcheck.web import Limits
from snapcheck.web._openapi import OPERATIONS

DANGER = told(REVERSED)
SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>{{7*7}}"


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    limits = Limits(photo_bytes=20_000, body_bytes=6_000, tries=3, phrase_tries=3)
    room = Room(tmp_path / "kept", Instant({"told": DANGER}), limits=limits)
    yield room
    room.close()


def at_bench(room: Room, bench: int = 4) -> Somebody:
    student = room.somebody()
    student.join(room.site, bench)
    return student


#: everything that may be asked for, apart from the ways in
STUDENT_GETS = ("/bench/part", "/bench/news", "/bench/find", "/bench/find/part", "/bench/find/picture")
STUDENT_POSTS = (
    "/bench/photos", "/bench/task", "/bench/say", "/bench/ask", "/bench/leave", "/bench/find",
)  # fmt: skip
DESK_GETS = (
    "/desk/part", "/desk/news", "/desk/qr.svg", "/desk/audit", "/desk/end", "/desk/bench/4", "/desk/review",
    "/desk/review/history", "/desk/review/0/crop.jpg", "/desk/bench/4/reading", "/desk/bench/4/reading/part",
    "/desk/programs", "/desk/bench/4/find", "/desk/bench/4/find/part", "/desk/bench/4/find/picture",
    "/desk/designs", "/desk/designs/own/lamp/top.svg", "/desk/designs/own/lamp/sheet.html",
    *(f"/desk/designs/at/lamp{rest}" for rest in ("", "/part", "/late", "/plots", "/plots/0.png")),
    "/desk/designs/at/lamp/sheet.html",
)  # fmt: skip
DESK_POSTS = (
    "/desk/leave", "/desk/code", "/desk/hints", "/desk/bench/4/hints", "/desk/bench/4/wave",
    "/desk/bench/4/students", "/desk/bench/4/free", "/desk/bench/4/reading", "/desk/end/hand-in",
    "/desk/end/grade", "/desk/end/close", "/desk/review/look", "/desk/review/decide", "/desk/review/undo",
    "/desk/review/grade", "/desk/programs/new", "/desk/programs/revoke", "/desk/find",
    "/desk/bench/4/find",
    "/desk/review/grade", "/desk/designs/begin", "/desk/designs/photo", "/desk/designs/copy",
    "/desk/designs/lesson", "/desk/designs/put-away", "/desk/designs/bring-back",
    *(f"/desk/designs/at/lamp{rest}" for rest in ("", "/save", "/promise", "/drop")),
)  # fmt: skip


def test_every_address_is_held_against_a_stranger(room: Room) -> None:
    """The lists above hold all of them."""
    open_to_all = {"/", "/join", "/bench", "/desk", "/desk/enter", "/language", "/own/{version}/{name}"}
    pictures = {"/shots/{shot}/above.jpg", "/plans/{task}.svg"}
    example = {"{bench:few}": "4", "{place:int}": "0", "{number:int}": "0", "{draft}": "lamp",
               "{shelf}/{name}": "own/lamp"}  # fmt: skip
    known = {r.path for r in room.app._app.routes}
    for name, one in example.items():
        known = {path.replace(name, one) for path in known}
    programs = {one.path for one in OPERATIONS}  # test_programs.py asks for these
    pages = {*open_to_all, *pictures, *programs}
    assert known == {*STUDENT_GETS, *STUDENT_POSTS, *DESK_GETS, *DESK_POSTS, *pages}


def test_a_stranger_sees_nothing_and_changes_nothing(room: Room) -> None:
    at_bench(room)
    stranger = room.somebody()
    stranger.get("/join")
    for path in (*STUDENT_GETS, *DESK_GETS):
        assert stranger.client.get(path).status_code == 403, path
    for path in (*STUDENT_POSTS, *DESK_POSTS):
        assert stranger.post(path).status_code == 403, path
    assert stranger.get("/bench").url.path == "/join"
    assert "Passphrase" in stranger.get("/desk").text and "Class code <b" not in stranger.page
    assert stranger.client.get("/plans/speech-stage.svg").status_code == 404


def test_a_student_is_no_teacher(room: Room) -> None:
    student = at_bench(room)
    student.get("/bench")
    for path in DESK_GETS:
        assert student.client.get(path).status_code == 403, path
    for path in DESK_POSTS:
        student.get("/bench")
        assert student.post(path).status_code == 403, path


def test_a_student_sees_their_own_bench_only(room: Room) -> None:
    theirs, other = at_bench(room, 4), at_bench(room, 5)
    theirs.send(JPEG)
    page = theirs.answered(room.site).text
    (path,) = set(re.findall(r"/shots/[^/]+/above.jpg", page))
    assert theirs.client.get(path).status_code == 200
    refused, missing = other.client.get(path), other.client.get("/shots/AAAAAAAAAAAAAAAAAAAAAA/above.jpg")
    assert refused.status_code == missing.status_code == 404
    assert re.sub("[0-9a-f]{64}", "", refused.text) == re.sub("[0-9a-f]{64}", "", missing.text)
    assert room.somebody().client.get(path).status_code == 404
    assert "Do not power" not in other.get("/bench").text
    teacher = room.somebody()
    teacher.enter()
    assert teacher.client.get(path).status_code == 200


@pytest.mark.parametrize("name", [
    "../bench.db", "..%2fbench.db", "%2e%2e%2fbench.db", "....//bench.db", "bench.db%00.jpg", "/etc/passwd",
    "*", "%2e%2e/%2e%2e/etc/passwd", "a' or '1'='1",
])  # fmt: skip
def test_no_name_leads_out_of_the_folder(room: Room, name: str) -> None:
    student = at_bench(room)
    for path in (f"/shots/{name}/above.jpg", f"/plans/{name}.svg", f"/own/x/{name}", f"/plans/{name}"):
        answer = student.client.get(path)
        assert answer.status_code in (404, 421) and b"SQLite" not in answer.content, path


def test_no_bench_has_a_number_of_thirty_digits(room: Room) -> None:
    teacher = room.somebody()
    teacher.enter()
    assert {teacher.client.get(f"/desk/bench/{'9' * n}").status_code for n in (9, 30)} == {404}


def test_codes_and_passphrases_cannot_be_tried_out(room: Room) -> None:
    guesser = room.somebody()
    codes = [guesser.join(room.site, code=f"WRONG{n}").status_code for n in range(4)]
    assert codes == [403, 403, 403, 429]
    refused = guesser.join(room.site)  # the right one, too late
    assert refused.status_code == 429 and int(refused.headers["retry-after"]) > 60
    guesser.get("/desk")
    phrases = [guesser.post("/desk/enter", {"phrase": f"{n}"}).status_code for n in range(4)]
    assert phrases == [403, 403, 403, 429]
    assert guesser.post("/desk/enter", {"phrase": PHRASE}).status_code == 429
    kinds = [what for _, _, what, _ in room.site.keep.notes()]
    assert kinds.count("wrong class code") == 3 and kinds.count("wrong passphrase") == 3


def test_keys_of_benches_cannot_be_tried_out(room: Room) -> None:
    at_bench(room)
    guesser = room.somebody()
    key = int(room.site.keep.bench(4).key)
    codes = [guesser.join(room.site, key=f"{(key + 1 + n) % 10_000:04}").status_code for n in range(4)]
    assert codes == [409, 409, 409, 429]


def test_from_many_addresses_it_is_no_easier() -> None:
    from snapcheck.web._access import Tries

    tries = Tries(5, 20, 300)
    for n in range(20):
        assert tries.wait_s(f"192.0.2.{n}") == 0
        tries.wrong(f"192.0.2.{n}")
    assert tries.wait_s("198.51.100.1") > 0
    assert tries.wait_s("127.0.0.1") == 0  # strangers do not lock out the teacher at the computer itself


@pytest.mark.parametrize("forged", ["", "0" * 64, "ü" * 64])
def test_a_form_without_its_token_does_nothing(room: Room, forged: str) -> None:
    student = at_bench(room)
    for path in STUDENT_POSTS:
        assert student.client.post(path, data={"token": forged}).status_code == 403, path
    files = [("photo", ("photo.jpg", JPEG, "image/jpeg"))]
    assert student.client.post("/bench/photos", data={"token": forged}, files=files).status_code == 403
    assert room.site.keep.shots(4) == []


def test_tokens_of_others_and_of_before_do_not_hold(room: Room) -> None:
    student, other = at_bench(room, 4), at_bench(room, 5)
    other.get("/bench")
    assert student.client.post("/bench/ask", data={"token": other.token()}).status_code == 403
    student.get("/join")
    student.get("/bench")
    token, cookie = student.token(), student.client.cookies["snapcheck-session"]
    student.post("/bench/leave")
    thief = room.somebody()
    thief.client.cookies.set("snapcheck-session", cookie)  # replayed after its end
    assert thief.client.post("/bench/ask", data={"token": token}).status_code == 403
    assert thief.get("/bench").url.path == "/join"


def test_made_up_sessions_open_nothing(room: Room) -> None:
    for cookie in ("x", "' or 1=1 --", "a" * 5000, room.site.keep.secret().hex()):
        stranger = room.somebody()
        stranger.client.cookies.set("snapcheck-session", cookie)
        assert stranger.client.get("/desk/part").status_code == 403


def test_cookies_stay_with_us_and_out_of_scripts(room: Room) -> None:
    stranger = room.somebody()
    stranger.client.follow_redirects = False
    stranger.get("/join")
    joined = stranger.join(room.site)
    for cookie in joined.headers.get_list("set-cookie"):
        assert "HttpOnly" in cookie and "SameSite=strict" in cookie and "Path=/" in cookie


def test_what_is_kept_of_sessions_lets_nobody_in(room: Room) -> None:
    student = at_bench(room)
    kept = (room.site.keep.folder / "bench.db").read_bytes()
    kept += (room.site.keep.folder / "bench.db-wal").read_bytes()
    assert student.client.cookies["snapcheck-session"].encode() not in kept
    assert PHRASE.encode() not in kept and b"$argon2id$" in kept


@pytest.mark.parametrize(("headers", "status"), [
    ({"host": "evil.example"}, 421), ({"host": "testserver.evil.example"}, 421), ({"host": ""}, 421),
    ({"host": "[::1]:8420"}, 421), ({"host": "127.0.0.1:8420"}, 200), ({"host": "TESTSERVER"}, 200),
])  # fmt: skip
def test_only_our_own_names_are_answered(room: Room, headers: dict[str, str], status: int) -> None:
    assert room.somebody().client.get("/join", headers=headers).status_code == status


@pytest.mark.parametrize(
    "headers",
    [{"origin": "http://evil.example"}, {"origin": "null"}, {"sec-fetch-site": "cross-site"},
     {"sec-fetch-site": "same-site"}, {"origin": "https://testserver"}],
)  # fmt: skip
def test_forms_of_other_sites_are_refused(room: Room, headers: dict[str, str]) -> None:
    student = at_bench(room)
    student.get("/bench")
    assert student.post("/bench/ask", headers=headers).status_code == 403
    assert room.site.keep.bench(4).asked is None
    assert student.post("/bench/ask", headers={"origin": "http://testserver"}).status_code == 200


def test_every_answer_forbids_what_pages_do_not_need(room: Room) -> None:
    student = at_bench(room)
    for path in ("/bench", "/nothing", "/own/x/bench.css", "/plans/speech-stage.svg", "/desk/part"):
        headers = student.client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
    assert student.client.get("/bench").headers["cache-control"] == "no-store"


def test_pages_hold_neither_script_nor_style(room: Room) -> None:
    student, teacher = at_bench(room), room.somebody()
    student.send(JPEG)
    student.answered(room.site)
    teacher.enter()
    for who, path in ((student, "/bench"), (student, "/join"), (teacher, "/desk"), (teacher, "/desk/bench/4"),
                      (teacher, "/desk/end"), (teacher, "/desk/audit")):  # fmt: skip
        page = who.get(path).text
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|<script>", page), path
        assert not re.search(r"(?:href|src|action)=\"(?:https?:|//|data:)", page), path
        assert re.findall(r"<script[^>]*src=\"([^\"]*)\"", page)


def test_text_that_is_filled_in_stays_text(room: Room) -> None:
    """Script in every field that anybody may fill in."""
    told = {**DANGER, "sentence": SCRIPT, "advice": SCRIPT, "notes": [SCRIPT], "cautions": [SCRIPT]}
    told["findings"] = [{**DANGER["findings"][0], "title": SCRIPT, "mend": SCRIPT, "same": SCRIPT}]
    room.worker.answers = [{"told": told}]
    student, teacher = room.somebody(), room.somebody()
    pages = [student.join(room.site, code=SCRIPT).text]
    pages += [student.join(room.site, **{name: SCRIPT}).text for name in ("bench", "task", "students", "key")]
    student.join(room.site)
    student.send(JPEG)
    pages.append(student.answered(room.site).text)
    pages.append(student.post("/bench/task", {"task": SCRIPT}).text)
    student.post("/language", {"language": SCRIPT})
    pages.append(student.get(f"/join?code={SCRIPT}").text)
    teacher.enter()
    (shot,) = room.site.keep.shots(4)
    teacher.get("/desk/bench/4")
    teacher.post("/desk/bench/4/wave", {"shot": shot.id, "reason": SCRIPT, "looked": "yes"})
    pages.append(teacher.post("/desk/bench/4/students", {"students": SCRIPT}).text)
    pages += [teacher.get(path).text for path in ("/desk", "/desk/bench/4", "/desk/end", "/desk/audit")]
    pages.append(student.get("/bench").text)
    assert sum("&lt;script&gt;" in page for page in pages) >= 6
    assert "{{7*7}}" in student.page  # text is no template either
    for page in pages:
        assert "<script>alert" not in page and "<img src=x" not in page


def test_what_is_too_large_is_refused_before_it_is_taken(room: Room) -> None:
    student = at_bench(room)
    assert student.send(JPEG + b"x" * 20_001).status_code == 413
    assert student.send(*[JPEG + b"x" * 19_900] * 4).status_code == 200
    assert student.send(JPEG + b"x" * 200_000).status_code == 413
    student.get("/bench")
    assert student.post("/bench/task", {"task": "x" * 7000}).status_code == 413
    many = {f"field{n}": "x" for n in range(30)}
    assert student.post("/bench/task", many).status_code in (400, 413)


def sent(room: Room, pieces: list[bytes], wait_s: float = 0.0, **headers: str) -> int:
    """The status of a request that comes in these pieces, and then no further."""
    statuses: list[int] = []

    async def receive() -> dict[str, Any]:
        if pieces:
            return {"type": "http.request", "body": pieces.pop(0), "more_body": True}
        await asyncio.sleep(wait_s or 3600)
        return {"type": "http.disconnect"}

    async def send(message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])

    student = at_bench(room, 20)
    cookie = f"snapcheck-session={student.client.cookies['snapcheck-session']}"
    head = {
        "host": "testserver",
        "cookie": cookie,
        "content-type": "multipart/form-data; boundary=x",
        **headers,
    }
    scope = {
        "type": "http", "method": "POST", "path": "/bench/photos", "raw_path": b"/bench/photos",
        "scheme": "http", "query_string": b"", "headers": [(k.encode(), v.encode()) for k, v in head.items()],
        "client": ("192.0.2.9", 5), "server": ("testserver", 80), "root_path": "", "http_version": "1.1",
    }  # fmt: skip
    asyncio.run(room.app(scope, receive, send))
    room.site.keep.free_bench(20)
    return statuses[0]


def test_without_a_length_it_is_counted(room: Room) -> None:
    head = b'--x\r\ncontent-disposition: form-data; name="photo"; filename="a"\r\n\r\n'
    assert sent(room, [head, *[b"y" * 10_000] * 20]) == 413
    assert sent(room, [], **{"content-length": "-1"}) == 413
    assert sent(room, [], **{"content-length": "1e3"}) == 413


def test_who_sends_too_slowly_is_not_waited_for(tmp_path: Path) -> None:
    room = Room(tmp_path, Instant({"told": DANGER}), limits=Limits(idle_s=0.05))
    assert sent(room, [b"--x\r\n"]) == 408
    room.close()


def test_one_bench_cannot_fill_the_queue(room: Room) -> None:
    student = at_bench(room)
    for _ in range(room.site.settings.limits.waiting):
        room.site.keep.add_shot(4, "speech-stage", "en", [JPEG])
    assert student.send(JPEG).status_code == 429
