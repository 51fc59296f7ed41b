"""What one hears, sees or feels of a build that fails: a start, before the first measurement."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from snapcheck.circuit import Part
from snapcheck.devices import Store
from snapcheck.diagnose._dictionary import Dictionary
from snapcheck.diagnose._faults import Fault
from snapcheck.diagnose._wiring import Metal
from snapcheck.errors import InputError
from snapcheck.words import tr

if TYPE_CHECKING:
    from numpy.typing import NDArray


class Symptom(enum.StrEnum):
    """What is complained of."""

    SILENT = "silent"
    QUIET = "too-quiet"
    DISTORTED = "distorted"
    HUMS = "hums"
    ALWAYS_ON = "always-on"
    NEVER_ON = "never-on"
    WRONG_RATE = "wrong-rate"
    HOT = "hot"

    @property
    def words(self) -> str:
        """In the reader's language."""
        return {
            Symptom.SILENT: tr("silent"),
            Symptom.QUIET: tr("too quiet"),
            Symptom.DISTORTED: tr("distorted"),
            Symptom.HUMS: tr("hums"),
            Symptom.ALWAYS_ON: tr("always on"),
            Symptom.NEVER_ON: tr("never on"),
            Symptom.WRONG_RATE: tr("wrong rate"),
            Symptom.HOT: tr("something gets hot"),
        }[self]


#: how often a symptom is told where the calculation has it, and where it has not (common practice, no source)
_TOLD, _NOT_TOLD = 0.8, 0.06
#: share of the designed signal below which a build counts as silent, and below which as too quiet
_SILENT, _QUIET = 0.05, 0.6
#: what shows: lit above this share of the designed voltage across it (an LED's hardly falls before it goes
#: out)
_LIT_LED, _LIT = 0.85, 0.4
#: a supply that is pulled below this share is overloaded, and something gets hot
_PULLED = 0.85
#: a supply's ripple is heard where less than this share of a filter capacitor is left, or an input floats
_FILTERS = ("open", "decade-down")


def parse_symptom(text: str) -> Symptom:
    """A symptom by its name. Raises InputError."""
    name = text.strip().lower().replace(" ", "-")
    try:
        return Symptom(name)
    except ValueError:
        raise InputError(
            tr("'{text}' is no symptom.", text=text),
            way_out=tr("Accepted: {names}.", names=", ".join(Symptom)),
        ) from None


def symptom_logs(d: Dictionary, symptoms: Iterable[Symptom]) -> NDArray[Any]:
    """(entries,) logarithm of how well each entry goes with what is complained of."""
    logs = np.zeros(len(d.fault_of))
    for symptom in dict.fromkeys(symptoms):
        shown = _SHOWN[symptom](d)
        logs += np.log(np.where(shown, _TOLD, _NOT_TOLD))
    return logs


def _silent(d: Dictionary) -> NDArray[Any]:
    """(entries,) nothing is heard; where there is no signal, nothing shows."""
    if d.signal is not None:
        return _truth(_share(d) < _SILENT)
    return _never_on(d)


def _quiet(d: Dictionary) -> NDArray[Any]:
    share = _share(d)
    return _truth((share >= _SILENT) & (share < _QUIET))


def _distorted(d: Dictionary) -> NDArray[Any]:
    return _truth(_shifted(d) & (_share(d) >= _SILENT))


def _always_on(d: Dictionary) -> NDArray[Any]:
    lit = _lit(d)
    return _truth(lit.all(axis=0) & (not lit[:, 0].all()))


def _never_on(d: Dictionary) -> NDArray[Any]:
    lit = _lit(d)
    return _truth(~lit.any(axis=0) & lit[:, 0].any())


def _truth(values: Any) -> NDArray[Any]:
    truth: NDArray[Any] = np.asarray(values, dtype=bool)
    return truth


def _share(d: Dictionary) -> NDArray[Any]:
    """(entries,) share of the designed signal that comes out; 1 where there is none to look at."""
    place = d.design.output
    if d.signal is None or place is None:
        return np.ones(len(d.fault_of))
    anchor = d.wiring.board.anchor_at(place.cell) or place.cell
    at = d.index.get(Metal(anchor, place.terminal))
    if at is None or d.signal[0, at] <= 0:
        return np.ones(len(d.fault_of))
    share: NDArray[Any] = d.signal[:, at] / d.signal[0, at]
    return share


def _across(d: Dictionary, cell_terminals: tuple[Metal, Metal]) -> NDArray[Any] | None:
    """(settings, entries) V between two pieces of metal."""

    def at(metal: Metal) -> NDArray[Any] | float | None:
        if metal in d.index:
            volts: NDArray[Any] = np.nan_to_num(d.mean[:, :, d.index[metal]])
            return volts
        return 0.0 if d.wiring.whole[d.wiring.metal[metal]] == 0 else None

    one, other = at(cell_terminals[0]), at(cell_terminals[1])
    if one is None or other is None:
        return None
    volts: NDArray[Any] = np.asarray(one - other)
    return volts


def _lit(d: Dictionary) -> NDArray[Any]:
    """(settings, entries) whether anything that shows is on."""
    lit = np.zeros(d.mean.shape[:2], dtype=bool)
    for part in d.wiring.circuit.parts:
        if not part.device.shows:
            continue
        one, other = list(part.nets)[:2]
        volts = _across(d, (Metal(part.cell, one), Metal(part.cell, other)))
        if volts is not None and volts.ndim == 2:
            whole = _truth(np.array([_works(fault, part) for fault in d.faults])[d.fault_of])
            share = _LIT_LED if part.device.one_way else _LIT
            least = max(share * float(np.abs(volts[:, 0]).max()), 0.1)
            lit |= (np.abs(volts) > least) & whole
    return lit


def _works(fault: Fault, part: Part) -> bool:
    """Whether a part would show at all: an open lamp has the full voltage across it and stays dark."""
    return fault.part != part.name or fault.mode.startswith("decade")


def _shifted(d: Dictionary) -> NDArray[Any]:
    """(entries,) whether what amplifies has its output near a rail, or far from where it should."""
    found = np.zeros(len(d.fault_of), dtype=bool)
    for part in d.wiring.circuit.parts:
        for high in part.device.outlets[:1] if part.device.stage else part.device.outlets:
            at = d.index.get(Metal(part.cell, high))
            if at is not None:
                volts = np.nan_to_num(d.mean[0, :, at])
                found |= np.abs(volts - volts[0]) > 0.2 * max(abs(float(volts[0])), 1.0)
    return found


def _hums(d: Dictionary) -> NDArray[Any]:
    """(entries,) a filter capacitor is gone, or the input floats (common practice, no source)."""

    def hums(fault: Fault) -> bool:
        part = d.wiring.parts.get(fault.part)
        if part is not None and part.device.store is Store.CHARGE and fault.mode in _FILTERS:
            return 0 in part.nets.values()
        cells = {p.cell for p in d.wiring.circuit.parts if p.device.signals}
        near = {
            p.cell for p in d.wiring.circuit.parts if p.device.store is Store.CHARGE and 0 in p.nets.values()
        }
        opened = fault.mode.endswith("open") or fault.mode == "tap-half"
        return opened and not (cells | near).isdisjoint(fault.cells)

    return _truth(np.array([hums(fault) for fault in d.faults])[d.fault_of])


def _timing(d: Dictionary) -> NDArray[Any]:
    """(entries,) what sets a rate has another value, or the supply has."""

    def timing(fault: Fault) -> bool:
        part = d.wiring.parts.get(fault.part)
        if part is None:
            return fault.mode == "seam-poor"
        return fault.mode in ("weak", "decade-up", "decade-down", "low-gain")

    return _truth(np.array([timing(fault) for fault in d.faults])[d.fault_of])


def _hot(d: Dictionary) -> NDArray[Any]:
    """(entries,) a supply is pulled down, or a resistor turns more into heat than it is rated for."""
    hot = np.zeros(len(d.fault_of), dtype=bool)
    for part in d.wiring.circuit.parts:
        if part.device.supplies:
            high, low = part.pair
            volts = _across(d, (Metal(part.cell, high), Metal(part.cell, low)))
            weak = np.array([f.mode in ("weak", "flat") for f in d.faults])[d.fault_of]
            if volts is not None and volts.ndim == 2:
                hot |= (np.abs(volts).min(axis=0) < _PULLED * abs(float(volts[0, 0]))) & ~weak
        elif part.device.resists and isinstance(part.cube.value, int | float):
            one, other = list(part.nets)[:2]
            volts = _across(d, (Metal(part.cell, one), Metal(part.cell, other)))
            rated = part.ratings.get("max_power_W")
            if volts is not None and volts.ndim == 2 and rated and part.cube.value > 0:
                hot |= (volts**2).max(axis=0) / float(part.cube.value) > rated
    modes = np.array([f.mode == "reversed" and _polar(d, f) for f in d.faults])[d.fault_of]
    reversed_hot: NDArray[Any] = hot | modes
    return reversed_hot


def _polar(d: Dictionary, fault: Fault) -> bool:
    """A reversed electrolytic gets hot by itself."""
    part = d.wiring.parts.get(fault.part)
    return part is not None and part.device.store is Store.CHARGE


#: symptom to the function that says which entries have it, by calculation
_SHOWN: dict[Symptom, Callable[[Dictionary], NDArray[Any]]] = {
    Symptom.SILENT: _silent,
    Symptom.QUIET: _quiet,
    Symptom.DISTORTED: _distorted,
    Symptom.HUMS: _hums,
    Symptom.ALWAYS_ON: _always_on,
    Symptom.NEVER_ON: _never_on,
    Symptom.WRONG_RATE: _timing,
    Symptom.HOT: _hot,
}
