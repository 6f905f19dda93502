"""The sizing of a tent as a page: verdict, chart, needs, the ways to place fan and filter."""

from __future__ import annotations

import math
import re
from html import escape
from importlib import resources

from controller.pages.html import care, document, items, paragraph, section, table
from controller.sizing import amounts as show
from controller.sizing import placing
from controller.sizing import verdict as words
from controller.sizing.arrangements import Hardware, Placement
from controller.sizing.assess import Sizing
from controller.sizing.cautions import cautions
from controller.sizing.drawn.fan_chart import caption, drawn_speeds, fan_chart
from controller.sizing.drawn.need_bars import need_bars
from controller.sizing.drawn.placement_drawing import (
    LAMP_OVER_SEEDLINGS_M,
    POT_M,
    PlacementDrawing,
    lowest_lamp_m,
)
from controller.sizing.page import (
    FEW_CAUTIONS,
    Answer,
    night_in_a_line,
    pressure_text,
    settled_text,
    speed_table,
    title,
    year_table,
)
from controller.sizing.rule_of_thumb import disagreement


def html_page(answer: Answer, hardware: Hardware) -> str:
    """The whole page; it needs nothing from anywhere else.

    Parameters
    ----------
    answer : Answer
        What is shown.
    hardware : Hardware
        Size of fan and filter.
    """
    sizing, units = answer.sizing, answer.units
    all_cautions = cautions(sizing, units)
    lead, rest = _headline(words.verdict(sizing, units, most_remedies=None))
    css = resources.files("controller.sizing.drawn").joinpath("page.css").read_text("utf-8")
    body = [
        f"<header>{paragraph(title(answer.name, sizing, units), 'where')}<h1>{escape(lead)}</h1>",
        f"{paragraph(rest)}</header>",
        care(all_cautions[:FEW_CAUTIONS]),
        section(f"Fan against {_the_run(sizing)}", _chart(answer), identity="chart"),
        section("The four needs by day", _needs(answer), identity="needs"),
        section("The air that follows", _speeds(answer), identity="air"),
        section(
            f"Where to put {placing.what_is_placed(sizing.plan.rig.has_filter)}",
            _placing(answer, hardware),
            identity="place",
        ),
        section("In a year", _year(answer), identity="year"),
        section("Assumed, as not given", _assumed(answer), identity="assumed"),
        section("More to take care of", items(all_cautions[FEW_CAUTIONS:]), identity="care"),
    ]
    return document(f"Sizing of {answer.name}", css, "".join(body))


def _headline(text: str) -> tuple[str, str]:
    """The verdict's first words, and the rest as a text of its own."""
    lead, _, rest = re.split(r"(: |\. )", text, maxsplit=1)
    return f"{lead}.", rest[0].upper() + rest[1:]


def _the_run(sizing: Sizing) -> str:
    return "duct and filter" if sizing.plan.rig.has_filter else "duct"


def _chart(answer: Answer) -> str:
    drawn = fan_chart(answer.sizing, answer.units)
    if not drawn:
        return ""
    sizing = answer.sizing
    speeds = len(drawn_speeds(sizing))
    keys = [("line fan", "fan at full speed")] * (speeds > 0)
    keys += [("line fan slow", "fan at other speeds")] * (speeds > 1)
    run = "duct, filter and intake" if sizing.plan.rig.has_filter else "duct and intake"
    keys += [("line system", run)]
    keys += [("line need", "the need")] * math.isfinite(sizing.required_m3_s.best)
    shown = "".join(
        f'<li><svg viewBox="0 0 24 12" aria-hidden="true"><path d="M0 6h24" class="{css}"/></svg>'
        f"{label}</li>"
        for css, label in keys
    )
    legend = f'<ul class="keys">{shown}</ul>'
    text = paragraph(caption(answer.sizing, answer.units))
    return f"<figure>{drawn}{legend}<figcaption>{text}</figcaption></figure>"


def _needs(answer: Answer) -> str:
    sizing, units = answer.sizing, answer.units
    why = items(disagreement(sizing, units))
    night = ""
    if not sizing.plan.is_never_dark:
        night = paragraph(f"By night: {night_in_a_line(sizing, units)}.")
    what = "Bars are best estimates, lines their ranges"
    if sizing.delivered is not None:
        what += "; the upright line is what the fan delivers at full speed, shaded its range"
    bars = need_bars(sizing, units)
    return f"<figure>{bars}<figcaption>{paragraph(what + '.')}</figcaption></figure>{night}{why}"


def _speeds(answer: Answer) -> str:
    sizing, units = answer.sizing, answer.units
    text = paragraph(settled_text(sizing, units))
    if not sizing.speed_rows:
        return text
    heads, rows = speed_table(sizing, units)
    numbers = tuple(range(1, len(heads)))
    speeds = table("What each speed gives", heads, rows, numbers=numbers, css="stack")
    return speeds + paragraph(pressure_text(sizing, units)) + text


def _placing(answer: Answer, hardware: Hardware) -> str:
    sizing, units = answer.sizing, answer.units
    has_filter = sizing.plan.rig.has_filter
    shown = placing.ways_to_place(answer.placements, has_filter)
    figures = "".join(_placement(answer, hardware, placement, has_filter) for placement in shown)
    facts = placing.figures(shown, units)
    heads = ["", *(placing.way_words(placement, has_filter) for placement in shown)]
    rows = [[label, *cells] for label, cells in facts]
    return (
        '<div class="whole">'
        + paragraph(placing.recommendation(sizing, answer.recommended, answer.priorities, units))
        + f'<div class="ways">{figures}</div></div>'
        + paragraph(_of_the_drawings(answer, hardware), "faint")
        + table("The ways compared", heads, rows, css="numbered")
        + care([placing.HANGING])
    )


def _placement(answer: Answer, hardware: Hardware, placement: Placement, has_filter: bool) -> str:
    plan, units = answer.sizing.plan, answer.units
    name = placing.way_words(placement, has_filter)
    cells = {label: cells[0] for label, cells in placing.figures([placement], units)}
    facts = f"delivers {cells['delivers']}, " if placement.point else ""
    load = cells["load on the poles"]
    facts += "nothing on the poles" if load == "none" else f"{load} on the poles"
    drawn = PlacementDrawing(plan, placement, hardware, units).drawn(f"{name}: {facts}")
    best = placement.arrangement == answer.recommended.arrangement
    mark = " <b>recommended</b>" if best else ""
    css = ' class="best"' if best else ""
    return (
        f"<figure{css}><h3>{escape(name)}{mark}</h3>{drawn}"
        f"<figcaption>{paragraph(facts)}</figcaption></figure>"
    )


def _of_the_drawings(answer: Answer, hardware: Hardware) -> str:
    plan, units = answer.sizing.plan, answer.units
    side_m = max(plan.width_m, plan.depth_m)

    def show_length(length_m: float) -> str:
        return placing.length_text(length_m, units)

    text = "To scale, seen from the longer side; the run of duct is cut short."
    if plan.lamp_power_w > 0.0:
        highest_m = min(placement.lamp_at_most_m for placement in answer.placements)
        pots = f"seedlings in pots of {show_length(POT_M)}, {show_length(LAMP_OVER_SEEDLINGS_M)}"
        text += f" The lamp's lowest height is over {pots} below it (common practice, no source)."
        if highest_m <= lowest_lamp_m():
            text += " This tent is too low for that with everything hung inside."
    in_a_row_m = hardware.fan_length_m + hardware.filter_length_m
    if in_a_row_m > side_m:
        text += (
            f" Fan and filter in a row are {show_length(in_a_row_m)} long and the tent "
            f"{show_length(side_m)}: hang them side by side, with a bend between them."
        )
    return text


def _year(answer: Answer) -> str:
    shown = year_table(answer.sizing)
    if shown is None:
        return ""
    heads, rows, caveat = shown
    return table("A year", heads, rows, numbers=tuple(range(1, len(heads)))) + paragraph(caveat)


def _assumed(answer: Answer) -> str:
    rows = [show.assumption(assumption, answer.units) for assumption in answer.assumed]
    heads = ("", "best", "within", "better with")
    text = "All of that is common practice or engineering judgement; `--explain` shows the sums."
    return table("Assumed", heads, rows, numbers=(1,), css="stack") + paragraph(text)
