"""An edit at the design desk, in a real browser: from the key to the new figures on the screen.

`python tests/bench/bench_plate.py [EDITS] [DESIGN...]` opens each design (the usual: the sample with most
cubes, the one with chips) on a server of its own, changes one resistor again and again, and prints how long
it took until the operating point's figures stood on the page, and until everything did that is worked out
later. Not a test: it says how this machine does, with all else that runs on it.
"""

from __future__ import annotations

import itertools
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT / "tests" / "web"), str(ROOT / "tests")]

#: presses the button of the form, and waits for the page to change
_EDIT = """([value, late]) => new Promise(done => {
  const start = performance.now();
  const seen = new MutationObserver(() => {
    const told = document.getElementById("told");
    if (document.getElementById("value")?.value !== value || (late && told.dataset.late)) return;
    seen.disconnect();
    requestAnimationFrame(() => done(performance.now() - start));
  });
  seen.observe(document.getElementById("main"), { childList: true, subtree: true });
  document.getElementById("value").value = value;
  document.querySelector("form.put").requestSubmit();
})"""


#: another value each time, so that nothing is known from before
_VALUES = (f"{ohms}R" for ohms in itertools.count(301))


def edits(page: Any, count: int, late: bool) -> list[float]:
    """Milliseconds of each edit."""
    return [page.evaluate(_EDIT, [next(_VALUES), late]) for _ in range(count)]


def main() -> None:
    from conftest import BROWSER
    from playwright.sync_api import sync_playwright
    from test_bench_browser import DESK, Served, at_desk

    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    designs = sys.argv[2:] or ["samples-loudspeaker-amplifier", "chips-dusk-light"]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        served = Served(Path(folder), None)
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        page = at_desk(browser, served, viewport=DESK)
        for name in designs:
            page.goto(f"{served.address}/desk/designs")
            page.click(f"#{name} form[action='/desk/designs/begin'] button")
            page.wait_for_selector("#told:not([data-late])", timeout=60_000)
            cubes = page.locator("a.cell.full").count()
            page.locator("a.cell.full[aria-label*='resistor']").first.click()
            page.wait_for_selector("#value")
            edits(page, 4, True)
            for late, what in ((False, "operating point and its figures"), (True, "everything")):
                times = sorted(edits(page, count, late))
                p95 = times[int(0.95 * (len(times) - 1))]
                print(f"{name}, {cubes} cubes, {what}: median {statistics.median(times):.0f} ms, "
                      f"p95 {p95:.0f} ms, longest {times[-1]:.0f} ms")  # fmt: skip
        browser.close()
        served.close()


if __name__ == "__main__":
    main()
