"""Tables of a report: promised figures, parts, nets, and operating points side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from snapcheck.board import label_of
from snapcheck.circuit import Circuit, Part, terminal_word
from snapcheck.findings import Severity
from snapcheck.kit import format_value
from snapcheck.pipeline import CheckResult
from snapcheck.simulate import figure_text, name_of, range_text
from snapcheck.words import tr


@dataclass(frozen=True)
class FigureRow:
    """One promised figure: name, accepted range, as designed, as built, whether the build meets it, and why
    there is no figure of the build, where there is none."""

    name: str
    range: str
    designed: str
    built: str
    met: bool
    reason: str = ""


@dataclass(frozen=True)
class NetRow:
    """One net of the build: its number and colour, what hangs on it, and its voltages where known."""

    number: int
    colour: str
    words: str
    designed: str
    built: str
    differs: bool


@dataclass(frozen=True)
class PartRow:
    """One part of the build, with voltages, current, power and state; `planned` where that differs."""

    name: str
    cell: str
    title: str
    value: str
    planned: str
    designed: str
    built: str
    differs: bool


def figure_rows(result: CheckResult) -> list[FigureRow]:
    """Promised figures, those that are not met first."""
    if not result.figures:
        return []
    rows = []
    for designed, built in result.figures:
        unit = designed.expectation.unit
        rows.append(
            FigureRow(
                name_of(designed.expectation, result.design),
                range_text(designed.expectation),
                "–" if designed.value is None else figure_text(designed.value, unit),
                "–" if built is None or built.value is None else figure_text(built.value, unit),
                built is not None and built.met,
                "" if built is None else built.reason.rstrip("."),
            )
        )
    return sorted(rows, key=lambda row: row.met)


def unsure_words(result: CheckResult) -> str:
    """What to think of calculated figures while questions are open; "" where none are."""
    if not any(f.severity is Severity.QUESTION for f in result.findings):
        return ""
    return tr("Calculated with the likeliest reading of each open place: figures as built hold only once "
              "the questions are answered.")  # fmt: skip


def net_rows(result: CheckResult, colours: Mapping[int, str]) -> list[NetRow]:
    """Nets of the build with their voltages beside the design's, where the nets correspond."""
    theirs = {built: plan for plan, built in result.comparison.nets.items()}
    rows = []
    for net in result.built_circuit.nets:
        if len(net.terminals) < 2 and net.number:
            continue
        plan = theirs.get(net.number)
        before = _volts(
            None if plan is None or result.plan_point is None else result.plan_point.voltage(plan)
        )
        after = _volts(None if result.built_point is None else result.built_point.voltage(net.number))
        rows.append(
            NetRow(
                net.number, colours.get(net.number, "#888888"), net_words(result.built_circuit, net.number),
                before, after, before != after and "–" not in (before, after) and _apart(result, plan, net.number),  # noqa: E501
            )
        )  # fmt: skip
    return rows


def net_words(circuit: Circuit, net: int) -> str:
    """``R101 · Q101 base``: parts on a net, short."""
    words = []
    for part, terminal in circuit.parts_on(net):
        words.append(part.name if terminal in ("a", "b") else f"{part.name} {terminal_word(terminal)}")
    text = " · ".join(dict.fromkeys(words))
    return f"{tr('plate')}: {text}" if net == 0 and text else text or (tr("plate") if net == 0 else "–")


def _volts(value: float | None) -> str:
    if value is None:
        return "–"
    return figure_text(0.0 if abs(value) < 5e-6 else value, "V")


def _apart(result: CheckResult, plan: int | None, built: int) -> bool:
    """True when two voltages differ by more than a meter would let pass: 5 % and 50 mV (common practice)."""
    if plan is None or result.plan_point is None or result.built_point is None:
        return False
    a, b = result.plan_point.voltage(plan), result.built_point.voltage(built)
    return a is not None and b is not None and abs(a - b) > max(0.05, 0.05 * max(abs(a), abs(b)))


def part_rows(result: CheckResult) -> list[PartRow]:
    """Parts of the build, and below them those of the plan that are missing."""
    twin = {built: plan for plan, built in result.comparison.parts.items()}
    rows = []
    for part in result.built_circuit.parts:
        plan = result.plan_circuit.part_at.get(twin.get(part.cell, part.cell))
        if plan is not None and twin.get(part.cell) is None and plan.kind.name != part.kind.name:
            plan = None
        value = label_of(part.cube, part.kind)
        planned = "" if plan is None else label_of(plan.cube, plan.kind)
        same = plan is None or plan.cube.value == part.cube.value
        before = "–" if plan is None else _state(result, plan, designed=True)
        after = _state(result, part, designed=False)
        rows.append(
            PartRow(
                part.name, str(part.cell), tr(part.kind.title), value, "" if same else planned,
                before, after, _differs(result, plan, part),
            )
        )  # fmt: skip
    return rows


def _state(result: CheckResult, part: Part, *, designed: bool) -> str:
    """``4.5 V, 2.1 mA, 9.5 mW`` across a two-terminal part; collector-emitter and the region of a transistor."""  # noqa: E501
    point = result.plan_point if designed else result.built_point
    if point is None:
        return "–"
    words = []
    pair = _pair(part)
    across = None if pair is None else point.across(part, *pair)
    if across is not None:
        words.append(_volts(abs(across) if part.kind.either_way else across))
    current = point.part_currents_A.get(part.cell)
    if current is not None:
        current = abs(current) if part.kind.either_way else current
        words.append(figure_text(0.0 if abs(current) < 1e-9 else current, "A"))
    watts = point.power(part)
    if watts is not None and abs(watts) >= 1e-4:
        words.append(figure_text(watts, "W"))
    region = point.region(part)
    if region is not None:
        words.append(region.word)
    return ", ".join(words) or "–"


def _pair(part: Part) -> tuple[str, str] | None:
    return part.pair if len(part.nets) >= 2 else None


def _differs(result: CheckResult, plan: Part | None, part: Part) -> bool:
    if plan is None or result.plan_point is None or result.built_point is None:
        return False
    if result.plan_point.region(plan) != result.built_point.region(part):
        return True
    a, b = (p.part_currents_A.get(x.cell) for p, x in ((result.plan_point, plan), (result.built_point, part)))
    if a is not None and b is not None and part.kind.either_way:
        a, b = abs(a), abs(b)
    return a is not None and b is not None and abs(a - b) > max(2e-6, 0.1 * max(abs(a), abs(b)))


def parts_list(result: CheckResult) -> list[tuple[str, str, int, int]]:
    """(title, value, count in the plan, count in the build), wires and grounds included."""
    counts: dict[tuple[str, str], list[int]] = {}
    spelled: dict[tuple[str, str], str] = {}
    for index, board in enumerate((result.design.board, result.built)):
        for cube in board.cubes.values():
            kind = result.kit[cube.kind]
            value = "" if kind.wire else label_of(cube, kind)
            # one value may be printed in two ways (5 V, 5V): the plan's spelling stands for both
            key = (
                tr(kind.title),
                value if kind.wire else format_value(cube.value, kind.value_form, unit=cube.unit),
            )
            spelled.setdefault(key, value.strip())
            counts.setdefault(key, [0, 0])[index] += 1
    rows = [(title, spelled[title, value], a, b) for (title, value), (a, b) in counts.items()]
    return sorted(rows, key=lambda row: row[:2])
