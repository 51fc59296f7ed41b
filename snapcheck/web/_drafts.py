"""Designs that are being worked at: every step is kept, so that none is lost with a browser or a server."""

from __future__ import annotations

import json
import re
import secrets
import time
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from threading import Lock
from typing import Any

from snapcheck.outfiles import write_whole
from snapcheck.words import system_says, tr

#: steps that can be undone
MOST_STEPS = 100
#: designs that are being worked at; the oldest makes way for one more
MOST_DRAFTS = 60
_ID = re.compile(r"[A-Za-z0-9_-]{16}")


@dataclass
class Draft:
    """One design on the way.

    Attributes:
        id: by which it is asked for.
        texts, at: its layout file after every step, and which of them holds.
        kit: what stands for its cubes: "" the bundled ones, ``chips``, or the path of a kit.
        name: of the file that it was saved as, or came from, in the folder; "" for none.
        sum: of that file as it was then.
        open: what a photo left open, as `snapcheck.api.adopted_told` has it.
        typed, wrong: text that is no layout file yet, and what is wrong in it.
        said: what the last step took along, or could not do, in words.
        since: when it was changed last.
        unkept: why the disk does not have the last steps, in words; "" where it has them.
    """

    id: str
    texts: list[str]
    at: int = 0
    kit: str = ""
    name: str = ""
    sum: str = ""
    open: list[dict[str, Any]] = field(default_factory=list)
    typed: str = ""
    wrong: str = ""
    said: list[str] = field(default_factory=list)
    since: float = 0.0
    unkept: str = ""

    @property
    def text(self) -> str:
        """The layout file."""
        return self.texts[self.at]

    def step(self, text: str, said: list[str] | None = None) -> None:
        """The layout file is this from now on; what was undone before is gone."""
        self.typed, self.wrong, self.said = "", "", said or []
        if text != self.text:
            self.texts = [*self.texts[: self.at + 1], text][-MOST_STEPS:]
            self.at = len(self.texts) - 1

    def back(self, steps: int) -> None:
        """Undo (-1) or redo (1) a step, where there is one."""
        self.typed, self.wrong, self.said = "", "", []
        self.at = min(max(self.at + steps, 0), len(self.texts) - 1)


class Drafts:
    """All of them.

    Args:
        folder: where they are kept.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._all: dict[str, Draft] | None = None
        self._writing = Lock()

    def get(self, id: str) -> Draft:
        """Raises KeyError."""
        return self._drafts()[id]

    def all(self) -> list[Draft]:
        """The newest first."""
        return sorted(self._drafts().values(), key=lambda d: -d.since)

    def begin(self, text: str, **more: Any) -> Draft:
        """Another one."""
        draft = Draft(secrets.token_urlsafe(12), [text], **more)
        for old in self.all()[MOST_DRAFTS - 1 :]:
            self.drop(old)
        self._drafts()[draft.id] = draft
        self.keep(draft)
        return draft

    def keep(self, draft: Draft) -> None:
        """As it is now. Raises OSError."""
        with self._writing:  # of two threads the later one writes the later steps
            if self._drafts().get(draft.id) is not draft:
                return  # dropped meanwhile
            draft.since = time.time()
            self._folder.mkdir(mode=0o700, exist_ok=True)
            whole = {**asdict(draft), "unkept": ""}
            write_whole(self._file(draft), json.dumps(whole, ensure_ascii=False))
            draft.unkept = ""

    def keep_behind(self, draft: Draft) -> None:
        """As it is now, after the answer has gone out; a disk that takes no more is told later."""
        try:
            self.keep(draft)
        except OSError as error:
            draft.unkept = tr("The last steps are not on the disk: {reason}", reason=system_says(error))

    def drop(self, draft: Draft) -> None:
        """It is wanted no more."""
        with self._writing:
            self._drafts().pop(draft.id, None)
            self._file(draft).unlink(missing_ok=True)

    def _file(self, draft: Draft) -> Path:
        return self._folder / f"{draft.id}.json"

    def _drafts(self) -> dict[str, Draft]:
        if self._all is None:
            self._all = {}
            for file in self._folder.glob("*.json"):
                with suppress(OSError, ValueError, TypeError, KeyError):
                    draft = Draft(**json.loads(file.read_text(encoding="utf-8")))
                    if _ID.fullmatch(draft.id) and draft.id == file.stem and 0 <= draft.at < len(draft.texts):
                        self._all[draft.id] = draft
        return self._all
