"""The psychrometric chart: humidity ratio over temperature, at the tent's elevation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from controller.air import (
    dew_point_of_vapour_pressure_c,
    humidity_ratio_of_vapour_pressure,
    humidity_ratio_of_wet_bulb,
    saturation_vapour_pressure_pa,
    vapour_pressure_pa,
)
from controller.charts.canvas import INK, QUIET, VAPOUR, label_line, new_chart
from controller.charts.content import AirChart, temperature_axis, temperature_where_saturated
from controller.charts.marks import draw_bands, draw_legend, draw_readings, draw_state

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HUMIDITIES_PCT = (10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
VPDS_PA = (400, 800, 1200, 1600, 2400)
GRAINS_PER_LB = 7000.0
_STEPS = 240


def psychrometric_chart(chart: AirChart) -> Figure:
    """Draw the chart.

    Humidity ratio in g/kg over dry-bulb temperature in °C, or gr/lb over °F, with curves of
    relative humidity (grey), wet bulb (dashed) and VPD (green, dotted).
    """
    figure, axes = new_chart()
    low_c, high_c = chart.temperatures_c()
    top = chart.highest_ratio()
    scale = GRAINS_PER_LB if chart.units == "us" else 1000.0

    def height(t_c: float, rh_pct: float) -> float:
        e_pa = vapour_pressure_pa(t_c, rh_pct)
        return scale * humidity_ratio_of_vapour_pressure(e_pa, chart.pressure_pa)

    axes.set_xlim(*temperature_axis([low_c, high_c], chart.units))
    axes.set_ylim(0.0, scale * top)
    _humidity_curves(axes, chart, low_c, high_c, top, scale)
    _wet_bulb_lines(axes, chart, low_c, high_c, top, scale)
    _vpd_curves(axes, chart, low_c, high_c, top, scale)
    draw_bands(axes, chart, height)
    draw_readings(axes, chart, height)
    draw_state(axes, chart, height)
    _frame(axes, chart)
    draw_legend(axes, "upper left")
    return figure


def _ratio(e_pa: float, pressure_pa: float) -> float:
    """Humidity ratio [kg/kg]; NaN, which leaves a gap, where the air would boil."""
    if e_pa > 0.9 * pressure_pa:
        return math.nan
    return humidity_ratio_of_vapour_pressure(e_pa, pressure_pa)


def _grid(low_c: float, high_c: float) -> list[float]:
    return [low_c + (high_c - low_c) * step / _STEPS for step in range(_STEPS + 1)]


def _humidity_curves(
    axes: Axes, chart: AirChart, low_c: float, high_c: float, top: float, scale: float
) -> None:
    for rh_pct in HUMIDITIES_PCT:
        # Where the curve leaves the chart: at the top or at the right.
        out_c = temperature_where_saturated(top, chart.pressure_pa)
        e_top_pa = saturation_vapour_pressure_pa(out_c) * 100.0 / rh_pct
        end_c = high_c
        if e_top_pa < saturation_vapour_pressure_pa(high_c):
            end_c = dew_point_of_vapour_pressure_c(e_top_pa)
        t_c = _grid(low_c, end_c)
        y = [scale * _ratio(vapour_pressure_pa(t, rh_pct), chart.pressure_pa) for t in t_c]
        x = temperature_axis(t_c, chart.units)
        full = rh_pct == 100
        axes.plot(x, y, color=INK if full else QUIET, linewidth=1.8 if full else 0.8, zorder=2)
        label_line(axes, x, y, int(0.955 * _STEPS), f"{rh_pct} %", INK)


def _wet_bulb_lines(
    axes: Axes, chart: AirChart, low_c: float, high_c: float, top: float, scale: float
) -> None:
    us = chart.units == "us"
    low, high = temperature_axis([low_c, high_c], chart.units)
    step = 10 if us else 5
    for bulb in range(step * -int(-low // step), int(high) + 1, step):
        bulb_c = (bulb - 32.0) / 1.8 if us else float(bulb)
        w_full = _ratio(saturation_vapour_pressure_pa(bulb_c), chart.pressure_pa)
        if not w_full <= top:
            break
        points = [
            (t, humidity_ratio_of_wet_bulb(t, bulb_c, chart.pressure_pa))
            for t in _grid(bulb_c, min(high_c, bulb_c + 60.0))
        ]
        points = [(t, w) for t, w in points if w >= 0.0]
        if len(points) < 2:
            continue
        axes.plot(
            temperature_axis([t for t, _ in points], chart.units),
            [scale * w for _, w in points],
            color=QUIET,
            linewidth=0.6,
            linestyle=(0, (6, 4)),
            zorder=1.8,
        )
        if w_full < 0.88 * top:
            axes.annotate(
                f"{bulb} {'°F' if us else '°C'}".replace("-", "−"),
                (float(bulb), scale * w_full),
                xytext=(-3, 3),
                textcoords="offset points",
                ha="right",
                va="bottom",
                fontsize=8.0,
                color=INK,
                clip_on=True,
            )


def _vpd_curves(
    axes: Axes, chart: AirChart, low_c: float, high_c: float, top: float, scale: float
) -> None:
    for vpd_pa in VPDS_PA:
        curve = [
            (t, _ratio(e_pa, chart.pressure_pa))
            for t in _grid(low_c, high_c)
            if (e_pa := saturation_vapour_pressure_pa(t) - vpd_pa) >= 0.0
        ]
        shown = sum(w <= top for _, w in curve)
        if shown < 10:
            continue
        x = temperature_axis([t for t, _ in curve], chart.units)
        y = [scale * w for _, w in curve]
        axes.plot(x, y, color=VAPOUR, linewidth=1.0, linestyle=":", zorder=2.2)
        label_line(axes, x, y, int(0.80 * shown), f"VPD {vpd_pa / 1000:.1f} kPa", VAPOUR, 7.5)


def _frame(axes: Axes, chart: AirChart) -> None:
    us = chart.units == "us"
    axes.set_title(chart.title, fontsize=13, color=INK, loc="left", pad=12)
    axes.set_xlabel(f"Dry-bulb temperature [{'°F' if us else '°C'}]", fontsize=11)
    axes.set_ylabel(f"Humidity ratio [{'gr/lb' if us else 'g/kg'} of dry air]", fontsize=11)
    axes.yaxis.set_label_position("right")
    axes.yaxis.tick_right()
    axes.spines[["top", "left"]].set_visible(False)
    axes.grid(visible=True, color="#E6E6E6", linewidth=0.6, zorder=0)
    axes.set_axisbelow(True)
    axes.text(
        0.985,
        0.02,
        "grey: relative humidity   dashed: wet bulb   dotted: VPD of the air",
        transform=axes.transAxes,
        ha="right",
        fontsize=8.5,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85},
    )
