"""The audit file: who did what, when and why, one JSON object a line; lines are added, never changed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from snapcheck.errors import InputError
from snapcheck.grade._store import Store
from snapcheck.words import tr


def audit_events(store: Store) -> list[dict[str, Any]]:
    """Everything that happened to grades: decisions, grades that came of them, erasures; oldest first."""
    events: list[dict[str, Any]] = []
    for d in store.decisions():
        events.append({
            "id": f"decision-{d.id}", "at": d.at, "who": d.by, "what": d.kind, "student": d.student,
            "task": d.task, "subject": d.subject, "choice": d.choice, "why": d.reason,
            "takes_back": None if d.takes_back is None else f"decision-{d.takes_back}",
        })  # fmt: skip
    for number, at, student, task, body in store.numbered_grades():
        g = body["grade"]
        events.append({
            "id": f"grade-{number}", "at": at, "who": "snapcheck", "what": "grade", "student": student,
            "task": task, "subject": body["path"], "choice": g["points"] if not g["open"] else None,
            "why": [*([w, c] for line in g["lines"] for w, c in line["reasons"]), *g["changes"]],
            "open": g["open"], "verdict": g["verdict"],
        })  # fmt: skip
    for number, at, rows, files in store.erasures():
        events.append({
            "id": f"erasure-{number}", "at": at, "who": "snapcheck", "what": "erasure", "rows": rows,
            "files": files,
        })  # fmt: skip
    return sorted(events, key=lambda e: (e["at"], e["id"].split("-")[0], int(e["id"].split("-")[1])))


def write_audit(store: Store, path: Path) -> int:
    """Add what is new to an audit file; what stands in it is left as it is. Returns the number of new lines.

    Raises:
        InputError: it cannot be written, or a line in it is not as the store has it.
    """
    events = {e["id"]: json.dumps(e, ensure_ascii=False, sort_keys=True) for e in audit_events(store)}
    try:
        old = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
        for number, line in enumerate(old, 1):
            try:
                known = json.loads(line)["id"]
            except (ValueError, KeyError, TypeError):
                known = ""
            if events.pop(known, None) != line:
                raise InputError(
                    tr("this line is not as the gradebook has it."), place=f"{path}, line {number}",
                    way_out=tr("Somebody changed it; keep it aside and write to another file."),
                )  # fmt: skip
        with path.open("a", encoding="utf-8") as file:
            file.writelines(line + "\n" for line in events.values())
    except OSError as error:
        raise InputError(tr("cannot be written: {why}.", why=error.strerror or error), place=path) from None
    return len(events)
