"""A room full of phones: 30 benches send a 4-megapixel photo each within ten seconds.

`python tests/bench/bench_room.py [BENCHES] [SHOTS_EACH]` starts a server of its own, sends, and prints what
was measured: how many photos were lost, how long answers took (from the last byte sent to the answer on the
page, waiting included), how quickly the desk answered meanwhile, what memory and processor time server and
workers took. Not a test: it says how this machine does, with all else that runs on it.

`python tests/bench/bench_room.py held [PHOTOS]` sends so many small photos (1,000) from ten benches,
one after the other, to a server with one worker, and prints what memory both hold meanwhile.
"""

from __future__ import annotations

import asyncio
import io
import json
import re
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import httpx2
import psutil
from PIL import Image

ROOT = Path(__file__).parents[2]
PHOTO = ROOT / "fixtures" / "photos" / "night-lamp-own-way.jpg"
SPREAD_s = 10.0


def four_megapixels() -> bytes:
    out = io.BytesIO()
    with Image.open(PHOTO) as picture:
        picture.resize((2304, 1728), Image.Resampling.LANCZOS).save(out, "JPEG", quality=92)
    return out.getvalue()


def token(page: str) -> str:
    found = re.search(r'name="token" value="([0-9a-f]+)"', page)
    assert found is not None
    return found[1]


async def bench(told: dict[str, Any], number: int, photo: bytes, shots: int, times: list[float]) -> int:
    """One phone; returns how many of its photos were lost."""
    lost = 0
    async with httpx2.AsyncClient(base_url=told["address"], timeout=600, follow_redirects=True) as phone:
        page = (await phone.get("/join")).text
        form = {"token": token(page), "code": told["code"], "bench": str(number), "task": "night-lamp"}
        page = (await phone.post("/join", data=form)).text
        for n in range(shots):
            await asyncio.sleep(SPREAD_s * (number - 1) / told["benches"] if n == 0 else 0)
            files = {"photo": ("photo.jpg", photo, "image/jpeg")}
            sent = await phone.post(
                "/bench/photos", data={"token": token(page)}, files=files, headers={"x-sent-by": "script"}
            )
            start = time.perf_counter()
            if sent.status_code != 200:
                lost += 1
                continue
            while "waits" in (page := (await phone.get("/bench")).text.partition("<footer>")[0]):
                await asyncio.sleep(0.1)
            times.append(time.perf_counter() - start)
            lost += "verdict" not in page
    return lost


async def desk(told: dict[str, Any], times: list[float], over: asyncio.Event) -> None:
    async with httpx2.AsyncClient(base_url=told["address"], timeout=60, follow_redirects=True) as teacher:
        page = (await teacher.get("/desk")).text
        await teacher.post("/desk/enter", data={"token": token(page), "phrase": told["phrase"]})
        while not over.is_set():
            start = time.perf_counter()
            await teacher.get("/desk")
            times.append(time.perf_counter() - start)
            await asyncio.sleep(0.2)


def small() -> bytes:
    out = io.BytesIO()
    with Image.open(PHOTO) as picture:
        picture.resize((1152, 864), Image.Resampling.LANCZOS).save(out, "JPEG", quality=88)
    return out.getvalue()


async def held_after(told: dict[str, Any], photos: int) -> None:
    """Whether server and worker grow with what they have read."""
    photo, answers, start = small(), list[float](), time.perf_counter()
    server = psutil.Process(told["pid"])
    await asyncio.sleep(6)
    print(f"photo: {len(photo) / 1e3:.0f} kB; memory (MB) before: {held(server)}", flush=True)
    phones = [
        asyncio.create_task(bench({**told, "benches": 10}, n, photo, photos // 10, answers))
        for n in range(1, 11)
    ]
    for mark in sorted({m for m in (10, 50, 100, 200, 300, 500, 750, 1000, photos) if m <= photos}):
        while len(answers) < mark and not all(p.done() for p in phones):
            await asyncio.sleep(0.2)
        now = time.perf_counter() - start
        print(f"photos {len(answers)}: memory (MB) {held(server)}, {now:.0f} s", flush=True)
    print(f"lost: {sum(await asyncio.gather(*phones))}")


async def room(told: dict[str, Any], shots: int) -> None:
    photo, answers, pages, over = four_megapixels(), list[float](), list[float](), asyncio.Event()
    server = psutil.Process(told["pid"])
    watching = asyncio.create_task(desk(told, pages, over))
    await asyncio.sleep(6)  # workers have loaded what they need
    before, spent = held(server), cpu_s(server)
    start = time.perf_counter()
    numbers = range(1, told["benches"] + 1)
    lost = sum(await asyncio.gather(*(bench(told, n, photo, shots, answers) for n in numbers)))
    over.set()
    await watching
    answers.sort()
    pages.sort()
    print(f"photo: {len(photo) / 1e6:.1f} MB; benches: {told['benches']}, photos each: {shots}")
    print(f"all answered after {time.perf_counter() - start:.1f} s; lost: {lost}")
    print(f"answer: median {statistics.median(answers):.2f} s, p95 {at(answers, 0.95):.2f} s, "
          f"p99 {at(answers, 0.99):.2f} s, longest {answers[-1]:.2f} s")  # fmt: skip
    print(f"desk: {len(pages)} pages, median {1000 * statistics.median(pages):.0f} ms, "
          f"p95 {1000 * at(pages, 0.95):.0f} ms")  # fmt: skip
    spent = cpu_s(server) - spent
    print(
        f"processor: {spent:.1f} s, {spent / max(1, len(answers)):.2f} s a photo; load {psutil.getloadavg()}"
    )
    print(f"memory (MB) before: {before}, after: {held(server)}")


def at(values: list[float], share: float) -> float:
    return values[min(len(values) - 1, int(share * len(values)))]


def cpu_s(server: psutil.Process) -> float:
    """Processor time of the server and all of its processes, seconds."""
    times = [p.cpu_times() for p in (server, *server.children(recursive=True))]
    return sum(t.user + t.system for t in times)


def held(server: psutil.Process) -> list[int]:
    """Resident memory of the server and of each of its processes, MB."""
    return [round(p.memory_info().rss / 1e6) for p in (server, *server.children(recursive=True))]


def main() -> None:
    long = sys.argv[1:2] == ["held"]
    given = sys.argv[2:] if long else sys.argv[1:]
    benches, shots = (int(word) for word in (*given, *(("1000", "1") if long else ("30", "1"))[len(given) :]))
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "snapcheck", "bench", "--port", "0", "--keep", folder, "--json"]
        command += ["--workers", "1"] if long else []
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
        assert server.stdout is not None
        text = ""
        while not text.endswith("}\n"):
            text += server.stdout.readline()
        try:
            told = {**json.loads(text), "benches": benches, "pid": server.pid}
            asyncio.run(held_after(told, benches) if long else room(told, shots))
        finally:
            server.send_signal(signal.SIGINT)
            server.wait(30)


if __name__ == "__main__":
    main()
