"""A survey of a circuit as a readable table and as JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any

from snapcheck.board import Probe, label_of
from snapcheck.circuit import Part, probe_words
from snapcheck.kit import Kit
from snapcheck.simulate import (
    Figure,
    OperatingPoint,
    Survey,
    Sweep,
    Tolerance,
    WhatIf,
    figure_text,
    name_of,
    range_text,
    sweep_title,
)
from snapcheck.words import numeral, shown, tr

__all__ = ["Kit", "as_json", "as_text"]


def as_text(
    file: str, survey: Survey, sweep: Sweep | None, tolerance: Tolerance | None, beside: WhatIf | None
) -> str:
    """Everything for reading at the bench."""
    blocks = [shown(survey.design.title or file)]
    blocks += [tr("note: {text}", text=remark.text) for remark in survey.point.remarks]
    if survey.rhythm is not None:
        blocks.append(tr("note: it oscillates; the nets and parts below show a balance that it never holds."))
    if beside is not None:
        if beside.sentences:
            lines = [tr("Beside the design")] + [f"  {sentence}" for sentence in beside.sentences]
            blocks.append("\n".join(lines))
        else:
            blocks.append(tr("It does what the design does."))
    blocks.append(_block(tr("Nets"), _nets(survey.point)))
    blocks.append(_block(tr("Parts"), _parts(survey.point)))
    path = list(_path(survey))
    if path:
        blocks.append(_block(tr("Signal"), path))
    if survey.figures:
        rows = [[tr("met") if f.met else tr("NOT MET"), *_figure_words(f, survey)] for f in survey.figures]
        blocks.append(_block(tr("Expected figures"), rows))
    if sweep is not None:
        blocks.append(_block(sweep_title(sweep, _swept_place(survey)), list(_sweep_rows(sweep, survey))))
    if tolerance is not None:
        blocks.append(_tolerance_text(tolerance, survey))
    return "\n\n".join(blocks)


def _block(title: str, rows: Sequence[Sequence[str]]) -> str:
    """A title and aligned columns beneath it."""
    if not rows:
        return title
    width = [max(len(row[i]) if i < len(row) else 0 for row in rows) for i in range(max(map(len, rows)))]
    lines = ["  " + "  ".join(cell.ljust(width[i]) for i, cell in enumerate(row)).rstrip() for row in rows]
    return "\n".join([title, *lines])


def _nets(point: OperatingPoint) -> list[list[str]]:
    rows = []
    for net in point.circuit.nets:
        if net.number == 0 or not net.terminals:
            continue
        volts = point.voltage(net.number)
        touching = [probe_words(Probe(t.cell, t.name)) for t in net.terminals]
        rows.append(
            [
                str(net.number),
                tr("floating") if volts is None else figure_text(volts, "V"),
                ", ".join(touching[:6]) + (" …" if len(touching) > 6 else ""),
            ]
        )
    return rows


def _parts(point: OperatingPoint) -> list[list[str]]:
    rows = []
    for part in point.circuit.parts:
        watts = point.power(part)
        rows.append(
            [
                part.name,
                str(part.cell),
                f"{tr(part.kind.title)} {label_of(part.cube, part.kind)}".strip(),
                *_electrics(point, part),
                "" if not watts else figure_text(watts, "W"),
            ]
        )
    return rows


def _electrics(point: OperatingPoint, part: Part) -> tuple[str, str]:
    """Voltage and current of a part, or what a transistor does."""
    region = point.region(part)
    if len(part.nets) < 2:
        return "", ""
    told = _pair(point.across(part, *part.pair), point.current(part, part.pair[0]))
    return ("" if region is None else region.word), told


def _pair(volts: float | None, amperes: float | None) -> str:
    if volts is None or amperes is None:
        return tr("floating")
    return f"{figure_text(volts, 'V')}, {figure_text(amperes, 'A')}"


def _path(survey: Survey) -> Iterable[list[str]]:
    response, clipping = survey.response, survey.clipping
    if response is not None:
        low, high = response.band()
        yield [tr("gain at 1 kHz"), figure_text(response.gain_dB(1000.0), "dB")]
        yield [
            tr("band (−3 dB)"),
            tr(
                "{low} to {high}",
                low=tr("below 1 Hz") if low is None else figure_text(low, "Hz"),
                high=tr("above 10 MHz") if high is None else figure_text(high, "Hz"),
            ),
        ]
        for name, value in (
            (tr("input impedance"), response.input_impedance(1000.0)),
            (tr("output impedance"), response.output_impedance(1000.0)),
        ):
            if value is not None:
                yield [name, figure_text(value, "ohm")]
    if survey.sine is not None:
        yield [
            tr("distortion"),
            tr(
                "{thd} at {swing} peak to peak out of {input} in",
                thd=figure_text(survey.sine.distortion, ""),
                swing=figure_text(survey.sine.output_swing_V, "V"),
                input=figure_text(2 * survey.sine.input_V, "V"),
            ),
        ]
    if clipping is not None and not clipping.clips:
        most = figure_text(2 * clipping.input_V, "V")
        yield [tr("does not clip"), tr("up to {input} peak to peak in", input=most)]
    elif clipping is not None:
        yield [
            tr("clips above"),
            tr(
                "{swing} peak to peak out of {input} in",
                swing=figure_text(clipping.output_swing_V, "V"),
                input=figure_text(2 * clipping.input_V, "V"),
            ),
        ]
    if survey.rhythm is not None:
        yield [
            tr("oscillates at"),
            tr(
                "{frequency}, {swing} peak to peak, high for {duty} of the period",
                frequency=figure_text(survey.rhythm.frequency_Hz, "Hz"),
                swing=figure_text(survey.rhythm.swing_V, "V"),
                duty=figure_text(survey.rhythm.duty, ""),
            ),
        ]
    for expectation, delay in survey.delays:
        yield [name_of(expectation, survey.design), figure_text(delay.seconds, "s")]


def _figure_words(figure: Figure, survey: Survey) -> list[str]:
    value = figure.reason if figure.value is None else figure_text(figure.value, figure.expectation.unit)
    return [name_of(figure.expectation, survey.design), value, range_text(figure.expectation)]


def _swept_place(survey: Survey) -> str:
    if survey.output is None:
        return ""
    return tr("the output") if survey.design.output is None else probe_words(survey.design.output)


def _sweep_rows(sweep: Sweep, survey: Survey) -> Iterable[list[str]]:
    """Every fourth point: the output, or the first supply's current where there is no output."""
    unit = sweep.knob.unit
    if sweep.back:
        yield ["", tr("there"), tr("back")]
    for i in range(0, len(sweep.values), 4):
        value = float(sweep.values[i])
        knob = figure_text(value, "") if unit == "" else numeral(f"{float(f'{value:.3g}'):g} {unit}")
        ways = [sweep.points[i], *([sweep.back[i]] if sweep.back else [])]
        yield [knob, *(_swept(point, survey.output) for point in ways)]


def _swept(point: OperatingPoint | None, output: int | None) -> str:
    if point is None:
        return tr("no answer")
    if output is None:
        return "  ".join(f"{p.name} {_pair_current(point, p)}" for p in _supplies(point))
    volts = point.voltage(output)
    return tr("floating") if volts is None else figure_text(volts, "V")


def _supplies(point: OperatingPoint) -> list[Part]:
    return [p for p in point.circuit.parts if p.device.supplies]


def _pair_current(point: OperatingPoint, part: Part) -> str:
    return figure_text(-(point.current(part, "plus") or 0.0), "A")


def _tolerance_text(tolerance: Tolerance, survey: Survey) -> str:
    rows = [[tr("met by"), "", tr("figure"), tr("5 % below"), tr("as printed"), tr("5 % above")]]
    for spread in tolerance.figures:
        unit = spread.expectation.unit
        low, high = spread.percentile(5), spread.percentile(95)
        rows.append(
            [
                figure_text(spread.passed, ""),
                _between(spread.interval),
                name_of(spread.expectation, survey.design),
                *("–" if x is None else figure_text(x, unit) for x in (low, spread.nominal, high)),
            ]
        )
    title = tr(
        "Tolerance: {passed} of {samples} boards meet the figures; of all boards {interval}, 95 times of 100",
        passed=figure_text(tolerance.passed, ""),
        samples=tolerance.judged,
        interval=_between(tolerance.interval),
    )
    if tolerance.judged < tolerance.samples:
        title += " " + tr("(figures that need no runs in time: {fast} boards)", fast=tolerance.samples)
    lines = [_block(title, rows)]
    if tolerance.influence:
        names = ", ".join(f"{part.label} {figure_text(share, '')}" for part, share in tolerance.influence[:5])
        lines.append("  " + tr("what matters most: {parts}", parts=names))
    return "\n".join(lines)


def _between(interval: tuple[float, float]) -> str:
    low, high = interval
    return tr("{low} to {high}", low=figure_text(low, ""), high=figure_text(high, ""))


# ---------------------------------------------------------------- JSON


def as_json(
    file: str,
    survey: Survey,
    sweep: Sweep | None,
    tolerance: Tolerance | None,
    beside: WhatIf | None,
    plots: Sequence[str],
) -> dict[str, Any]:
    """The same for machines; numbers in SI units, null where there is none."""
    point = survey.point
    result: dict[str, Any] = {
        "file": file,
        "design": survey.design.title,
        "remarks": [{"kind": r.kind, "text": r.text, "cells": list(r.cells)} for r in point.remarks],
        "nets": [
            {
                "number": net.number,
                "voltage_V": point.voltage(net.number),
                "terminals": [{"cell": str(t.cell), "terminal": t.name} for t in net.terminals],
            }
            for net in point.circuit.nets
        ],
        "parts": [
            {
                "name": part.name,
                "cell": str(part.cell),
                "kind": part.kind.name,
                "currents_A": {t: point.current(part, t) for t in part.nets},
                "power_W": point.power(part),
                "region": None if (region := point.region(part)) is None else region.value,
            }
            for part in point.circuit.parts
        ],
        "figures": [_figure_json(figure, survey) for figure in survey.figures],
        "signal": _signal_json(survey),
        "plots": list(plots),
    }
    if sweep is not None:
        result["sweep"] = {
            "knob": sweep.knob.what,
            "cell": None if sweep.knob.cell is None else str(sweep.knob.cell),
            "values": [float(v) for v in sweep.values],
            "voltages_V": [None if p is None else list(p.voltages) for p in sweep.points],
            "voltages_back_V": [None if p is None else list(p.voltages) for p in sweep.back],
        }
    if tolerance is not None:
        result["tolerance"] = {
            "samples": tolerance.samples,
            "slow_samples": tolerance.slow_samples,
            "judged": tolerance.judged,
            "passed": tolerance.passed,
            "passed_between": list(tolerance.interval),
            "figures": [
                {
                    "name": name_of(s.expectation, survey.design),
                    "nominal": s.nominal,
                    "passed": s.passed,
                    "passed_between": list(s.interval),
                    "percentile_5": s.percentile(5),
                    "percentile_95": s.percentile(95),
                    "shares": {part.name: share for part, share in s.shares},
                }
                for s in tolerance.figures
            ],
            "influence": {part.name: share for part, share in tolerance.influence},
        }
    if beside is not None:
        result["beside_design"] = list(beside.sentences)
    return result


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _figure_json(figure: Figure, survey: Survey) -> dict[str, Any]:
    e = figure.expectation
    return {
        "name": name_of(e, survey.design),
        "quantity": e.quantity,
        "unit": e.unit,
        "low": _finite(e.low),
        "high": _finite(e.high),
        "value": _finite(figure.value),
        "met": figure.met,
        "reason": figure.reason,
    }


def _signal_json(survey: Survey) -> dict[str, Any] | None:
    found: dict[str, Any] = {}
    if survey.response is not None:
        low, high = survey.response.band()
        found |= {
            "gain_dB": survey.response.gain_dB(1000.0),
            "band_low_Hz": low,
            "band_high_Hz": high,
            "input_impedance_ohm": _finite(survey.response.input_impedance(1000.0)),
            "output_impedance_ohm": _finite(survey.response.output_impedance(1000.0)),
        }
    if survey.sine is not None:
        found |= {"distortion": survey.sine.distortion, "swing_V": survey.sine.output_swing_V}
    if survey.clipping is not None and survey.clipping.clips:
        found |= {
            "clipping_output_V": survey.clipping.output_swing_V,
            "clipping_input_V": 2 * survey.clipping.input_V,
        }
    if survey.rhythm is not None:
        found |= {
            "frequency_Hz": survey.rhythm.frequency_Hz,
            "duty": survey.rhythm.duty,
            "oscillation_V": survey.rhythm.swing_V,
        }
    if survey.delays:
        found["delays_s"] = [delay.seconds for _, delay in survey.delays]
    return found or None
