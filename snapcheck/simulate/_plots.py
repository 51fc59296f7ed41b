"""Plots of what a circuit does."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from snapcheck.circuit import probe_words
from snapcheck.plots import Pen, Plot, log_axis, seconds_axis
from snapcheck.prefixes import scale_of
from snapcheck.simulate._judged import name_of, range_text
from snapcheck.simulate._response import FrequencyResponse, input_net, resolve_input
from snapcheck.simulate._survey import Survey
from snapcheck.simulate._sweep import Sweep
from snapcheck.simulate._text import figure_text
from snapcheck.simulate._tolerance import FigureSpread, Tolerance
from snapcheck.simulate._transient import Delay, SineResponse, Waveforms
from snapcheck.simulate._waveform import Rhythm
from snapcheck.words import numeral, tr

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

#: parts shown in the bar chart of influences
_MOST_BARS = 8


def hertz_axis(axes: Axes) -> None:
    """Frequencies on a logarithmic axis, with their prefixes."""
    log_axis(axes, lambda value: figure_text(value, "Hz").replace(".0", ""))


# ---------------------------------------------------------------- the plots


def response_plot(response: FrequencyResponse) -> Plot:
    """Gain and phase over frequency, the -3 dB band shaded."""
    low, high = response.band()
    gain = response.gain_dB(1000.0)
    band = tr(
        "{low} to {high}",
        low=tr("below 1 Hz") if low is None else figure_text(low, "Hz"),
        high=tr("above 10 MHz") if high is None else figure_text(high, "Hz"),
    )
    title = tr("Gain {gain} at 1 kHz, band {band}", gain=figure_text(gain, "dB"), band=band)

    def draw(canvas: Canvas, pen: Pen) -> None:
        upper, lower = canvas.subplots(2, 1, sharex=True, height_ratios=(3, 1.3))
        pen.axes(upper, "", tr("gain / dB"))
        pen.axes(lower, tr("frequency"), tr("phase / °"))
        curve = response.curve_dB()
        x = response.frequency_Hz
        _, top = response.peak
        upper.axvspan(low or x[0], high or x[-1], color=pen.ok, alpha=0.12, linewidth=0)
        upper.plot(x, curve, color=pen.output, linewidth=2.2)
        floor = max(float(curve.min()), top - 60)
        upper.set_ylim(floor - 3, top + 8)
        upper.axhline(top - 3.01, color=pen.ok, linewidth=1, linestyle=(0, (5, 3)))
        end, shift_dB, side = (float(x[-1]), -2.0, "right") if low is None else (float(x[0]), 4.0, "left")
        pen.note(upper, tr("−3 dB"), (end, top - 3.01), (shift_dB, 4.0), color=pen.ok, ha=side)
        for edge, shift, anchor in ((low, (8.0, -14.0), "left"), (high, (-8.0, -14.0), "right")):
            if edge is not None:
                upper.plot([edge], [top - 3.01], "o", color=pen.ok, markersize=6)
                pen.note(upper, figure_text(edge, "Hz"), (edge, top - 3.01), shift, ha=anchor)
        upper.plot([1000], [gain], "D", color=pen.warm, markersize=6)
        pen.note(upper, figure_text(gain, "dB"), (1000, gain), (0, 9), ha="center")
        lower.plot(x, response.phase_deg(), color=pen.input, linewidth=1.8)
        hertz_axis(lower)
        lower.set_xlim(x[0], x[-1])

    return Plot("response", title, 5.4, draw)


def sine_plot(name: str, sine: SineResponse, input_net: int, output_net: int) -> Plot:
    """The last periods of input and output, each on a scale of its own."""
    values = {
        "input": figure_text(2 * sine.input_V, "V"),
        "output": figure_text(sine.output_swing_V, "V"),
        "thd": figure_text(sine.distortion, ""),
    }
    if name == "clipping":
        title = tr("Just before clipping: {output} peak to peak from {input}, distortion {thd}", **values)
    else:
        title = tr("A sine at the input: {output} peak to peak from {input}, distortion {thd}", **values)

    def draw(canvas: Canvas, pen: Pen) -> None:
        upper, lower = canvas.subplots(2, 1, sharex=True, height_ratios=(1, 2))
        start = sine.waveforms.end_s - 3 / sine.frequency_Hz
        keep = sine.waveforms.time_s >= start
        factor, unit = seconds_axis(3 / sine.frequency_Hz)
        time = (sine.waveforms.time_s[keep] - start) * factor
        for axes, net, colour, label in (
            (upper, input_net, pen.input, tr("input / V")),
            (lower, output_net, pen.output, tr("output / V")),
        ):
            pen.axes(axes, "", label)
            wave = sine.waveforms.voltage(net)[keep]
            axes.plot(time, wave, color=colour, linewidth=2.2)
            middle = float(wave.max() + wave.min()) / 2
            axes.axhline(middle, color=pen.quiet, linewidth=0.8, linestyle=(0, (2, 3)))
        lower.set_xlabel(tr("time / {unit}", unit=unit), color=pen.ink, fontsize=10)
        lower.set_xlim(0, 3 / sine.frequency_Hz * factor)

    return Plot(name, title, 4.8, draw)


def oscillation_plot(rhythm: Rhythm, waves: Waveforms, net: int) -> Plot:
    """About four periods of the steady oscillation, the high part shaded."""
    title = tr(
        "It oscillates at {frequency}: {swing} peak to peak, high for {duty} of the period",
        frequency=figure_text(rhythm.frequency_Hz, "Hz"),
        swing=figure_text(rhythm.swing_V, "V"),
        duty=figure_text(rhythm.duty, ""),
    )

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        span = 4 / rhythm.frequency_Hz
        start = waves.end_s - span
        keep = waves.time_s >= start
        factor, unit = seconds_axis(span)
        time, wave = (waves.time_s[keep] - start) * factor, waves.voltage(net)[keep]
        pen.axes(axes, tr("time / {unit}", unit=unit), tr("voltage / V"))
        middle = float(wave.max() + wave.min()) / 2
        axes.fill_between(
            time, middle, wave, where=list(wave > middle), color=pen.ok, alpha=0.15, linewidth=0
        )
        axes.axhline(middle, color=pen.quiet, linewidth=0.8, linestyle=(0, (2, 3)))
        axes.plot(time, wave, color=pen.output, linewidth=2.2)
        axes.set_xlim(0, span * factor)

    return Plot("oscillation", title, 3.8, draw)


def delay_plot(name: str, delay: Delay, net: int) -> Plot:
    """The voltage before and after, with the moment it has made half its change."""
    title = tr(
        "Half way after {seconds}: from {before} to {after}",
        seconds=figure_text(delay.seconds, "s"),
        before=figure_text(delay.before_V, "V"),
        after=figure_text(delay.after_V, "V"),
    )

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        span = min(delay.waveforms.end_s, 3 * delay.seconds)
        keep = delay.waveforms.time_s <= span
        factor, unit = seconds_axis(span)
        pen.axes(axes, tr("time / {unit}", unit=unit), tr("voltage / V"))
        time = delay.waveforms.time_s[keep] * factor
        axes.plot(time, delay.waveforms.voltage(net)[keep], color=pen.output, linewidth=2.2)
        middle = (delay.before_V + delay.after_V) / 2
        axes.plot([delay.seconds * factor], [middle], "o", color=pen.warm, markersize=8)
        axes.axvline(delay.seconds * factor, color=pen.warm, linewidth=1, linestyle=(0, (5, 3)))
        pen.note(axes, figure_text(delay.seconds, "s"), (delay.seconds * factor, middle), (10, 6))
        axes.set_xlim(0, span * factor)

    return Plot(name, title, 3.8, draw)


def sweep_title(sweep: Sweep, place: str) -> str:
    """What a sweep shows: of which place, or of the supplies where `place` is empty, over which knob."""
    cell = "" if sweep.knob.cell is None else f" ({sweep.knob.cell})"
    knob = f"{_knob_words(sweep)}{cell}"
    if not place:
        return tr("Current out of the supplies over {knob}", knob=knob)
    return tr("Voltage at {place} over {knob}", place=place, knob=knob)


def _knob_words(sweep: Sweep) -> str:
    return {
        "pot": tr("wiper position"),
        "light": tr("light / lx"),
        "temperature": tr("temperature / °C"),
        "supply": tr("supply / V"),
    }[sweep.knob.what]


def sweep_plot(sweep: Sweep, net: int, place: str) -> Plot:
    """The voltage of a net along a knob."""
    title = sweep_title(sweep, place)

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        pen.axes(axes, _knob_words(sweep), tr("voltage / V"))
        volts = sweep.voltage(net)
        axes.plot(sweep.values, volts, color=pen.output, linewidth=2.2)
        if len(volts) <= 60:
            axes.plot(sweep.values, volts, "o", color=pen.output, markersize=3.5)
        if sweep.back:
            back = sweep.voltage(net, back=True)
            axes.plot(sweep.values, back, color=pen.input, linewidth=2.2, linestyle=(0, (5, 3)))
            pen.note(axes, tr("back"), (float(sweep.values[0]), float(back[0])), (6, 6), color=pen.input)
        if sweep.knob.what == "light":
            log_axis(axes, lambda value: numeral(f"{value:g}"))
        axes.set_xlim(float(sweep.values.min()), float(sweep.values.max()))

    return Plot("sweep", title, 3.8, draw)


def tolerance_plot(survey: Survey, tolerance: Tolerance) -> Plot:
    """A histogram of each figure with its accepted range, and the parts that matter most."""
    figures = [figure for figure in tolerance.figures if figure.percentile(50) is not None]
    rows = (len(figures) + 2) // 2  # the bar chart takes one field
    low, high = (figure_text(share, "") for share in tolerance.interval)
    title = tr(
        "Of {samples} boards with parts within tolerance, {passed} meet the figures ({low} to {high} of all)",
        passed=figure_text(tolerance.passed, ""), samples=tolerance.judged, low=low, high=high,
    )  # fmt: skip

    def draw(canvas: Canvas, pen: Pen) -> None:
        fields = list(canvas.subplots(rows, 2, squeeze=False).flat)
        for axes, figure in zip(fields, figures, strict=False):
            _histogram(axes, pen, survey, figure)
        _bars(fields[len(figures)], pen, tolerance)
        for axes in fields[len(figures) + 1 :]:
            axes.set_visible(False)

    return Plot("tolerance", title, 1.0 + 2.3 * rows, draw)


def _histogram(axes: Axes, pen: Pen, survey: Survey, figure: FigureSpread) -> None:
    expectation = figure.expectation
    values = figure.values[np.isfinite(figure.values)]
    scale, unit = _scaled(float(np.abs(values).max()), expectation.unit)
    values = values * scale
    pen.axes(axes, "", "")
    least, most = float(values.min()), float(values.max())
    pad = 0.12 * (most - least) or abs(most) * 0.05 or 1.0
    axes.set_xlim(least - pad, most + pad)
    low, high = max(expectation.low * scale, least - pad), min(expectation.high * scale, most + pad)
    if low < high:
        axes.axvspan(low, high, color=pen.ok, alpha=0.15, linewidth=0)
    inside = (values >= expectation.low * scale) & (values <= expectation.high * scale)
    # bars begin at a limit of the accepted range, so that none is half inside
    width = max(most - least, 1e-3 * pad) / min(24, max(6, round(len(values) ** 0.5)))
    limits = (expectation.high * scale, expectation.low * scale)
    anchor = next((limit for limit in limits if least < limit < most), least)
    before, after = math.ceil((anchor - least) / width), math.ceil((most - anchor) / width)
    edges = anchor + width * np.arange(-before, after + 2)
    axes.hist(
        [values[inside], values[~inside]], bins=list(edges), stacked=True, color=[pen.output, pen.alert]
    )
    if figure.nominal is not None:
        axes.axvline(figure.nominal * scale, color=pen.warm, linewidth=1.8)
    axes.set_yticks([])
    axes.set_title(
        f"{name_of(expectation, survey.design)} / {unit}", fontsize=9.5, color=pen.ink, loc="left", pad=4
    )
    axes.set_xlabel(
        tr("{passed} meet: {range}", passed=figure_text(figure.passed, ""), range=range_text(expectation)),
        fontsize=8.5,
        color=pen.quiet,
    )


def _scaled(size: float, unit: str) -> tuple[float, str]:
    """Factor and unit that bring numbers of a size between 1 and 1000."""
    if unit in ("", "dB"):
        return (100.0, "%") if unit == "" else (1.0, unit)
    sign = {"ohm": "Ω"}.get(unit, unit)
    if size < 1e-9:
        return 1.0, sign
    factor, prefix = scale_of(size, ("n", "µ", "m", "", "k", "M"), nearly=1.0)
    return 1 / factor, prefix + sign


def _bars(axes: Axes, pen: Pen, tolerance: Tolerance) -> None:
    shown = tolerance.influence[:_MOST_BARS][::-1]
    pen.axes(axes, "", "")
    names = [part.label for part, _ in shown]
    shares = [share * 100 for _, share in shown]
    axes.barh(names, shares, color=pen.warm, height=0.65)
    for i, share in enumerate(shares):
        pen.note(axes, f"{share:.0f} %", (share, i), (4, -3.5))
    axes.set_xlim(0, max([*shares, 1.0]) * 1.18)
    axes.set_xticks([])
    axes.grid(False)
    axes.set_title(tr("share of all spread, by part"), fontsize=9.5, color=pen.ink, loc="left", pad=4)


def plots_of(
    survey: Survey, tolerance: Tolerance | None = None, sweep: Sweep | None = None
) -> Iterator[Plot]:
    """Every plot there is to draw of a circuit."""
    if survey.response is not None:
        yield response_plot(survey.response)
    source = None
    if survey.sine is not None:
        source = resolve_input(survey.circuit, survey.design.input)
    if source is not None and survey.output is not None:
        for name, sine in (("sine", survey.sine), ("clipping", survey.clipping)):
            if sine is not None and (name == "sine" or sine.clips):
                yield sine_plot(name, sine, input_net(source), survey.output)
    if survey.rhythm is not None and survey.rhythm_waves is not None and survey.rhythm_net is not None:
        yield oscillation_plot(survey.rhythm, survey.rhythm_waves, survey.rhythm_net)
    for number, (expectation, delay) in enumerate(survey.delays, start=1):
        place = expectation.place or survey.design.output
        net = None if place is None else survey.circuit.net_of(place.at, place.terminal)
        if net is not None:
            yield delay_plot("delay" if len(survey.delays) == 1 else f"delay-{number}", delay, net)
    if sweep is not None and survey.output is not None:
        yield sweep_plot(
            sweep, survey.output, "" if survey.design.output is None else probe_words(survey.design.output)
        )
    if tolerance is not None and any(figure.percentile(50) is not None for figure in tolerance.figures):
        yield tolerance_plot(survey, tolerance)
