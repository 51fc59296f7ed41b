"""Limits of the comparison; TOML data, checked on load."""

from __future__ import annotations

import difflib
import functools
import importlib.resources
import math
import tomllib
from dataclasses import dataclass, fields, replace
from pathlib import Path

from snapcheck.errors import DataError, InputError
from snapcheck.words import tr


@dataclass(frozen=True)
class ComparisonSettings:
    """Limits of the comparison; see ``data/comparison.toml`` for what each means."""

    near_ratio: float
    far_ratio: float
    own_layout_below: float
    many_missing: float
    step_limit: float
    mistake_missing: float
    mistake_extra: float
    mistake_turned: float
    mistake_value: float
    mistake_kind: float
    mistake_tap: float
    mistake_lead: float
    settled_from: float
    settled_from_danger: float


_NAMES = tuple(f.name for f in fields(ComparisonSettings))


@functools.cache
def bundled_settings() -> ComparisonSettings:
    """The limits that come with snapcheck."""
    resource = importlib.resources.files("snapcheck.check") / "data" / "comparison.toml"
    data = _numbers(resource.read_text(encoding="utf-8"), "comparison.toml (bundled)")
    return ComparisonSettings(**data)


def parse_settings(text: str, source: str) -> ComparisonSettings:
    """The bundled limits with the changes in `text` (TOML). Raises DataError."""
    return replace(bundled_settings(), **_numbers(text, source))


def load_settings(path: str | Path) -> ComparisonSettings:
    """The bundled limits with the changes in a TOML file. Raises InputError and DataError."""
    try:
        text = Path(path).read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(tr("cannot be opened: {why}.", why=error.strerror), place=path) from error
    except UnicodeDecodeError as error:
        raise DataError(tr("is no text file."), place=path, way_out=tr("Save it as UTF-8.")) from error
    return parse_settings(text, str(path))


def _numbers(text: str, source: str) -> dict[str, float]:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DataError(
            tr("is not valid TOML: {error}.", error=error),
            place=source,
            way_out=tr("Mend that line; see https://toml.io."),
        ) from error
    numbers: dict[str, float] = {}
    for key, value in data.items():
        place = tr("{file}, key {key}", file=source, key=key)
        if key not in _NAMES:
            close = difflib.get_close_matches(key, _NAMES, 1)
            hint = tr(" Did you mean '{name}'?", name=close[0]) if close else ""
            raise DataError(
                tr("is not known.{hint}", hint=hint),
                place=place,
                way_out=tr("Accepted: {names}.", names=", ".join(_NAMES)),
            )
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
            raise DataError(
                tr("{value!r} is no number.", value=value), place=place, way_out=tr("Write a plain number.")
            )
        if value < (1 if key.endswith("ratio") else 0):
            raise DataError(
                tr("{value:g} is too small.", value=value), place=place, way_out=tr("Ratios are 1 or more.")
            )
        numbers[key] = float(value)
    return numbers
