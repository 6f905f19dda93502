"""The changes of a plan that may help, one kind at a time, the smallest of each kind first."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Literal, NamedTuple

from controller import air, display
from controller.airflow.rig import DUCT_SIZES_M
from controller.display import Units
from controller.sizing.needs import NeedName
from controller.sizing.plan import Plan

RemedyName = Literal[
    "tight_duct",
    "shorter_duct",
    "wider_duct",
    "more_intake",
    "cooler_intake",
    "cooler_and_drier",
    "drier_intake",
    "lower_co2",
    "warmer_band",
    "smaller_lamp",
    "stronger_fan",
    "several",
]

# How far a change is searched; beyond, it is no advice any more (engineering judgement).
_COLDEST_INTAKE_C = 8.0
_MOST_COOLING_K = 10.0
_MOST_WARMING_K = 5.0
_WARMEST_BAND_C = 30.0
_DRIEST_INTAKE_PCT = 20.0
_MOISTEST_INTAKE_PCT = 95.0
_MODERATE_PCT = (60.0, 50.0, 40.0)
_LOWEST_CO2_PPM = 250.0
_LEAST_OF_THE_LAMP = 0.5


class Remedy(NamedTuple):
    """One change that helps.

    Attributes
    ----------
    name : str
        Which kind of change.
    words : str
        What to do, to follow "either" or "or".
    options : tuple of str
        The options of `lungwort size` that try it.
    plan : Plan
        The plan after it.
    """

    name: RemedyName
    words: str
    options: tuple[str, ...]
    plan: Plan


def diameter(inside_diameter_m: float, units: Units) -> str:
    """A duct's inside diameter as the trade says it: "125 mm", "5 in"."""
    if units == "us":
        return f"{inside_diameter_m / 0.0254:.0f} in"
    return f"{inside_diameter_m * 1000.0:.0f} mm"


def _changed(
    name: RemedyName, words: str, options: Sequence[str], plan: Plan, **changes: Any
) -> Remedy:
    return Remedy(name, words, tuple(options), replace(plan, **changes))


def _rig_changed(
    name: RemedyName, words: str, options: Sequence[str], plan: Plan, **changes: Any
) -> Remedy:
    return Remedy(name, words, tuple(options), replace(plan, rig=replace(plan.rig, **changes)))


def _tighter_duct(plan: Plan, units: Units) -> Iterator[Remedy]:
    kinds = {
        "flexible_slack": ("flexible_stretched", "pull the flexible duct tight"),
        "flexible_stretched": ("smooth", "use smooth pipe instead of flexible duct"),
    }
    if plan.rig.duct_kind in kinds and plan.rig.duct_length() > 0.0:
        kind, words = kinds[plan.rig.duct_kind]
        yield _rig_changed("tight_duct", words, ("--duct-kind", kind), plan, duct_kind=kind)


def _shorter_duct(plan: Plan, units: Units) -> Iterator[Remedy]:
    rig = plan.rig
    lengths = (
        ((1.8288, "6 ft"), (0.9144, "3 ft")) if units == "us" else ((2.0, "2 m"), (1.0, "1 m"))
    )
    for bends in (1, 0):
        for length_m, shown in lengths:
            is_shorter = length_m < rig.duct_length() - 0.05
            if not is_shorter or bends > rig.bend_count():
                continue
            with_bends = "with one bend" if bends else "without a bend"
            yield _rig_changed(
                "shorter_duct",
                f"shorten the duct to {shown} {with_bends}",
                ("--duct-length", shown, "--bends", str(bends)),
                plan,
                duct_length_m=length_m,
                bends=bends,
            )


def _wider_duct(plan: Plan, units: Units) -> Iterator[Remedy]:
    wider = [size for size in DUCT_SIZES_M if size > plan.rig.inside_diameter_m + 1e-3]
    for size_m in wider[:2]:
        yield _rig_changed(
            "wider_duct",
            f"lay a duct of {diameter(size_m, units)}",
            ("--duct-diameter", f"{size_m * 1000.0:.0f} mm"),
            plan,
            duct_diameter_m=size_m,
        )


def _more_intake(plan: Plan, units: Units) -> Iterator[Remedy]:
    now = plan.rig.openings_m2
    if now is None:
        return
    for times in (1.5, 2.0, 4.0):
        area_cm2 = math.ceil(now * times * 1e4 / 5.0) * 5.0
        shown = display.area(area_cm2 / 1e4, "us") if units == "us" else f"{area_cm2:.0f} cm²"
        yield _rig_changed(
            "more_intake",
            f"open {shown} of intake",
            ("--intake-area", f"{area_cm2:.0f} cm²"),
            plan,
            openings_m2=area_cm2 / 1e4,
        )


def _degrees(from_c: float, to_c: float, units: Units) -> Iterator[tuple[float, str]]:
    """Temperatures that are round in the user's units, from next to the first to the last [°C]."""
    scale, offset, unit = (1.8, 32.0, "°F") if units == "us" else (1.0, 0.0, "°C")
    step = 1.0 if units == "us" else 0.5
    down = to_c < from_c
    value = from_c * scale + offset
    value = (math.ceil(value / step) - 1) * step if down else (math.floor(value / step) + 1) * step
    while (value >= to_c * scale + offset) if down else (value <= to_c * scale + offset):
        yield (value - offset) / scale, f"{value:g} {unit}"
        value += -step if down else step


def _cooler_intake(plan: Plan, units: Units) -> Iterator[Remedy]:
    """Cooler air with as much water in it, since cooling alone dries nothing."""
    now_c, now_pct = plan.intake_temperature_c.best, plan.intake_rh_pct.best
    vapour_pa = now_pct * air.saturation_vapour_pressure_pa(now_c)
    coldest_c = max(_COLDEST_INTAKE_C, min(now_c, plan.day_c[1]) - _MOST_COOLING_K)
    for cooler_c, shown in _degrees(now_c, coldest_c, units):
        pct = float(math.ceil(vapour_pa / air.saturation_vapour_pressure_pa(cooler_c) - 1e-9))
        if pct > _MOISTEST_INTAKE_PCT:
            return
        yield _changed(
            "cooler_intake",
            f"draw cooler air, {shown} or less",
            ("--intake-temperature", shown, "--intake-humidity", f"{pct:.0f} %"),
            plan,
            intake_c=cooler_c,
            intake_humidity_pct=pct,
        )


def cooler_and_drier(plan: Plan, units: Units) -> Iterator[Remedy]:
    """Both at once, for a room that is too warm and too moist: the moistest and warmest first."""
    now_c = plan.intake_temperature_c.best
    coldest_c = max(_COLDEST_INTAKE_C, min(now_c, plan.day_c[1]) - _MOST_COOLING_K)
    for cooler_c, shown in _degrees(min(now_c, plan.day_c[1]), coldest_c, units):
        for pct in _MODERATE_PCT:
            if pct < plan.intake_rh_pct.best:
                yield _changed(
                    "cooler_and_drier",
                    f"draw air of at most {shown} and {pct:.0f} %",
                    ("--intake-temperature", shown, "--intake-humidity", f"{pct:.0f} %"),
                    plan,
                    intake_c=cooler_c,
                    intake_humidity_pct=pct,
                )


def _drier_intake(plan: Plan, units: Units) -> Iterator[Remedy]:
    now_pct = plan.intake_rh_pct.best
    pct = math.ceil(now_pct / 5.0) * 5.0 - 5.0
    while pct >= _DRIEST_INTAKE_PCT:
        yield _changed(
            "drier_intake",
            f"draw drier air, {pct:.0f} % or less",
            ("--intake-humidity", f"{pct:.0f} %"),
            plan,
            intake_humidity_pct=pct,
        )
        pct -= 5.0


def _lower_co2(plan: Plan, units: Units) -> Iterator[Remedy]:
    ppm = math.ceil(min(plan.lowest_co2_ppm, plan.intake_ppm.best) / 10.0) * 10.0 - 10.0
    while ppm >= _LOWEST_CO2_PPM:
        yield _changed(
            "lower_co2",
            f"let the CO2 fall to {ppm:.0f} ppm",
            ("--lowest-co2", f"{ppm:.0f} ppm"),
            plan,
            lowest_co2_ppm=ppm,
        )
        ppm -= 10.0


def _warmer_band(plan: Plan, units: Units) -> Iterator[Remedy]:
    low_c, top_c = plan.day_c
    for warmer_c, shown in _degrees(top_c, min(_WARMEST_BAND_C, top_c + _MOST_WARMING_K), units):
        yield _changed(
            "warmer_band",
            f"accept {shown} by day",
            ("--day-high", shown),
            plan,
            day_c=(low_c, warmer_c),
        )


def _smaller_lamp(plan: Plan, units: Units) -> Iterator[Remedy]:
    now_w = plan.lamp_power_w
    step_w = 5.0 if now_w <= 300.0 else 10.0 ** math.floor(math.log10(now_w / 10.0))
    power_w = math.ceil(now_w / step_w) * step_w - step_w
    while power_w >= _LEAST_OF_THE_LAMP * now_w and power_w > 0.0:
        yield _changed(
            "smaller_lamp",
            f"dim the lamp to {display.power(power_w)}",
            ("--lamp-power", f"{power_w:g} W"),
            plan,
            lamp_power_w=power_w,
        )
        power_w -= step_w


Search = Callable[[Plan, Units], Iterator[Remedy]]
RUN_CHANGES: tuple[Search, ...] = (_tighter_duct, _shorter_duct, _more_intake, _wider_duct)
# What may help where a need is short. Cooler air is no help against moisture: cooled, the same air
# is the more humid.
AIR_CHANGES: dict[NeedName, tuple[Search, ...]] = {
    "air_change": (),
    "heat": (_cooler_intake, _smaller_lamp, _warmer_band),
    "moisture": (_drier_intake,),
    "co2": (_lower_co2,),
}
