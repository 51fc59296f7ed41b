"""Who may see what: class code and bench key for phones, a passphrase for the teacher, tokens for forms."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import Response

from snapcheck.web._settings import Settings
from snapcheck.web._store import Keep

if TYPE_CHECKING:
    from argon2 import PasswordHasher

#: signs of a class code: none that is taken for another when it is read from a wall
_SIGNS = "ABCDEFGHJKMNPQRTUVWXY346789"
CODE_LENGTH = 6
STUDENT, TEACHER = "student", "teacher"
_SESSION, _VISIT = "snapcheck-session", "snapcheck-visit"
_SESSION_h = 12.0
_SYLLABLES = [c + v for c in "bdfghjklmnprstvz" for v in "aeiou"]
_LOOPBACK = ("127.", "::1", "testclient")


@dataclass(frozen=True)
class Visitor:
    """Who asks.

    Attributes:
        role: ``student``, ``teacher``, or "" for nobody yet.
        bench: of a student.
        language: that the pages of this visit speak.
        mark: what the browser holds; tokens of forms hang on it.
    """

    role: str
    bench: int | None
    language: str
    mark: str


class Tries:
    """Counts what went wrong within a window, from one address and from all.

    This computer itself is not counted among all: strangers cannot lock its teacher out.
    """

    def __init__(self, one: int, all_: int, window_s: float) -> None:
        self._one, self._all, self._window_s = one, all_, window_s
        self._wrong: dict[str, deque[float]] = {}
        self._everybody: deque[float] = deque()

    def wait_s(self, who: str) -> float:
        """Seconds until this address may try again, 0 for now."""
        now = time.monotonic()
        mine = self._recent(self._wrong.get(who, deque()), now)
        waits = [mine[0] + self._window_s - now] if len(mine) >= self._one else []
        others = self._recent(self._everybody, now)
        if len(others) >= self._all and not who.startswith(_LOOPBACK):
            waits.append(others[0] + self._window_s - now)
        return max(waits, default=0.0)

    def wrong(self, who: str) -> None:
        """It was wrong."""
        now = time.monotonic()
        if len(self._wrong) > 10_000:
            self._wrong = {w: t for w, t in self._wrong.items() if self._recent(t, now)}
        self._wrong.setdefault(who, deque(maxlen=self._one)).append(now)
        if not who.startswith(_LOOPBACK):
            self._everybody.append(now)

    def right(self, who: str) -> None:
        """It was right after all: nothing is held against this address."""
        self._wrong.pop(who, None)

    def _recent(self, times: deque[float], now: float) -> deque[float]:
        while times and times[0] < now - self._window_s:
            times.popleft()
        return times


class Access:
    """Keys, codes and tokens of one server."""

    def __init__(self, keep: Keep, settings: Settings) -> None:
        self._keep, self._settings = keep, settings
        self._secret = keep.secret()
        limits = settings.limits
        self.code_tries = Tries(limits.tries, limits.guest_tries, limits.window_s)
        self.phrase_tries = Tries(limits.phrase_tries, limits.phrase_guest_tries, limits.window_s)

    # ------------------------------------------------------------ class code

    def new_code(self) -> str:
        """Another class code, from now on; who is in stays in."""
        code = "".join(secrets.choice(_SIGNS) for _ in range(CODE_LENGTH))
        self._keep.keep("code", code)
        self._keep.keep("code-until", str(time.time() + 3600 * self._settings.lesson_h))
        return code

    def code(self) -> str:
        """The class code that holds now, "" for none."""
        until = float(self._keep.setting("code-until", "0"))
        return self._keep.setting("code") if until > time.time() else ""

    def is_code(self, given: str) -> bool:
        """Whether this is the class code, however it was typed."""
        typed = "".join(given.split()).replace("-", "").upper().encode()
        code = self.code().encode()
        return bool(code) and hmac.compare_digest(typed, code)

    # ------------------------------------------------------------ passphrase

    def has_phrase(self) -> bool:
        return bool(self._keep.setting("phrase"))

    def new_phrase(self) -> str:
        """A passphrase of 50 bits that can be said aloud; only its hash is kept (Argon2id, RFC 9106)."""
        words = ("".join(secrets.choice(_SYLLABLES) for _ in range(2)) for _ in range(4))
        phrase = "-".join(words)
        self.set_phrase(phrase)
        return phrase

    def set_phrase(self, phrase: str) -> None:
        """The teacher's passphrase; desks that are open are closed."""
        self._keep.keep("phrase", _hasher().hash(phrase))
        self._keep.end_sessions(TEACHER)

    def is_phrase(self, given: str) -> bool:
        """Whether this is the passphrase. Takes a tenth of a second, by design."""
        from argon2.exceptions import Argon2Error, InvalidHashError

        try:
            return _hasher().verify(self._keep.setting("phrase"), given[:200])
        except (Argon2Error, InvalidHashError):
            return False

    # ------------------------------------------------------------ sessions and forms

    def visitor(self, request: Request, language: str) -> Visitor:
        """Who asks, by the cookies of the request."""
        token = request.cookies.get(_SESSION, "")
        found = self._keep.session(_hash(token)) if token else None
        if found is not None:
            return Visitor(found[0], found[1], found[2], token)
        return Visitor("", None, language, request.cookies.get(_VISIT, "") or secrets.token_urlsafe(24))

    def let_in(self, answer: Response, role: str, bench: int | None, language: str) -> None:
        """A session of its own for whoever gets this answer."""
        token = secrets.token_urlsafe(32)
        until = time.time() + 3600 * _SESSION_h
        self._keep.add_session(_hash(token), role, bench, until, language)
        self._cookie(answer, _SESSION, token, int(3600 * _SESSION_h))

    def let_out(self, answer: Response, visitor: Visitor) -> None:
        """The end of this session; its cookie opens nothing any more, whoever has it."""
        self._keep.end_session(_hash(visitor.mark))
        answer.delete_cookie(_SESSION, path="/", httponly=True, samesite="strict", secure=self._settings.tls)

    def remember(self, answer: Response, visitor: Visitor) -> None:
        """The mark on which the tokens of a stranger's forms hang."""
        if not visitor.role:
            self._cookie(answer, _VISIT, visitor.mark, 3600)

    def form_token(self, visitor: Visitor) -> str:
        """What every form of this visitor must bring along."""
        return hmac.new(self._secret, f"form {visitor.mark}".encode(), hashlib.sha256).hexdigest()

    def is_form_token(self, visitor: Visitor, given: str) -> bool:
        """Whether a form is one that this visitor was given."""
        return hmac.compare_digest(self.form_token(visitor).encode(), given.encode("utf-8", "replace"))

    def _cookie(self, answer: Response, name: str, value: str, age_s: int) -> None:
        answer.set_cookie(
            name, value, max_age=age_s, path="/", httponly=True, samesite="strict", secure=self._settings.tls
        )


def _hash(token: str) -> str:
    """What is kept of a session: whoever reads the file cannot enter by it."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher

    return PasswordHasher()
