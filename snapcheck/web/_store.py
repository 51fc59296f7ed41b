"""What the server keeps: one SQLite file and one folder of pictures, for their owner alone.

A *shot* is what a bench sent at one time: one photo, or several of one build. It is written down before it is
said to have been taken, and waits in the file until it is answered, whatever happens to the server meanwhile.
"""

from __future__ import annotations

import json
import secrets
import sqlite3
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from snapcheck.errors import StoreError
from snapcheck.outfiles import write_whole
from snapcheck.words import tr

_TABLES = """
create table if not exists setting (name text primary key, value text not null);
create table if not exists session (
  hash text primary key, role text not null, bench integer, until real not null, language text not null);
create table if not exists bench (
  number integer primary key, key text not null, task text not null, students text not null default '',
  language text not null, step integer, asked real, since real not null, seen real not null);
create table if not exists shot (
  id text primary key, bench integer not null, task text not null, at real not null, state text not null,
  photos integer not null, language text not null, tries integer not null default 0, ended real,
  told text not null default '{}', error text not null default '', waved text not null default '',
  handed text not null default '', reading text not null default '', words text not null default '[]',
  undone text not null default '[]', notice text not null default '',
  manner text not null default '', sender text not null default '', student text not null default '');
create index if not exists shot_bench on shot (bench, at);
create index if not exists shot_state on shot (state, at);
create table if not exists audit (
  at real not null, who text not null, what text not null, detail text not null);
create table if not exists token (
  id text primary key, hash text not null unique, name text not null, scope text not null,
  made real not null, used real, revoked real);
"""
#: columns that folders of before may lack
_LATER = ("manner", "sender", "student")
#: what was read already, and is only to be checked anew, comes first: somebody looks at it
_NEXT = "select * from shot where state='waiting' order by reading='', at limit 1"
#: all of a shot but what is large: its answer, and the text of what was read
_LIGHT = (
    "id, bench, task, at, state, photos, language, tries, ended, error, waved, handed, words, undone, "
    "notice, manner, sender, student, case when reading='' then '' else 'kept' end as reading"
)
_MOST_ANSWERS = 500
#: manner of a shot that shows a build on the way
SO_FAR = "so-far"
#: bench of photos that a program sent
NO_BENCH = 0
#: states of a shot
WAITING, WORKING, DONE, FAILED = "waiting", "working", "done", "failed"
#: who said it, and the decision
Said = tuple[str, str]
#: a shot that ends its worker this often is not tried again
MOST_TRIES = 2


@dataclass(frozen=True)
class Bench:
    """A bench that phones have joined.

    Attributes:
        number: as on the table.
        key: what a second phone must give.
        task: what is built there.
        students: numbers in the roster, apart by commas.
        language: of its answers.
        step: hints that are released to it, None for what holds for the class.
        asked: when it asked for more, None: it did not.
        since, seen: when it was joined; when its page was last opened (seconds since the epoch).
    """

    number: int
    key: str
    task: str
    students: str
    language: str
    step: int | None
    asked: float | None
    since: float
    seen: float


@dataclass(frozen=True)
class Shot:
    """What a bench sent at one time, and the answer to it.

    Attributes:
        id: not to be guessed.
        photos: how many.
        told: the answer, see `snapcheck.report.Pieces.told`; empty until it is done.
        error: why there is no answer, in words.
        waved: the reason why a teacher let the build through, "" where none did.
        handed: its paths in the submissions, "" where it was not handed in.
        reading: what was read, as JSON text; "" until then (in lists only whether there is any).
        words: what people said of the build instead of what was read: who, and the decision.
        undone: words that were taken back and may be said again.
        notice: why the last word could not be followed.
        manner: "" a whole build, ``so-far`` one on the way.
        sender, student: the token of the program that sent it, and whose it is; "" for a phone.
    """

    id: str
    bench: int
    task: str
    at: float
    state: str
    photos: int
    language: str
    tries: int
    ended: float | None
    told: dict[str, Any]
    error: str
    waved: str
    handed: str
    reading: str = ""
    words: tuple[tuple[str, str], ...] = ()
    undone: tuple[tuple[str, str], ...] = ()
    notice: str = ""
    manner: str = ""
    sender: str = ""
    student: str = ""

    @property
    def open(self) -> bool:
        """Whether it still waits for an answer."""
        return self.state in (WAITING, WORKING)

    @property
    def answered(self) -> bool:
        """Whether there is an answer to show; it may be on the way to another one."""
        return bool(self.told) and self.state != FAILED


class Keep:
    """The folder. Raises StoreError where it cannot be used."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.pictures = folder, folder / "photos"
        try:
            for made in (folder, self.pictures, folder / "incoming"):
                made.mkdir(parents=True, exist_ok=True, mode=0o700)
                made.chmod(0o700)
            file = folder / "bench.db"
            file.touch(mode=0o600)
            file.chmod(0o600)
            self._book = sqlite3.connect(file, check_same_thread=False, isolation_level=None)
            self._book.row_factory = sqlite3.Row
            self._book.execute("pragma journal_mode=wal")
            self._book.execute("pragma synchronous=full")
            self._book.executescript(_TABLES)
            there = {row["name"] for row in self._book.execute("pragma table_info(shot)")}
            for name in (n for n in _LATER if n not in there):
                self._book.execute(f"alter table shot add column {name} text not null default ''")
        except (OSError, sqlite3.Error) as error:
            raise StoreError(
                tr("the bench page cannot keep anything here: {why}.", why=error),
                place=folder,
                way_out=tr("Name another folder with --keep."),
            ) from None
        self._lock = threading.RLock()
        self._answers: dict[tuple[str, float | None], dict[str, Any]] = {}

    def close(self) -> None:
        self._book.close()

    @contextmanager
    def _whole(self) -> Iterator[sqlite3.Connection]:
        """What is written within is written together, or not at all."""
        with self._lock:
            self._book.execute("begin immediate")
            try:
                yield self._book
            except BaseException:
                self._book.execute("rollback")
                raise
            self._book.execute("commit")

    def rows(self, words: str, *values: Any) -> list[sqlite3.Row]:
        """What is asked for, for modules that keep tables of their own here."""
        return self._rows(words, *values)

    def write(self, words: str, *values: Any) -> int:
        """The same for what is written; how many rows it touched."""
        return self._do(words, *values)

    def _rows(self, words: str, *values: Any) -> list[sqlite3.Row]:
        with self._lock:
            return self._book.execute(words, values).fetchall()

    def _do(self, words: str, *values: Any) -> int:
        with self._lock:
            return self._book.execute(words, values).rowcount

    # ------------------------------------------------------------ settings

    def setting(self, name: str, default: str = "") -> str:
        """A value that was kept."""
        rows = self._rows("select value from setting where name=?", name)
        return str(rows[0][0]) if rows else default

    def keep(self, name: str, value: str) -> None:
        """Keep a value."""
        self._do("insert or replace into setting values (?,?)", name, value)

    def secret(self) -> bytes:
        """The key of this server's tokens, made at the first use."""
        if not self.setting("secret"):
            self.keep("secret", secrets.token_hex(32))
        return bytes.fromhex(self.setting("secret"))

    # ------------------------------------------------------------ sessions

    def add_session(self, hashed: str, role: str, bench: int | None, until: float, language: str) -> None:
        with self._whole() as book:
            book.execute("delete from session where until<?", (time.time(),))
            book.execute("insert into session values (?,?,?,?,?)", (hashed, role, bench, until, language))

    def session(self, hashed: str) -> tuple[str, int | None, str] | None:
        """Role, bench and language of a session that still holds."""
        rows = self._rows("select * from session where hash=? and until>?", hashed, time.time())
        return (rows[0]["role"], rows[0]["bench"], rows[0]["language"]) if rows else None

    def end_session(self, hashed: str) -> None:
        self._do("delete from session where hash=?", hashed)

    def end_sessions(self, role: str, bench: int | None = None) -> None:
        """All of a role, or of a bench."""
        self._do("delete from session where role=? and (? is null or bench=?)", role, bench, bench)

    # ------------------------------------------------------------ benches

    def benches(self) -> list[Bench]:
        return [Bench(**dict(row)) for row in self._rows("select * from bench order by number")]

    def bench(self, number: int) -> Bench | None:
        rows = self._rows("select * from bench where number=?", number)
        return Bench(**dict(rows[0])) if rows else None

    def join_bench(self, number: int, task: str, students: str, language: str) -> Bench:
        """A bench that nobody has joined yet."""
        now = time.time()
        key = f"{secrets.randbelow(10_000):04}"
        self._do(
            "insert into bench values (?,?,?,?,?,null,null,?,?)",
            number, key, task, students, language, now, now,
        )  # fmt: skip
        found = self.bench(number)
        assert found is not None
        return found

    def change_bench(self, number: int, **values: Any) -> None:
        """Set columns of a bench."""
        names = ", ".join(f"{name}=?" for name in values)  # names are ours, never a visitor's
        self._do(f"update bench set {names} where number=?", *values.values(), number)

    def free_bench(self, number: int) -> None:
        """Its phones are out, its shots are gone."""
        for shot in self.shots(number):
            self.delete_shot(shot.id)
        with self._whole() as book:
            book.execute("delete from session where bench=?", (number,))
            book.execute("delete from bench where number=?", (number,))
            book.execute("delete from setting where name=?", (f"search {number}",))

    # ------------------------------------------------------------ shots

    def add_shot(
        self, bench: int, task: str, language: str, photos: Sequence[bytes], *,
        manner: str = "", sender: str = "", student: str = "",
    ) -> Shot:  # fmt: skip
        """Take photos: they are on the disk, and in the queue, when this returns. Raises OSError."""
        shot = secrets.token_urlsafe(16)
        try:
            for number, photo in enumerate(photos):
                write_whole(self.photo(shot, number), photo)
            self._do(
                "insert into shot (id, bench, task, at, state, photos, language, manner, sender, student) "
                "values (?,?,?,?,?,?,?,?,?,?)",
                shot, bench, task, time.time(), WAITING, len(photos), language, manner, sender, student,
            )  # fmt: skip
        except (OSError, sqlite3.OperationalError) as error:  # the disk is full
            for path in self.pictures.glob(f"{shot}-*"):
                path.unlink(missing_ok=True)
            raise OSError(str(error)) from error
        return self.shot(shot)

    def photo(self, shot: str, number: int) -> Path:
        """Where a photo of a shot lies."""
        return self.pictures / f"{shot}-{number}.jpg"

    def photos(self, shot: Shot) -> list[Path]:
        """Where all photos of a shot lie."""
        return [self.photo(shot.id, number) for number in range(shot.photos)]

    def flat(self, shot: str) -> Path:
        """Where the picture from straight above lies."""
        return self.pictures / f"{shot}-flat.jpg"

    def shot(self, shot: str) -> Shot:
        """Raises KeyError."""
        rows = self._rows("select * from shot where id=?", shot)
        if not rows:
            raise KeyError(shot)
        return _shot(rows[0])

    def shots(self, bench: int) -> list[Shot]:
        """All of a bench, the newest first."""
        rows = self._rows(f"select {_LIGHT} from shot where bench=? order by at desc", bench)
        return [self._with_answer(row) for row in rows]

    def _with_answer(self, row: sqlite3.Row) -> Shot:
        """A shot, with an answer that is fetched once: boards ask for all of them again and again."""
        known, answer = self._answers, (row["id"], row["ended"])
        if row["state"] == WAITING or answer not in known:
            while len(known) >= _MOST_ANSWERS:
                known.pop(next(iter(known)))
            (found,) = self._rows("select told from shot where id=?", row["id"])
            known[answer] = json.loads(found["told"])
        return _shot({**dict(row), "told": known[answer]})

    def waiting(self, bench: int | None = None) -> int:
        """How many shots wait for their answers."""
        rows = self._rows(
            "select count(*) from shot where state in ('waiting','working') and (? is null or bench=?)",
            bench, bench,
        )  # fmt: skip
        return int(rows[0][0])

    def before(self, shot: Shot) -> int:
        """How many shots are answered before this one."""
        rows = self._rows("select count(*) from shot where state in ('waiting','working') and at<?", shot.at)
        return int(rows[0][0])

    def take(self) -> Shot | None:
        """The next shot to be worked on, marked so."""
        with self._whole() as book:
            row = book.execute(_NEXT).fetchone()
            if row is None:
                return None
            book.execute("update shot set state='working', tries=tries+1 where id=?", (row["id"],))
        return _shot(row)

    def take_up_again(self) -> int:
        """What was being worked on when the server ended waits again; returns how many there are."""
        with self._whole() as book:
            book.execute(
                "update shot set state='failed', error='lost', ended=? where state='working' and tries>=?",
                (time.time(), MOST_TRIES),
            )
            return book.execute("update shot set state='waiting' where state='working'").rowcount

    def answer(self, shot: str, told: dict[str, Any], reading: dict[str, Any] | None = None) -> None:
        """The answer, and what was read where that is new."""
        read = json.dumps(reading, ensure_ascii=False) if reading else None
        self._do(
            "update shot set state='done', told=?, error='', ended=?, reading=coalesce(?, reading) "
            "where id=?",
            json.dumps(told, ensure_ascii=False), time.time(), read, shot,
        )  # fmt: skip

    def say(self, shot: Shot, words: Sequence[Said], undone: Sequence[Said] = ()) -> None:
        """What people say of a build that has been read; it is checked anew."""
        self._do(
            "update shot set words=?, undone=?, notice='', state='waiting', tries=0 "
            "where id=? and reading!=''",
            json.dumps(words), json.dumps(undone), shot.id,
        )  # fmt: skip

    def refuse(self, shot: Shot, why: str) -> None:
        """The last word cannot be followed; the answer before it holds."""
        self._do(
            "update shot set words=?, notice=?, state='done' where id=?",
            json.dumps(shot.words[:-1]), why, shot.id,
        )  # fmt: skip

    def fail(self, shot: str, why: str, *, again: bool = False) -> None:
        """There is no answer; `again`: it is tried once more."""
        state = WAITING if again else FAILED
        self._do("update shot set state=?, error=?, ended=? where id=?", state, why, time.time(), shot)

    def change_shot(self, shot: str, **values: str) -> None:
        """Set columns of a shot."""
        names = ", ".join(f"{name}=?" for name in values)
        self._do(f"update shot set {names} where id=?", *values.values(), shot)

    def delete_shot(self, shot: str) -> None:
        for path in self.pictures.glob(f"{shot}-*"):  # an id of ours: letters, digits, '-' and '_'
            path.unlink(missing_ok=True)
        self._do("delete from shot where id=?", shot)

    def delete_old(self, keep_h: float) -> int:
        """Delete what is older, also pictures that belong to no shot; returns how many shots there were."""
        old = time.time() - 3600 * keep_h
        gone = self._rows("select id from shot where at<? and state not in ('waiting','working')", old)
        for row in gone:
            self.delete_shot(row["id"])
        known = {row["id"] for row in self._rows("select id from shot")}
        for path in self.pictures.iterdir():
            if path.name.rpartition("-")[0] not in known and path.stat().st_mtime < time.time() - 600:
                path.unlink(missing_ok=True)
        return len(gone)

    # ------------------------------------------------------------ what happened

    def note(self, who: str, what: str, detail: str = "") -> None:
        """A line of the audit log."""
        self._do("insert into audit values (?,?,?,?)", time.time(), who, what, detail[:500])

    def notes(self, most: int = 500) -> list[tuple[float, str, str, str]]:
        """The newest lines of the audit log, newest first."""
        rows = self._rows("select * from audit order by at desc limit ?", most)
        return [(row["at"], row["who"], row["what"], row["detail"]) for row in rows]


def _shot(row: sqlite3.Row | dict[str, Any]) -> Shot:
    said = {name: tuple((who, line) for who, line in json.loads(row[name])) for name in ("words", "undone")}
    told = row["told"]
    return Shot(**{**dict(row), "told": json.loads(told) if isinstance(told, str) else told, **said})
