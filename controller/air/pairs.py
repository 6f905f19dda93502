"""Temperature and vapour pressure from each pair of quantities: ten small solvers.

The arguments of every solver are in range already; what it refuses is a pair that no air has.
"""

from __future__ import annotations

from collections.abc import Callable

from controller.air.mixture import MASS_RATIO, humidity_ratio
from controller.air.ranges import RATIO_MAX, STATE_T_MAX_C, STATE_T_MIN_C, ImpossibleAirError
from controller.air.saturation import (
    dew_point_of_vapour_pressure_c,
    saturation_vapour_pressure_pa,
)
from controller.air.wet_bulb import humidity_ratio_of_wet_bulb, wet_bulb_c

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


Solver = Callable[[float, float, float], tuple[float, float]]
SOLVERS: dict[tuple[str, str], Solver] = {
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
