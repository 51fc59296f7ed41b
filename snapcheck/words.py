"""Wording for people: every sentence goes through `tr`, so that a school can add its language.

Catalogues are gettext files, ``snapcheck/locale/LANG/LC_MESSAGES/snapcheck.po``, read as they are: nothing
has to be compiled. A folder of one's own (``--locale``) comes before the bundled one.
"""

from __future__ import annotations

import errno
import json
import os
import re
from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

_LOCALE = Path(__file__).parent / "locale"
_FILE = Path("LC_MESSAGES", "snapcheck.po")


@dataclass(frozen=True)
class _Language:
    """A language, its sentences (English needs none) and the folder that was asked for more of them."""

    name: str = "en"
    sentences: Mapping[str, str] = field(default_factory=dict)
    extra_dir: Path | None = None


_active: ContextVar[_Language] = ContextVar("snapcheck_language", default=_Language())  # noqa: B039 - frozen


def use_language(language: str, extra_dir: Path | None = None) -> bool:
    """Speak `language` (``en``, ``de``, ``de_AT``, ...) from now on in this context.

    Args:
        language: as operating systems write it.
        extra_dir: a folder with catalogues of the caller's own, asked first.

    Returns:
        False when there is no catalogue for it; then English is spoken.

    Raises:
        ValueError: its catalogue is damaged.
    """
    for name in _names(language):
        for folder in (extra_dir, _LOCALE):
            file = None if folder is None else folder / name / _FILE
            if file is not None and file.is_file():
                _active.set(_Language(name, _read(file, file.stat().st_mtime_ns), extra_dir))
                return True
    _active.set(_Language())
    return language.startswith("en") or language in ("C", "POSIX")


def surrounding_language(environment: Mapping[str, str] = os.environ, extra_dir: Path | None = None) -> str:
    """The first language that the surroundings ask for and that can be spoken, else ``en``.

    Looks at LANGUAGE, LC_ALL, LC_MESSAGES and LANG, in the order of the gettext manual.
    """
    spoken = languages(extra_dir)
    wanted = environment.get("LANGUAGE", "").split(":")
    wanted += [environment.get(name, "") for name in ("LC_ALL", "LC_MESSAGES", "LANG")]
    for language in filter(None, wanted):
        if language.split(".")[0] in ("C", "POSIX"):
            return "en"
        for name in _names(language):
            if name in spoken:
                return name
    return "en"


def active_language() -> str:
    """The language that is spoken, such as ``de``."""
    return _active.get().name


def speech() -> tuple[str, Path | None]:
    """What `use_language` needs so that another process speaks as this one does."""
    active = _active.get()
    return active.name, active.extra_dir


def tr(message: str, **values: object) -> str:
    """The message in the active language, with ``{name}`` places filled from `values`, made safe to show.

    Write the English sentence as a literal at the call, so that the extraction tool finds it.
    """
    text = _active.get().sentences.get(message) or message
    if not values:
        return text
    safe = {name: _safe(value) for name, value in values.items()}
    try:
        return text.format(**safe)
    except (LookupError, ValueError):  # a slip in a catalogue must not cost the sentence
        return message.format(**safe)


# Characters that a terminal obeys instead of showing, or that turn the text around them: control characters
# (C0 with DEL, C1: ECMA-48), ends of lines and paragraphs, the Bidi_Control characters (UAX #9, clause 2),
# halves of characters (file names that are no UTF-8), and what XML 1.0 does not allow (clause 2.2).
_OBEYED = re.compile(
    "[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufeff\ufff9-\ufffb\ufffe\uffff]"
)
_FSI, _PDI = "\u2068", "\u2069"
_ISOLATED = re.compile(f"{_FSI}[^{_FSI}{_PDI}]*{_PDI}")
# letters written from right to left: Hebrew to Arabic Extended-A, presentation forms, and beyond the BMP
_LEFTWARD = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefe\U00010800-\U00010fff\U0001e800-\U0001efff]")


def shown(text: object, *, lines: bool = False, isolate: bool = True) -> str:
    """Text from a file, a name or a library, safe to show on a terminal or in a report.

    What would be obeyed instead of shown is written out as an escape (``\\n``, ``\\x1b``, ``\\u202e``). Text
    in a script written from right to left is set apart by FSI and PDI (UAX #9), so that it leaves the
    sentence around it in order. Text that was made safe before stays as it is.

    Args:
        lines: ends of lines and tabs stay.
        isolate: False for text that stands alone, such as a cell of a table that programs read.
    """
    text = str(text)
    if text.isascii() and text.isprintable():
        return text
    rest = text
    while (fewer := _ISOLATED.sub("", rest)) != rest:
        rest = fewer
    apart = _FSI not in rest and _PDI not in rest  # ours, or as harmless

    def written_out(match: re.Match[str]) -> str:
        letter = match[0]
        if (apart and letter in (_FSI, _PDI)) or (lines and letter in "\n\t"):
            return letter
        return letter.encode("unicode_escape").decode("ascii")

    safe = _OBEYED.sub(written_out, text)
    return f"{_FSI}{safe}{_PDI}" if isolate and _LEFTWARD.search(rest if apart else text) else safe


def json_text(data: Any, indent: int | None = None, *, ascii_only: bool = False) -> str:
    """JSON in which nothing stands that would be obeyed instead of shown: it means the same, written out."""
    text = json.dumps(data, ensure_ascii=ascii_only, indent=indent, allow_nan=False)
    return _OBEYED.sub(lambda c: c[0] if c[0] == "\n" else f"\\u{ord(c[0]):04x}", text)


def _safe(value: object) -> Any:
    """A value to be filled in: texts and complaints of libraries are others' words."""
    return shown(value) if isinstance(value, str | Path | BaseException) else value


def brief(value: object, most: int = 60) -> str:
    """A value from a data file as it may stand in a sentence: Python's notation, cut off where it is long."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):  # a whole number of more digits than Python writes, deep nesting
        text = f"({type(value).__name__})"
    return text if len(text) <= most else text[:most] + "…"


def numeral(text: str) -> str:
    """A number in figures with the decimal sign of the active language: ``4.5`` is ``4,5`` in German."""
    return text.replace(".", tr("decimal sign")) if active_language() != "en" else text


def languages(extra_dir: Path | None = None) -> list[str]:
    """Languages that can be spoken here: English, and every one with a catalogue."""
    found = {"en"}
    for folder in (extra_dir, _LOCALE):
        if folder is not None:
            found |= {path.parent.parent.name for path in folder.glob(f"*/{_FILE}")}
    return sorted(found)


def _names(language: str) -> list[str]:
    """``de_AT.UTF-8`` to ``de_AT``, ``de``."""
    name = language.split(".", maxsplit=1)[0].split("@", maxsplit=1)[0].replace("-", "_")
    return list(dict.fromkeys((name, name.split("_")[0])))


@cache
def _read(file: Path, _changed_ns: int) -> Mapping[str, str]:
    """The sentences of a catalogue; those marked as doubtful (fuzzy) are left out."""
    from babel.messages.pofile import PoFileError, read_po

    try:
        with file.open("rb") as stream:
            # without the last argument it prints what it finds wrong
            catalogue = read_po(stream, ignore_obsolete=True, abort_invalid=True)
    except (PoFileError, LookupError, ValueError) as error:
        raise ValueError(f"{file}: {error}") from None
    return {
        str(message.id): str(message.string)
        for message in catalogue
        if message.id and message.string and not message.fuzzy
    }


def system_says(error: BaseException) -> str:
    """Why the operating system refuses something; the usual reasons in the active language."""
    usual = {
        errno.ENOENT: tr("No such file or directory"),
        errno.EACCES: tr("Permission denied"),
        errno.EPERM: tr("Operation not permitted"),
        errno.EEXIST: tr("File exists"),
        errno.EISDIR: tr("Is a directory"),
        errno.ENOTDIR: tr("Not a directory"),
        errno.ENOSPC: tr("No space left on device"),
        errno.EROFS: tr("Read-only file system"),
        errno.ENAMETOOLONG: tr("File name too long"),
    }
    number = getattr(error, "errno", None) or 0
    return usual.get(number, "") or getattr(error, "strerror", None) or str(error) or type(error).__name__
