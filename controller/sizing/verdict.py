"""The engineer's short note on a sized fan: the verdict, what it hangs on, and what would help."""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller import display
from controller.airflow.span import Assumption, Span
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.assess import Sizing, Verdict
from controller.sizing.doubt import delivered_flow_hangs_on, is_wide, needed_flow_hangs_on
from controller.sizing.needs import NeedName
from controller.sizing.plan_changes import Remedy
from controller.sizing.remedies import remedies, stronger_fan

NEED_WORDS: dict[NeedName, str] = {
    "air_change": "the rule of thumb",
    "heat": "heat",
    "moisture": "moisture",
    "co2": "CO2",
}

_SHORTEST_RUN_MIN = 2  # a motor that starts more often than it must wears
_FEW = 3
_NEVER_LIT = (
    "The lamp is never lit by this config; what is said of the day is for days on which it is."
)


def verdict(sizing: Sizing, units: Units, most_remedies: int | None = _FEW) -> str:
    """What to know if nothing else is read.

    Parameters
    ----------
    sizing : Sizing
        The figures.
    units : str
        "si" or "us".
    most_remedies : int or None
        How many of what would help are named; None: all.
    """
    if sizing.verdict is Verdict.NO_FLOW_HELPS:
        sentences = [_no_flow_helps(sizing, units)]
    elif sizing.delivered is None:
        sentences = [_no_fan(sizing, units)]
    elif sizing.verdict is Verdict.TOO_WEAK:
        sentences = _too_weak(sizing, units)
    else:
        sentences = [_strong_enough(sizing, units), _speeds(sizing), _limit(sizing, units)]
    if sizing.plan.lit_hours == 0.0:
        sentences.insert(0, _NEVER_LIT)
    sentences.append(_what_would_do(remedies(sizing, units), most_remedies))
    return " ".join(filter(None, sentences))


def required(sizing: Sizing, units: Units) -> str:
    """The flow needed with its range, what decides it, and what a wide range hangs on."""
    span = sizing.required_m3_s
    needed = show.with_range(span, lambda q: show.computed_flow(q, units))
    text = f"the tent needs {needed}, {_for(sizing.needs().ruled_by)}"
    if is_wide(span):
        text += f"; the range is {_how_wide(span)} {_because(sizing, units)}"
    return text


def _for(need: NeedName) -> str:
    return "by the rule of thumb" if need == "air_change" else f"for {NEED_WORDS[need]}"


def _how_wide(span: Span) -> str:
    return "open upwards because" if math.isinf(span.high) else "that wide because"


def _because(sizing: Sizing, units: Units) -> str:
    """What a wide range hangs on, and how to narrow it."""
    return _only_assumed(needed_flow_hangs_on(sizing), units) or (
        "nobody knows how much heat the fabric lets through"
        if sizing.needs("high").ruled_by == "heat"
        else "it is not known how freely air moves past the leaves"
    )


def _only_assumed(assumed: Sequence[Assumption], units: Units) -> str:
    if not assumed:
        return ""
    names = [_assumed_words(assumption, units) for assumption in assumed]
    how = " and ".join(assumption.option.partition(",")[0] for assumption in assumed)
    return f"{' and '.join(names)}: give it with {how}"


def _assumed_words(assumption: Assumption, units: Units) -> str:
    if assumption.what == "fan curve's exponent":
        return "the shape of the fan's curve is only assumed"
    within = show.span(assumption.span, show.shower(assumption.kind, units))
    return f"the {assumption.what} is only assumed ({within})"


def delivered(sizing: Sizing, units: Units) -> str:
    """What the fan delivers, with its range and what a wide one hangs on."""
    flow = sizing.delivered_m3_s
    assert flow is not None
    shown = show.with_range(flow, lambda q: show.computed_flow(q, units))
    text = f"it delivers {shown} through its duct{_and_filter(sizing)}"
    if is_wide(flow) and (why := _only_assumed(delivered_flow_hangs_on(sizing), units)):
        text += f", a range that wide because {why}"
    return text


def _strong_enough(sizing: Sizing, units: Units) -> str:
    sure = "is" if sizing.is_certain else "is probably"
    lead = f"The fan {sure} strong enough"
    if sizing.verdict is Verdict.BARELY_ENOUGH:
        spare = display.speed(sizing.margin or 0.0)
        lead = f"The fan {sure} just strong enough, with {spare} to spare"
    return f"{lead}: {delivered(sizing, units)}. {_capital(required(sizing, units))}."


def _no_fan(sizing: Sizing, units: Units) -> str:
    text = f"No fan is named. {_capital(required(sizing, units))}."
    if stronger_fan(sizing, units) is None:
        text += (
            " No fan in the tent meets that, since its own motor would warm the tent as much as "
            "its air cools it."
        )
        return text
    return text


def _too_weak(sizing: Sizing, units: Units) -> list[str]:
    needs, point = sizing.needs(), sizing.delivered
    assert point is not None
    facts = f"{delivered(sizing, units)}. {_capital(required(sizing, units))}."
    if point.flow_m3_s >= needs.physical:
        physical = show.flow(needs.physical, units)
        need = "next to none of it" if physical == "none" else f"no more than {physical}"
        return [
            f"The fan falls short of the rule of thumb but meets the physics: {facts} Heat, "
            f"moisture and CO2 need {need}; the rest would be reserve."
        ]
    sentences = [f"The fan {'is' if sizing.is_certain else 'is probably'} too weak: {facts}"]
    free = sizing.plan.rig.nominal_flow_m3_s
    if free is not None and free < sizing.required_m3_s.best:
        sentences.append(
            f"Even with nothing attached it moves {display.flow(free, units)}: no other duct helps."
        )
    if needs.ruled_by == "heat":
        sentences.append(_reached(sizing, units))
    return sentences


def _reached(sizing: Sizing, units: Units) -> str:
    settled, dry_c = sizing.settles_at, sizing.dry_temperature_c
    text = f"At full speed the tent would reach {show.settled(dry_c, units)}"
    if sizing.plan.leaves_m2.best <= 0.0:
        return f"{text}."
    return (
        f"{text} while the plants are small, and "
        f"{show.settled(settled.temperature_c, units)} with "
        f"{display.area(sizing.plan.leaves_m2.best, units)} of leaves, whose water cools."
    )


def _no_flow_helps(sizing: Sizing, units: Units) -> str:
    plan, needs = sizing.plan, sizing.needs()
    intake_c = display.temperature(plan.intake_temperature_c.best, units)
    intake_rh = display.humidity(plan.intake_rh_pct.best)
    top_c = display.temperature(plan.day_c[1], units)
    reasons, hangs_on = [], {"intake temperature"} if math.isinf(needs.heat) else set()
    if math.isinf(needs.heat):
        reasons.append(
            f"the intake air, {intake_c}, is no cooler than the top of the day band, {top_c}, and "
            "more air only brings the tent closer to the room"
        )
    if math.isinf(needs.moisture):
        hangs_on |= {"intake temperature", "intake humidity"}
        reasons.append(
            f"the intake air, {intake_c} and {intake_rh}, holds as much water as the tent may, "
            f"or more: its limit is {display.humidity(plan.day_humidity_pct[1])} at {top_c}"
        )
    if math.isinf(needs.co2):
        hangs_on.add("intake CO2")
        reasons.append(
            f"the intake air has {show.ppm(plan.intake_ppm.best)} of CO2 and no less than "
            f"{show.ppm(plan.lowest_co2_ppm)} is wished"
        )
    assumed = [assumption for assumption in plan.assumptions() if assumption.what in hangs_on]
    text = f"No fan can do this: {'; and '.join(reasons)}."
    return f"{text} {_capital(_only_assumed(assumed, units))}." if assumed else text


def _what_would_do(helpful: Sequence[Remedy], most: int | None) -> str:
    """The remedies in one sentence; all were tried on the plan."""
    if not helpful:
        return ""
    if len(helpful) == 1 and helpful[0].name == "stronger_fan":
        return f"Look for {helpful[0].words}: a quarter in reserve, and compare at the pressure."
    shown = list(helpful)
    if most is not None and len(shown) > most:
        shown = [*shown[: most - 1], shown[-1]]
    words = [
        f"look for {remedy.words}" if remedy.name == "stronger_fan" else remedy.words
        for remedy in shown
    ]
    joined = words[0] if len(words) == 1 else f"{', '.join(words[:-1])}, or {words[-1]}"
    return f"What would do: {joined}."


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def velocity(velocity_m_s: float, units: Units) -> str:
    """Air speed as "6.2 m/s" or "1220 ft/min"."""
    if units == "us":
        return f"{round(velocity_m_s / 0.3048 * 60.0, -1):.0f} ft/min"
    return f"{velocity_m_s:.1f} m/s"


def _and_filter(sizing: Sizing) -> str:
    return " and filter" if sizing.plan.rig.has_filter else ""


def _speeds(sizing: Sizing) -> str:
    """The settings that suffice."""
    plan, day, night = sizing.plan, sizing.day_speed, sizing.night_speed
    if plan.is_relay:
        return _running_times(sizing)
    needed = display.speed(day or 1.0)
    by_day = f"A speed of {needed} is enough by day"
    if day is not None and plan.day_speed < day - 1e-9:
        scheduled = display.speed(plan.day_speed)
        by_day = f"By day it takes {needed}, more than the {scheduled} it is scheduled for"
    elif day is not None and plan.day_speed < 1.0:
        by_day += f" (scheduled: {display.speed(plan.day_speed)})"
    if plan.is_never_dark:
        return f"{by_day}."
    if night is None:
        return f"{by_day}; by night no flow holds the humidity, the room is too moist."
    if night == 0.0:
        return f"{by_day}; by night it can rest, leakage is enough{_unless_moister(sizing)}."
    lowest = ", the lowest it turns at," if night <= plan.min_speed + 1e-9 else ""
    enough = f"{display.speed(night)}{lowest} is plenty{_unless_moister(sizing)}"
    return f"{by_day}; by night {enough}."


def _unless_moister(sizing: Sizing) -> str:
    """What the night hangs on where, in the worst case, no flow holds its humidity."""
    if math.isfinite(sizing.night_m3_s.high):
        return ""
    most = display.humidity(sizing.plan.night_humidity_pct[1])
    return f", unless the room is about as moist as the tent may be, {most}"


def _running_times(sizing: Sizing) -> str:
    """How long a fan that only knows on and off must run, on average."""
    day, night = minutes_an_hour(sizing.day_share), minutes_an_hour(sizing.night_share)
    by_day = (
        "By day it must run all the time"
        if day >= 60
        else f"By day {day} min in the hour, in short runs, are enough"
    )
    if sizing.plan.is_never_dark:
        return f"{by_day}."
    if sizing.night_share is None:
        return f"{by_day}; by night no flow holds the humidity, the room is too moist."
    if night == 0:
        return f"{by_day}; by night it can rest, leakage is enough{_unless_moister(sizing)}."
    by_night = "all of it" if night >= 60 else str(night)
    return f"{by_day}, by night {by_night}{_unless_moister(sizing)}."


def minutes_an_hour(share: float | None) -> int:
    """Minutes in the hour that a share of the time comes to, as many as a motor should run."""
    if not share:
        return 0
    return min(60, max(_SHORTEST_RUN_MIN, math.ceil(60.0 * share)))


def _limit(sizing: Sizing, units: Units) -> str:
    """Up to which intake air full speed holds the day band."""
    limit_c = sizing.warmest_intake_c
    if limit_c is None or sizing.plan.lamp_power_w <= 0.0:
        return ""
    top_c = display.temperature(sizing.plan.day_c[1], units)
    return (
        f"At full speed it holds {top_c}, even with seedlings that hardly evaporate, while the "
        f"intake air is below {display.temperature(limit_c, units)}."
    )
