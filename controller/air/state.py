"""The whole state of the air from any two of its quantities."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from controller.air.mixture import (
    MASS_RATIO,
    R_VAPOUR,
    density_kg_per_m3,
    enthalpy_j_per_kg,
    humidity_ratio,
    humidity_ratio_of_vapour_pressure,
    specific_volume_m3_per_kg,
)
from controller.air.ranges import RATIO_MAX, T_MIN_C, check_pressure, outside
from controller.air.saturation import (
    dew_point_of_vapour_pressure_c,
    saturation_vapour_pressure_pa,
)
from controller.air.wet_bulb import humidity_ratio_of_wet_bulb, wet_bulb_c

# The air a grower may meet, with room to spare; below boiling anywhere people live.
STATE_T_MIN_C = -60.0
STATE_T_MAX_C = 80.0


class ImpossibleAirError(ValueError):
    """No air has both of the given quantities, or it is out of range.

    The message says temperatures in °C; `tell` says it in other units.

    Parameters
    ----------
    template : str
        The message, with a named place for each temperature.
    temperatures_c : float
        The temperatures for those places [°C].
    """

    def __init__(self, template: str, **temperatures_c: float) -> None:
        self.template = template
        self.temperatures_c = temperatures_c
        super().__init__(self.tell(lambda t_c: f"{t_c:.4g} °C"))

    def tell(self, say_temperature: Callable[[float], str]) -> str:
        """Word the message, with `say_temperature` writing each temperature [°C]."""
        return self.template.format(
            **{name: say_temperature(t_c) for name, t_c in self.temperatures_c.items()}
        )


@dataclass(frozen=True, slots=True)
class AirState:
    """Everything about the air at one point, at one pressure.

    Attributes
    ----------
    temperature_c : float
        Dry-bulb temperature [°C].
    humidity_pct : float
        Relative humidity [%], 0–100; over ice below 0.01 °C.
    pressure_pa : float
        Total pressure [Pa].
    vapour_pressure_pa : float
        Partial pressure of the vapour [Pa].
    dew_point_c : float
        Dew point, below 0.01 °C the frost point [°C].
    wet_bulb_c : float
        Thermodynamic wet bulb [°C].
    humidity_ratio_kg_per_kg : float
        Vapour per dry air [kg/kg].
    absolute_humidity_kg_per_m3 : float
        Vapour per volume [kg/m³].
    enthalpy_j_per_kg : float
        Enthalpy per dry air, zero at 0 °C [J/kg].
    specific_volume_m3_per_kg : float
        Volume per dry air [m³/kg].
    density_kg_per_m3 : float
        Density, vapour included [kg/m³].
    vpd_pa : float
        Vapour pressure deficit of the air [Pa].
    """

    temperature_c: float
    humidity_pct: float
    pressure_pa: float
    vapour_pressure_pa: float
    dew_point_c: float
    wet_bulb_c: float
    humidity_ratio_kg_per_kg: float
    absolute_humidity_kg_per_m3: float
    enthalpy_j_per_kg: float
    specific_volume_m3_per_kg: float
    density_kg_per_m3: float
    vpd_pa: float


def state_from(
    pressure_pa: float,
    *,
    temperature_c: float | None = None,
    humidity_pct: float | None = None,
    dew_point_c: float | None = None,
    vpd_pa: float | None = None,
    wet_bulb_c: float | None = None,
) -> AirState:
    """Solve the state of the air from exactly two quantities.

    Parameters
    ----------
    pressure_pa : float
        Total pressure [Pa], 20 000 to 120 000.
    temperature_c : float, optional
        Dry-bulb temperature [°C]; whether given or found, −60 to 80.
    humidity_pct : float, optional
        Relative humidity [%], 0 to 100.
    dew_point_c : float, optional
        Dew point or frost point [°C], −100 to 80, at most the temperature.
    vpd_pa : float, optional
        Vapour pressure deficit of the air [Pa], 0 or more, below saturation.
    wet_bulb_c : float, optional
        Thermodynamic wet bulb [°C], from dew point to temperature.

    Returns
    -------
    AirState
        The state; the two given quantities are in it unchanged.

    Raises
    ------
    ImpossibleAirError
        If no air can have both, or it is out of range; a ValueError that says which and why.
    ValueError
        If not exactly two are given, or one is out of range by itself, or NaN.
    """
    given = {
        name: value
        for name, value in (
            ("temperature_c", temperature_c),
            ("humidity_pct", humidity_pct),
            ("dew_point_c", dew_point_c),
            ("vpd_pa", vpd_pa),
            ("wet_bulb_c", wet_bulb_c),
        )
        if value is not None
    }
    if len(given) != 2:
        raise ValueError(
            "two quantities determine the air: give exactly two of temperature, relative "
            f"humidity, dew point, VPD and wet bulb, got {len(given)}"
        )
    check_pressure(pressure_pa)
    _check_given(given)
    first, second = given  # in the order above
    t_c, e_pa = _SOLVERS[first, second](given[first], given[second], pressure_pa)
    if not STATE_T_MIN_C <= t_c <= STATE_T_MAX_C:
        raise ImpossibleAirError(
            "that air would be at {t}; the range is {low} to {high}",
            t=t_c,
            low=STATE_T_MIN_C,
            high=STATE_T_MAX_C,
        )
    return replace(_build(t_c, e_pa, pressure_pa), **given)


def _check_given(given: dict[str, float]) -> None:
    ranges = {
        "temperature_c": ("temperature", STATE_T_MIN_C, STATE_T_MAX_C, "°C"),
        "humidity_pct": ("relative humidity", 0.0, 100.0, "%"),
        "dew_point_c": ("dew point", T_MIN_C, STATE_T_MAX_C, "°C"),
        "vpd_pa": ("VPD", 0.0, saturation_vapour_pressure_pa(STATE_T_MAX_C), "Pa"),
        "wet_bulb_c": ("wet bulb", STATE_T_MIN_C, STATE_T_MAX_C, "°C"),
    }
    for name, value in given.items():
        what, low, high, unit = ranges[name]
        if not low <= value <= high:
            if unit == "°C":
                raise ImpossibleAirError(
                    what + " must be from {low} to {high}, got {got}", low=low, high=high, got=value
                )
            raise outside(what, value, low, high, unit)


def _build(t_c: float, e_pa: float, pressure_pa: float) -> AirState:
    saturated_pa = saturation_vapour_pressure_pa(t_c)
    # Rounding in the solvers may leave a hair more than saturation.
    e_pa = min(e_pa, saturated_pa)
    humidity_pct = 100.0 * e_pa / saturated_pa
    w = humidity_ratio_of_vapour_pressure(e_pa, pressure_pa)
    try:
        dew_c = min(dew_point_of_vapour_pressure_c(e_pa), t_c)
    except ValueError:
        raise ImpossibleAirError(
            f"air this dry ({humidity_pct:.3g} %" + " at {t}) has no dew point above {least}",
            t=t_c,
            least=T_MIN_C,
        ) from None
    return AirState(
        temperature_c=t_c,
        humidity_pct=humidity_pct,
        pressure_pa=pressure_pa,
        vapour_pressure_pa=e_pa,
        dew_point_c=dew_c,
        wet_bulb_c=wet_bulb_c(t_c, min(humidity_pct, 100.0), pressure_pa),
        humidity_ratio_kg_per_kg=w,
        absolute_humidity_kg_per_m3=e_pa / (R_VAPOUR * (t_c + 273.15)),
        enthalpy_j_per_kg=enthalpy_j_per_kg(t_c, w),
        specific_volume_m3_per_kg=specific_volume_m3_per_kg(t_c, w, pressure_pa),
        density_kg_per_m3=density_kg_per_m3(t_c, w, pressure_pa),
        vpd_pa=saturated_pa - e_pa,
    )


# Each solver finds temperature [°C] and vapour pressure [Pa] from its pair.


def _temperature_humidity(t_c: float, rh_pct: float, _: float) -> tuple[float, float]:
    return t_c, rh_pct * 0.01 * saturation_vapour_pressure_pa(t_c)


def _temperature_dew_point(t_c: float, dew_c: float, _: float) -> tuple[float, float]:
    if dew_c > t_c:
        raise ImpossibleAirError(
            "the dew point ({dew}) is above the temperature ({t}): "
            "air at its dew point is already full",
            dew=dew_c,
            t=t_c,
        )
    return t_c, saturation_vapour_pressure_pa(dew_c)


def _temperature_vpd(t_c: float, deficit_pa: float, _: float) -> tuple[float, float]:
    saturated_pa = saturation_vapour_pressure_pa(t_c)
    if deficit_pa >= saturated_pa:
        raise ImpossibleAirError(
            f"a VPD of {deficit_pa / 1000.0:.3g} kPa" + " needs air warmer than {t}: even "
            f"without any vapour its VPD is {saturated_pa / 1000.0:.3g} kPa",
            t=t_c,
        )
    return t_c, saturated_pa - deficit_pa


def _temperature_wet_bulb(t_c: float, bulb_c: float, pressure_pa: float) -> tuple[float, float]:
    if bulb_c > t_c:
        raise ImpossibleAirError(
            "the wet bulb ({bulb}) is above the temperature ({t}): evaporation can only cool",
            bulb=bulb_c,
            t=t_c,
        )
    w = humidity_ratio_of_wet_bulb(t_c, bulb_c, pressure_pa)
    if w < 0.0:
        raise ImpossibleAirError(
            "a wet bulb of {bulb} is too cold for air at {t}: even without any vapour "
            "it would be {dry}",
            bulb=bulb_c,
            t=t_c,
            dry=wet_bulb_c(t_c, 0.0, pressure_pa),
        )
    return t_c, _vapour_pressure(w, pressure_pa)


def _humidity_dew_point(rh_pct: float, dew_c: float, _: float) -> tuple[float, float]:
    e_pa = saturation_vapour_pressure_pa(dew_c)
    return _temperature_of_saturation(e_pa, rh_pct), e_pa


def _humidity_vpd(rh_pct: float, deficit_pa: float, _: float) -> tuple[float, float]:
    if (rh_pct == 100.0) != (deficit_pa == 0.0):
        raise ImpossibleAirError(
            f"a relative humidity of {rh_pct:g} % and a VPD of {deficit_pa / 1000.0:g} kPa "
            "contradict each other: the VPD is 0 at 100 % and only there"
        )
    if rh_pct == 100.0:
        raise ImpossibleAirError(
            "100 % relative humidity and a VPD of 0 say the same: give the temperature as well"
        )
    saturated_pa = deficit_pa / (1.0 - rh_pct * 0.01)
    return _temperature_of_saturation(saturated_pa, 100.0), saturated_pa - deficit_pa


def _dew_point_vpd(dew_c: float, deficit_pa: float, _: float) -> tuple[float, float]:
    e_pa = saturation_vapour_pressure_pa(dew_c)
    return _temperature_of_saturation(e_pa + deficit_pa, 100.0), e_pa


def _dew_point_wet_bulb(dew_c: float, bulb_c: float, pressure_pa: float) -> tuple[float, float]:
    if dew_c > bulb_c:
        raise ImpossibleAirError(
            "the dew point ({dew}) is above the wet bulb ({bulb}): "
            "the wet bulb lies between dew point and temperature",
            dew=dew_c,
            bulb=bulb_c,
        )
    w = humidity_ratio(dew_c, 100.0, pressure_pa)
    saturated = humidity_ratio(bulb_c, 100.0, pressure_pa)
    # Eq. 33 and 35 of the handbook's chapter 1, which are linear in the dry bulb.
    if bulb_c >= 0.0:
        latent, liquid = 2501.0 - 2.326 * bulb_c, 2501.0 - 4.186 * bulb_c
    else:
        latent, liquid = 2830.0 - 0.24 * bulb_c, 2830.0 - 2.1 * bulb_c
    t_c = (latent * saturated + 1.006 * bulb_c - w * liquid) / (1.86 * w + 1.006)
    return max(t_c, bulb_c), saturation_vapour_pressure_pa(dew_c)


def _humidity_wet_bulb(rh_pct: float, bulb_c: float, pressure_pa: float) -> tuple[float, float]:
    t_c = _warmest_with_wet_bulb(
        bulb_c, pressure_pa, lambda t: rh_pct * 0.01 * saturation_vapour_pressure_pa(t)
    )
    return t_c, rh_pct * 0.01 * saturation_vapour_pressure_pa(t_c)


def _vpd_wet_bulb(deficit_pa: float, bulb_c: float, pressure_pa: float) -> tuple[float, float]:
    t_c = _warmest_with_wet_bulb(
        bulb_c, pressure_pa, lambda t: saturation_vapour_pressure_pa(t) - deficit_pa
    )
    return t_c, max(0.0, saturation_vapour_pressure_pa(t_c) - deficit_pa)


_Solver = Callable[[float, float, float], tuple[float, float]]
_SOLVERS: dict[tuple[str, str], _Solver] = {
    ("temperature_c", "humidity_pct"): _temperature_humidity,
    ("temperature_c", "dew_point_c"): _temperature_dew_point,
    ("temperature_c", "vpd_pa"): _temperature_vpd,
    ("temperature_c", "wet_bulb_c"): _temperature_wet_bulb,
    ("humidity_pct", "dew_point_c"): _humidity_dew_point,
    ("humidity_pct", "vpd_pa"): _humidity_vpd,
    ("humidity_pct", "wet_bulb_c"): _humidity_wet_bulb,
    ("dew_point_c", "vpd_pa"): _dew_point_vpd,
    ("dew_point_c", "wet_bulb_c"): _dew_point_wet_bulb,
    ("vpd_pa", "wet_bulb_c"): _vpd_wet_bulb,
}


def _vapour_pressure(w: float, pressure_pa: float) -> float:
    w = min(max(w, 0.0), RATIO_MAX)
    return pressure_pa * w / (MASS_RATIO + w)


def _too_hot() -> ImpossibleAirError:
    return ImpossibleAirError(
        "only air hotter than {high} has both of these; the range is {low} to {high}",
        low=STATE_T_MIN_C,
        high=STATE_T_MAX_C,
    )


def _temperature_of_saturation(e_pa: float, rh_pct: float) -> float:
    """Temperature [°C] at which `e_pa` is `rh_pct` of saturation, refusing what is too hot."""
    hottest_pa = saturation_vapour_pressure_pa(STATE_T_MAX_C)
    if e_pa > hottest_pa * rh_pct * 0.01:
        raise _too_hot()
    return dew_point_of_vapour_pressure_c(100.0 * e_pa / rh_pct)


def _warmest_with_wet_bulb(
    bulb_c: float, pressure_pa: float, held_pa: Callable[[float], float]
) -> float:
    """Dry bulb [°C] whose vapour pressure by wet bulb equals `held_pa`, which rises with it.

    The pressure by wet bulb falls as the dry bulb rises: bisection cannot miss, and 60 halvings
    reach the last bit.
    """

    def surplus_pa(t_c: float) -> float:
        w = humidity_ratio_of_wet_bulb(t_c, bulb_c, pressure_pa)
        # Below zero the dry bulb is already too warm for this wet bulb.
        return _vapour_pressure(w, pressure_pa) - held_pa(t_c) if w >= 0.0 else -1.0

    low_c, high_c = bulb_c, STATE_T_MAX_C
    if surplus_pa(high_c) > 0.0:
        raise _too_hot()
    for _ in range(60):
        middle_c = 0.5 * (low_c + high_c)
        if surplus_pa(middle_c) > 0.0:
            low_c = middle_c
        else:
            high_c = middle_c
    if held_pa(low_c) < -1e-6:
        raise ImpossibleAirError(
            "no air with a wet bulb of {bulb} is that dry: it would hold less than no vapour",
            bulb=bulb_c,
        )
    return low_c
