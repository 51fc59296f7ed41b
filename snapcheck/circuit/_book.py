"""The rule book: which rules are on, how bad, and their limits; TOML data, checked on load."""

from __future__ import annotations

import functools
import importlib.resources
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from snapcheck.datafiles import read_data_text, toml_table
from snapcheck.findings import Severity
from snapcheck.tables import TableReader
from snapcheck.words import tr

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


class _Reader(TableReader):
    """Reads one file; `base` is what it changes, None for the bundled file itself."""

    def __init__(self, source: str, base: RuleBook | None) -> None:
        super().__init__(source)
        self.base = base

    def book(self, text: str) -> RuleBook:
        data = toml_table(text, self.source)
        rules = dict(self.base.rules) if self.base else {}
        if self.base:
            self.known(data, "", rules)
        for name, table in data.items():
            rules[name] = self.setting(name, self.table(table, name), rules.get(name))
        return RuleBook(rules, self.source)

    def setting(self, name: str, table: dict[str, Any], base: RuleSetting | None) -> RuleSetting:
        if base is None:
            base = RuleSetting(True, Severity.NOTE, "", {k: 0.0 for k in table if k not in _COMMON})
        self.known(table, name, (*_COMMON, *base.limits))
        enabled, severity, source, limits = base.enabled, base.severity, base.source, dict(base.limits)
        for key, value in table.items():
            where = f"{name}.{key}"
            if key == "enabled":
                enabled = self.flag(value, where)
            elif key == "severity":
                severity = _SEVERITIES[self.choice(value, where, _SEVERITIES)]
            elif key == "source":
                source = self.text(value, where)
            else:
                hint = tr("Write a plain number in the key's unit.")
                limits[key] = self.number(value, where, 0.0, way_out=hint)
        return RuleSetting(enabled, severity, source, MappingProxyType(limits))


_COMMON = ("enabled", "severity", "source")
