"""What a chart of the air shows, and how far its axes must reach; plain values, no library."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from controller.air import (
    AirState,
    dew_point_of_vapour_pressure_c,
    humidity_ratio_of_vapour_pressure,
    saturation_vapour_pressure_pa,
    vapour_pressure_pa,
)
from controller.display import Units


@dataclass(frozen=True, slots=True)
class CropBand:
    """Where the crop's air should be: temperature, humidity and VPD at once.

    Attributes
    ----------
    name : str
        What to call it: "day band".
    lit : bool
        Whether it holds while the lamp is lit.
    temperature_c, humidity_pct, vpd_pa : tuple of float
        Low and high limit [°C, %, Pa].
    """

    name: str
    lit: bool
    temperature_c: tuple[float, float]
    humidity_pct: tuple[float, float]
    vpd_pa: tuple[float, float]

    def outline(self, steps: int = 40) -> list[tuple[float, float, float]]:
        """Temperatures with the lowest and highest humidity in the band there [°C, %, %].

        Temperatures at which humidity and VPD exclude each other are left out.
        """
        low_c, high_c = self.temperature_c
        edge: list[tuple[float, float, float]] = []
        for step in range(steps + 1):
            t_c = low_c + (high_c - low_c) * step / steps
            low_pct, high_pct = self.humidity_range_pct(t_c)
            if low_pct <= high_pct:
                edge.append((t_c, low_pct, high_pct))
        return edge

    def humidity_range_pct(self, t_c: float) -> tuple[float, float]:
        """Lowest and highest humidity [%] that both limits allow at a temperature [°C]."""
        saturated_pa = saturation_vapour_pressure_pa(t_c)
        driest_pct = 100.0 * (1.0 - self.vpd_pa[1] / saturated_pa)
        dampest_pct = 100.0 * (1.0 - self.vpd_pa[0] / saturated_pa)
        return max(self.humidity_pct[0], driest_pct), min(self.humidity_pct[1], dampest_pct)


@dataclass(frozen=True, slots=True)
class PlottedReading:
    """One reading of the tent.

    Attributes
    ----------
    temperature_c, humidity_pct : float
        Its air [°C], [%].
    lit : bool
        Whether the lamp was lit.
    mark : str
        What to write beside it: "12:00"; "" for nothing.
    """

    temperature_c: float
    humidity_pct: float
    lit: bool
    mark: str = ""


@dataclass(frozen=True, slots=True)
class AirChart:
    """Everything to draw.

    Attributes
    ----------
    title : str
        The line above the chart.
    pressure_pa : float
        Pressure the chart holds for [Pa].
    units : {"si", "us"}
        Units of the axes.
    state : AirState or None
        The one state asked for.
    bands : tuple of CropBand
        The crop's bands.
    readings : tuple of PlottedReading
        Readings in order of time.
    readings_name : str
        Where the readings come from, for the legend: "Thursday 18 July".
    """

    title: str
    pressure_pa: float
    units: Units = "si"
    state: AirState | None = None
    bands: tuple[CropBand, ...] = ()
    readings: tuple[PlottedReading, ...] = ()
    readings_name: str = "readings"

    def temperatures_c(self) -> tuple[float, float]:
        """Ends of the temperature axis [°C]: 10 to 40, further where something lies outside."""
        shown = [r.temperature_c for r in self.readings]
        shown += [t_c for band in self.bands for t_c in band.temperature_c]
        if self.state is not None:
            shown.append(self.state.temperature_c)
        low_c = min([10.0, *(5.0 * ((t_c - 2.0) // 5.0) for t_c in shown)])
        high_c = max([40.0, *(5.0 * -(-(t_c + 2.0) // 5.0) for t_c in shown)])
        return max(low_c, -40.0), min(high_c, 80.0)

    def points(self) -> Iterable[tuple[float, float]]:
        """Temperature and humidity of everything shown [°C, %]."""
        for reading in self.readings:
            yield reading.temperature_c, reading.humidity_pct
        for band in self.bands:
            for t_c, low_pct, high_pct in band.outline(4):
                yield t_c, low_pct
                yield t_c, high_pct
        if self.state is not None:
            yield self.state.temperature_c, self.state.humidity_pct

    def highest_ratio(self) -> float:
        """Upper end of the humidity-ratio axis [kg/kg]: 0.024 at least."""
        ratios = [
            humidity_ratio_of_vapour_pressure(vapour_pressure_pa(t_c, rh_pct), self.pressure_pa)
            for t_c, rh_pct in self.points()
        ]
        return max([0.024, *(1.12 * w for w in ratios)])


def temperature_axis(values_c: Sequence[float], units: Units) -> list[float]:
    """Temperatures [°C] as the axis counts them."""
    return [v * 1.8 + 32.0 for v in values_c] if units == "us" else list(values_c)


def temperature_where_saturated(w: float, pressure_pa: float) -> float:
    """Temperature [°C] at which a humidity ratio above 0 [kg/kg] saturates the air."""
    return dew_point_of_vapour_pressure_c(pressure_pa * w / (0.621945 + w))
