"""The store: readings, checked builds, decisions and grades, in SQLite or PostgreSQL."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from snapcheck.errors import InputError
from snapcheck.grade import _schema as s
from snapcheck.grade._connection import Connected, WAIT_s
from snapcheck.grade._records import Decision, StoredFile, StoredReading, Trace, in_force, last_word
from snapcheck.words import tr

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table

__all__ = ["Decision", "Store", "StoredFile", "StoredReading"]
_CHUNK = 400  # keys per query, below SQLite's limit of parameters


class Store(Connected):
    """An open store; use it as a context manager.

    Args:
        address: path of an SQLite file, or a database URL (``postgresql+psycopg://…``).
        create: make a new store where there is none.
        now: the clock, ISO 8601 in UTC.

    Raises:
        StoreError: damaged, of a newer version, no store of ours, full, locked or not writable.
        MissingLibraryError: the database's driver is not installed.
    """

    # -------------------------------------------------------- rows with their seals

    def _add(self, c: Connection, table: Table, rows: Iterable[Mapping[str, Any]]) -> int:
        """Add rows, numbered and sealed; those whose key is there already are left alone. Returns the number
        of the last one (0 for tables without numbers)."""
        mine = s.ledger.c.name == table.name
        book = c.execute(sa.select(s.ledger).where(mine).with_for_update()).mappings().one()
        last, fresh = int(book["last"]), []
        for row in rows:
            if "id" in table.c:
                last += 1
                fresh.append({"id": last, **row})
            else:
                key = sa.and_(*(column == row[column.name] for column in table.primary_key))
                if c.execute(sa.select(table.c.seal).where(key)).first() is None:
                    fresh.append(dict(row))
        for row in fresh:
            row["seal"] = s.seal_of(table.name, row)
        if fresh:
            c.execute(sa.insert(table), fresh)
            total = s.total_of((row["seal"] for row in fresh), book["total"])
            count = book["count"] + len(fresh)
            c.execute(sa.update(s.ledger).where(mine).values(count=count, total=total, last=last))
        return last

    def _count_again(self, c: Connection, *tables: Table) -> None:
        """The ledger after rows were changed or erased."""
        for table in tables:
            seals = [str(r.seal) for r in c.execute(sa.select(table.c.seal))]
            change = sa.update(s.ledger).where(s.ledger.c.name == table.name)
            c.execute(change.values(count=len(seals), total=s.total_of(seals)))

    def _rows(self, c: Connection, table: Table, *where: Any) -> list[dict[str, Any]]:
        """Rows without their seals, by their key; raises StoreError where one is not as it was stored."""
        found = []
        with self._as_stored():
            query = sa.select(table).where(*where).order_by(*table.primary_key)
            for got in c.execute(query).mappings():
                row = dict(got)
                if row.pop("seal") != s.seal_of(table.name, row):
                    raise ValueError(table.name)
                found.append(row)
        return found

    # -------------------------------------------------------- photos and readings

    def put_reading(
        self, sha: str, size: int, reader: str, state: str, body: Mapping[str, Any], likeness: str, card: str
    ) -> None:
        """Keep what was seen in a picture: all of it or nothing, once."""
        with self._write() as c:
            self._add(c, s.photo, [{"sha": sha, "size": size, "likeness": likeness, "card": card}])
            self._add(c, s.reading, [{"sha": sha, "reader": reader, "state": state, "body": _json(body)}])

    def readings(self, reader: str) -> dict[str, StoredReading]:
        """Everything that this reader has seen, by picture."""
        with self._read() as c:
            rows = self._rows(c, s.reading)  # all: one whose reader is damaged must not be left out
        mine = (r for r in rows if r["reader"] == reader)
        return {r["sha"]: StoredReading(r["sha"], r["state"], json.loads(r["body"])) for r in mine}

    def drop_failed(self, reader: str) -> None:
        """Forget readings at which the program itself failed, so that they are tried again."""
        with self._write() as c:
            failed = sa.and_(s.reading.c.reader == reader, s.reading.c.state == "failed")
            c.execute(sa.delete(s.reading).where(failed))
            self._count_again(c, s.reading)

    def photos(self) -> dict[str, tuple[str, str]]:
        """Picture to perceptual hash and text of its bench card."""
        with self._read() as c:
            return {r["sha"]: (r["likeness"], r["card"]) for r in self._rows(c, s.photo)}

    # -------------------------------------------------------- files

    def put_files(self, files: Sequence[StoredFile]) -> None:
        """What lies in the submissions now; files that were there before are kept as gone."""
        columns = [c.name for c in s.file.columns if c.name != "seal"]
        with self._write() as c:
            rows = {r["path"]: {**r, "gone": True} for r in self._rows(c, s.file)}
            rows |= {f.path: {k: getattr(f, k) for k in columns} for f in files}
            c.execute(sa.delete(s.file))
            sealed = [{**row, "seal": s.seal_of("file", row)} for row in rows.values()]
            if sealed:
                c.execute(sa.insert(s.file), sealed)
            self._count_again(c, s.file)

    def files(self) -> list[StoredFile]:
        """Files of the submissions, by path."""
        with self._read() as c:
            return sorted((StoredFile(**r) for r in self._rows(c, s.file)), key=lambda f: f.path)

    # -------------------------------------------------------- checked builds

    def put_facts(self, rows: Iterable[tuple[str, str, Mapping[str, Any]]]) -> None:
        """Keep facts: (key, picture, facts as plain values)."""
        values = [{"key": key, "sha": sha, "body": _json(body)} for key, sha, body in rows]
        if values:
            with self._write() as c:
                self._add(c, s.facts, values)

    def facts(self, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
        """Facts by key, as far as they are known."""
        wanted, found = sorted(set(keys)), {}
        with self._read() as c:
            for at in range(0, len(wanted), _CHUNK):
                for r in self._rows(c, s.facts, s.facts.c.key.in_(wanted[at : at + _CHUNK])):
                    found[r["key"]] = json.loads(r["body"])
        return found

    # -------------------------------------------------------- decisions

    def decide(
        self,
        kind: str,
        *,
        by: str,
        subject: str,
        choice: str,
        reason: str,
        student: str | None = None,
        task: str | None = None,
    ) -> int:
        """Add a decision; returns its number. One that says what the last word on the same thing said already
        is not added again: that one's number is returned."""
        return self._put_decision(kind, by, student, task, subject, choice, reason, None)

    def take_back(self, number: int, *, by: str, reason: str) -> int:
        """Take a decision back (or take back a taking back); it stays in the history.

        Raises:
            InputError: there is no such decision, or it has been taken back already.
        """
        old = next((d for d in self.decisions() if d.id == number), None)
        if old is None:
            raise InputError(tr("there is no decision number {number}.", number=number), place=self.shown)
        return self._put_decision(
            "take-back", by, old.student, old.task, old.subject, old.choice, reason, number
        )

    def _put_decision(
        self,
        kind: str,
        by: str,
        student: str | None,
        task: str | None,
        subject: str,
        choice: str,
        reason: str,
        takes_back: int | None,
    ) -> int:
        (number,) = self.decide_together(
            [Decision(0, "", by, kind, student, task, subject, choice, reason, takes_back)]
        )
        return number

    def decide_together(self, wanted: Sequence[Decision]) -> list[int]:
        """Add decisions, all of them or none; as `decide` each, whatever their numbers and times are. Returns
        their numbers."""
        if not all(one.reason.strip() for one in wanted):
            raise InputError(tr("a decision needs a reason."), way_out=tr("Say in a few words why."))
        numbers: list[int] = []
        with self._write() as c:
            # one after the other, so that two who decide the same at once do it once
            c.execute(sa.select(s.ledger).where(s.ledger.c.name == "decision").with_for_update())
            known = [Decision(**r) for r in self._rows(c, s.decision)]
            for one in wanted:
                back = one.takes_back
                if back is not None and any(d.takes_back == back for d in known):
                    raise InputError(
                        tr("decision {number} has been taken back already.", number=back), place=self.shown
                    )
                said = None if back is not None else last_word(known, one)
                if said is not None and said.choice == one.choice:
                    numbers.append(said.id)
                    continue
                row = {
                    **asdict(one),
                    "at": self._now(),
                    "by": _typed(one.by)[:100],
                    "reason": _typed(one.reason.strip()),
                }
                del row["id"]
                numbers.append(self._add(c, s.decision, [row]))
                known.append(Decision(**{**row, "id": numbers[-1]}))
        return numbers

    def decisions(self) -> list[Decision]:
        """The whole history, oldest first."""
        with self._read() as c:
            return [Decision(**r) for r in self._rows(c, s.decision)]

    def standing(self) -> list[Decision]:
        """Decisions in force, oldest first."""
        return in_force(self.decisions())

    # -------------------------------------------------------- grades

    def put_grades(
        self, grades: Mapping[tuple[str, str], Mapping[str, Any]], upto: int | None = None
    ) -> int | None:
        """Keep grades by (student, task); only those that changed. Returns how many did.

        Args:
            upto: number of the last decision that they follow from; where there is a later one by now,
                nothing is kept, and None is returned.
        """
        with self._write() as c:
            c.execute(sa.select(s.ledger).where(s.ledger.c.name == "grade").with_for_update())
            latest = c.execute(sa.select(sa.func.max(s.decision.c.id))).scalar() or 0
            if upto is not None and latest > upto:
                return None
            known = {(r["student"], r["task"]): r["body"] for r in self._rows(c, s.grade)}
            rows = [
                {"at": self._now(), "student": key[0], "task": key[1], "body": _json(body)}
                for key, body in sorted(grades.items())
                if known.get(key) != _json(body)
            ]
            self._add(c, s.grade, rows)
        return len(rows)

    def grades(self) -> dict[tuple[str, str], dict[str, Any]]:
        """Grades in force, by (student, task)."""
        return {(student, task): body for _, student, task, body in self.grade_history()}

    def grade_history(self) -> list[tuple[str, str, str, dict[str, Any]]]:
        """Every grade that was ever in force: (time, student, task, grade), oldest first."""
        return [row[1:] for row in self.numbered_grades()]

    def numbered_grades(self) -> list[tuple[int, str, str, str, dict[str, Any]]]:
        """As `grade_history`, each with its number before it."""
        with self._read() as c:
            rows = self._rows(c, s.grade)
        return [(r["id"], r["at"], r["student"], r["task"], json.loads(r["body"])) for r in rows]

    def erasures(self) -> list[tuple[int, str, int, int]]:
        """That students were erased: (number, time, rows, files), oldest first; not whom."""
        with self._read() as c:
            return [(r["id"], r["at"], r["rows"], r["files"]) for r in self._rows(c, s.erasure)]

    def counts(self) -> dict[str, int]:
        """Rows of readings and checked builds: what a batch has done so far."""
        with self._read() as c:
            return {
                t.name: int(c.execute(sa.select(sa.func.count()).select_from(t)).scalar_one())
                for t in (s.reading, s.facts)
            }

    # -------------------------------------------------------- forgetting

    def trace(self, student: str) -> Trace:
        """What in the store is about this student and nobody else."""
        files, decisions = self.files(), self.decisions()
        mine = [f for f in files if f.student == student]
        pictures = {f.sha for f in mine} - {f.sha for f in files if f.student != student}
        subjects = pictures | {f.path for f in mine}
        about = {
            d.id
            for d in decisions
            if d.student == student
            or d.subject in subjects
            or (d.kind == "belongs" and d.choice.startswith(f"{student}/"))
        }
        while more := {d.id for d in decisions if d.takes_back in about} - about:
            about |= more
        grades = {number for number, _, whose, *_ in self.numbered_grades() if whose == student}
        return Trace(tuple(f.path for f in mine), frozenset(pictures), frozenset(about), frozenset(grades))

    def forget(self, student: str, files: int = 0) -> int:
        """Erase a student: files, pictures that nobody else handed in, what follows from them, decisions,
        grades. Returns the number of rows erased."""
        trace, gone = self.trace(student), 0
        with self._write() as c:
            for number in sorted(trace.decisions, reverse=True):  # what takes one back before that one
                gone += c.execute(sa.delete(s.decision).where(s.decision.c.id == number)).rowcount
            gone += c.execute(sa.delete(s.grade).where(s.grade.c.student == student)).rowcount
            gone += c.execute(sa.delete(s.file).where(s.file.c.student == student)).rowcount
            for table in (s.facts, s.reading, s.photo):
                for sha in trace.pictures:
                    gone += c.execute(sa.delete(table).where(table.c.sha == sha)).rowcount
            self._count_again(c, s.file, s.decision, s.grade, s.facts, s.reading, s.photo)
            self._add(c, s.erasure, [{"at": self._now(), "rows": gone, "files": files}])
        if self._path is not None:
            with self._errors(), contextlib.closing(sqlite3.connect(self._path, timeout=WAIT_s)) as raw:
                raw.execute("VACUUM")
            for copy in self.backups():
                with contextlib.suppress(OSError):
                    copy.unlink()
        return gone


def _typed(text: str) -> str:
    """What somebody typed, as a store can keep it: bytes that are no UTF-8 become question marks."""
    return text.encode("utf-8", "replace").decode("utf-8")


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
