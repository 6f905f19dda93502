"""What `lungwort size` prints: the answer in some 25 lines, or with `--full` every figure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain
from typing import NamedTuple

from controller import display
from controller.airflow.span import Assumption, Span
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing import settled_words
from controller.sizing import verdict as words
from controller.sizing.arrangements import Placement, Priority
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.demand import leakage_m3_s
from controller.sizing.energy import energy_of_a_year, fan_hours_a_day
from controller.sizing.needs import NeedName
from controller.sizing.placing import placing_lines, recommendation, what_is_placed
from controller.sizing.rule_of_thumb import disagreement
from controller.sizing.steady import SteadyAir
from controller.tables import fact_lines, table_lines, wrapped

FEW_CAUTIONS = 3
# A watt for a year, which motor and electronics take however slowly the fan turns [kWh].
_MOTORS_OWN_KWH = 8.8
_LABEL_WIDTH = 13


class Answer(NamedTuple):
    """Everything that is shown of a sized tent.

    Attributes
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

    name: str
    sizing: Sizing
    placements: Sequence[Placement]
    recommended: Placement
    priorities: Sequence[Priority]
    assumed: Sequence[Assumption]
    units: Units


def brief_page(answer: Answer, width: int) -> str:
    """The verdict, the needs, the cost, where to hang things, and what to take care of most."""
    sizing, units = answer.sizing, answer.units
    facts = [("Needs by day", needs_in_a_line(sizing, units))]
    if not sizing.plan.is_never_dark:
        facts.append(("By night", night_in_a_line(sizing, units)))
    if cost := year_in_a_line(sizing):
        facts.append(("In a year", cost))
    place = recommendation(sizing, answer.recommended, answer.priorities, units)
    facts.append((what_is_placed(sizing.plan.rig.has_filter).capitalize(), place))
    few = cautions(sizing, units, FEW_CAUTIONS)
    more = len(cautions(sizing, units)) - len(few)
    rest = f", {more} more cautions among it" if more else ""
    return _joined(
        wrapped(title(answer.name, sizing, units), width),
        wrapped(words.verdict(sizing, units), width),
        fact_lines(facts, width, label_width=_LABEL_WIDTH + 2),
        ["Take care:", *chain.from_iterable(show.item(text, width) for text in few)],
        wrapped(f"--full shows all{rest}; --html FILE draws it.", width),
    )


def full_page(answer: Answer, width: int) -> str:
    """Every figure, the verdict first."""
    sizing, units = answer.sizing, answer.units
    all_cautions = cautions(sizing, units)
    apart = disagreement(sizing, units)
    return _joined(
        wrapped(title(answer.name, sizing, units), width),
        wrapped(words.verdict(sizing, units, most_remedies=None), width),
        _needs(sizing, units, width),
        ["Where rule of thumb and physics part:", *_items(apart, width)],
        _speeds(sizing, units, width),
        wrapped(settled_text(sizing, units), width),
        _year(sizing, width),
        placing_lines(
            sizing, answer.placements, answer.recommended, answer.priorities, units, width
        ),
        _assumed(answer.assumed, units, width),
        ["Take care:", *_items(all_cautions, width)],
    )


def _items(texts: Sequence[str], width: int) -> list[str]:
    return list(chain.from_iterable(show.item(text, width) for text in texts))


def _joined(*blocks: Sequence[str]) -> str:
    return "\n\n".join("\n".join(block) for block in blocks if block)


def _assumed(assumed: Sequence[Assumption], units: Units, width: int) -> list[str]:
    """What was taken for granted, a line each."""
    rows = [show.assumption(assumption, units) for assumption in assumed]
    heads = ("", "best", "within", "better with")
    return [
        "Assumed, as not given",
        *table_lines(heads, rows, width, align="<><<"),
        *wrapped(
            "All of that is common practice or engineering judgement; --explain says which, and "
            "shows the sums.",
            width,
        ),
    ]


def title(name: str, sizing: Sizing, units: Units) -> str:
    """The tent, its lamp and its fan in a line."""
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
    return ", ".join(parts)


def needs_in_a_line(sizing: Sizing, units: Units) -> str:
    """The four needs by day, the greatest first."""
    labels: dict[NeedName, str] = {**words.NEED_WORDS, "air_change": "air change"}
    by_name = sizing.needs().by_name()
    ranked = sorted(by_name, key=lambda name: -by_name[name])
    parts = [
        f"{labels[name]} {needed_flow(sizing.need_spans_m3_s[name], units)}" for name in ranked
    ]
    return ", ".join(parts)


def needed_flow(span: Span, units: Units) -> str:
    """A need and its range, as "30 cfm (21 to 290)"; "out of reach" where no flow meets it."""
    best = show.flow(span.best, units)
    if best not in ("none", "out of reach"):
        return show.with_range(span, lambda q: show.computed_flow(q, units))
    high = show.flow(span.high, units)
    return best if high == best else f"{best} (to {high})"


def night_in_a_line(sizing: Sizing, units: Units) -> str:
    """The need by night."""
    night = sizing.night_m3_s
    leakage, leaks = leakage_m3_s(sizing.plan), ""
    if night.best <= leakage:
        sure = "" if night.high <= leakage else "most likely "
        leaks = f", which {sure}leaks through anyway"
    return f"moisture {needed_flow(night, units)}{leaks}"


def year_in_a_line(sizing: Sizing) -> str:
    """A year's energy and cost of the fan, as scheduled and at the speeds that suffice."""
    energy, enough = sizing.energy, _enough_kwh(sizing)
    if energy is None:
        return ""
    text = f"the fan as scheduled {_energy_and_cost(energy.fan_kwh, sizing)}"
    day, night = sizing.day_speed, sizing.night_speed
    if enough is not None and day is not None and night is not None:
        by_night = "" if sizing.plan.is_never_dark else f" and {display.speed(night)} by night"
        by_day = display.speed(day) + (" by day" if by_night else "")
        # A motor's own watt is more than that, and no data sheet tells it.
        low = "under 10 kWh" if enough < _MOTORS_OWN_KWH else _energy_and_cost(enough, sizing)
        text += f"; at {by_day}{by_night} {low} by the fan laws alone"
    return f"{text}; the lamp {_energy_and_cost(energy.lamp_kwh, sizing)}"


def _energy_and_cost(kwh: float, sizing: Sizing) -> str:
    cost = _cost(kwh, sizing)
    return display.energy(kwh) + (f", {cost}" if cost else "")


def _cost(kwh: float, sizing: Sizing) -> str:
    price = sizing.plan.price_per_kwh
    return "" if price is None else display.money(kwh * price, sizing.plan.currency)


def _enough_kwh(sizing: Sizing) -> float | None:
    """A year of the fan at the speeds that suffice [kWh]; None where that saves next to nothing."""
    plan, energy, power = sizing.plan, sizing.energy, sizing.plan.rig.power_w()
    day, night = sizing.day_speed, sizing.night_speed
    if plan.is_relay or energy is None or power is None or day is None or night is None:
        return None
    enough = energy_of_a_year(plan, power, day, night).fan_kwh
    return enough if enough < 0.95 * energy.fan_kwh else None


def _needs(sizing: Sizing, units: Units, width: int) -> list[str]:
    minutes = f"{sizing.plan.minutes_per_change:g}"
    rig = sizing.plan.rig
    allowed = ", with allowances" if rig.bends or rig.has_filter else ""
    best = sizing.needs()
    labels = {
        "air_change": f"air change in {minutes} min{allowed}",
        "heat": "heat",
        "moisture": "moisture",
        "co2": "CO2",
    }
    rows = []
    for name, flow in best.by_name().items():
        doubtful = sizing.need_spans_m3_s[name]
        rows.append((labels[name], show.flow(flow, units), _doubt(doubtful, units)))
    ruled = f"required, ruled by {words.NEED_WORDS[best.ruled_by]}"
    rows.append((ruled, show.flow(best.required, units), _doubt(sizing.required_m3_s, units)))
    night = sizing.night_m3_s
    if not sizing.plan.is_never_dark:
        leaks = " (it leaks as much)" if night.best <= leakage_m3_s(sizing.plan) else ""
        label = f"By night, moisture{leaks}"
        rows.append((label, show.flow(night.best, units), _doubt(night, units)))
    table = table_lines(("", "flow", "range"), rows, width, align="<><")
    return ["Flow needed by day", *table]


def _doubt(span: Span, units: Units) -> str:
    return "" if span.is_known else show.span(span, lambda q: show.computed_flow(q, units))


def speed_table(sizing: Sizing, units: Units) -> tuple[list[str], list[list[str]]]:
    """What each speed gives and where the tent settles by day: headings and rows."""
    is_planted = _is_planted(sizing)
    heads = ["Fan", "flow", "pressure", "power", "settles", "humidity", "CO2"]
    heads += ["leaves"] * is_planted
    rows = []
    for row in sizing.speed_rows[::-1][::2][::-1]:  # every second, full speed among them
        point, day = row.point, row.day
        cells = [
            display.speed(point.speed),
            show.computed_flow(point.flow_m3_s, units),
            display.pressure(point.pressure_pa, units),
            _power(point.power_w),
            show.settled(day.temperature_c, units),
            display.humidity(day.humidity_pct),
            show.ppm(day.co2_ppm),
        ]
        rows.append(cells + [show.settled(day.leaf_c, units)] * is_planted)
    return heads, rows


def _speeds(sizing: Sizing, units: Units, width: int) -> list[str]:
    if not sizing.speed_rows:
        return []
    heads, rows = speed_table(sizing, units)
    return [
        *wrapped("What each speed gives, and where the tent settles by day", width),
        *table_lines(heads, rows, width, align=">" * len(heads)),
        *wrapped(pressure_text(sizing, units), width),
    ]


def pressure_text(sizing: Sizing, units: Units) -> str:
    """Where the pressure at full speed goes, and what an on-off fan makes of the air."""
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
    return text


def _power(power_w: float) -> str:
    return display.power(power_w) if power_w >= 0.1 else "<0.1 W"


def settled_text(sizing: Sizing, units: Units) -> str:
    """Where the air settles by day and by night, and the leaves in it."""
    settled, within = sizing.settles_at, sizing.settles_within
    flow = "full speed"
    if sizing.delivered is None:
        flow = show.computed_flow(sizing.settling_flow_m3_s.best, units)
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
        sentences.append(settled_words.leaves(settled, within, units))
    if sizing.delivered is not None and not sizing.plan.is_never_dark:
        speed = sizing.plan.night_speed
        night = sizing.settled(speed, lit=False)
        at_speed = f"at {display.speed(speed)}" if speed else "with the fan at rest"
        sentences.append(
            f"By night {at_speed}: {display.temperature(night.temperature_c, units)}, "
            f"{display.humidity(night.humidity_pct)}{_night_leaves(night, sizing, units)}."
        )
    sentences.append(settled_words.evaporation(sizing, units))
    return " ".join(filter(None, sentences))


def _night_leaves(night: SteadyAir, sizing: Sizing, units: Units) -> str:
    if not _is_planted(sizing):
        return ""
    leaf_c, leaf_vpd = display.temperature(night.leaf_c, units), display.vpd(night.leaf_vpd_pa)
    return f", leaves at {leaf_c} with {leaf_vpd}"


def _is_planted(sizing: Sizing) -> bool:
    return sizing.plan.leaves_m2.best > 0.0


def year_table(sizing: Sizing) -> tuple[tuple[str, ...], list[tuple[str, ...]], str] | None:
    """A year's energy and cost: headings, rows, and what they leave out; None without a fan."""
    plan, energy = sizing.plan, sizing.energy
    if energy is None:
        return None
    hours = fan_hours_a_day(plan)
    scheduled = f"fan as scheduled ({hours:.3g} h a day at {display.speed(plan.day_speed)})"
    years = [(scheduled, energy.fan_kwh)]
    enough, day, night = _enough_kwh(sizing), sizing.day_speed, sizing.night_speed
    if enough is not None and day is not None and night is not None:
        text = display.fan(day)
        if not plan.is_never_dark:
            text += f" by day, {display.speed(night)} by night"
        years.append((text, enough))
    years += [("fan at full speed all day", energy.fan_all_day_kwh), ("lamp", energy.lamp_kwh)]
    has_price = plan.price_per_kwh is not None
    heads = ("", "energy", "cost") if has_price else ("", "energy")
    rows = [
        (text, display.energy(kwh), *([_cost(kwh, sizing)] if has_price else []))
        for text, kwh in years
    ]
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
    return heads, rows, caveat


def _year(sizing: Sizing, width: int) -> list[str]:
    shown = year_table(sizing)
    if shown is None:
        return []
    heads, rows, caveat = shown
    return ["In a year", *table_lines(heads, rows, width), *wrapped(caveat, width)]
