"""The VPD chart: what a thermometer and a hygrometer say, and the deficit they make."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.air import saturation_vapour_pressure_pa
from controller.charts.canvas import INK, label_line, new_chart
from controller.charts.content import AirChart, temperature_axis
from controller.charts.marks import draw_bands, draw_legend, draw_readings, draw_state

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

VPDS_PA = (200, 400, 600, 800, 1000, 1200, 1400, 1600, 2000, 2400, 3000, 4000)
_STEPS = 240


def vpd_chart(chart: AirChart) -> Figure:
    """Draw relative humidity over temperature with curves of equal VPD of the air.

    Tints run from damp to dry; every curve says its VPD in kPa.
    """
    figure, axes = new_chart()
    low_c, high_c = chart.temperatures_c()
    lowest_pct = min([20.0, *(10.0 * (rh_pct // 10.0) for _, rh_pct in chart.points())])
    axes.set_xlim(*temperature_axis([low_c, high_c], chart.units))
    axes.set_ylim(lowest_pct, 100.0)
    _curves(axes, chart, low_c, high_c, lowest_pct)
    draw_bands(axes, chart, lambda _, rh_pct: rh_pct)
    draw_readings(axes, chart, lambda _, rh_pct: rh_pct)
    draw_state(axes, chart, lambda _, rh_pct: rh_pct)
    _frame(axes, chart)
    draw_legend(axes, "lower left")
    return figure


def _curves(axes: Axes, chart: AirChart, low_c: float, high_c: float, lowest_pct: float) -> None:
    t_c = [low_c + (high_c - low_c) * step / _STEPS for step in range(_STEPS + 1)]
    saturated_pa = [saturation_vapour_pressure_pa(t) for t in t_c]
    x = temperature_axis(t_c, chart.units)
    above = [100.0] * len(x)
    for order, vpd_pa in enumerate(VPDS_PA):
        rh_pct = [100.0 * (1.0 - vpd_pa / es) for es in saturated_pa]
        # One hue that only gets paper-white: readable in grey and with any colour vision.
        axes.fill_between(
            x,
            rh_pct,
            above,
            facecolor="#3B7FA6",
            alpha=0.34 * (1.0 - order / len(VPDS_PA)),
            edgecolor="none",
            zorder=0.5,
        )
        above = rh_pct
        shown = [i for i, value in enumerate(rh_pct) if value >= lowest_pct]
        if len(shown) < 10:
            continue
        axes.plot(x, rh_pct, color="#4A6572", linewidth=0.9, zorder=2)
        at = shown[0] + int(0.9 * len(shown))
        label_line(axes, x, rh_pct, at, f"{vpd_pa / 1000:.1f} kPa", INK, 8.0)


def _frame(axes: Axes, chart: AirChart) -> None:
    axes.set_title(chart.title, fontsize=13, color=INK, loc="left", pad=12)
    unit = "°F" if chart.units == "us" else "°C"
    axes.set_xlabel(f"Air temperature [{unit}]", fontsize=11)
    axes.set_ylabel("Relative humidity [%]", fontsize=11)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(visible=True, color="#FFFFFF", linewidth=0.6, zorder=1)
    axes.set_axisbelow(True)
