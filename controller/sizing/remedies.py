"""What would make a tent's fan strong enough: each remedy is tried on the plan before it is named.

A remedy is one change of the plan, as small as does it. What does not improve the verdict when it
is tried is not named, however usual the advice: a shorter duct helps no fan whose free flow is
below the need, and no fan helps against a room warmer than the band.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Literal, NamedTuple

from controller import air, display
from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3, circle_area_m2
from controller.airflow.rig import (
    DUCT_SIZES_M,
    OPENINGS_OVER_DUCT,
    Ducting,
    quiet_diameter_m,
)
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import AMPLE, RACING_M_S, Sizing, Verdict
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

RANK: dict[Verdict, int] = {
    Verdict.NO_FLOW_HELPS: 0,
    Verdict.NO_FAN_NAMED: 1,
    Verdict.TOO_WEAK: 1,
    Verdict.BARELY_ENOUGH: 2,
    Verdict.STRONG_ENOUGH: 3,
}
"""Verdicts from the worst to the best."""

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
# With no fan to go by: as much air as a fan can sensibly move through a tent, in changes a second.
_SENSIBLE_CHANGES_PER_S = 1.0 / 30.0


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


def remedies(sizing: Sizing, units: Units) -> tuple[Remedy, ...]:
    """What would make the fan strong enough, the least effort first; empty where it is.

    Parameters
    ----------
    sizing : Sizing
        The tent as it is.
    units : str
        "si" or "us"; figures are round in these, and hold as they are shown.

    Returns
    -------
    tuple of Remedy
        Each improves the verdict by itself. Where no single change does, one called "several".
    """
    if sizing.verdict in (Verdict.STRONG_ENOUGH, Verdict.BARELY_ENOUGH):
        return ()
    plan, short = sizing.plan, short_needs(sizing)
    if not sizing.plan.rig.has_fan and sizing.verdict is Verdict.NO_FAN_NAMED:
        fan = stronger_fan(sizing, units)
        return () if fan is None else (fan,)
    searches: list[Iterator[Remedy]] = []
    if sizing.verdict is Verdict.TOO_WEAK:
        searches += [search(plan, units) for search in _RUN]
    searches += [search(plan, units) for need in short for search in _AIR[need]]
    found = [remedy for search in searches if (remedy := _first(search, _is_cured))]
    if sizing.verdict is Verdict.TOO_WEAK and (fan := stronger_fan(sizing, units)):
        found.append(fan)
    if not found:
        several = _several(sizing, short, units)
        found += [several] if several else []
    return tuple(found)


def short_needs(sizing: Sizing) -> list[NeedName]:
    """The needs that the fan does not meet, or that no flow does where there is no fan."""
    flow = sizing.delivered.flow_m3_s if sizing.delivered else _sensible_flow_m3_s(sizing.plan)
    return [name for name, need in sizing.needs().by_name().items() if need > flow]


def stronger_fan(sizing: Sizing, units: Units) -> Remedy | None:
    """The fan to look for, by a point of its data sheet, and the duct if this one is too thin.

    The point has a quarter in reserve. A bigger motor warms the tent more, so that in a tent with
    hardly a rise over its intake air no fan in it may do.
    """
    plan = sizing.plan
    flow_m3_s = AMPLE * sizing.required_m3_s.best
    if not math.isfinite(flow_m3_s) or flow_m3_s <= 0.0:
        return None
    for _ in range(4):
        remedy = _fan_for(sizing, flow_m3_s, units)
        if _is_cured(remedy.plan):
            return remedy
        flow_m3_s = max(AMPLE * Sizing(remedy.plan).required_m3_s.best, AMPLE * flow_m3_s)
        if flow_m3_s > AMPLE * _sensible_flow_m3_s(plan):
            break
    return None


def _fan_for(sizing: Sizing, flow_m3_s: float, units: Units) -> Remedy:
    rig, options, words = sizing.plan.rig, [], ""
    if flow_m3_s / circle_area_m2(rig.inside_diameter_m) > RACING_M_S:
        wider_m = quiet_diameter_m(flow_m3_s)
        if wider_m > rig.inside_diameter_m:
            rig, of_the_run = _wider_run(sizing, flow_m3_s, wider_m)
            options += of_the_run
            with_filter = " and filter" if rig.has_filter else ""
            words = f", with a duct{with_filter} of {diameter(wider_m, units)}"
    # A data sheet holds at standard density; where the air is thin, fan and run both fall with it.
    flow_m3_s = round(flow_m3_s * 3600.0, 2) / 3600.0  # as the options say it
    thin = STANDARD_DENSITY_KG_PER_M3 / sizing.density_kg_per_m3
    against_pa = sizing.pressure_span_pa(rig, flow_m3_s).times(thin)
    pressure_pa = round(max(1.0, against_pa.best), 2)
    points = ((0.0, 1.4 * pressure_pa), (flow_m3_s, pressure_pa), (1.4 * flow_m3_s, 0.0))
    rig = replace(
        rig, fan_points=points, free_flow_m3_s=None, max_pressure_pa=None, fan_power_w=None
    )
    for flow, pressure in points:
        options += ["--fan-point", f"{flow * 3600.0:.2f} m³/h, {pressure:.2f} Pa"]
    against = show.with_range(against_pa, lambda pa: display.pressure(pa, units))
    shown = f"{display.flow(flow_m3_s, units)} against {against}"
    return Remedy(
        "stronger_fan",
        f"a fan that moves {shown}{words}",
        tuple(options),
        replace(sizing.plan, rig=rig),
    )


def _wider_run(sizing: Sizing, flow_m3_s: float, wider_m: float) -> tuple[Ducting, list[str]]:
    """The run with a wider duct, a filter and openings to match, and the options that say so."""
    rig = sizing.wider_rig(flow_m3_s, wider_m)
    matching_m2 = OPENINGS_OVER_DUCT.best * circle_area_m2(wider_m)
    openings_cm2 = math.ceil(max(matching_m2, sizing.plan.rig.openings_m2 or 0.0) * 1e4)
    options = ["--duct-diameter", f"{wider_m * 1000.0:.0f} mm", "--intake-area"]
    options.append(f"{openings_cm2} cm²")
    if rig.has_filter and rig.filter_drop_pa is None:
        options.append("--filter")
    return replace(rig, openings_m2=openings_cm2 / 1e4), options


def diameter(inside_diameter_m: float, units: Units) -> str:
    """A duct's inside diameter as the trade says it: "125 mm", "5 in"."""
    if units == "us":
        return f"{inside_diameter_m / 0.0254:.0f} in"
    return f"{inside_diameter_m * 1000.0:.0f} mm"


def _is_cured(plan: Plan) -> bool:
    sizing = Sizing(plan)
    if not plan.rig.has_fan:
        return sizing.required_m3_s.best <= _sensible_flow_m3_s(plan)
    return sizing.verdict in (Verdict.STRONG_ENOUGH, Verdict.BARELY_ENOUGH)


def _first(search: Iterator[Remedy], helps: Callable[[Plan], bool]) -> Remedy | None:
    return next((remedy for remedy in search if helps(remedy.plan)), None)


def _sensible_flow_m3_s(plan: Plan) -> float:
    return plan.volume_m3 * _SENSIBLE_CHANGES_PER_S


def _several(sizing: Sizing, short: Sequence[NeedName], units: Units) -> Remedy | None:
    """Changes that help together: one for each need that is short, and a stronger fan if need be.

    With the fan there is if that does, else with whatever a fan can sensibly move.
    """
    plan = sizing.plan
    if sizing.delivered is not None:
        steps = _steps(plan, short, sizing.delivered.flow_m3_s, units)
        if steps and _is_cured(steps[-1].plan):
            return _together(steps)
        if both := _first(_cooler_and_drier(plan, units), _is_cured):
            return both
    most_m3_s = _sensible_flow_m3_s(plan) / AMPLE**2
    steps = _steps(plan, short, most_m3_s, units)
    if not steps or Sizing(steps[-1].plan).needs().required > most_m3_s:

        def is_met(changed: Plan) -> bool:
            return Sizing(changed).needs().required <= most_m3_s

        both = _first(_cooler_and_drier(plan, units), is_met)
        steps = [both] if both else steps
    if not steps:
        return None
    if plan.rig.has_fan and (fan := stronger_fan(Sizing(steps[-1].plan), units)):
        steps.append(fan)
    better = RANK[Sizing(steps[-1].plan).verdict] > RANK[sizing.verdict]
    return _together(steps) if better else None


def _steps(plan: Plan, short: Sequence[NeedName], flow_m3_s: float, units: Units) -> list[Remedy]:
    """A change for each need that is short, one on top of the other, so that a flow meets it."""
    steps: list[Remedy] = []
    for need in short:

        def is_met(changed: Plan, need: NeedName = need) -> bool:
            return Sizing(changed).needs().by_name()[need] <= flow_m3_s

        if is_met(plan):
            continue
        found = (_first(search(plan, units), is_met) for search in _AIR[need])
        if step := next((step for step in found if step is not None), None):
            steps.append(step)
            plan = step.plan
    return steps


def _together(steps: Sequence[Remedy]) -> Remedy:
    if len(steps) == 1:
        return steps[0]
    options = tuple(option for step in steps for option in step.options)
    return Remedy("several", ", and ".join(step.words for step in steps), options, steps[-1].plan)


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


def _cooler_and_drier(plan: Plan, units: Units) -> Iterator[Remedy]:
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


_Search = Callable[[Plan, Units], Iterator[Remedy]]
_RUN: tuple[_Search, ...] = (_tighter_duct, _shorter_duct, _more_intake, _wider_duct)
# What may help where a need is short. Cooler air is no help against moisture: cooled, the same air
# is the more humid.
_AIR: dict[NeedName, tuple[_Search, ...]] = {
    "air_change": (),
    "heat": (_cooler_intake, _smaller_lamp, _warmer_band),
    "moisture": (_drier_intake,),
    "co2": (_lower_co2,),
}
