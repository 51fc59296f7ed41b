"""Wording for people: every sentence goes through `tr`, so that a school can add its language.

Catalogues are gettext files, ``snapcheck/locale/LANG/LC_MESSAGES/snapcheck.po``, read as they are: nothing
has to be compiled. A folder of one's own (``--locale``) comes before the bundled one.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

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

    Returns:
        False when there is no catalogue for it; then English is spoken.
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
    """The message in the active language, with ``{name}`` places filled from `values`.

    Write the English sentence as a literal at the call, so that the extraction tool finds it.
    """
    text = _active.get().sentences.get(message) or message
    if not values:
        return text
    try:
        return text.format(**values)
    except (LookupError, ValueError):  # a slip in a catalogue must not cost the sentence
        return message.format(**values)


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
    from babel.messages.pofile import read_po

    with file.open("rb") as stream:
        catalogue = read_po(stream, ignore_obsolete=True)
    return {
        str(message.id): str(message.string)
        for message in catalogue
        if message.id and message.string and not message.fuzzy
    }
