"""What takes a while at the design desk, in a process of its own: photos opened, figures, plots, sheets."""

from __future__ import annotations

import logging
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.errors import SnapcheckError
from snapcheck.words import tr, use_language


def work(job: dict[str, Any]) -> dict[str, Any]:
    """``{"done": …}`` or ``{"error": sentence}``.

    A job has ``what`` (see `_JOBS`), ``language``, ``kit``, and ``text`` of a layout file or ``photo``.
    """
    use_language(job["language"])
    try:
        return {"done": _JOBS[job["what"]](job)}
    except SnapcheckError as error:
        return {"error": str(error)}
    except MemoryError:
        return {"error": tr("The photo takes too much memory. Take it again, smaller.")}
    except Exception:
        logging.getLogger("snapcheck").exception("a worker of the design desk met an unexpected error")
        return {"error": tr("Something went wrong in snapcheck itself. Try it again.")}


def _late(job: dict[str, Any]) -> Any:
    return api.design_told_late(job["text"], job["kit"], _simulator())


def _plots(job: dict[str, Any]) -> Any:
    return api.plots_told(job["text"], job["kit"], _simulator())


def _promise(job: dict[str, Any]) -> Any:
    return api.design_promised(job["text"], job["kit"], _simulator())


def _sheet(job: dict[str, Any]) -> Any:
    return api.sheet(job["text"], kit=job["kit"], simulator=_simulator()).to_html()


def _adopt(job: dict[str, Any]) -> Any:
    return api.adopted_told(Path(job["photo"]), job["kit"], _simulator())


_JOBS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "late": _late,
    "plots": _plots,
    "promise": _promise,
    "sheet": _sheet,
    "adopt": _adopt,
}


@cache
def _simulator() -> Any:
    """One simulator for all that this process does; None where there is no library for it."""
    return api.lasting_simulator()
