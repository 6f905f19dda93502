"""The state of the air as one small table, in the reader's units. Pure, standard library only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller.air import AirState, leaf_vpd_pa
from controller.charts.content import CropBand
from controller.display import Units, length, temperature, temperature_difference, vpd
from controller.tables import table_lines

# NIST SP 811 (2008) appendix B.8; 7000 gr are a pound.
_KG_M3_PER_LB_FT3 = 16.01846337
_PA_PER_INHG = 3386.389
_GRAINS_PER_LB = 7000.0


@dataclass(frozen=True, slots=True)
class Leaf:
    """A leaf warmer or cooler than the air by a known offset [K]."""

    offset_k: float

    def temperature_c(self, state: AirState) -> float:
        """Leaf temperature [°C]."""
        return state.temperature_c + self.offset_k

    def vpd_pa(self, state: AirState) -> float:
        """VPD from leaf to air [Pa]; negative where water condenses on the leaf."""
        return leaf_vpd_pa(state.temperature_c, state.humidity_pct, self.temperature_c(state))


def as_json(state: AirState, elevation_m: float, leaf: Leaf | None) -> dict[str, float | None]:
    """Every quantity in SI with its unit in the key; leaf figures are None when unknown."""
    values: dict[str, float | None] = dict(state._asdict())
    values["elevation_m"] = elevation_m
    values["leaf_temperature_c"] = leaf.temperature_c(state) if leaf else None
    values["leaf_vpd_pa"] = leaf.vpd_pa(state) if leaf else None
    return values


def table(
    state: AirState,
    *,
    units: Units,
    elevation_m: float,
    leaf: Leaf | None = None,
    bands: Sequence[CropBand] = (),
    width: int = 80,
) -> str:
    """The table, a line per quantity: name, value, and where the bands put it."""
    us = units == "us"
    w = state.humidity_ratio_kg_per_kg
    rows = [
        (
            "temperature",
            temperature(state.temperature_c, units),
            _in_bands(bands, "temperature_c", state.temperature_c),
        ),
        (
            "relative humidity",
            f"{state.humidity_pct:.1f} %",
            _in_bands(bands, "humidity_pct", state.humidity_pct),
        ),
        ("VPD of the air", vpd(state.vpd_pa), _in_bands(bands, "vpd_pa", state.vpd_pa)),
    ]
    if leaf is not None:
        warmer = "warmer" if leaf.offset_k > 0 else "cooler"
        offset = temperature_difference(abs(leaf.offset_k), units)
        rows.append(("VPD of the leaf", vpd(leaf.vpd_pa(state)), f"leaf {offset} {warmer}"))
    frost = state.dew_point_c < 0.0
    rows += [
        ("frost point" if frost else "dew point", temperature(state.dew_point_c, units), ""),
        ("wet bulb", temperature(state.wet_bulb_c, units), _ice(state.wet_bulb_c)),
        (
            "humidity ratio",
            f"{w * _GRAINS_PER_LB:.1f} gr/lb" if us else f"{w * 1000.0:.2f} g/kg",
            "of dry air",
        ),
        (
            "absolute humidity",
            _absolute(state.absolute_humidity_kg_per_m3, us=us),
            "",
        ),
        ("enthalpy", _enthalpy(state, us=us), "of dry air"),
        (
            "specific volume",
            f"{state.specific_volume_m3_per_kg * _KG_M3_PER_LB_FT3:.2f} ft³/lb"
            if us
            else f"{state.specific_volume_m3_per_kg:.3f} m³/kg",
            "of dry air",
        ),
        (
            "density",
            f"{state.density_kg_per_m3 / _KG_M3_PER_LB_FT3:.4f} lb/ft³"
            if us
            else f"{state.density_kg_per_m3:.3f} kg/m³",
            "vapour included",
        ),
        (
            "pressure",
            f"{state.pressure_pa / _PA_PER_INHG:.2f} inHg"
            if us
            else f"{state.pressure_pa / 1000.0:.1f} kPa",
            f"at {length(elevation_m, units)} above sea level" if elevation_m else "at sea level",
        ),
    ]
    return "\n".join(table_lines(("", "", ""), rows, width, align="<><", keys=2))


def _in_bands(bands: Sequence[CropBand], quantity: str, value: float) -> str:
    """ "in the day band, above the night band"."""
    places = []
    for band in bands:
        low, high = getattr(band, quantity)
        place = "below" if value < low else "above" if value > high else "in"
        places.append(f"{place} the {band.name}")
    return ", ".join(places)


def _ice(bulb_c: float) -> str:
    return "iced bulb" if bulb_c < 0.0 else ""


def _absolute(kg_per_m3: float, *, us: bool) -> str:
    if us:
        return f"{kg_per_m3 / _KG_M3_PER_LB_FT3 * _GRAINS_PER_LB:.2f} gr/ft³"
    return f"{kg_per_m3 * 1000.0:.2f} g/m³"


def _enthalpy(state: AirState, *, us: bool) -> str:
    if us:
        # The trade's zero is dry air at 0 °F, with water at 32 °F: ASHRAE Fundamentals (IP) 2017
        # ch. 1 eq. 30.
        t_f = state.temperature_c * 1.8 + 32.0
        btu = 0.240 * t_f + state.humidity_ratio_kg_per_kg * (1061.0 + 0.444 * t_f)
        return f"{_signed(btu)} Btu/lb"
    return f"{_signed(state.enthalpy_j_per_kg / 1000.0)} kJ/kg"


def _signed(value: float) -> str:
    """A tenth's figure with a true minus sign, and none before nothing."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text.replace("-", "−")
