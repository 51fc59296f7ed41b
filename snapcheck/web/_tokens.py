"""Tokens of programs that a teacher lets in: made at the desk, shown once, kept as a hash."""

from __future__ import annotations

import hashlib
import secrets
import time
from collections import deque
from dataclasses import dataclass

from snapcheck.web._access import Tries
from snapcheck.web._settings import Limits
from snapcheck.web._store import Keep

#: what a token opens: photos and their answers; or what the teacher sees of the course as well
HAND_IN, TEACHER = "hand-in", "teacher"
SCOPES = (HAND_IN, TEACHER)
#: tokens that hold at the same time
MOST_TOKENS = 50


@dataclass(frozen=True)
class Token:
    """What is known of a token.

    Attributes:
        id: its name in lists; opens nothing.
        name: what the teacher calls the program.
        scope: see `SCOPES`.
        made, used, revoked: seconds since the epoch; None: never.
    """

    id: str
    name: str
    scope: str
    made: float
    used: float | None
    revoked: float | None


class Tokens:
    """The tokens of one server."""

    def __init__(self, keep: Keep, limits: Limits) -> None:
        self._keep, self._limits = keep, limits
        self.tries = Tries(limits.tries, limits.guest_tries, limits.window_s)
        self._calls: dict[str, deque[float]] = {}

    def new(self, name: str, scope: str) -> str:
        """A token that holds from now on; nobody can read it again."""
        made = secrets.token_urlsafe(32)
        self._keep.write(
            "insert into token values (?,?,?,?,?,null,null)",
            secrets.token_hex(4), _hash(made), name, scope, time.time(),
        )  # fmt: skip
        self._keep.note("desk", "token made", f"{name}: {scope}")
        return made

    def all(self) -> list[Token]:
        """Those that hold first, then the newest."""
        rows = self._keep.rows(
            "select id, name, scope, made, used, revoked from token order by revoked is not null, made desc"
        )
        return [Token(**dict(row)) for row in rows]

    def revoke(self, one: str) -> bool:
        """It opens nothing any more; whether there was one that did."""
        done = self._keep.write("update token set revoked=? where id=? and revoked is null", time.time(), one)
        for token in self.all() if done else ():
            if token.id == one:
                self._keep.note("desk", "token revoked", f"{token.name}: {token.scope}")
        return bool(done)

    def of(self, given: str) -> Token | None:
        """The token that was given, None where none such holds."""
        rows = self._keep.rows(
            "select id, name, scope, made, used, revoked from token where hash=? and revoked is null",
            _hash(given),
        )
        if not rows:
            return None
        found = Token(**dict(rows[0]))
        if found.used is None or found.used < time.time() - 60:
            self._keep.write("update token set used=? where id=?", time.time(), found.id)
        return found

    def wait_s(self, token: Token) -> float:
        """Seconds until this token may ask again, 0 for now; then it counts as a call."""
        now, most = time.monotonic(), self._limits.calls
        calls = self._calls.setdefault(token.id, deque(maxlen=most))
        while calls and calls[0] < now - self._limits.window_s:
            calls.popleft()
        if len(calls) >= most:
            return calls[0] + self._limits.window_s - now
        calls.append(now)
        return 0.0


def _hash(token: str) -> str:
    """256 random bits need no slow hash: whoever reads the file cannot find what gives this."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
