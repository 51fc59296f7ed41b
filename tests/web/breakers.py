"""Jobs at which a worker breaks, for tests; at the top of a module, so that a process finds them."""

from __future__ import annotations

import os
import time
from typing import Any


def work(job: dict[str, Any]) -> dict[str, Any]:
    match job["what"]:
        case "die":
            os._exit(9)
        case "hang":
            time.sleep(600)
        case "eat":
            return {"held": len(bytearray(3 << 30))}
    return {"pid": os.getpid()}
