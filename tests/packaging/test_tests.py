"""Rules for the tests themselves."""

import ast
from collections.abc import Iterator
from pathlib import Path

TESTS = Path(__file__).parents[1]
STOPWATCHES = {"perf_counter", "process_time", "thread_time", "getrusage"}


def asked_of_a_clock(code: str) -> Iterator[int]:
    """Lines of a test that measure a time, or assert one; a limit to waiting is neither."""
    for node in ast.walk(ast.parse(code)):
        names = {part.attr for part in ast.walk(node) if isinstance(part, ast.Attribute)}
        if (isinstance(node, ast.Attribute) and node.attr in STOPWATCHES) or (
            isinstance(node, ast.Assert) and names & {"monotonic"}
        ):
            yield node.lineno


def test_only_benches_measure_time_and_they_in_ratios() -> None:
    """How long something takes is a matter of the machine, and of who else is at work on it."""
    assert list(asked_of_a_clock("start = time.perf_counter()\nassert work() > start\n")) == [1]
    assert list(asked_of_a_clock("work()\nassert time.monotonic() - start < 2\n")) == [2]
    assert not list(
        asked_of_a_clock("until = time.monotonic() + 60\nwhile time.monotonic() < until: wait()\n")
    )
    files = [f for f in TESTS.rglob("test_*.py") if f.parent.name != "bench"]
    assert len(files) > 200
    assert [f"{f.name}:{n}" for f in files for n in asked_of_a_clock(f.read_text("utf-8"))] == []
