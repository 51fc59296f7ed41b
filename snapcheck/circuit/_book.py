"""The rule book: which rules are on, how bad, and their limits; TOML data, checked on load."""

from __future__ import annotations

import difflib
import functools
import importlib.resources
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, NoReturn

from snapcheck.datafiles import finite, read_data_text, toml_table
from snapcheck.errors import DataError
from snapcheck.findings import Severity
from snapcheck.words import brief, tr

_SEVERITIES = {s.name.lower(): s for s in Severity if s is not Severity.QUESTION}


@dataclass(frozen=True)
class RuleSetting:
    """How one rule is set.

    Attributes:
        enabled: False switches it off.
        severity: how bad its findings are.
        source: published source, or "common practice, no source".
        limits: its numbers, unit at the end of the name.
    """

    enabled: bool
    severity: Severity
    source: str
    limits: Mapping[str, float]


@dataclass(frozen=True)
class RuleBook:
    """All rules by name; `origin` names the file for messages."""

    rules: Mapping[str, RuleSetting]
    origin: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "rules", MappingProxyType(dict(self.rules)))

    def __getitem__(self, name: str) -> RuleSetting:
        return self.rules[name]

    def limit(self, rule: str, name: str) -> float:
        """One number of one rule."""
        return self.rules[rule].limits[name]

    def without(self, *names: str) -> RuleBook:
        """The same book with some rules switched off."""
        rules = {n: replace(r, enabled=r.enabled and n not in names) for n, r in self.rules.items()}
        return RuleBook(rules, self.origin)


@functools.cache
def bundled_rules() -> RuleBook:
    """The rule book that comes with snapcheck."""
    resource = importlib.resources.files("snapcheck.circuit") / "data" / "rules.toml"
    return _Reader("rules.toml (bundled)", None).book(resource.read_text(encoding="utf-8"))


def parse_rules(text: str, source: str) -> RuleBook:
    """The bundled rule book with the changes in `text` (TOML).

    Raises:
        DataError: names file, key and accepted values.
    """
    return _Reader(source, bundled_rules()).book(text)


def load_rules(path: str | Path) -> RuleBook:
    """The bundled rule book with the changes in a TOML file.

    Raises:
        InputError: the file cannot be opened.
        DataError: it is no rule book; the message names file, key and accepted values.
    """
    path = Path(path)
    text = read_data_text(path, tr("a rule file"), 1, tr("Give a rule file (TOML)."))
    return parse_rules(text, str(path))


class _Reader:
    """Reads one file; `base` is what it changes, None for the bundled file itself."""

    def __init__(self, source: str, base: RuleBook | None) -> None:
        self.source = source
        self.base = base

    def fail(self, key: str, message: str, way_out: str = "") -> NoReturn:
        raise DataError(message, place=tr("{file}, key {key}", file=self.source, key=key), way_out=way_out)

    def book(self, text: str) -> RuleBook:
        data = toml_table(text, self.source)
        rules = dict(self.base.rules) if self.base else {}
        for name, table in data.items():
            if self.base and name not in rules:
                close = difflib.get_close_matches(name, rules, 1)
                hint = tr(" Did you mean '{name}'?", name=close[0]) if close else ""
                self.fail(
                    name, tr("is no rule.{hint}", hint=hint), tr("Accepted: {names}.", names=", ".join(rules))
                )
            if not isinstance(table, dict):
                self.fail(name, tr("is not a table."), tr("Write [{name}] and its keys below.", name=name))
            rules[name] = self.setting(name, table, rules.get(name))
        return RuleBook(rules, self.source)

    def setting(self, name: str, table: dict[str, Any], base: RuleSetting | None) -> RuleSetting:
        if base is None:
            base = RuleSetting(True, Severity.NOTE, "", {k: 0.0 for k in table if k not in _COMMON})
        enabled, severity, source, limits = base.enabled, base.severity, base.source, dict(base.limits)
        for key, value in table.items():
            where = f"{name}.{key}"
            if key == "enabled":
                if not isinstance(value, bool):
                    self.fail(
                        where,
                        tr("{value} is not accepted.", value=brief(value)),
                        tr("Accepted: true, false."),
                    )
                enabled = value
            elif key == "severity":
                if not isinstance(value, str) or value not in _SEVERITIES:
                    self.fail(
                        where,
                        tr("{value} is not accepted.", value=brief(value)),
                        tr("Accepted: {names}.", names=", ".join(_SEVERITIES)),
                    )
                severity = _SEVERITIES[value]
            elif key == "source":
                if not isinstance(value, str):
                    self.fail(where, tr("is not text."), tr('Write it in quotes: "…".'))
                source = value
            elif key in limits:
                limits[key] = self.number(where, value)
            else:
                accepted = ", ".join((*_COMMON, *limits))
                self.fail(where, tr("is not known."), tr("Accepted: {accepted}.", accepted=accepted))
        return RuleSetting(enabled, severity, source, MappingProxyType(limits))

    def number(self, where: str, value: object) -> float:
        number = finite(value)
        if number is None:
            self.fail(
                where,
                tr("{value} is no number.", value=brief(value)),
                tr("Write a plain number in the key's unit."),
            )
        if number < 0:
            self.fail(where, tr("{value:g} is below zero.", value=number), tr("Write a number from 0 up."))
        return number


_COMMON = ("enabled", "severity", "source")
