"""What was learned, in words and as a table. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from zoneinfo import ZoneInfo

from controller import display
from controller.display import Units
from controller.learning.flow_fall import FlowFall
from controller.learning.learned import Learned, Parameter, Week
from controller.tables import table_lines, wrapped

TITLES = {
    "wall_w_per_k": "Heat loss of the fabric",
    "contents_j_per_k": "Heat held by pots and frame",
    "contents_w_per_k": "Their exchange with the air",
    "flow_share": "Fan's flow at full speed",
    "leakage_m3_s": "Leakage beside the fan",
    "lamp_to_contents": "Lamp's heat onto the contents",
    "transpiration_lit": "Transpiration, lamp lit",
    "transpiration_dark": "Transpiration, lamp dark",
    "evaporation_lit": "Soil and trays, over the leaves",
    "difference_k": "Tent sensor over intake's",
    "difference_pct": "The same, humidity",
}

# A fall shows on two days at least.
_COMPARED_AFTER_S = 2 * 86_400.0

Format = Callable[[float], str]


def as_text(learned: Learned, zone: ZoneInfo, units: Units, width: int) -> list[str]:
    """The lines that `lungwort learn` prints, at most `width` columns wide."""
    fit, before = learned.misfit, learned.misfit_as_configured
    lines = wrapped(headline(learned), width)
    for sentence in sentences(learned, zone, units):
        lines += wrapped(sentence, width, first="  - ", rest="    ")
    grounds = (
        f"Learned from {period_words(learned, zone)}. A tent with these figures reads within "
        f"{kelvins(fit.rms_k, units)} and {fit.rms_pct:.1f} % of the record, one as configured "
        f"within {kelvins(before.rms_k, units)} and {before.rms_pct:.1f} %."
    )
    lines += ["", *wrapped(grounds, width), "", *_table(learned, units, width)]
    why_not = unknown_words(learned)
    if why_not:
        lines += ["", "What the record does not tell"]
        for sentence in why_not:
            lines += wrapped(sentence, width, first="  - ", rest="    ")
    return lines


def headline(learned: Learned) -> str:
    """The answer in one sentence: what is not as configured, or that nothing is."""
    if learned.fall is not None:
        return f"The fan moves {_less(learned.fall)} less air than it did."
    # The sensors' two differences are one thing here.
    other = dict.fromkeys(
        "the sensors, which differ"
        if name.startswith("difference")
        else title[0].lower() + title[1:]
        for name, title in TITLES.items()
        if learned.parameters[name].differs
    )
    if other:
        return f"Not as in the config: {'; '.join(other)}."
    known = sum(parameter.is_learned for parameter in learned.parameters.values())
    of_all = "" if known == len(TITLES) else f", in the {known} of {len(TITLES)} figures it tells"
    return f"As in the config, as far as the record tells{of_all}."


def _less(fall: FlowFall) -> str:
    return f"{100.0 * (1.0 - fall.times):.0f} %"


def period_words(learned: Learned, zone: ZoneInfo) -> str:
    """The days it rests on: "7 days, 5 to 12 July 2013"."""
    return f"{learned.days} days, {week_words(Week(learned.from_s, learned.until_s), zone)}"


def week_words(week: Week, zone: ZoneInfo) -> str:
    """Some days: "5 to 12 July 2013"."""
    return display.days(week.from_s, week.until_s, zone)


def kelvins(difference_k: float, units: Units) -> str:
    """A small difference of temperature, to hundredths."""
    value, unit = (1.8 * difference_k, "°F") if units == "us" else (difference_k, "K")
    return f"{round(value, 2) + 0.0:.2f} {unit}".replace("-", "−")


def _table(learned: Learned, units: Units, width: int) -> list[str]:
    rows = []
    for name, title in TITLES.items():
        parameter = learned.parameters[name]
        form = _form(name, learned, units)
        value, interval = "unknown", ""
        if parameter.is_learned:
            value = form(parameter.value)
            interval = f"{form(parameter.low)} – {form(parameter.high)}"
        rows.append([title, value, interval, form(parameter.configured)])
    return table_lines(["", "learned", "90 % interval", "configured"], rows, width)


def three_digits(value: float) -> str:
    """Three significant digits, and no power of ten: 1.18, 98.6, 1180."""
    return f"{float(f'{value:.3g}'):g}"


def _form(name: str, learned: Learned, units: Units) -> Format:
    full_m3_s = next(row.configured_m3_s for row in learned.flow if row.speed == 1.0)

    def flow(value: float) -> str:
        return display.flow(value * full_m3_s if name == "flow_share" else value, units)

    degree, degrees_per_k = ("°F", 1.8) if units == "us" else ("K", 1.0)

    def heat_loss(value: float) -> str:
        return f"{three_digits(value / degrees_per_k)} W/{degree}"

    def heat_capacity(value: float) -> str:
        return f"{three_digits(value / 1000.0 / degrees_per_k)} kJ/{degree}"

    forms: dict[str, Format] = {
        "wall_w_per_k": heat_loss,
        "contents_w_per_k": heat_loss,
        "contents_j_per_k": heat_capacity,
        "flow_share": flow,
        "leakage_m3_s": flow,
        "difference_k": lambda value: kelvins(value, units),
        "difference_pct": lambda value: f"{round(value, 1) + 0.0:.1f} %".replace("-", "−"),
    }
    return forms.get(name, lambda value: f"{round(100.0 * value) + 0:d} %".replace("-", "−"))


def sentences(learned: Learned, zone: ZoneInfo, units: Units) -> list[str]:
    """What the figures mean, most telling first; the doubt about the lamp's power last."""
    parameters = learned.parameters
    lines = [
        *_fall_sentences(learned, zone),
        *_flow_sentences(parameters["flow_share"], learned.resistance),
        *_walls_sentences(parameters["wall_w_per_k"]),
        *_leaves_sentences(parameters["transpiration_lit"]),
        *_sensors_sentences(learned, units),
    ]
    lines.append(
        f"All of it rests on lamp.power, {display.power(learned.lamp_w)}: if the lamp draws a "
        "tenth more, every heat loss and every flow here is a tenth more. A plug meter tells."
    )
    return lines


def _fall_sentences(learned: Learned, zone: ZoneInfo) -> list[str]:
    fall, week = learned.fall, learned.reference
    if week is None or learned.until_s < week.until_s + _COMPARED_AFTER_S:
        return []
    if fall is None:
        return [
            "At the same speeds the fan moves as much air as in the reference week, "
            f"{week_words(week, zone)}, as far as the record tells."
        ]
    since = dt.datetime.fromtimestamp(fall.since_s - 43_200.0, zone)  # the middle of that day
    return [
        f"The fan moves {_less(fall)} less air than in the reference week, "
        f"{week_words(week, zone)}, falling since {since:%-d %B}, at the same speeds: look for a "
        "loaded filter, a kinked or loose duct, a dusty fan. Once mended, say so: lungwort learn "
        "CONFIG --filter-changed."
    ]


def _flow_sentences(flow: Parameter, resistance: float) -> list[str]:
    if not flow.is_learned:
        return []
    interval = f"({100 * flow.low:.0f} to {100 * flow.high:.0f} %)"
    share = (
        f"The fan moves {100 * flow.value:.0f} % of what its data sheet promises here {interval}"
    )
    if flow.high < 1.0:
        as_if = f", as if they resisted {resistance:.1f} times as much" if resistance > 1.2 else ""
        return [f"{share}: filter, duct or speed{as_if}."]
    if flow.low > 1.0:
        return [f"{share}: duct or filter resist less than the config says."]
    return [f"{share}: no less and no more, as far as the record tells."]


def _walls_sentences(walls: Parameter) -> list[str]:
    if not walls.differs:
        return []
    share = walls.value / walls.configured - 1.0
    than = f"{abs(100.0 * share):.0f} % {'more' if share > 0.0 else 'less'} than plain cloth would"
    why = (
        "a window, a gap or a cold floor, or a room colder than its intake air"
        if share > 0.0
        else "a shiny lining, still air, or a side that stands against a wall"
    )
    return [f"The fabric lets through {than}: {why}."]


def _leaves_sentences(lit: Parameter) -> list[str]:
    if not lit.differs:
        return []
    more = lit.value > 1.0
    return [
        f"The plants give off {100.0 * lit.value:.0f} % of the water that the config's crop would: "
        + (
            "more leaves than it says, or wet soil and trays."
            if more
            else "fewer leaves than it says, or plants that want water."
        )
    ]


def _sensors_sentences(learned: Learned, units: Units) -> list[str]:
    parts = []
    for name, unit in (("difference_k", ""), ("difference_pct", " of relative humidity")):
        parameter = learned.parameters[name]
        if parameter.differs:
            size = _form(name, learned, units)(abs(parameter.value))
            parts.append(f"{size}{unit} {'more' if parameter.value > 0.0 else 'less'}")
    if not parts:
        return []
    return [
        f"In the same air the tent's sensor reads {' and '.join(parts)} than the intake's: hang "
        "both side by side for an hour, and correct the one that is off."
    ]


def unknown_words(learned: Learned) -> list[str]:
    """What is unknown, one sentence for each reason."""
    by_reason: dict[str, list[str]] = {}
    for name, title in TITLES.items():
        why = learned.parameters[name].why_not
        if why is not None:
            by_reason.setdefault(why, []).append(f"{title[0].lower()}{title[1:]}")
    lines = []
    for why, titles in by_reason.items():
        listed = ", ".join(titles)
        lines.append(f"{listed[0].upper()}{listed[1:]}: {why}.")
    return lines
