"""The way to the store: opening, checking, making and migrating it, and what goes wrong there, in words.

A damaged store is reported and left alone; a new one appears under its name only when it is complete.
"""

from __future__ import annotations

import contextlib
import glob
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import sqlalchemy as sa

from snapcheck.errors import BusyError, InputError, MissingLibraryError, StoreError
from snapcheck.grade import _schema as s
from snapcheck.grade._schema import HEAD, REVISIONS
from snapcheck.words import system_says, tr

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

_HEADER = b"SQLite format 3\x00"
WAIT_s = 30.0
#: number of PostgreSQL's advisory lock; any will do that others are unlikely to use
_LOCK = 0x5C_61_6D_65


def _leave() -> str:
    return tr("Nothing was changed in it. Move it away, or put back a copy that is sound.")


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


class Connected:
    """The way to a store, without what is in it; arguments and errors are told at `Store`."""

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
        self._compare_with_ledger()

    # -------------------------------------------------------- opening

    def _connect(self, path: Path | None) -> Engine:
        try:
            if path is None:
                return sa.create_engine(self._url(), pool_pre_ping=True)
            uri = f"file:{path.absolute().as_posix().replace('?', '%3f').replace('#', '%23')}?mode=rw"
            engine = sa.create_engine(
                "sqlite://",
                creator=lambda: sqlite3.connect(uri, uri=True, timeout=WAIT_s, check_same_thread=False),
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
            # who only reads must not wait for who writes, nor keep others from writing
            reads = connection.get_execution_options().get("reads", False)
            connection.exec_driver_sql("BEGIN" if reads else "BEGIN IMMEDIATE")

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
        """A new store, complete before it has its name; a crash on the way leaves no half one.

        One at a time, so that nobody's new store takes the place of another's; what a dead run left of a
        half one is cleared. Works where a file system has no links (FAT).
        """
        assert self._path is not None
        until = time.monotonic() + WAIT_s
        try:
            while not self._path.exists():
                try:
                    with self._lock_file():
                        if not self._path.exists():
                            self._make_alone(self._path)
                except sqlite3.OperationalError as error:
                    if "locked" not in str(error) or time.monotonic() > until:
                        with self._errors():
                            raise
                    time.sleep(0.05)
        except OSError as error:
            raise StoreError(
                tr("the gradebook cannot be made: {why}.", why=system_says(error)),
                place=self._path,
                way_out=tr("Is the folder there, writable, and the disk not full?"),
            ) from None

    def _make_alone(self, path: Path) -> None:
        half = path.with_name(f".{path.name}.new")
        journal = half.with_name(half.name + "-journal")
        for left in (half, journal):
            left.unlink(missing_ok=True)
        try:
            _touch_private(half)
            engine = self._connect(half)
            try:
                self._migrate(engine)
            finally:
                engine.dispose()
            half.replace(path)
        except BaseException:
            for left in (half, journal):
                with contextlib.suppress(OSError):
                    left.unlink(missing_ok=True)
            raise

    @contextlib.contextmanager
    def _lock_file(self, wait_s: float = 0.0) -> Iterator[None]:
        """Hold the file beside an SQLite store; the hold ends with the process.

        Args:
            wait_s: how long to wait for somebody else who holds it.

        Raises:
            sqlite3.OperationalError: "locked": somebody else holds it; or it cannot be made.
        """
        assert self._path is not None
        lock = self._path.with_name(self._path.name + ".lock")
        with contextlib.suppress(OSError):  # there already; or SQLite will say why not
            _touch_private(lock)
        with contextlib.closing(sqlite3.connect(lock, timeout=wait_s, isolation_level=None)) as raw:
            raw.execute("PRAGMA journal_mode=MEMORY")
            raw.execute("BEGIN EXCLUSIVE")
            yield

    def _look(self, path: Path) -> None:
        """Refuse a file that is no sound store, before anything could be written to it."""
        leave = _leave()
        try:
            with path.open("rb") as file:
                head = file.read(len(_HEADER))
        except OSError as error:
            raise StoreError(tr("cannot be opened: {why}.", why=system_says(error)), place=path) from None
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
            except (sqlite3.DatabaseError, UnicodeError) as worse:
                raise self._unlooked(worse, leave) from None
        except (sqlite3.DatabaseError, UnicodeError) as error:  # also where a name in its message is damaged
            raise self._unlooked(error, leave) from None
        if answer != "ok":
            raise StoreError(tr("the gradebook is damaged: {why}.", why=answer), place=path, way_out=leave)
        if "alembic_version" not in tables or "decision" not in tables:
            raise StoreError(tr("this database is no gradebook."), place=path, way_out=leave)

    def _unlooked(self, error: Exception, leave: str) -> StoreError:
        if "locked" in str(error) or "busy" in str(error):
            return StoreError(tr("the gradebook is in use."), place=self.shown, way_out=tr("Try again."))
        return StoreError(
            tr("the gradebook is damaged or cannot be opened: {why}.", why=error),
            place=self.shown,
            way_out=leave,
        )

    def _migrate(self, engine: Engine) -> None:
        with self._errors():
            if sa.inspect(engine).has_table("alembic_version"):
                with engine.connect() as connection:
                    version = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
                if version == HEAD:
                    return
                if version not in REVISIONS:
                    if str(version).isdigit() and str(version) > HEAD:
                        raise StoreError(
                            tr("the gradebook was written by a newer snapcheck."),
                            place=self.shown,
                            way_out=tr("Install that version; nothing was changed."),
                        )
                    raise StoreError(
                        tr("the gradebook is damaged: {why}.", why=tr("its version is unknown")),
                        place=self.shown,
                        way_out=_leave(),
                    )
                self._back_up(f"before-{HEAD}")
            from alembic import command
            from alembic.config import Config

            config = Config()
            config.set_main_option("script_location", str(Path(__file__).parent / "_migrations"))
            with engine.begin() as connection:
                if connection.dialect.name == "postgresql":
                    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK + 1})")
                config.attributes["connection"] = connection
                with self._as_stored():
                    command.upgrade(config, "head")

    def backups(self) -> list[Path]:
        """Copies of the gradebook that were made before its tables were changed."""
        return (
            []
            if self._path is None
            else sorted(self._path.parent.glob(f"{glob.escape(self._path.name)}.before-*"))
        )

    def _back_up(self, ending: str) -> None:
        """A copy beside the gradebook, whole before it has its name; a server has backups of its own."""
        if self._path is None:
            return
        copy = self._path.with_name(f"{self._path.name}.{ending}")
        half = copy.with_name(f".{copy.name}.new")
        try:
            half.unlink(missing_ok=True)
            _touch_private(half)
            with (
                contextlib.closing(sqlite3.connect(self._path, timeout=WAIT_s)) as source,
                contextlib.closing(sqlite3.connect(half)) as target,
            ):
                source.backup(target)
            half.replace(copy)
        except OSError as error:
            raise StoreError(
                tr(
                    "no copy of the gradebook can be made before it is changed: {why}.",
                    why=system_says(error),
                ),
                place=copy,
                way_out=tr("Make room, or the folder writable; nothing was changed."),
            ) from None

    @contextlib.contextmanager
    def _errors(self) -> Iterator[None]:
        """Errors of the database in words, with what to do."""
        try:
            yield
        except (sa.exc.SQLAlchemyError, sqlite3.Error, UnicodeError) as error:
            text = str(getattr(error, "orig", error)).strip()
            if self._path is None and _lost(error):
                message = tr("the connection to the database was lost: {why}.", why=text.partition("\n")[0])
                way_out = tr("Is the server there? Run it again: what was stored so far is kept.")
            elif "full" in text or "No space" in text:
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

    def __enter__(self) -> Self:
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
            if self._path is None:  # everything as it was at one moment, as SQLite has it anyway
                connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection.execution_options(reads=True)

    @contextlib.contextmanager
    def _as_stored(self) -> Iterator[None]:
        """Values that the store never wrote are damage."""
        try:
            yield
        except (ValueError, TypeError, LookupError, OverflowError, AttributeError) as error:
            raise StoreError(
                tr(
                    "the gradebook is damaged: {why}.",
                    why=tr("a row is not as it was stored ({name})", name=error),
                ),
                place=self.shown,
                way_out=_leave(),
            ) from None

    def _compare_with_ledger(self) -> None:
        """Refuse a store in which rows were changed or lost by anything but the store itself."""
        with self._read() as c, self._as_stored():
            rows = c.execute(sa.select(s.ledger)).mappings()
            book = {r["name"]: (r["count"], r["total"]) for r in rows}
            for table in s.SEALED:
                seals = [str(r.seal) for r in c.execute(sa.select(table.c.seal))]
                if book.get(table.name) != (len(seals), s.total_of(seals)):
                    raise ValueError(table.name)

    # -------------------------------------------------------- one batch at a time

    @contextlib.contextmanager
    def one_batch(self, wait_s: float = 0.0) -> Iterator[None]:
        """Hold the store for a batch; the hold ends with the process, however that ends.

        Args:
            wait_s: how long to wait for somebody else who is at it.

        Raises:
            BusyError: they still are.
        """
        busy = BusyError(
            tr("somebody else is grading into this gradebook."),
            place=self.shown,
            way_out=tr("Wait until they are done; reviewing meanwhile is fine."),
        )
        until = time.monotonic() + wait_s
        if self._path is None:
            with self._errors(), self._engine.connect() as connection:
                while not connection.exec_driver_sql(f"SELECT pg_try_advisory_lock({_LOCK})").scalar():
                    connection.commit()
                    if time.monotonic() >= until:
                        raise busy
                    time.sleep(0.05)
                connection.commit()
                try:
                    yield
                finally:
                    # a connection that was lost has taken its lock along
                    with contextlib.suppress(sa.exc.SQLAlchemyError):
                        connection.exec_driver_sql(f"SELECT pg_advisory_unlock({_LOCK})")
            return
        with contextlib.ExitStack() as stack:
            try:
                stack.enter_context(self._lock_file(wait_s))
            except sqlite3.OperationalError as error:
                if "locked" in str(error):
                    raise busy from None
                with self._errors():
                    raise
            yield


def _lost(error: Exception) -> bool:
    """Whether a database's server is gone, or does not take anybody in."""
    away = isinstance(error, sa.exc.DBAPIError) and error.connection_invalidated
    return away or isinstance(error, sa.exc.OperationalError | sa.exc.InterfaceError)


def _touch_private(path: Path) -> None:
    """A new, empty file that nobody else may read, whatever the usual permissions; journals that SQLite
    makes beside it take after it. Raises OSError."""
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))


def _sound(path: Path, mode: str) -> tuple[str, set[str]]:
    """SQLite's own opinion of a file ("ok"), and the names of its tables."""
    uri = f"file:{path.absolute().as_posix().replace('?', '%3f').replace('#', '%23')}?mode={mode}"
    with contextlib.closing(sqlite3.connect(uri, uri=True, timeout=WAIT_s)) as raw:
        answer = str(raw.execute("PRAGMA quick_check(1)").fetchone()[0])
        rows = raw.execute("SELECT name FROM sqlite_master WHERE type='table'")
        return answer, {str(row[0]) for row in rows}
