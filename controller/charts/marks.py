"""What both charts carry: the crop's bands, the readings and the state asked for."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

from controller.charts.canvas import DARK, DARK_TINT, INK, LIT, LIT_TINT, PAPER, QUIET, STATE
from controller.charts.content import AirChart, temperature_axis
from controller.display import temperature

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# Height on the axis of air at a temperature [°C] and a relative humidity [%].
Height = Callable[[float, float], float]


def draw_bands(axes: Axes, chart: AirChart, height: Height) -> None:
    """Shade each band and write its name into it and into the legend."""
    from matplotlib.patheffects import withStroke

    for order, band in enumerate(sorted(chart.bands, key=lambda band: band.lit)):
        edge = band.outline()
        if len(edge) < 2:
            continue
        x = temperature_axis([t_c for t_c, _, _ in edge], chart.units)
        low = [height(t_c, low_pct) for t_c, low_pct, _ in edge]
        high = [height(t_c, high_pct) for t_c, _, high_pct in edge]
        colour = LIT if band.lit else DARK
        axes.fill_between(
            x,
            low,
            high,
            facecolor=LIT_TINT if band.lit else DARK_TINT,
            alpha=0.72,
            edgecolor="none",
            zorder=1.5 + 0.1 * order,
        )
        axes.fill(
            [*x, *reversed(x)],
            [*low, *reversed(high)],
            facecolor="none",
            edgecolor=colour,
            linewidth=1.8,
            linestyle="-" if band.lit else (0, (5, 2)),
            label=band.name,
            zorder=4,
        )
        axes.annotate(
            band.name,
            (x[0], high[0]),
            xytext=(5, -5),
            textcoords="offset points",
            ha="left",
            va="top",
            fontsize=9.5,
            color=colour,
            weight="bold",
            path_effects=[withStroke(linewidth=2.5, foreground=PAPER)],
            zorder=4.2,
            clip_on=True,
        )


def draw_readings(axes: Axes, chart: AirChart, height: Height) -> None:
    """Join the readings in order of time, and mark lit and dark ones apart."""
    if not chart.readings:
        return
    from matplotlib.patheffects import withStroke

    x = temperature_axis([r.temperature_c for r in chart.readings], chart.units)
    y = [height(r.temperature_c, r.humidity_pct) for r in chart.readings]
    axes.plot(x, y, color=QUIET, linewidth=0.7, zorder=4.5)
    for lit, colour, marker, name in ((True, LIT, "o", "lit"), (False, DARK, "^", "dark")):
        chosen = [i for i, reading in enumerate(chart.readings) if reading.lit is lit]
        if chosen:
            axes.plot(
                [x[i] for i in chosen],
                [y[i] for i in chosen],
                linestyle="none",
                marker=marker,
                markersize=4.5 if len(chart.readings) > 50 else 7.0,
                markerfacecolor=colour,
                markeredgecolor=PAPER,
                markeredgewidth=0.25,
                label=f"{chart.readings_name}, {name}",
                zorder=5,
            )
    for i, reading in enumerate(chart.readings):
        if reading.mark:
            axes.annotate(
                reading.mark,
                (x[i], y[i]),
                xytext=(7, 0),
                textcoords="offset points",
                va="center",
                fontsize=8.5,
                color=INK,
                path_effects=[withStroke(linewidth=2.5, foreground=PAPER)],
                zorder=6,
                clip_on=True,
            )


def draw_state(axes: Axes, chart: AirChart, height: Height) -> None:
    """Mark the state asked for and write its two figures beside it."""
    state = chart.state
    if state is None:
        return
    x = temperature_axis([state.temperature_c], chart.units)[0]
    y = height(state.temperature_c, state.humidity_pct)
    name = f"{temperature(state.temperature_c, chart.units)}, {state.humidity_pct:.0f} %"
    axes.plot(
        [x],
        [y],
        linestyle="none",
        marker="D",
        markersize=9,
        markerfacecolor=STATE,
        markeredgecolor=PAPER,
        markeredgewidth=1.5,
        label=f"air at {name}",
        zorder=7,
    )


def draw_legend(axes: Axes, place: Literal["upper left", "lower left"]) -> None:
    """A legend where anything has a name."""
    handles, _ = axes.get_legend_handles_labels()
    if handles:
        axes.legend(loc=place, fontsize=9.5, framealpha=0.95, edgecolor="#CCCCCC")
