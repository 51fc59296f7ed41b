"""What axe-core finds on a page."""

from __future__ import annotations

from typing import Any


def found_wanting(page: Any) -> list[str]:
    """Violations of accessibility rules (axe-core: WCAG 2.x A and AA, and good practice)."""
    from axe_playwright_python.sync_playwright import Axe

    told = Axe().run(page).response
    return [f"{v['id']}: {n['html'][:150]}" for v in told["violations"] for n in v["nodes"]]
