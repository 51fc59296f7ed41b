"""What a build that differs does differently, in sentences with numbers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from snapcheck.board import Design, Expectation
from snapcheck.circuit import Circuit, Part
from snapcheck.devices import Store
from snapcheck.errors import SimulationError
from snapcheck.simulate import _response
from snapcheck.simulate._figures import Measurer
from snapcheck.simulate._judged import Figure, name_of
from snapcheck.simulate._operating import OperatingPoint
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._worker import Worker
from snapcheck.words import tr

#: changes smaller than this are not told: dB for gain, share for everything else
_LEAST_dB = 1.0
_LEAST_SHARE = 0.1
#: sentences about single parts beyond this many are not told
_MOST_PARTS = 6


@dataclass(frozen=True)
class Change:
    """One figure of the design and of the build.

    Attributes:
        expectation: which figure; None for one of a part.
        designed, built: values in the figure's unit, None where there is none.
        text: one sentence.
        weight: how great the change is, 1 being a change by its own size or by 6 dB.
    """

    expectation: Expectation | None
    designed: float | None
    built: float | None
    text: str
    weight: float


@dataclass(frozen=True)
class WhatIf:
    """The design's behaviour beside the build's.

    Attributes:
        designed, built: every expected figure, measured on both.
        changes: figures that differ, greatest first.
        stresses: sentences about parts that the build strains (reversed, overheated, overloaded).
        unsolvable: why the build could not be simulated, "" where it could.
    """

    designed: tuple[Figure, ...]
    built: tuple[Figure, ...]
    changes: tuple[Change, ...]
    stresses: tuple[str, ...]
    unsolvable: str = ""

    @property
    def sentences(self) -> tuple[str, ...]:
        """All that there is to say, most important first."""
        if self.unsolvable:
            return (self.unsolvable,)
        return (*self.stresses, *(change.text for change in self.changes))


def measure_plan(ours: Measurer, design: Design, designed: Circuit) -> None:
    """Measure what `what_if` needs of the design itself."""
    ours.point(design.conditions)
    for expectation in _with_gain(design, designed):
        ours.figure(expectation)


def what_if(
    worker: Worker,
    design: Design,
    designed: Circuit,
    built: Circuit,
    ours: Measurer | None = None,
    point: OperatingPoint | None = None,
) -> WhatIf:
    """Measure a design and a build under the same conditions.

    Args:
        design: gives conditions, input, output and expected figures.
        designed: its circuit.
        built: the circuit of the build, with the same cells (a shift or turn of the whole undone).
        ours: measures the design, where it has done so already.
        point: the build's operating point under the design's conditions, where it is known.

    Raises:
        SimulationError: the design itself cannot be simulated.
    """
    ours = ours or Measurer(worker, designed, design)
    theirs = Measurer(worker, built, design, near=ours, point=point)
    expectations = _with_gain(design, designed)
    first = ours.point(design.conditions)
    try:
        second = theirs.point(design.conditions)
    except SimulationError as error:
        figures = tuple(ours.figure(e) for e in design.expectations)
        return WhatIf(figures, (), (), (), str(error))
    before = [ours.figure(e) for e in expectations]
    after = [theirs.figure(e) for e in expectations]
    changes = [
        c for a, b in zip(before, after, strict=True) if (c := _figure_change(a, b, design)) is not None
    ]
    changes += _region_changes(first, second)
    changes += _part_changes(first, second)
    changes.sort(key=lambda change: -change.weight)
    count = len(design.expectations)
    return WhatIf(
        tuple(before[:count]), tuple(after[:count]), tuple(changes), tuple(_stresses(first, second))
    )


def _with_gain(design: Design, circuit: Circuit) -> list[Expectation]:
    """The design's expectations, and its gain at 1 kHz where it has a signal path but promises none."""
    expectations = list(design.expectations)
    has_path = design.output is not None and _response.resolve_input(circuit, design.input) is not None
    if has_path and not any(e.quantity == "gain" for e in expectations):
        expectations.append(Expectation("gain", None, 1000.0, -math.inf, math.inf))
    return expectations


def figure_changes(design: Design, ours: Sequence[Figure], theirs: Sequence[Figure]) -> tuple[Change, ...]:
    """Figures that differ between a design and a build, greatest first; none that the build lacks."""
    found = [
        _figure_change(a, b, design)
        for a, b in zip(ours, theirs, strict=True)
        if b.value is not None or not b.met
    ]
    return tuple(sorted((c for c in found if c is not None), key=lambda change: -change.weight))


def _figure_change(ours: Figure, theirs: Figure, design: Design) -> Change | None:
    expectation = ours.expectation
    name, unit = name_of(expectation, design), expectation.unit
    before, after = ours.value, theirs.value
    if before is None and after is None:
        return None
    if before is None or after is None:
        if before is None:
            return None
        text = tr(
            "{name}: {before} by design; as built it cannot be measured ({reason}).",
            name=name, before=figure_text(before, unit), reason=theirs.reason.rstrip("."),
        )  # fmt: skip
        return Change(expectation, before, after, text, 2.0)
    if unit == "dB":
        if abs(before - after) < _LEAST_dB:
            return None
        weight = abs(before - after) / 6
    else:
        size = max(abs(before), abs(after))
        least = {"V": 0.05, "A": 1e-6, "W": 1e-6, "": 0.005}.get(unit, 0.0)
        if abs(before - after) < max(_LEAST_SHARE * size, least):
            return None
        weight = abs(before - after) / max(abs(before), 1e-12)
    if not theirs.met and ours.met:
        weight += 1
    return Change(expectation, before, after, _moves(name, before, after, unit), min(weight, 10.0))


def _moves(name: str, before: float, after: float, unit: str) -> str:
    values = {"name": name, "before": figure_text(before, unit), "after": figure_text(after, unit)}
    if before * after < 0 and unit != "dB":
        return tr("{name} turns from {before} to {after}.", **values)
    if after < before:
        return tr("{name} falls from {before} to {after}.", **values)
    return tr("{name} rises from {before} to {after}.", **values)


def _pairs(first: OperatingPoint, second: OperatingPoint) -> list[tuple[Part, Part]]:
    """Parts of one kind in one cell of both circuits."""
    return [
        (part, other)
        for part in first.circuit.parts
        if (other := second.circuit.part_at.get(part.at)) is not None and other.kind.name == part.kind.name
    ]


def _region_changes(first: OperatingPoint, second: OperatingPoint) -> list[Change]:
    changes = []
    for part, other in _pairs(first, second):
        before, after = first.region(part), second.region(other)
        if before is None or before == after:
            continue
        now = tr("unpowered") if after is None else after.word
        text = tr(
            "{part} is {after} instead of {before}.",
            part=part.label, before=before.word, after=now,
        )  # fmt: skip
        changes.append(Change(None, None, None, text, 1.5))
    return changes


def _part_changes(first: OperatingPoint, second: OperatingPoint) -> list[Change]:
    """Currents of supplies and of what one sees or hears: light-emitting diodes, lamps, buzzers."""
    changes = []
    for part, other in _pairs(first, second):
        if not (part.device.supplies or part.device.shows):
            continue
        lead = part.pair[0]
        before, after = first.current(part, lead) or 0.0, second.current(other, lead) or 0.0
        if part.device.supplies:
            before, after = -before, -after
            name = tr("current from {part}", part=part.label)
        else:
            name = tr("current through {part}", part=part.label)
        size = max(abs(before), abs(after))
        if size < 1e-4 or abs(before - after) < 0.2 * size:
            continue
        weight = min(abs(before - after) / size, 1.0)
        changes.append(Change(None, before, after, _moves(name, before, after, "A"), weight))
    return changes[:_MOST_PARTS]


def _stresses(first: OperatingPoint, second: OperatingPoint) -> list[str]:
    """What the build does to parts that the design does not."""
    told = {remark.text for remark in first.remarks}
    sentences = [
        remark.text for remark in second.remarks if remark.kind == "overload" and remark.text not in told
    ]
    for part in second.circuit.parts:
        same = first.circuit.part_at.get(part.at)
        twin = same if same is not None and same.kind.name == part.kind.name else None
        sentences += _reversed(first, second, part, twin)
        limit = part.ratings.get("max_power_W")
        watts = second.power(part) or 0.0
        if limit and watts > limit and (twin is None or (first.power(twin) or 0.0) <= limit):
            sentences.append(
                tr(
                    "{part} turns {watts} into heat, rated {limit}.",
                    part=part.label,
                    watts=figure_text(watts, "W"),
                    limit=figure_text(limit, "W"),
                )
            )
    return sentences


def _reversed(first: OperatingPoint, second: OperatingPoint, part: Part, twin: Part | None) -> Sequence[str]:
    if part.device.store is not Store.CHARGE or "plus" not in part.nets:
        return ()
    volts = second.across(part, "plus", "minus")
    before = None if twin is None else first.across(twin, "plus", "minus")
    if volts is None or volts > -0.3 or (before is not None and before < -0.3):
        return ()
    return (
        tr("{part} sees {volts}: its plus is the negative side.",
           part=part.label, volts=figure_text(volts, "V")),
    )  # fmt: skip
