"""What a start costs, in processor time of the started process against the yardstick of this run."""

from __future__ import annotations

import resource
import subprocess
import sys
import time

import pytest
from stopwatch import YARDSTICK_S, share

pytestmark = pytest.mark.bench
#: 0.3 s on the machine where a yardstick takes 5.2 ms
BOUND = 0.3 / YARDSTICK_S


def spent_s() -> float:
    """Processor time of this process, and of those that it started and waited for."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("-m", "snapcheck", "--help"), "exit codes"),
        (("-c", "import snapcheck; print(snapcheck)"), "snapcheck"),
    ],
    ids=["help", "import"],
)
def test_a_start_costs_at_most_a_third_of_a_second(words: tuple[str, ...], said: str) -> None:
    def start() -> None:
        done = subprocess.run([sys.executable, *words], capture_output=True, text=True, check=True)
        assert said in done.stdout

    reached = share(start, BOUND, clock=spent_s)
    print(f"{' '.join(words)}: {reached * YARDSTICK_S:.3f} s of 0.3")
    assert 1 < reached <= BOUND
