"""Designs that are kept: those that come with snapcheck, and the teacher's own in a folder."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from snapcheck import api
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.outfiles import write_whole
from snapcheck.words import system_says, tr

#: shelves: what comes with snapcheck (``chips``: for the kit with chips), and the folder
SAMPLES, CHIPS, OWN = "samples", "chips", "own"
#: folder in the folder, of designs that were put away: nothing is deleted
PUT_AWAY = "put-away"
_NAME = re.compile(r"[a-z0-9](?:[a-z0-9-]{0,58}[a-z0-9])?")


class TakenError(InputError):
    """A design of that name is there already."""


@dataclass(frozen=True)
class Kept:
    """A design on a shelf.

    Attributes:
        shelf, name: by which it is asked for.
        text: of its layout file.
        kit: what stands for its cubes: "" the bundled ones, ``chips``, or the path of a kit.
    """

    shelf: str
    name: str
    text: str
    kit: str

    @cached_property
    def card(self) -> dict[str, Any]:
        """What a shelf shows of it, see `snapcheck.api.card_told`; ``error`` where it is no design."""
        try:
            return api.card_told(self.text, self.kit or None)
        except SnapcheckError as error:
            return {"title": self.name, "purpose": "", "count": 0, "promises": [], "error": str(error)}

    @property
    def sum(self) -> str:
        """By which it is seen whether the file is still the same."""
        return hashlib.sha256(self.text.encode()).hexdigest()


def name_of(title: str) -> str:
    """A name for a file from a title; "" where nothing is left of it."""
    plain = title.replace("ß", "ss").replace("ä", "ae").replace("ö", "oe").replace("ü", "ue")
    plain = unicodedata.normalize("NFKD", plain.lower()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-")


class Shelves:
    """All designs.

    Args:
        folder: of the teacher's own; made with the first one.
        kit: the course's cubes, "" for the bundled ones.
    """

    def __init__(self, folder: Path, kit: str = "") -> None:
        self.folder, self.kit = folder, kit
        self._seen: dict[Path, tuple[tuple[int, int], Kept]] = {}

    def all(self) -> dict[str, list[Kept]]:
        """By shelf, in the order of titles."""
        found: dict[str, list[Kept]] = {OWN: list(self._in(OWN, self.folder))}
        if not self.kit:
            found |= {name: list(self._in(name, folder)) for name, folder in self._samples().items()}
        return {n: sorted(kept, key=lambda k: k.card["title"].casefold()) for n, kept in found.items()}

    def get(self, shelf: str, name: str) -> Kept:
        """Raises KeyError where there is none."""
        folder = {OWN: self.folder, **({} if self.kit else self._samples())}[shelf]
        file = folder / f"{name}.board"
        if not _NAME.fullmatch(name) or file.is_symlink() or not file.is_file():
            raise KeyError(name)
        return self._read(shelf, file)

    def file(self, kept: Kept) -> Path:
        """Where it lies."""
        return {OWN: self.folder, **self._samples()}[kept.shelf] / f"{kept.name}.board"

    def put(self, name: str, text: str, over: str = "") -> Kept:
        """Keep a design in the folder.

        Args:
            name: small letters, digits, hyphens.
            text: of its layout file.
            over: the sum of the one that it may take the place of.

        Raises:
            TakenError: another one is there.
            InputError: the name is none, or it cannot be written.
        """
        if not _NAME.fullmatch(name):
            raise InputError(
                tr("'{name}' is no name for a design.", name=name),
                way_out=tr("Small letters, digits and hyphens are accepted, such as night-lamp."),
            )
        try:
            there = self.get(OWN, name)
        except KeyError:
            if (self.folder / f"{name}.board").exists():
                raise TakenError(tr("'{name}' is there already, and is no design.", name=name)) from None
        else:
            if there.sum != over:
                raise TakenError(tr("A design '{name}' is there already.", name=name))
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self.folder / f"{name}.board", text)
        except OSError as error:
            raise InputError(
                tr("cannot be written: {why}.", why=system_says(error)), place=self.folder
            ) from None
        return self.get(OWN, name)

    def free_name(self, name: str, inside: str = "") -> str:
        """A name of the folder, or of one in it, that is free, much like this one."""
        for n in range(2, 1000):
            other = f"{name[:56]}-{n}"
            if not (self.folder / inside / f"{other}.board").exists():
                return other
        return ""

    def put_away(self, name: str) -> str:
        """Take a design of the folder off the shelf; its file lies in PUT_AWAY from then on.

        Returns:
            Its name there.

        Raises:
            KeyError: there is none.
            InputError: it cannot be moved.
        """
        file = self.file(self.get(OWN, name))
        there = self.folder / PUT_AWAY
        new = self.free_name(name, PUT_AWAY) if (there / file.name).exists() else name
        self._move(file, there / f"{new}.board")
        return new

    def away(self) -> list[str]:
        """Names of the designs that were put away."""
        files = (self.folder / PUT_AWAY).glob("*.board")
        return sorted(f.stem for f in files if _NAME.fullmatch(f.stem) and f.is_file() and not f.is_symlink())

    def bring_back(self, name: str) -> str:
        """Back on the shelf; where its name is taken meanwhile, under another.

        Returns:
            Its name on the shelf.

        Raises:
            KeyError: there is none.
            InputError: it cannot be moved.
        """
        if name not in self.away():
            raise KeyError(name)
        new = self.free_name(name) if (self.folder / f"{name}.board").exists() else name
        self._move(self.folder / PUT_AWAY / f"{name}.board", self.folder / f"{new}.board")
        return new

    def _move(self, file: Path, to: Path) -> None:
        try:
            to.parent.mkdir(parents=True, exist_ok=True)
            file.rename(to)
        except OSError as error:
            raise InputError(tr("cannot be moved: {why}.", why=system_says(error)), place=file) from None

    def _samples(self) -> dict[str, Path]:
        folder = api.samples_folder()
        return {SAMPLES: folder, CHIPS: folder / "chips"}

    def _in(self, shelf: str, folder: Path) -> Iterator[Kept]:
        for file in sorted(folder.glob("*.board"))[:500]:
            if _NAME.fullmatch(file.stem) and file.is_file() and not file.is_symlink():
                yield self._read(shelf, file)

    def _read(self, shelf: str, file: Path) -> Kept:
        """A file, read again only where it has changed."""
        stat = file.stat()
        mark = (stat.st_mtime_ns, stat.st_size)
        if file not in self._seen or self._seen[file][0] != mark:
            try:
                text = api.design_text(file)
            except SnapcheckError:
                text = ""
            self._seen[file] = (mark, Kept(shelf, file.stem, text, self._kit_of(shelf, text)))
        return self._seen[file][1]

    def _kit_of(self, shelf: str, text: str) -> str:
        """The kit that a design needs: the bundled one, or the one with chips."""
        if self.kit or shelf == SAMPLES:
            return self.kit
        if shelf == CHIPS:
            return CHIPS
        return "" if _fits(text, "") or not _fits(text, CHIPS) else CHIPS


def _fits(text: str, kit: str) -> bool:
    try:
        api.checked_design_text(text, kit or None)
    except SnapcheckError:
        return False
    return True
