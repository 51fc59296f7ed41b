"""How every plot looks and is written: PNG, SVG or a figure of matplotlib, in the board drawing's colours."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from snapcheck.board import LOOKS, Theme
from snapcheck.errors import MissingLibraryError
from snapcheck.words import numeral, tr

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

#: size of one plot in inches and its dots an inch (PNG: 1280 pixels wide)
_WIDTH, _DPI = 8.0, 160
_STYLE: dict[Any, Any] = {
    "svg.fonttype": "path",
    "svg.hashsalt": "snapcheck",
    "font.family": "DejaVu Sans",
}


class Plot:
    """One picture, not yet drawn.

    Attributes:
        name: short name for a file, such as ``response``.
        title: the sentence above it, also its alternative text.
    """

    def __init__(self, name: str, title: str, height: float, draw: Callable[[Canvas, Pen], None]) -> None:
        self.name = name
        self.title = title
        self._height = height
        self._draw = draw

    def render(self, form: str, theme: Theme = "light", *, headed: bool = True) -> bytes:
        """The picture as ``png`` or ``svg``; not `headed`: without its title.

        Raises:
            MissingLibraryError: matplotlib is not installed.
        """
        canvas = self.figure(theme, headed=headed)
        import matplotlib

        with matplotlib.rc_context(_STYLE):
            stream = io.BytesIO()
            metadata = {"Date": None} if form == "svg" else {"Software": None}
            canvas.savefig(stream, format=form, facecolor=canvas.get_facecolor(), metadata=metadata)
        return stream.getvalue()

    def figure(self, theme: Theme = "light", *, headed: bool = True) -> Canvas:
        """The picture as a figure of matplotlib, for a program to show, change or save.

        Raises:
            MissingLibraryError: matplotlib is not installed.
        """
        try:
            import matplotlib
            from matplotlib.figure import Figure as Canvas
            from matplotlib.layout_engine import ConstrainedLayoutEngine
        except ImportError:
            raise MissingLibraryError(
                tr("matplotlib is not installed, so nothing can be plotted."),
                way_out=tr("Install it with: pip install 'snapcheck[simulate]'"),
            ) from None
        pen = Pen(theme)
        with matplotlib.rc_context(_STYLE):
            canvas = Canvas(
                figsize=(_WIDTH, self._height),
                dpi=_DPI,
                facecolor=pen.page,
                layout=ConstrainedLayoutEngine(w_pad=0.12, h_pad=0.1),
            )
            canvas.suptitle(
                self.title if headed else "",
                x=0.02, ha="left", fontsize=13, fontweight="bold", color=pen.ink, wrap=True,
            )  # fmt: skip
            self._draw(canvas, pen)
            _speak(canvas)
        return canvas


def _speak(canvas: Canvas) -> None:
    """Numbers at the axes with the decimal sign of the reader's language."""
    from matplotlib.ticker import ScalarFormatter

    class Spoken(ScalarFormatter):
        def __call__(self, x: float, pos: int | None = None) -> str:
            return numeral(super().__call__(x, pos))

    if numeral("0.5") == "0.5":
        return
    for axes in canvas.axes:
        for axis in (axes.xaxis, axes.yaxis):
            if type(axis.get_major_formatter()) is ScalarFormatter:
                axis.set_major_formatter(Spoken())


class Pen:
    """Colours of one theme, and how axes look."""

    def __init__(self, theme: Theme) -> None:
        look = LOOKS[theme]
        self.page, self.ink, self.quiet, self.grid = look.page, look.ink, look.quiet, look.grid
        self.output, self.warm, self.ok, self.input = (
            look.leads[0],
            look.leads[1],
            look.leads[2],
            look.leads[3],
        )
        self.alert = look.alert

    def axes(self, axes: Axes, x: str, y: str) -> None:
        """Quiet frame, light grid, labels in words with units."""
        axes.set_facecolor(self.page)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        for side in ("left", "bottom"):
            axes.spines[side].set_color(self.quiet)
        axes.tick_params(colors=self.quiet, labelcolor=self.ink, labelsize=9, which="both", length=3)
        axes.grid(True, color=self.grid, linewidth=0.5, alpha=0.45)
        axes.set_axisbelow(True)
        axes.set_xlabel(x, color=self.ink, fontsize=10)
        axes.set_ylabel(y, color=self.ink, fontsize=10)

    def note(
        self, axes: Axes, text: str, xy: tuple[float, float], offset: tuple[float, float], **more: Any
    ) -> None:
        """A short text beside a point."""
        more.setdefault("color", self.ink)
        axes.annotate(text, xy, xytext=offset, textcoords="offset points", fontsize=9, **more)


def log_axis(axes: Axes, words: Callable[[float], str]) -> None:
    """An x axis on which each step is ten times the one before, its numbers as `words` says them."""
    from matplotlib.ticker import FuncFormatter, NullFormatter

    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: words(value)))
    axes.xaxis.set_minor_formatter(NullFormatter())


def seconds_axis(span_s: float) -> tuple[float, str]:
    """Factor and unit in which a time axis is labelled."""
    for factor, unit in ((1.0, "s"), (1e3, "ms"), (1e6, "µs")):
        if span_s * factor >= 2:
            return factor, unit
    return 1e9, "ns"
