"""Plots of a report: what the build does over what the design does."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from snapcheck.errors import MissingLibraryError, SimulationError
from snapcheck.pipeline import CheckResult
from snapcheck.plots import Pen, Plot, seconds_axis
from snapcheck.simulate import figure_text, hertz_axis
from snapcheck.words import tr

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

    from snapcheck.simulate import Simulator, Survey

_PERIODS = 3
#: dB below the greatest gain that still shows
_DEPTH = 70.0


@dataclass(frozen=True)
class Behaviour:
    """What the design and the build do, as far as it could be calculated."""

    designed: Survey | None
    built: Survey | None


@dataclass(frozen=True)
class DrawnPlot:
    """A plot as SVG, and the sentence above it."""

    title: str
    svg: str


def behaviour(result: CheckResult, simulator: Simulator) -> Behaviour:
    """Responses and waveforms of the design and of the build, for plots.

    The calculation of a build may fail (that is why it is looked at); then its curve is missing.
    """
    designed = built = None
    try:
        designed = simulator.survey(result.design, result.plan_circuit)
    except (SimulationError, MissingLibraryError):
        return Behaviour(None, None)
    if result.placed is not None and result.built_point is not None:
        try:
            built = simulator.survey(result.placed, result.built_circuit)
        except (SimulationError, MissingLibraryError):
            built = None
    return Behaviour(designed, built)


def plots_svg(behaviour: Behaviour) -> list[DrawnPlot]:
    """The plots of `plots_beside`, drawn."""
    return [_drawn(plot) for plot in plots_beside(behaviour)]


def plots_beside(behaviour: Behaviour) -> list[Plot]:
    """Frequency response, and the wave at the output (of a sine, or of the oscillation itself)."""
    designed, built = behaviour.designed, behaviour.built
    if designed is None:
        return []
    drawn = []
    if designed.response is not None:
        drawn.append(_response(designed, built))
    if designed.sine is not None and designed.output is not None:
        drawn.append(_sine(designed, built))
    if designed.rhythm is not None and designed.rhythm_waves is not None:
        drawn.append(_oscillation(designed, built))
    return drawn


def _response(designed: Survey, built: Survey | None) -> Plot:
    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        pen.axes(axes, tr("frequency"), tr("gain / dB"))
        responses = [s.response for s in (designed, built) if s is not None and s.response is not None]
        top = max(float(r.curve_dB().max()) for r in responses)
        for survey, style in _styled(pen, designed, built):
            if survey.response is not None:
                curve = survey.response.curve_dB()
                silent = curve.max() < top - _DEPTH  # then the curve lies below the scale
                name = style["label"]
                label = tr("{curve}: nothing passes", curve=name) if silent else name
                axes.plot(survey.response.frequency_Hz, curve, **{**style, "label": label})
        hertz_axis(axes)
        axes.set_ylim(top - _DEPTH, top + 6)
        axes.set_xlim(responses[0].frequency_Hz[0], responses[0].frequency_Hz[-1])
        _legend(axes, pen)

    return Plot("response", tr("Frequency response, input to output"), 3.6, draw)


def _sine(designed: Survey, built: Survey | None) -> Plot:
    frequency = designed.sine.frequency_Hz if designed.sine is not None else 1000.0

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        pen.axes(axes, tr("time / ms"), tr("output / V"))
        for survey, style in _styled(pen, designed, built):
            if survey.sine is None or survey.output is None:
                continue
            waves = survey.sine.waveforms
            start = waves.end_s - _PERIODS / frequency
            keep = waves.time_s >= start
            axes.plot((waves.time_s[keep] - start) * 1e3, waves.voltage(survey.output)[keep], **style)
        axes.set_xlim(0, _PERIODS / frequency * 1e3)
        _legend(axes, pen)

    title = tr("Output for a sine of 1 kHz at the input, {input}", input=_volts(designed))
    return Plot("sine", title, 3.6, draw)


def _volts(survey: Survey) -> str:
    return "" if survey.sine is None else figure_text(2 * survey.sine.input_V, "V") + " " + tr("peak to peak")


def _oscillation(designed: Survey, built: Survey | None) -> Plot:
    rhythm = designed.rhythm
    assert rhythm is not None
    span = 4 / rhythm.frequency_Hz
    factor, unit = seconds_axis(span)

    def draw(canvas: Canvas, pen: Pen) -> None:
        axes = canvas.subplots()
        pen.axes(axes, tr("time / {unit}", unit=unit), tr("voltage / V"))
        for survey, style in _styled(pen, designed, built):
            if survey.rhythm_waves is None or survey.rhythm_net is None:
                continue
            waves = survey.rhythm_waves
            start = max(0.0, waves.end_s - span)
            keep = waves.time_s >= start
            axes.plot((waves.time_s[keep] - start) * factor, waves.voltage(survey.rhythm_net)[keep], **style)
        axes.set_xlim(0, span * factor)
        _legend(axes, pen)

    words = [tr("as designed {frequency}", frequency=figure_text(rhythm.frequency_Hz, "Hz"))]
    if built is not None:
        words.append(
            tr("as built {frequency}", frequency=figure_text(built.rhythm.frequency_Hz, "Hz"))
            if built.rhythm is not None
            else tr("as built no oscillation was seen")
        )
    return Plot("oscillation", tr("Oscillation: {words}", words=", ".join(words)), 3.6, draw)


def _styled(pen: Pen, designed: Survey, built: Survey | None) -> list[tuple[Survey, dict[str, Any]]]:
    """Both surveys with their pens: told apart by colour, width and dashes."""
    pairs: list[tuple[Survey, dict[str, Any]]] = [
        (designed, {"color": pen.output, "linewidth": 5.0, "alpha": 0.4, "label": tr("as designed"),
                    "solid_capstyle": "round"})
    ]  # fmt: skip
    if built is not None:
        pairs.append(
            (built, {"color": pen.warm, "linewidth": 2.0, "linestyle": (0, (6, 2)), "label": tr("as built")})
        )
    return pairs


def _legend(axes: Axes, pen: Pen) -> None:
    if axes.get_legend_handles_labels()[0]:
        legend = axes.legend(loc="best", fontsize=10, frameon=True, facecolor=pen.page, edgecolor=pen.grid)
        for text in legend.get_texts():
            text.set_color(pen.ink)


def _drawn(plot: Plot) -> DrawnPlot:
    svg = plot.render("svg", headed=False).decode()
    svg = svg[svg.index("<svg") :]
    # ids of several drawings in one page must not meet
    for name in ("clip", "DejaVuSans-"):
        own = f"{plot.name}-{name}"
        svg = svg.replace(f'id="{name}', f'id="{own}').replace(f"#{name}", f"#{own}")
    return DrawnPlot(plot.title, svg)
