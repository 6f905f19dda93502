"""What would make a tent's fan strong enough: each remedy is tried on the plan before it is named.

A remedy is one change of the plan, as small as does it. What does not improve the verdict when it
is tried is not named, however usual the advice: a shorter duct helps no fan whose free flow is
below the need, and no fan helps against a room warmer than the band.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from controller import display
from controller.airflow.friction import STANDARD_DENSITY_KG_PER_M3, circle_area_m2
from controller.airflow.rig import OPENINGS_OVER_DUCT, Ducting, quiet_diameter_m
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import AMPLE, RACING_M_S, Sizing, Verdict
from controller.sizing.needs import NeedName
from controller.sizing.plan import Plan
from controller.sizing.plan_changes import (
    AIR_CHANGES,
    RUN_CHANGES,
    Remedy,
    cooler_and_drier,
    diameter,
)

RANK: dict[Verdict, int] = {
    Verdict.NO_FLOW_HELPS: 0,
    Verdict.NO_FAN_NAMED: 1,
    Verdict.TOO_WEAK: 1,
    Verdict.BARELY_ENOUGH: 2,
    Verdict.STRONG_ENOUGH: 3,
}
"""Verdicts from the worst to the best."""

# No inline fan for a tent makes more pressure [Pa] (engineering judgement, no source).
_MOST_FAN_PA = 1000.0
# Any fan holds so little [Pa] (engineering judgement, no source).
_HARDLY_ANY_PA = 5.0
# With no fan to go by: as much air as a fan can sensibly move through a tent, in changes a second.
_SENSIBLE_CHANGES_PER_S = 1.0 / 30.0


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
        searches += [search(plan, units) for search in RUN_CHANGES]
    searches += [search(plan, units) for need in short for search in AIR_CHANGES[need]]
    remedies = [remedy for search in searches if (remedy := _first(search, _is_cured))]
    if sizing.verdict is Verdict.TOO_WEAK and (fan := stronger_fan(sizing, units)):
        remedies.append(fan)
    if not remedies:
        several = _several(sizing, short, units)
        remedies += [several] if several else []
    return tuple(remedies)


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
    is_choked = sizing.pressure_span_pa(rig, flow_m3_s).best > _MOST_FAN_PA
    if is_choked or flow_m3_s / circle_area_m2(rig.inside_diameter_m) > RACING_M_S:
        wider_m = quiet_diameter_m(flow_m3_s)
        if wider_m > rig.inside_diameter_m or is_choked:
            wider_m = max(wider_m, rig.inside_diameter_m)
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
    if against_pa.high < _HARDLY_ANY_PA:
        against = "hardly any pressure"
    shown = f"{show.computed_flow(flow_m3_s, units)} against {against}"
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
        if both := _first(cooler_and_drier(plan, units), _is_cured):
            return both
    most_m3_s = _sensible_flow_m3_s(plan) / AMPLE**2
    steps = _steps(plan, short, most_m3_s, units)
    if not steps or Sizing(steps[-1].plan).needs().required > most_m3_s:

        def is_met(changed: Plan) -> bool:
            return Sizing(changed).needs().required <= most_m3_s

        both = _first(cooler_and_drier(plan, units), is_met)
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
        tries = (_first(search(plan, units), is_met) for search in AIR_CHANGES[need])
        if step := next((step for step in tries if step is not None), None):
            steps.append(step)
            plan = step.plan
    return steps


def _together(steps: Sequence[Remedy]) -> Remedy:
    if len(steps) == 1:
        return steps[0]
    options = tuple(option for step in steps for option in step.options)
    return Remedy("several", ", and ".join(step.words for step in steps), options, steps[-1].plan)
