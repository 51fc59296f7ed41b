"""Readers for the benches: as they are, with a note of processor time and memory."""

from __future__ import annotations

import os
import time
from pathlib import Path

from snapcheck.photo import Reading, read_photo


def read_and_note(path: Path) -> Reading:
    """The networks' reading; a line with process, processor seconds and resident MB after each photo."""
    reading = read_photo(path)
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    with Path(os.environ["SNAPCHECK_TEST_LOG"]).open("a", encoding="utf-8") as log:
        log.write(f"{os.getpid()} {time.process_time()} {pages * os.sysconf('SC_PAGE_SIZE') / 1e6}\n")
    return reading


def spin(rounds: int) -> float:
    """A piece of pure counting; returns the processor time it took (s)."""
    begin = time.process_time()
    total = 0
    for _ in range(rounds):
        for i in range(100_000):
            total += i % 7
    return time.process_time() - begin


def check_alone(photo: str, design: str, count: int) -> tuple[float, float]:
    """Mean processor time of reading one photo and of checking it, with one thread, warm (s)."""
    from snapcheck.board import load_design
    from snapcheck.kit import bundled_kit
    from snapcheck.pipeline import check_build
    from snapcheck.processes import one_thread
    from snapcheck.simulate import Simulator

    one_thread()
    kit = bundled_kit()
    plan = load_design(design, kit)
    spent = [0.0, 0.0]
    with Simulator() as simulator:
        for n in range(count + 2):
            begin = time.process_time()
            reading = read_photo(Path(photo))
            between = time.process_time()
            check_build(reading, plan, kit, simulator)
            if n >= 2:
                spent[0] += between - begin
                spent[1] += time.process_time() - between
    return spent[0] / count, spent[1] / count
