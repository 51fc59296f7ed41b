"""The audit file: who did what, when and why, one JSON object a line; lines are added, never changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from snapcheck.errors import InputError
from snapcheck.grade._store import Store
from snapcheck.outfiles import write_whole
from snapcheck.words import json_text, system_says, tr


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


@dataclass(frozen=True)
class Chain:
    """What an audit file says about itself.

    Attributes:
        lines: how many.
        last: hash of the last line, which stands for all before it: whoever notes it down can tell later
            whether the file is still the one it was.
        gaps: places where lines were taken out, as happens when a student is erased.
    """

    lines: int
    last: str
    gaps: int


def write_audit(store: Store, path: Path) -> int:
    """Add what is new to an audit file; what stands in it is left as it is. Returns the number of new lines.

    Each line holds the hash of the line before (``after``) and of itself with that (``chain``, SHA-256), so
    that a line that is changed, put in or moved shows.

    Raises:
        InputError: it cannot be written, or see `check_audit`.
    """
    events = {e["id"]: e for e in audit_events(store)}
    old = audit_lines(path)
    last = _checked(store, path, old, events).last
    for line in old:
        events.pop(json.loads(line)["id"])
    fresh = []
    for event in events.values():
        fresh.append(_linked(event, last))
        last = json.loads(fresh[-1])["chain"]
    try:
        write_whole(path, "".join(line + "\n" for line in (*old, *fresh)))
    except OSError as error:
        raise InputError(tr("cannot be written: {why}.", why=system_says(error)), place=path) from None
    return len(fresh)


def check_audit(store: Store, path: Path) -> Chain:
    """Whether an audit file is as it was written.

    Raises:
        InputError: a line is not as the gradebook has it, or the chain is broken; says where.
    """
    return _checked(store, path, audit_lines(path), {e["id"]: e for e in audit_events(store)})


def audit_lines(path: Path) -> list[str]:
    """The lines of an audit file without their ends; what else ends a line in Unicode stands within one.

    Raises:
        InputError: it cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8") if path.exists() else ""
        return text.removesuffix("\n").split("\n") if text else []
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(tr("cannot be read: {why}.", why=error), place=path) from None


def _checked(store: Store, path: Path, lines: Sequence[str], events: Mapping[str, Any]) -> Chain:
    last, gaps = "", 0
    for number, line in enumerate(lines, 1):
        try:
            told = dict(json.loads(line))
            after, chain = told.pop("after", None), told.pop("chain", None)
            known = events.get(told["id"])
        except (ValueError, KeyError, TypeError):
            known, told = None, {}
        keep = tr("Somebody changed it; keep it aside and write to another file.")
        if known != told or known is None:
            words = tr("this line is not as the gradebook has it.")
            raise InputError(words, place=f"{path}, line {number}", way_out=keep)
        if chain is None:  # written before lines were chained
            continue
        if _linked(told, str(after)) != line:
            words = tr("the chain of this file is broken here.")
            raise InputError(words, place=f"{path}, line {number}", way_out=keep)
        gaps += after != last
        last = str(chain)
    if gaps and not store.erasures():
        words = tr("lines are missing in this file, though nobody was erased.")
        raise InputError(words, place=path, way_out=keep)
    return Chain(len(lines), last, gaps)


def _linked(event: Mapping[str, Any], after: str) -> str:
    """The line of an event behind the one of this hash."""
    chain = hashlib.sha256(f"{after}\n{_text(event)}".encode()).hexdigest()
    return _text({**event, "after": after, "chain": chain})


def _text(event: Mapping[str, Any]) -> str:
    return json_text(dict(sorted(event.items())))
