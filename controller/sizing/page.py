"""The printed page of `lungwort size`: verdict first, then figures, 80 columns."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from controller import display
from controller.airflow.rig import Arrangement
from controller.airflow.span import Assumption, Span
from controller.display import Units
from controller.sizing import show, words
from controller.sizing.arrangements import Placement, Priority
from controller.sizing.assess import Sizing
from controller.sizing.demand import leakage_m3_s
from controller.sizing.energy import energy_of_a_year, window_hours
from controller.sizing.steady import SteadyAir

ARRANGEMENT_WORDS: dict[Arrangement, str] = {
    "both_inside": "both inside",
    "fan_inside_filter_outside": "fan inside, filter outside",
    "filter_inside_fan_outside": "filter inside, fan outside",
    "both_outside": "both outside",
}
_PRIORITY_WORDS: dict[Priority, str] = {
    "smell": "smell",
    "headroom": "headroom",
    "lamp_height": "lamp height",
    "floor_space": "floor space",
}


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
        What was reckoned.
    placements : sequence of Placement
        The four ways to place fan and filter.
    recommended : Placement
        The one to choose.
    priorities : sequence of str
        What the grower said matters.
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
        _placing(sizing, placements, recommended, priorities, units),
        _assumed(assumed, units),
        "Take care:\n" + "\n".join(map(show.item, words.cautions(sizing, units))),
    ]
    return "\n\n".join(block for block in blocks if block)


def _assumed(assumed: Sequence[Assumption], units: Units) -> str:
    """What was taken for granted, a line each."""
    lines = [f"{'Assumed, since it was not given':<34}{'best':>12}   {'within':<18}better with"]
    lines += [show.assumption(one, units) for one in assumed]
    lines.append(
        show.paragraph(
            "All of that is common practice or engineering judgement; --json says which, and what "
            "to write in a config instead."
        )
    )
    return "\n".join(lines)


def _title(name: str, sizing: Sizing, units: Units) -> str:
    plan = sizing.plan
    sides = " × ".join(
        display.length(m, units) for m in (plan.width_m, plan.depth_m, plan.height_m)
    )
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
    best = sizing.needs()
    rows = [("Flow needed by day", "", "within its doubt")]
    labels = {
        "air_change": f"air change in {minutes} min, with allowances",
        "heat": "heat",
        "moisture": "moisture",
        "co2": "CO2",
    }
    for name, flow in best.by_name().items():
        doubtful = Span(*(sizing.needs(case).by_name()[name] for case in ("low", "best", "high")))
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
    return "no limit" if math.isinf(flow_m3_s) else display.flow(flow_m3_s, units)


def _doubt(span: Span, units: Units) -> str:
    return "" if span.is_known else show.span(span, lambda q: display.flow(q, units))


def _speeds(sizing: Sizing, units: Units) -> str:
    if not sizing.speed_rows:
        return ""
    lines = [f"{'Fan':>6}{'flow':>11}{'pressure':>13}{'power':>9}   by day the tent settles at"]
    for row in sizing.speed_rows:
        point = row.point
        lines.append(
            f"{display.speed(point.speed):>6}{display.flow(point.flow_m3_s, units):>11}"
            f"{display.pressure(point.pressure_pa, units):>13}{display.power(point.power_w):>9}"
            f"   {_air(row.day, units)}"
        )
    full = sizing.speed_rows[-1].point
    parts = sizing.plan.rig.system().parts_pa(full.flow_m3_s, sizing.density_kg_per_m3)
    names = {"duct": "duct and bends", "ends": "ends", "filter": "filter", "openings": "intake"}
    shares = ", ".join(
        f"{names[part]} {display.pressure(pa, units)}" for part, pa in parts.items() if pa > 0.0
    )
    lines.append(show.paragraph(f"The pressure at full speed: {shares}."))
    return "\n".join(lines)


def _air(settled: SteadyAir, units: Units) -> str:
    return (
        f"{display.temperature(settled.temperature_c, units):>8}"
        f"{display.humidity(settled.humidity_pct):>7}{show.ppm(settled.co2_ppm):>10}"
    )


def _settled(sizing: Sizing, units: Units) -> str:
    settled, within = sizing.settles_at, sizing.settles_within
    if settled is None or within is None:
        return ""
    flow = "full speed" if sizing.delivered else "the flow it needs"
    said = [
        f"By day at {flow} the tent settles at "
        f"{display.temperature(settled.temperature_c, units)}"
        f" ({show.span(within.temperature_c, lambda c: display.temperature(c, units))}), "
        f"{display.humidity(settled.humidity_pct)} "
        f"({show.span(within.humidity_pct, display.humidity)}), "
        f"{display.vpd(settled.vpd_pa)} VPD and {show.ppm(settled.co2_ppm)} of CO2 "
        f"({show.span(within.co2_ppm, show.ppm)})."
    ]
    if sizing.delivered is not None:
        speed = sizing.plan.night_speed
        night = sizing.settled(speed, lit=False)
        at_speed = f"at {display.speed(speed)}" if speed else "with the fan at rest"
        said.append(
            f"By night {at_speed}: {display.temperature(night.temperature_c, units)}, "
            f"{display.humidity(night.humidity_pct)}."
        )
    said.append(words.evaporation(sizing, units))
    return show.paragraph(" ".join(filter(None, said)))


def _year(sizing: Sizing) -> str:
    plan, energy, power = sizing.plan, sizing.energy, sizing.plan.rig.power_w()
    if energy is None or power is None:
        return ""
    hours = window_hours(plan)
    lines = [
        f"{'In a year':<43}{'energy':>12}{'cost':>14}",
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
    lines.append(
        show.paragraph("Without overrides, and by the fan laws: slow motors take a little more.")
    )
    return "\n".join(lines)


def _year_row(text: str, kwh: float, sizing: Sizing) -> str:
    price = sizing.plan.price_per_kwh
    cost = "" if price is None else display.money(kwh * price, sizing.plan.currency)
    return f"{text:<43}{display.energy(kwh):>12}{cost:>14}".rstrip()


def _placing(
    sizing: Sizing,
    placements: Sequence[Placement],
    recommended: Placement,
    priorities: Sequence[Priority],
    units: Units,
) -> str:
    has_filter = sizing.plan.rig.has_filter
    shown = [p for p in placements if has_filter or p.fan_inside == p.filter_inside]
    heads = [_column_heads(p, has_filter) for p in shown]
    lines = ["Where to put " + ("fan and filter" if has_filter else "the fan")]
    lines += [_table_row("", [head[i] for head in heads]) for i in (0, 1)]
    lines += [_table_row(label, cells) for label, cells in _rows(shown, units)]
    lines.append(show.paragraph(_recommendation(sizing, shown, recommended, priorities, units)))
    lines.append(
        show.paragraph(
            "Hang what is inside from the roof poles with straps made for the weight and a second "
            "strap in case one slips, the fan clear of the lamp, and keep all of it with the lamp "
            "under the load that the maker of the tent allows."
        )
    )
    return "\n".join(lines)


def _column_heads(placement: Placement, has_filter: bool) -> tuple[str, str]:
    if not has_filter:
        return ("fan", "inside" if placement.fan_inside else "outside")
    return {
        "both_inside": ("both", "inside"),
        "fan_inside_filter_outside": ("fan inside,", "filter outside"),
        "filter_inside_fan_outside": ("filter inside,", "fan outside"),
        "both_outside": ("both", "outside"),
    }[placement.arrangement]


def _table_row(label: str, cells: Sequence[str]) -> str:
    return (f"{label:<20}" + "".join(f"{cell:>15}" for cell in cells)).rstrip()


def _rows(placements: Sequence[Placement], units: Units) -> list[tuple[str, list[str]]]:
    def row(label: str, show_one: Callable[[Placement], str]) -> tuple[str, list[str]]:
        return label, [show_one(placement) for placement in placements]

    def watts(value: float | None) -> str:
        return "–" if value is None else _or_none(value, display.power)

    def length(value: float) -> str:
        return _or_none(value, lambda m: display.length(m, units))

    def area(value: float) -> str:
        return _or_none(value, lambda m2: display.area(m2, units))

    def mass(value: float) -> str:
        return _or_none(value, lambda kg: display.mass(kg, units))

    leaks = ("no", "at one joint", "along the duct")
    return [
        row("  delivers", lambda p: display.flow(p.point.flow_m3_s, units) if p.point else "–"),
        row("  motor heat in tent", lambda p: watts(p.motor_heat_in_tent_w)),
        row("  motor heat out", lambda p: watts(p.motor_heat_outside_w)),
        row("  headroom lost", lambda p: length(p.headroom_lost_m)),
        row("  lamp lowered by", lambda p: length(p.lamp_lowered_m)),
        row("  lamp at most at", lambda p: display.length(p.lamp_at_most_m, units)),
        row("  load on the poles", lambda p: mass(p.pole_load_kg)),
        row("  floor or shelf", lambda p: area(p.floor_space_m2)),
        row("  duct", lambda p: length(p.duct_m)),
        row("  90° bends", lambda p: f"{p.bends:g}" if p.bends else "none"),
        row("  smell path under", lambda p: p.smell_path),
        row("  leaks smell", lambda p: leaks[p.leaks_smell]),
        row("  noise in the", lambda p: p.noise_side),
    ]


def _or_none(value: float, show_one: Callable[[float], str]) -> str:
    return show_one(value) if value > 0.0 else "none"


def _recommendation(
    sizing: Sizing,
    shown: Sequence[Placement],
    recommended: Placement,
    priorities: Sequence[Priority],
    units: Units,
) -> str:
    here = sizing.plan.rig.arrangement
    matters = " before ".join(_PRIORITY_WORDS[priority] for priority in priorities)
    name = ARRANGEMENT_WORDS[recommended.arrangement]
    if not sizing.plan.rig.has_filter:
        name = "the fan " + ("inside" if recommended.fan_inside else "outside")
    same = ", as you have it" if recommended.arrangement == here else ""
    reasons = " ".join(reason(recommended, shown, priority, units) for priority in priorities)
    return f"Since {matters} matters: {name}{same}. {reasons}"


def reason(chosen: Placement, others: Sequence[Placement], priority: Priority, units: Units) -> str:
    """Why a placement serves a priority, or what it costs in it, in one sentence."""
    if priority == "smell":
        return {
            0: "The air is filtered before it reaches the fan and the duct, so no leak smells.",
            1: "The duct sucks as far as the fan, so its leaks draw inwards; tape the joint of fan "
            "and filter, and expect dust in the carbon, which now gets the air from within.",
            2: "Unfiltered air stands under pressure outside the tent: every leak there smells.",
        }[chosen.leaks_smell]
    if priority == "floor_space":
        if chosen.floor_space_m2 == 0.0:
            return "Nothing stands outside the tent."
        return f"It takes {display.area(chosen.floor_space_m2, units)} of floor or shelf outside."
    own, noun = (
        (chosen.headroom_lost_m, "headroom")
        if priority == "headroom"
        else (chosen.lamp_lowered_m, "height above the lamp")
    )
    if own == 0.0:
        return f"It takes no {noun}."
    return f"It takes {display.length(own, units)} of {noun}."
