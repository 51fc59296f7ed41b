"""Wording for people: every sentence goes through `tr`, so that a school can add its language.

Catalogues are gettext files in ``snapcheck/locale/LANG/LC_MESSAGES/snapcheck.po`` (and compiled
``.mo``); `extra_dir` lets a school keep its own outside the package.
"""

from __future__ import annotations

import gettext
from contextvars import ContextVar
from pathlib import Path

_LOCALE = Path(__file__).parent / "locale"
_active: ContextVar[gettext.NullTranslations] = ContextVar(
    "snapcheck_language",
    default=gettext.NullTranslations(),  # noqa: B039 - never changed
)


def use_language(language: str, extra_dir: Path | None = None) -> bool:
    """Speak `language` (``en``, ``de``, ...) from now on in this context.

    Returns:
        False when there is no catalogue for it and English stays.
    """
    for folder in (extra_dir, _LOCALE):
        if folder is None:
            continue
        try:
            _active.set(gettext.translation("snapcheck", folder, languages=[language]))
            return True
        except OSError:
            continue
    _active.set(gettext.NullTranslations())
    return language.startswith("en")


def tr(message: str, **values: object) -> str:
    """The message in the active language, with ``{name}`` places filled from `values`.

    Write the English sentence as a literal at the call, so that the extraction tool finds it.
    """
    text = _active.get().gettext(message)
    return text.format(**values) if values else text


def languages(extra_dir: Path | None = None) -> list[str]:
    """Languages that can be spoken here: English, and every one with a compiled catalogue."""
    found = {"en"}
    for folder in (extra_dir, _LOCALE):
        if folder is not None:
            found |= {path.parent.parent.name for path in folder.glob("*/LC_MESSAGES/snapcheck.mo")}
    return sorted(found)
