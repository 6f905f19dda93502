"""Which assumption a range hangs on most: each is taken as known in turn, and the range anew."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from controller.airflow.span import Assumption, Span
from controller.sizing.assess import Sizing
from controller.sizing.plan import Plan

WIDE = 2.0
"""A range whose high end is more than so many times its low end is said to be wide."""

_MOST_NAMED = 2
# An assumption is named when knowing it takes at least this share off what the range spans.
_NOTABLE = 0.2
# Stands for "no flow does it" where ranges are set against each other.
_NO_FLOW = 1e6

Fix = Callable[[Plan], dict[str, Any]]

# The plan's fields that hold what is assumed, by the assumption's name, with their best estimates.
_OF_THE_NEED: dict[str, Fix] = {
    "intake temperature": lambda plan: {"intake_c": plan.intake_temperature_c.best},
    "intake humidity": lambda plan: {"intake_humidity_pct": plan.intake_rh_pct.best},
    "intake CO2": lambda plan: {"intake_co2_ppm": plan.intake_ppm.best},
    "leaf area": lambda plan: {"leaf_area_m2": plan.leaves_m2.best},
    "light over the canopy": lambda plan: {"light_ppfd": plan.ppfd.best},
}
_OF_THE_FLOW: dict[str, Fix] = {
    "fan's top pressure": lambda plan: _rig(plan, max_pressure_pa=plan.rig.curve().max_pressure_pa),
    "fan curve's exponent": lambda plan: _rig(plan, fan_points=_points_of_the_curve(plan)),
    "length of the duct": lambda plan: _rig(plan, duct_length_m=plan.rig.duct_length()),
    "number of 90° bends": lambda plan: _rig(plan, bends=round(plan.rig.bend_count())),
}


def needed_flow_hangs_on(sizing: Sizing) -> tuple[Assumption, ...]:
    """What widens the range of the required flow most, at most two; empty where nobody can tell."""
    return _hangs_on(
        sizing.plan, _OF_THE_NEED, _spread_of_needs, lambda plan: Sizing(plan).required_m3_s
    )


def delivered_flow_hangs_on(sizing: Sizing) -> tuple[Assumption, ...]:
    """The same of the delivered flow; empty without a fan."""
    if not sizing.plan.rig.has_fan:
        return ()

    def flow(plan: Plan) -> Span:
        return Sizing(plan).flow_span(1.0)

    return _hangs_on(sizing.plan, _OF_THE_FLOW, lambda plan: _spread(flow(plan)), flow)


def is_wide(span: Span) -> bool:
    """Whether a range is so wide that it has to be explained."""
    return span.high > WIDE * span.low and span.high > span.low


def _hangs_on(
    plan: Plan,
    fixes: dict[str, Fix],
    spread: Callable[[Plan], float],
    span: Callable[[Plan], Span],
) -> tuple[Assumption, ...]:
    """The assumptions that narrow the spread most when known, until the span is no longer wide."""
    named: list[Assumption] = []
    for _ in range(_MOST_NAMED):
        now = spread(plan)
        candidates = [
            (spread(fixed), assumed, fixed)
            for assumed in plan.assumptions()
            if assumed.what in fixes
            for fixed in (replace(plan, **fixes[assumed.what](plan)),)
        ]
        if not candidates or now <= 0.0:
            break
        left, assumed, fixed = min(candidates, key=lambda candidate: candidate[0])
        if left > (1.0 - _NOTABLE) * now:
            break
        named.append(assumed)
        plan = fixed
        if not is_wide(span(plan)):
            break
    return tuple(named)


def _spread_of_needs(plan: Plan) -> float:
    """How far the required flow reaches; each need that no flow may meet counts by itself."""
    sizing = Sizing(plan)
    endless = sum(math.isinf(need) for need in sizing.needs("high").by_name().values())
    return endless * _NO_FLOW + _spread(sizing.required_m3_s)


def _spread(span: Span) -> float:
    return min(span.high, _NO_FLOW) - min(span.low, _NO_FLOW)


def _rig(plan: Plan, **changes: Any) -> dict[str, Any]:
    return {"rig": replace(plan.rig, **changes)}


def _points_of_the_curve(plan: Plan) -> tuple[tuple[float, float], ...]:
    """The curve taken for the best estimate, as if read off a data sheet."""
    curve, steps = plan.rig.curve(), 12
    flows = [curve.free_flow_m3_s * step / steps for step in range(steps + 1)]
    return tuple((flow, curve.pressure_pa(flow)) for flow in flows)
