"""The store: readings, checked builds, decisions and grades, in SQLite or PostgreSQL.

A damaged store is reported and left alone; a new one appears under its name only when it is complete.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from snapcheck.errors import InputError, MissingLibraryError, StoreError
from snapcheck.words import tr

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine, Table

_HEADER = b"SQLite format 3\x00"
_WAIT_s = 30.0
#: number of PostgreSQL's advisory lock; any will do that others are unlikely to use
_LOCK = 0x5C_61_6D_65
_CHUNK = 400  # keys per query, below SQLite's limit of parameters


@dataclass(frozen=True)
class Decision:
    """What a person decided.

    Attributes:
        id, at, by: number, time (UTC, ISO 8601), who.
        kind: ``cell`` (what stands there), ``points``, ``belongs``, ``excused``, ``counts``, ``unreadable``.
        student, task: concerned, None where only a picture is.
        subject: picture (digest), path or item.
        choice: what was decided; for ``cell`` a line as in layout files.
        reason: in words.
        takes_back: number of the decision that no longer stands.
    """

    id: int
    at: str
    by: str
    kind: str
    student: str | None
    task: str | None
    subject: str
    choice: str
    reason: str
    takes_back: int | None = None


@dataclass(frozen=True)
class StoredFile:
    """A file of the submissions; see the table ``file``."""

    path: str
    sha: str
    size: int
    at: str
    student: str | None
    task: str | None
    how: str
    problem: str
    gone: bool = False


@dataclass(frozen=True)
class StoredReading:
    """What a reader saw: `state` is ``read`` (then `body` is a reading), ``retake`` or ``failed`` (then it
    holds ``message``, ``place`` and ``way_out``)."""

    sha: str
    state: str
    body: Mapping[str, Any]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


class Store:
    """An open store; use it as a context manager.

    Args:
        address: path of an SQLite file, or a database URL (``postgresql+psycopg://…``).
        create: make a new store where there is none.
        now: the clock, ISO 8601 in UTC.

    Raises:
        StoreError: damaged, of a newer version, no store of ours, full, locked or not writable.
        MissingLibraryError: the database's driver is not installed.
    """

    def __init__(self, address: str, *, create: bool = True, now: Callable[[], str] = _now) -> None:
        self.address = str(address)
        self._now = now
        self._path = None if "://" in self.address else Path(self.address)
        if self.address.startswith("sqlite:///"):
            self._path = Path(self.address.removeprefix("sqlite:///"))
        if self._path is not None:
            if not self._path.exists():
                if not create:
                    raise StoreError(
                        tr("there is no gradebook yet."),
                        place=self._path,
                        way_out=tr("Run 'snapcheck grade' first."),
                    )
                self._make()
            self._look(self._path)
        self._engine = self._connect(self._path)
        self._migrate(self._engine)

    # -------------------------------------------------------- opening

    def _connect(self, path: Path | None) -> Engine:
        import sqlalchemy as sa

        try:
            if path is None:
                return sa.create_engine(self._url(), pool_pre_ping=True)
            uri = f"file:{path.absolute().as_posix().replace('?', '%3f').replace('#', '%23')}?mode=rw"
            engine = sa.create_engine(
                "sqlite://",
                creator=lambda: sqlite3.connect(uri, uri=True, timeout=_WAIT_s, check_same_thread=False),
                poolclass=sa.NullPool,
            )
        except ModuleNotFoundError as error:
            raise MissingLibraryError(
                tr("the driver '{name}' of this database is not installed.", name=error.name),
                place=self.shown,
                way_out="pip install 'snapcheck[postgres]'",
            ) from None
        except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError) as error:
            raise InputError(
                tr("is no address of a database: {why}.", why=error),
                place=self.shown,
                way_out="postgresql://USER@HOST/DATABASE",
            ) from None

        @sa.event.listens_for(engine, "connect")
        def _prepare(raw: Any, _record: Any) -> None:
            raw.isolation_level = None  # SQLAlchemy's own BEGIN below, so that schema changes are atomic, too
            for pragma in ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON"):
                raw.execute(f"PRAGMA {pragma}")

        @sa.event.listens_for(engine, "begin")
        def _begin(connection: Any) -> None:
            connection.exec_driver_sql("BEGIN IMMEDIATE")

        return engine

    def _url(self) -> str:
        scheme, rest = self.address.split("://", 1)
        return f"postgresql+psycopg://{rest}" if scheme in ("postgres", "postgresql") else self.address

    @property
    def shown(self) -> str:
        """The address without a password, for messages."""
        if self._path is not None:
            return str(self._path)
        head, at, tail = self.address.rpartition("@")
        scheme, _, user = head.partition("://")
        return f"{scheme}://{user.split(':')[0]}@{tail}" if at else self.address

    def _make(self) -> None:
        """A new store, complete before it has its name; a crash on the way leaves no half one."""
        assert self._path is not None
        half = self._path.with_name(f".{self._path.name}.{os.getpid()}.new")
        try:
            half.unlink(missing_ok=True)
            half.touch()
            engine = self._connect(half)
            try:
                self._migrate(engine)
            finally:
                engine.dispose()
            with contextlib.suppress(FileExistsError):  # somebody else was faster: theirs is as good
                os.link(half, self._path)
        except OSError as error:
            raise StoreError(
                tr("the gradebook cannot be made: {why}.", why=error.strerror or error),
                place=self._path,
                way_out=tr("Is the folder there, writable, and the disk not full?"),
            ) from None
        finally:
            with contextlib.suppress(OSError):
                half.unlink(missing_ok=True)

    def _look(self, path: Path) -> None:
        """Refuse a file that is no sound store, before anything could be written to it."""
        leave = tr("Nothing was changed in it. Move it away, or put back a copy that is sound.")
        try:
            with path.open("rb") as file:
                head = file.read(len(_HEADER))
        except OSError as error:
            raise StoreError(
                tr("cannot be opened: {why}.", why=error.strerror or error), place=path
            ) from None
        if head != _HEADER:
            raise StoreError(tr("the gradebook is damaged, or no gradebook."), place=path, way_out=leave)
        try:
            answer, tables = _sound(path, "ro")
        except sqlite3.OperationalError as error:
            # a crash left a journal: only a connection that may write can roll it back, as SQLite does itself
            if "readonly" not in str(error):
                raise self._unlooked(error, leave) from None
            try:
                answer, tables = _sound(path, "rw")
            except sqlite3.DatabaseError as worse:
                raise self._unlooked(worse, leave) from None
        except sqlite3.DatabaseError as error:
            raise self._unlooked(error, leave) from None
        if answer != "ok":
            raise StoreError(tr("the gradebook is damaged: {why}.", why=answer), place=path, way_out=leave)
        if "alembic_version" not in tables or "decision" not in tables:
            raise StoreError(tr("this database is no gradebook."), place=path, way_out=leave)

    def _unlooked(self, error: sqlite3.DatabaseError, leave: str) -> StoreError:
        if "locked" in str(error) or "busy" in str(error):
            return StoreError(tr("the gradebook is in use."), place=self.shown, way_out=tr("Try again."))
        return StoreError(
            tr("the gradebook is damaged or cannot be opened: {why}.", why=error),
            place=self.shown,
            way_out=leave,
        )

    def _migrate(self, engine: Engine) -> None:
        import sqlalchemy as sa

        from snapcheck.grade._schema import HEAD

        with self._errors():
            if sa.inspect(engine).has_table("alembic_version"):
                with engine.connect() as connection:
                    version = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
                if version == HEAD:
                    return
                if version is not None and version > HEAD:
                    raise StoreError(
                        tr("the gradebook was written by a newer snapcheck."),
                        place=self.shown,
                        way_out=tr("Install that version; nothing was changed."),
                    )
            from alembic import command
            from alembic.config import Config

            config = Config()
            config.set_main_option("script_location", str(Path(__file__).parent / "_migrations"))
            with engine.begin() as connection:
                if connection.dialect.name == "postgresql":
                    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK + 1})")
                config.attributes["connection"] = connection
                command.upgrade(config, "head")

    @contextlib.contextmanager
    def _errors(self) -> Iterator[None]:
        """Errors of the database in words, with what to do."""
        import sqlalchemy as sa

        try:
            yield
        except (sa.exc.DBAPIError, sqlite3.Error) as error:
            text = str(getattr(error, "orig", error)).strip()
            if "full" in text or "No space" in text:
                message = tr("the disk is full.")
                way_out = tr("Make room and run it again: what was stored so far is kept.")
            elif "readonly" in text or "read-only" in text or "unable to open" in text:
                message = tr("the gradebook cannot be written: {why}.", why=text)
                way_out = tr("Make file and folder writable, or name another place with --store.")
            elif "locked" in text:
                message, way_out = (
                    tr("the gradebook is in use by somebody else."),
                    tr("Try again when they are done."),
                )
            elif "malformed" in text or "not a database" in text:
                message = tr("the gradebook is damaged: {why}.", why=text)
                way_out = tr("Move it away, or put back a copy that is sound.")
            else:
                message, way_out = tr("the gradebook could not be used: {why}.", why=text), ""
            raise StoreError(message, place=self.shown, way_out=way_out) from None

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    @contextlib.contextmanager
    def _write(self) -> Iterator[Connection]:
        with self._errors(), self._engine.begin() as connection:
            yield connection

    @contextlib.contextmanager
    def _read(self) -> Iterator[Connection]:
        with self._errors(), self._engine.connect() as connection:
            yield connection

    # -------------------------------------------------------- one batch at a time

    @contextlib.contextmanager
    def one_batch(self) -> Iterator[None]:
        """Hold the store for a batch; the hold ends with the process, however that ends.

        Raises:
            StoreError: somebody else is at it.
        """
        busy = StoreError(
            tr("somebody else is grading into this gradebook."),
            place=self.shown,
            way_out=tr("Wait until they are done; reviewing meanwhile is fine."),
        )
        if self._path is None:
            with self._engine.connect() as connection:
                if not connection.exec_driver_sql(f"SELECT pg_try_advisory_lock({_LOCK})").scalar():
                    raise busy
                connection.commit()
                try:
                    yield
                finally:
                    connection.exec_driver_sql(f"SELECT pg_advisory_unlock({_LOCK})")
            return
        lock = self._path.with_name(self._path.name + ".lock")
        try:
            with contextlib.closing(sqlite3.connect(lock, timeout=0, isolation_level=None)) as raw:
                raw.execute("PRAGMA journal_mode=MEMORY")
                raw.execute("BEGIN EXCLUSIVE")
                yield
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise busy from None
            with self._errors():
                raise

    # -------------------------------------------------------- photos and readings

    def _plain_insert(self, table: Table) -> Any:
        """An INSERT of this database's own kind, which can say what to do with rows that are there."""
        if self._engine.dialect.name == "postgresql":
            from sqlalchemy.dialects.postgresql import insert
        else:
            from sqlalchemy.dialects.sqlite import insert  # type: ignore[assignment]
        return insert(table)

    def _insert(self, table: Table) -> Any:
        """An INSERT that leaves rows alone that are already there."""
        return self._plain_insert(table).on_conflict_do_nothing()

    def put_reading(
        self, sha: str, size: int, reader: str, state: str, body: Mapping[str, Any], likeness: str, card: str
    ) -> None:
        """Keep what was seen in a picture: all of it or nothing, once."""
        from snapcheck.grade import _schema as s

        with self._write() as c:
            c.execute(self._insert(s.photo), {"sha": sha, "size": size, "likeness": likeness, "card": card})
            c.execute(
                self._insert(s.reading),
                {"sha": sha, "reader": reader, "state": state, "body": _json(body)},
            )

    def readings(self, reader: str) -> dict[str, StoredReading]:
        """Everything that this reader has seen, by picture."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            rows = c.execute(
                sa.select(s.reading.c.sha, s.reading.c.state, s.reading.c.body).where(
                    s.reading.c.reader == reader
                )
            )
            return {r.sha: StoredReading(r.sha, r.state, json.loads(r.body)) for r in rows}

    def drop_failed(self, reader: str) -> None:
        """Forget readings at which the program itself failed, so that they are tried again."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._write() as c:
            failed = sa.and_(s.reading.c.reader == reader, s.reading.c.state == "failed")
            c.execute(sa.delete(s.reading).where(failed))

    def photos(self) -> dict[str, tuple[str, str]]:
        """Picture to perceptual hash and text of its bench card."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            return {r.sha: (r.likeness, r.card) for r in c.execute(sa.select(s.photo))}

    # -------------------------------------------------------- files

    def put_files(self, files: Sequence[StoredFile]) -> None:
        """What lies in the submissions now; files that were there before are kept as gone."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        columns = [c.name for c in s.file.columns]
        with self._write() as c:
            c.execute(sa.update(s.file).values(gone=True))
            rows = [{k: getattr(f, k) for k in columns} for f in files]
            if rows:
                insert = self._plain_insert(s.file)
                fresh = {k: insert.excluded[k] for k in columns if k != "path"}
                c.execute(insert.on_conflict_do_update(index_elements=["path"], set_=fresh), rows)

    def files(self) -> list[StoredFile]:
        """Files of the submissions, by path."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            rows = c.execute(sa.select(s.file).order_by(s.file.c.path)).mappings()
            return sorted((StoredFile(**dict(r)) for r in rows), key=lambda f: f.path)

    # -------------------------------------------------------- checked builds

    def put_facts(self, rows: Iterable[tuple[str, str, Mapping[str, Any]]]) -> None:
        """Keep facts: (key, picture, facts as plain values)."""
        from snapcheck.grade import _schema as s

        values = [{"key": key, "sha": sha, "body": _json(body)} for key, sha, body in rows]
        if values:
            with self._write() as c:
                c.execute(self._insert(s.facts), values)

    def facts(self, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
        """Facts by key, as far as they are known."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        wanted, found = sorted(set(keys)), {}
        with self._read() as c:
            for at in range(0, len(wanted), _CHUNK):
                some = wanted[at : at + _CHUNK]
                for r in c.execute(sa.select(s.facts.c.key, s.facts.c.body).where(s.facts.c.key.in_(some))):
                    found[r.key] = json.loads(r.body)
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
        """Add a decision; returns its number."""
        return self._add(kind, by, student, task, subject, choice, reason, None)

    def take_back(self, number: int, *, by: str, reason: str) -> int:
        """Take a decision back (or take back a taking back); it stays in the history.

        Raises:
            InputError: there is no such decision, or it has been taken back already.
        """
        old = next((d for d in self.decisions() if d.id == number), None)
        if old is None:
            raise InputError(tr("there is no decision number {number}.", number=number), place=self.shown)
        if any(d.takes_back == number for d in self.decisions()):
            raise InputError(
                tr("decision {number} has been taken back already.", number=number), place=self.shown
            )
        return self._add("take-back", by, old.student, old.task, old.subject, old.choice, reason, number)

    def _add(
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
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        if not reason.strip():
            raise InputError(tr("a decision needs a reason."), way_out=tr("Say in a few words why."))
        row = {
            "at": self._now(),
            "by": by,
            "kind": kind,
            "student": student,
            "task": task,
            "subject": subject,
            "choice": choice,
            "reason": reason.strip(),
            "takes_back": takes_back,
        }
        with self._write() as c:
            made = c.execute(sa.insert(s.decision).values(**row)).inserted_primary_key
            assert made is not None
            return int(made[0])

    def decisions(self) -> list[Decision]:
        """The whole history, oldest first."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            rows = c.execute(sa.select(s.decision).order_by(s.decision.c.id)).mappings()
            return [Decision(**dict(r)) for r in rows]

    def standing(self) -> list[Decision]:
        """Decisions in force, oldest first."""
        return in_force(self.decisions())

    # -------------------------------------------------------- grades

    def put_grades(self, grades: Mapping[tuple[str, str], Mapping[str, Any]]) -> int:
        """Keep grades by (student, task); only those that changed. Returns how many did."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        known = {key: _json(body) for key, body in self.grades().items()}
        rows = [
            {"at": self._now(), "student": key[0], "task": key[1], "body": _json(body)}
            for key, body in sorted(grades.items())
            if known.get(key) != _json(body)
        ]
        if rows:
            with self._write() as c:
                c.execute(sa.insert(s.grade), rows)
        return len(rows)

    def grades(self) -> dict[tuple[str, str], dict[str, Any]]:
        """Grades in force, by (student, task)."""
        return {(student, task): body for _, student, task, body in self.grade_history()}

    def grade_history(self) -> list[tuple[str, str, str, dict[str, Any]]]:
        """Every grade that was ever in force: (time, student, task, grade), oldest first."""
        return [row[1:] for row in self.numbered_grades()]

    def numbered_grades(self) -> list[tuple[int, str, str, str, dict[str, Any]]]:
        """As `grade_history`, each with its number before it."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            rows = c.execute(sa.select(s.grade).order_by(s.grade.c.id))
            return [(r.id, r.at, r.student, r.task, json.loads(r.body)) for r in rows]

    def erasures(self) -> list[tuple[int, str, int, int]]:
        """That students were erased: (number, time, rows, files), oldest first; not whom."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            rows = c.execute(sa.select(s.erasure).order_by(s.erasure.c.id))
            return [(r["id"], r["at"], r["rows"], r["files"]) for r in rows.mappings()]

    def counts(self) -> dict[str, int]:
        """Rows of readings and checked builds: what a batch has done so far."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._read() as c:
            return {
                t.name: int(c.execute(sa.select(sa.func.count()).select_from(t)).scalar_one())
                for t in (s.reading, s.facts)
            }

    # -------------------------------------------------------- forgetting

    def forget(self, student: str, files: int = 0) -> int:
        """Erase a student: files, pictures that nobody else handed in, what follows from them, decisions,
        grades. Returns the number of rows erased."""
        import sqlalchemy as sa

        from snapcheck.grade import _schema as s

        with self._write() as c:
            mine = {r.sha for r in c.execute(sa.select(s.file.c.sha).where(s.file.c.student == student))}
            paths = [r.path for r in c.execute(sa.select(s.file.c.path).where(s.file.c.student == student))]
            others = {
                r.sha
                for r in c.execute(
                    sa.select(s.file.c.sha).where(
                        sa.or_(s.file.c.student != student, s.file.c.student.is_(None))
                    )
                )
            }
            only = sorted(mine - others)
            gone = 0
            about = sa.or_(
                s.decision.c.student == student,
                s.decision.c.subject.in_([*only, *paths]),
                sa.and_(s.decision.c.kind == "belongs", s.decision.c.choice.like(f"{student}/%")),
            )
            numbers = [r.id for r in c.execute(sa.select(s.decision.c.id).where(about))]
            backs = sa.delete(s.decision).where(s.decision.c.takes_back.in_(numbers))
            gone += c.execute(backs).rowcount
            gone += c.execute(sa.delete(s.decision).where(s.decision.c.id.in_(numbers))).rowcount
            gone += c.execute(sa.delete(s.grade).where(s.grade.c.student == student)).rowcount
            gone += c.execute(sa.delete(s.file).where(s.file.c.student == student)).rowcount
            for table in (s.facts, s.reading, s.photo):
                gone += c.execute(sa.delete(table).where(table.c.sha.in_(only))).rowcount
            c.execute(sa.insert(s.erasure).values(at=self._now(), rows=gone, files=files))
        if self._path is not None:
            with self._errors(), contextlib.closing(sqlite3.connect(self._path, timeout=_WAIT_s)) as raw:
                raw.execute("VACUUM")
        return gone


def _sound(path: Path, mode: str) -> tuple[str, set[str]]:
    """SQLite's own opinion of a file ("ok"), and the names of its tables."""
    uri = f"file:{path.absolute().as_posix().replace('?', '%3f').replace('#', '%23')}?mode={mode}"
    with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=_WAIT_s)) as raw:
        answer = str(raw.execute("PRAGMA quick_check(1)").fetchone()[0])
        rows = raw.execute("SELECT name FROM sqlite_master WHERE type='table'")
        return answer, {str(row[0]) for row in rows}


def in_force(history: Sequence[Decision]) -> list[Decision]:
    """Decisions that have not been taken back; a taking back can be taken back as well."""
    undone = {d.takes_back for d in _backs_in_force(history)}
    return [d for d in history if d.kind != "take-back" and d.id not in undone]


def _backs_in_force(history: Sequence[Decision]) -> list[Decision]:
    backs = [d for d in history if d.takes_back is not None]
    standing: list[Decision] = []
    for back in reversed(backs):  # the newest one stands; one that it takes back does not
        if not any(later.takes_back == back.id for later in standing):
            standing.append(back)
    return standing


def _json(value: Mapping[str, Any]) -> str:
    return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)
