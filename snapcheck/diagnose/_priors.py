"""Which faults happen and how often: data that a teacher may change, checked on load."""

from __future__ import annotations

import functools
import importlib.resources
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.datafiles import finite, read_data_text, toml_table
from snapcheck.errors import DataError
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from snapcheck.circuit import Part

_SECTIONS = ("designed", "spread", "meter", "effort", "contact", "degree", "usual", "part")
_MODES = (
    "open",
    "short",
    "reversed",
    "decade-up",
    "decade-down",
    "blown",
    "low-gain",
    "weak",
    "flat",
    "dead",
)


@dataclass(frozen=True)
class Priors:
    """Weights of faults; see ``data/faults.toml`` for what each means.

    Attributes:
        designed, designed_complaint: of a build without a fault, and of one with a complaint.
        contact: fault of a contact to its weight.
        usual: the same for a device that `part` does not name: ``open-leg`` of each leg, ``short-out``
            of each output to either side of a chip's supply.
        part: model to fault to weight.
        poor_ohm, bridge_ohm, weak, flat, low_gain: degrees of faults.
        spread, meter: how far good builds lie apart, and how well a meter measures.
        effort: what a measurement costs against others.
    """

    designed: float
    designed_complaint: float
    contact: Mapping[str, float]
    usual: Mapping[str, float]
    part: Mapping[str, Mapping[str, float]]
    poor_ohm: tuple[float, ...]
    bridge_ohm: float
    weak: tuple[tuple[float, float], ...]
    flat: tuple[tuple[float, float], ...]
    low_gain: tuple[float, ...]
    spread: Mapping[str, float]
    meter: Mapping[str, float]
    effort: Mapping[str, float]

    def spread_of(self, part: Part) -> float:
        """How far the voltage of a battery or supply may lie from its print, as a share of it."""
        return self.spread.get(part.device.name, self.spread["supply"])

    def faults_of(self, part: Part) -> Mapping[str, float]:
        """Fault to weight, for one part."""
        device, usual = part.device, self.usual
        if (told := self.part.get(device.name)) is not None:
            return told
        if len(part.nets) == 2:
            found = {mode: usual[mode] for mode in ("open", "short")}
            return found | ({"reversed": usual["reversed"]} if device.polarity else {})
        found = {f"open-{leg}": usual["open-leg"] for leg in part.nets}
        found |= {f"short-{start}-{end}": usual["short"] for start, end, _ in device.junctions}
        if device.chip:
            rails = [f"short-{leg}-{rail}" for leg in device.outlets for rail in part.pair]
            found |= {"dead": usual["dead"], **dict.fromkeys(rails, usual["short-out"])}
        return found

    def meter_V(self, volts: NDArray[Any]) -> NDArray[Any]:
        """How far the meter's reading of these voltages may be off, V: a share of it, and some digits."""
        m, size = self.meter, np.abs(volts)
        ranges = np.ceil(np.log10(np.maximum(size, m["lowest_range_V"]) / m["lowest_range_V"]) - 1e-9)
        digit = m["lowest_range_V"] * 10.0**ranges / m["counts"]
        limit: NDArray[Any] = m["share"] * size + m["digits"] * digit
        return limit

    def noise_V(self, volts: NDArray[Any]) -> NDArray[Any]:
        """Standard deviation of a reading around what is calculated, V, tolerances of parts aside.

        The meter's error lies evenly between its limits (JCGM 100:2008, 4.3.7).
        """
        model = self.spread["model_V"] + self.spread["model_share"] * np.abs(volts)
        noise: NDArray[Any] = np.hypot(self.meter_V(volts) / math.sqrt(3), model)
        return noise


@functools.cache
def bundled_priors() -> Priors:
    """The weights that come with snapcheck."""
    resource = importlib.resources.files("snapcheck.diagnose") / "data" / "faults.toml"
    return parse_priors(resource.read_text(encoding="utf-8"), "faults.toml (bundled)", based_on={})


def load_priors(path: str | Path) -> Priors:
    """The bundled weights with the changes in a TOML file. Raises InputError and DataError."""
    text = read_data_text(Path(path), tr("a file of fault weights"), 1, tr("Give a TOML file."))
    return parse_priors(text, str(path))


def parse_priors(text: str, source: str, based_on: Mapping[str, Any] | None = None) -> Priors:
    """The bundled weights with the changes in `text` (TOML). Raises DataError."""
    data = toml_table(text, source)
    if based_on is None:
        resource = importlib.resources.files("snapcheck.diagnose") / "data" / "faults.toml"
        based_on = toml_table(resource.read_text(encoding="utf-8"), "faults.toml (bundled)")
    _look_at_sections(data, source)
    base = {name: dict(based_on.get(name, {})) for name in _SECTIONS}
    known = {name: set(base[name]) for name in _SECTIONS if name != "part"}
    for name, told in data.items():
        for key, value in told.items():
            if name == "part" and isinstance(value, dict):
                base["part"][key] = {**base["part"].get(key, {}), **value}
            else:
                base[name][key] = value
    for name, keys in known.items():
        if based_on and (unknown := set(base[name]) - keys):
            raise _wrong(source, f"{name}.{min(unknown)}", tr("Accepted: {names}.", names=", ".join(keys)))
    degree, designed = base["degree"], base["designed"]
    return Priors(
        designed=_number(designed, "weight", f"{source}, designed"),
        designed_complaint=_number(designed, "weight_complaint", f"{source}, designed"),
        contact={key: _number(base["contact"], key, f"{source}, contact") for key in base["contact"]},
        usual={key: _number(base["usual"], key, f"{source}, usual") for key in base["usual"]},
        part=_parts(base["part"], source),
        poor_ohm=_numbers(degree, "poor_ohm", source),
        bridge_ohm=_number(degree, "bridge_ohm", f"{source}, degree"),
        weak=_pairs(degree, "weak", source),
        flat=_pairs(degree, "flat", source),
        low_gain=_numbers(degree, "low_gain", source),
        spread={key: _number(base["spread"], key, f"{source}, spread") for key in base["spread"]},
        meter={key: _number(base["meter"], key, f"{source}, meter") for key in base["meter"]},
        effort={key: _number(base["effort"], key, f"{source}, effort") for key in base["effort"]},
    )


def _look_at_sections(data: Mapping[str, Any], source: str) -> None:
    for name in data:
        if name not in _SECTIONS:
            raise _wrong(source, name, tr("Accepted: {names}.", names=", ".join(_SECTIONS)))
        if not isinstance(data[name], dict):
            raise _wrong(source, name, tr("Write a table."))


def _parts(table: Mapping[str, Any], source: str) -> dict[str, dict[str, float]]:
    """Model to fault to weight."""
    parts = {}
    for model, modes in table.items():
        if not isinstance(modes, dict):
            raise _wrong(source, f"part.{model}", tr("Write a table."))
        for mode in modes:
            if mode not in _MODES and not mode.startswith(("open-", "short-")):
                names = ", ".join((*_MODES, "open-…", "short-…-…"))
                raise _wrong(source, f"part.{model}.{mode}", tr("Accepted: {names}.", names=names))
        parts[model] = {m: _number(modes, m, f"{source}, part.{model}") for m in modes}
    return parts


def _wrong(source: str, key: str, way_out: str) -> DataError:
    return DataError(tr("'{key}' is not understood.", key=key), place=source, way_out=way_out)


def _number(table: Mapping[str, Any], key: str, source: str) -> float:
    number = finite(table.get(key))
    if number is None or number < 0:
        raise _wrong(source, key, tr("Give a number that is not negative."))
    return number


def _numbers(table: Mapping[str, Any], key: str, source: str) -> tuple[float, ...]:
    found = table.get(key)
    numbers = [finite(n) for n in found] if isinstance(found, list) else []
    good = tuple(n for n in numbers if n is not None and n > 0)
    if not good or len(good) != len(numbers):
        raise _wrong(f"{source}, degree", key, tr("Give a list of numbers above zero."))
    return good


def _pairs(table: Mapping[str, Any], key: str, source: str) -> tuple[tuple[float, float], ...]:
    found = table.get(key)
    rows = [_numbers({key: row}, key, source) for row in found] if isinstance(found, list) else []
    if not rows or any(len(row) != 2 for row in rows):
        raise _wrong(f"{source}, degree", key, tr("Give pairs of numbers above zero."))
    return tuple((row[0], row[1]) for row in rows)
