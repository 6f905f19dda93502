"""The printed page of `lungwort size`: verdict first, then figures, 80 columns."""

from __future__ import annotations

import math
from collections.abc import Sequence

from controller import display
from controller.airflow.span import Assumption, Span
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing import verdict as words
from controller.sizing.arrangements import Placement, Priority
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.demand import leakage_m3_s
from controller.sizing.energy import energy_of_a_year, fan_hours_a_day
from controller.sizing.placing import placing
from controller.sizing.steady import SteadyAir

LEAST_SHOWN_M3_S = 0.02 / 3600.0


def page(
    name: str,
    sizing: Sizing,
    placements: Sequence[Placement],
    recommended: Placement,
    priorities: Sequence[Priority],
    assumed: Sequence[Assumption],
    units: Units,
) -> str:
    """The whole page.

    Parameters
    ----------
    name : str
        What to call the tent.
    sizing : Sizing
        The figures.
    placements : sequence of Placement
        The four ways to place fan and filter.
    recommended : Placement
        The one to choose.
    priorities : sequence of str
        What the grower said matters; empty when nothing was said.
    assumed : sequence of Assumption
        What was taken for granted.
    units : str
        "si" or "us".
    """
    blocks = [
        _title(name, sizing, units),
        show.paragraph(words.verdict(sizing, units)),
        show.paragraph(words.doubt(sizing, units)),
        _needs(sizing, units),
        "Where rule of thumb and physics part:\n"
        + "\n".join(map(show.item, words.disagreement(sizing, units))),
        _speeds(sizing, units),
        _settled(sizing, units),
        _year(sizing),
        placing(sizing, placements, recommended, priorities, units),
        _assumed(assumed, units),
        "Take care:\n" + "\n".join(map(show.item, cautions(sizing, units))),
    ]
    return "\n\n".join(block for block in blocks if block)


def _assumed(assumed: Sequence[Assumption], units: Units) -> str:
    """What was taken for granted, a line each."""
    lines = [f"{'Assumed, as not given':<23}{'best':>13}   {'within':<20} better with"]
    lines += [show.assumption(assumption, units) for assumption in assumed]
    lines.append(
        show.paragraph(
            "All of that is common practice or engineering judgement; --explain says which, and "
            "shows the sums."
        )
    )
    return "\n".join(lines)


def _title(name: str, sizing: Sizing, units: Units) -> str:
    plan = sizing.plan
    measures = (plan.width_m, plan.depth_m, plan.height_m)
    sides = " × ".join(display.length(m, units) for m in measures)
    if units == "si" and max(measures) >= 2.0:  # all in the unit of the longest
        sides = " × ".join(f"{m:.3g} m" for m in measures)
    fan = plan.rig.nominal_flow_m3_s
    parts = [
        f"{name}: {sides}, {display.volume(plan.volume_m3, units)}",
        f"lamp {display.power(plan.lamp_power_w)}",
    ]
    if fan is not None:
        parts.append(f"fan {display.flow(fan, units)} free")
    return show.paragraph(", ".join(parts))


def _needs(sizing: Sizing, units: Units) -> str:
    minutes = f"{sizing.plan.minutes_per_change:g}"
    rig = sizing.plan.rig
    allowed = ", with allowances" if rig.bends or rig.has_filter else ""
    best = sizing.needs()
    rows = [("Flow needed by day", "", "within its doubt")]
    labels = {
        "air_change": f"air change in {minutes} min{allowed}",
        "heat": "heat",
        "moisture": "moisture",
        "co2": "CO2",
    }
    for name, flow in best.by_name().items():
        doubtful = sizing.need_spans_m3_s[name]
        rows.append((f"  {labels[name]}", _flow(flow, units), _doubt(doubtful, units)))
    ruled = f"  required, ruled by {words.NEED_WORDS[best.ruled_by]}"
    rows.append((ruled, _flow(best.required, units), _doubt(sizing.required_m3_s, units)))
    night = sizing.night_m3_s
    leaks = " (it leaks as much)" if night.best <= leakage_m3_s(sizing.plan) else ""
    rows.append((f"By night, moisture{leaks}", _flow(night.best, units), _doubt(night, units)))
    return "\n".join(
        f"{label:<43}{flow:>12}   {doubtful}".rstrip() for label, flow, doubtful in rows
    )


def _flow(flow_m3_s: float, units: Units) -> str:
    if math.isinf(flow_m3_s):
        return "out of reach"
    return display.flow(flow_m3_s, units) if flow_m3_s >= LEAST_SHOWN_M3_S else "none"


def _doubt(span: Span, units: Units) -> str:
    return "" if span.is_known else show.span(span, lambda q: display.flow(q, units))


def _speeds(sizing: Sizing, units: Units) -> str:
    if not sizing.speed_rows:
        return ""
    heads = f"{'Fan':>6}{'flow':>11}{'pressure':>13}{'power':>9}   by day the tent settles at"
    lines = [heads + ("   leaves" if _is_planted(sizing) else "")]
    for row in sizing.speed_rows[::-1][::2][::-1]:  # every second, full speed among them
        point = row.point
        lines.append(
            f"{display.speed(point.speed):>6}{display.flow(point.flow_m3_s, units):>11}"
            f"{display.pressure(point.pressure_pa, units):>13}{_power(point.power_w):>9}"
            f"   {_air(row.day, units)}"
            + (f"{show.settled(row.day.leaf_c, units):>10}" if _is_planted(sizing) else "")
        )
    full = sizing.speed_rows[-1].point
    parts = sizing.plan.rig.system().parts_pa(full.flow_m3_s, sizing.density_kg_per_m3)
    names = {
        "duct": "duct and bends",
        "ends": "entry and exit loss",
        "filter": "filter",
        "openings": "intake",
    }
    shares = ", ".join(
        f"{names[part]} {display.pressure(pa, units)}" for part, pa in parts.items() if pa > 0.0
    )
    text = f"The pressure at full speed: {shares}."
    if not sizing.plan.is_relay:
        text += " Speed is taken as a share of full turns, which not every fan keeps to."
    running, share = sizing.running_by_day, sizing.day_share
    if running is not None and share is not None and share < 1.0:
        minutes = words.minutes_an_hour(share)
        text += (
            f" Running {minutes} min in the hour, by day the tent settles at about "
            f"{show.settled(running.temperature_c, units)}, "
            f"{display.humidity(running.humidity_pct)} and {show.ppm(running.co2_ppm)}."
        )
    lines.append(show.paragraph(text))
    return "\n".join(lines)


def _power(power_w: float) -> str:
    return display.power(power_w) if power_w >= 0.1 else "<0.1 W"


def _air(settled: SteadyAir, units: Units) -> str:
    return (
        f"{show.settled(settled.temperature_c, units):>8}"
        f"{display.humidity(settled.humidity_pct):>7}{show.ppm(settled.co2_ppm):>10}"
    )


def _settled(sizing: Sizing, units: Units) -> str:
    settled, within = sizing.settles_at, sizing.settles_within
    flow = "full speed"
    if sizing.delivered is None:
        flow = display.flow(sizing.settling_flow_m3_s.best, units)
    sentences = [
        f"By day at {flow} the tent settles at "
        f"{show.settled(settled.temperature_c, units)}"
        f" ({show.span(within.temperature_c, lambda c: show.settled(c, units))}), "
        f"{display.humidity(settled.humidity_pct)} "
        f"({show.span(within.humidity_pct, display.humidity)}), "
        f"{display.vpd(settled.vpd_pa)} VPD and {show.ppm(settled.co2_ppm)} of CO2 "
        f"({show.span(within.co2_ppm, show.ppm)})."
    ]
    if _is_planted(sizing):
        sentences.append(words.leaves(settled, within, units))
    if sizing.delivered is not None:
        speed = sizing.plan.night_speed
        night = sizing.settled(speed, lit=False)
        at_speed = f"at {display.speed(speed)}" if speed else "with the fan at rest"
        sentences.append(
            f"By night {at_speed}: {display.temperature(night.temperature_c, units)}, "
            f"{display.humidity(night.humidity_pct)}{_night_leaves(night, sizing, units)}."
        )
    sentences.append(words.evaporation(sizing, units))
    return show.paragraph(" ".join(filter(None, sentences)))


def _night_leaves(night: SteadyAir, sizing: Sizing, units: Units) -> str:
    if not _is_planted(sizing):
        return ""
    leaf_c, leaf_vpd = display.temperature(night.leaf_c, units), display.vpd(night.leaf_vpd_pa)
    return f", leaves at {leaf_c} with {leaf_vpd}"


def _is_planted(sizing: Sizing) -> bool:
    return sizing.plan.leaves_m2.best > 0.0


def _year(sizing: Sizing) -> str:
    plan, energy, power = sizing.plan, sizing.energy, sizing.plan.rig.power_w()
    if energy is None or power is None:
        return ""
    hours = fan_hours_a_day(plan)
    lines = [
        f"{'In a year':<43}{'energy':>12}"
        + ("" if plan.price_per_kwh is None else f"{'cost':>14}"),
        _year_row(
            f"  fan as scheduled ({hours:.3g} h a day at {display.speed(plan.day_speed)})",
            energy.fan_kwh,
            sizing,
        ),
    ]
    day, night = sizing.day_speed, sizing.night_speed
    if not plan.is_relay and day is not None and night is not None:
        enough = energy_of_a_year(plan, power, day, night)
        if enough.fan_kwh < 0.95 * energy.fan_kwh:
            text = f"  fan at {display.speed(day)} by day, {display.speed(night)} by night"
            lines.append(_year_row(text, enough.fan_kwh, sizing))
    lines.append(_year_row("  fan at full speed all day", energy.fan_all_day_kwh, sizing))
    lines.append(_year_row("  lamp", energy.lamp_kwh, sizing))
    caveat = (
        "Without overrides, and by the fan laws alone: motor and electronics take a watt or "
        "more, however slowly the fan turns, and each watt is 8.8 kWh in a year."
    )
    within = sizing.fan_kwh_within
    if within is not None and not within.is_known:
        caveat += (
            f" The fan's power is assumed: as scheduled it may be "
            f"{show.span(within, display.energy)}."
        )
    lines.append(show.paragraph(caveat))
    return "\n".join(lines)


def _year_row(text: str, kwh: float, sizing: Sizing) -> str:
    price = sizing.plan.price_per_kwh
    cost = "" if price is None else display.money(kwh * price, sizing.plan.currency)
    return f"{text:<43}{display.energy(kwh):>12}{cost:>14}".rstrip()
