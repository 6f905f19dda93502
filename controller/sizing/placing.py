"""Where to put fan and filter, as a table and a recommendation in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller import display
from controller.airflow.rig import Arrangement, Ducting
from controller.display import Units
from controller.sizing import amounts as show
from controller.sizing.arrangements import DEFAULT_PRIORITIES, Placement, Priority
from controller.sizing.assess import Sizing
from controller.tables import table_lines, wrapped

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


def placing_lines(
    sizing: Sizing,
    placements: Sequence[Placement],
    recommended: Placement,
    priorities: Sequence[Priority],
    units: Units,
    width: int,
) -> list[str]:
    """The table of the four ways, or of the two without a filter, and the one to choose."""
    has_filter = sizing.plan.rig.has_filter
    shown = ways_to_place(placements, has_filter)
    how = "" if priorities else " Say what else matters with --priority."
    return [
        f"Where to put {what_is_placed(has_filter)}",
        *_table(shown, has_filter, units, width),
        *wrapped(recommendation(sizing, recommended, priorities, units) + how, width),
        *wrapped(HANGING, width),
    ]


HANGING = (
    "Hang what is inside from the roof poles with straps made for the weight and a second strap in "
    "case one slips, the fan clear of the lamp, and keep all of it with the lamp under the load "
    "that the maker of the tent allows."
)


def what_is_placed(has_filter: bool) -> str:
    """What there is to hang: the fan, and the filter where there is one."""
    return "fan and filter" if has_filter else "the fan"


def ways_to_place(placements: Sequence[Placement], has_filter: bool) -> list[Placement]:
    """The ways that differ: without a filter there are only two."""
    return [p for p in placements if has_filter or p.fan_inside == p.filter_inside]


def _table(
    placements: Sequence[Placement], has_filter: bool, units: Units, width: int
) -> list[str]:
    """Side by side where that fits, else one below the other."""
    heads = [_column_heads(p, has_filter) for p in placements]
    facts = figures(placements, units)
    if _LABELS + _COLUMN * len(placements) > width:
        names = [way_words(p, has_filter) for p in placements]
        rows = [
            (name, *column) for name, *column in zip(names, *(c for _, c in facts), strict=True)
        ]
        return table_lines(["", *(label for label, _ in facts)], rows, width)
    rows = [("", *(head[i] for head in heads)) for i in (0, 1)]
    rows += [(f"  {label}", *cells) for label, cells in facts]
    return [
        (f"{label:<{_LABELS}}" + "".join(f"{cell:>{_COLUMN}}" for cell in cells)).rstrip()
        for label, *cells in rows
    ]


# Columns of the table side by side: of the labels, and of each way.
_LABELS = 20
_COLUMN = 15


def way_words(placement: Placement, has_filter: bool) -> str:
    """A placement by name; without a filter there is only the fan to name."""
    if not has_filter:
        return "the fan " + ("inside" if placement.fan_inside else "outside")
    return ARRANGEMENT_WORDS[placement.arrangement]


def _column_heads(placement: Placement, has_filter: bool) -> tuple[str, str]:
    if not has_filter:
        return ("fan", "inside" if placement.fan_inside else "outside")
    return {
        "both_inside": ("both", "inside"),
        "fan_inside_filter_outside": ("fan inside,", "filter outside"),
        "filter_inside_fan_outside": ("filter inside,", "fan outside"),
        "both_outside": ("both", "outside"),
    }[placement.arrangement]


def figures(placements: Sequence[Placement], units: Units) -> list[tuple[str, list[str]]]:
    """What the ways differ in: a label, and a cell for each way."""

    def row(label: str, show_one: Callable[[Placement], str]) -> tuple[str, list[str]]:
        return label, [show_one(placement) for placement in placements]

    def watts(value: float | None) -> str:
        return "–" if value is None else _or_none(value, display.power)

    def length(value: float) -> str:
        return _or_none(value, lambda m: length_text(m, units))

    def area(value: float) -> str:
        return _or_none(value, lambda m2: display.area(m2, units))

    def mass(value: float) -> str:
        return _or_none(value, lambda kg: display.mass(kg, units))

    leaks = ("no", "at one joint", "along the duct")
    return [
        row("delivers", lambda p: show.computed_flow(p.point.flow_m3_s, units) if p.point else "–"),
        row("motor heat in tent", lambda p: watts(p.motor_heat_in_tent_w)),
        row("motor heat out", lambda p: watts(p.motor_heat_outside_w)),
        row("headroom lost", lambda p: length(p.headroom_lost_m)),
        row("lamp lowered by", lambda p: length(p.lamp_lowered_m)),
        row("lamp at most at", lambda p: length(p.lamp_at_most_m)),
        row("load on the poles", lambda p: mass(p.pole_load_kg)),
        row("floor or shelf", lambda p: area(p.floor_space_m2)),
        row("duct", lambda p: length(p.duct_m)),
        row("90° bends", lambda p: f"{p.bends:g}" if p.bends else "none"),
        row("smell path under", lambda p: p.smell_path),
        row("leaks smell", lambda p: leaks[p.leaks_smell]),
        row("noise in the", lambda p: p.noise_side),
    ]


def length_text(length_m: float, units: Units) -> str:
    """A length as one measures in a tent: to half an inch, or a centimetre."""
    step_m = 0.0127 if units == "us" else 0.01
    return display.length(round(length_m / step_m) * step_m, units)


def _or_none(value: float, show_one: Callable[[float], str]) -> str:
    return show_one(value) if value > 0.0 else "none"


def recommendation(
    sizing: Sizing,
    recommended: Placement,
    priorities: Sequence[Priority],
    units: Units,
) -> str:
    """The way to choose, for what, and why."""
    has_filter = sizing.plan.rig.has_filter
    first, *others = (_PRIORITY_WORDS[priority] for priority in priorities or DEFAULT_PRIORITIES)
    matters = ", then ".join([f"{first} matters", *others])
    ranked = priorities or DEFAULT_PRIORITIES
    rig = sizing.plan.rig
    is_known = rig.duct_diameter_m is not None or rig.arrangement != Ducting().arrangement
    is_there = is_known and recommended.arrangement == rig.arrangement
    same = ", as you have it" if is_there else ""
    if has_filter and recommended.leaks_smell and "smell" not in ranked:
        ranked = (*ranked, "smell")  # who owns a filter wants to know
    reasons = " ".join(reason(recommended, priority, has_filter, units) for priority in ranked)
    since = f"since {matters}" if priorities else "if smell matters most"
    return f"{_capital(way_words(recommended, has_filter))}{same}, {since}. {reasons}"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]


def reason(chosen: Placement, priority: Priority, has_filter: bool, units: Units) -> str:
    """Why a placement serves a priority, or what it costs in it, in one sentence."""
    if priority == "smell" and not has_filter:
        return "Without a filter the exhaust smells wherever it ends: lead it outdoors."
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
