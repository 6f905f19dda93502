"""`lungwort size`: what flow a tent needs, what its fan delivers, and where to put it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import HelpPage, complete_files
from controller.commands.size_values import count, drop, pair, price, read
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.airflow.rig import Ducting
    from controller.display import Units
    from controller.sizing.arrangements import Hardware
    from controller.sizing.page import Answer
    from controller.sizing.plan import Plan

SIZE_HELP = "work out what flow a tent needs and whether its fan delivers it"
SIZE_DESCRIPTION = """\
Work out what flow a tent needs and whether a fan delivers it through its duct and filter.

Give a config, or the tent, lamp and fan by options, or both: options overrule the config, to
answer "what if". The verdict comes first; then each need, what every speed gives, the air that
follows, a year's energy, and the four ways to place fan and filter. What you leave out is
assumed within limits, which the answer carries along and lists at its end.
"""
SIZE_EPILOG = """\
examples:
  lungwort size config/chillies.yaml
  lungwort size config/chillies.yaml --intake-temperature "78 °F"
  lungwort size --width "80 cm" --depth "80 cm" --height "160 cm" \\
      --lamp-power "150 W" --free-flow "187 m³/h" --max-pressure "300 Pa" \\
      --duct-diameter "100 mm" --duct-length "2 m" --bends 2 \\
      --filter-drop "60 Pa at 187 m³/h"

The numbers are estimates for planning. Heat, mains power and moving parts can
hurt people: follow the makers' instructions and your local codes.
"""

# Option, kind of quantity (None: taken as it is), field, example or choices, help.
_TENT = (
    ("width", "length", "width_m", "80 cm", "inside width of the tent"),
    ("depth", "length", "depth_m", "80 cm", "inside depth"),
    ("height", "length", "height_m", "160 cm", "inside height"),
    ("elevation", "altitude", "elevation_m", "500 m", "height above sea level"),
    ("lamp-power", "power", "lamp_power_w", "150 W", "electrical power of the lamp"),
    ("lit", "duration", "lit_s", "16 h", "light a day"),
    ("light", None, "light_ppfd", "PPFD", "light over the canopy, µmol/m²s, if measured"),
)
_FAN = (
    ("free-flow", "flow", "free_flow_m3_s", "187 m³/h", "flow with nothing attached"),
    ("max-pressure", "pressure", "max_pressure_pa", "300 Pa", "static pressure at no flow"),
    ("fan-power", "power", "fan_power_w", "30 W", "electrical power at full speed"),
    ("min-speed", "speed", "min_speed", "20 %", "lowest speed at which it turns"),
    ("day-speed", "speed", "day_speed", "100 %", "scheduled speed by day"),
    ("night-speed", "speed", "night_speed", "0 %", "scheduled speed by night"),
)
_RUN = (
    ("duct-diameter", "length", "duct_diameter_m", "100 mm", "inside diameter of the duct"),
    ("duct-length", "length", "duct_length_m", "2 m", "length of the run"),
    ("intake-area", "area", "openings_m2", "200 cm²", "free area of all intake openings"),
)
_AIR = (
    ("intake-temperature", "temperature", "intake_c", "20 °C", "air drawn in"),
    ("intake-humidity", "humidity", "intake_humidity_pct", "50 %", "its relative humidity"),
    ("intake-co2", "co2", "intake_co2_ppm", "420 ppm", "its CO2"),
    ("lowest-co2", "co2", "lowest_co2_ppm", "350 ppm", "lowest CO2 wished in the tent"),
    ("day-high", "temperature", "day_high_c", "24 °C", "highest temperature wished by day"),
    ("day-humidity", "humidity", "day_high_pct", "70 %", "highest humidity wished by day"),
    ("night-humidity", "humidity", "night_high_pct", "80 %", "highest humidity wished by night"),
    ("air-change", "duration", "change_s", "3 min", "time of a full air change, 1 to 5 min"),
)
_CROP = (("leaf-area", "area", "leaf_area_m2", "1.5 m²", "leaf area of all plants, one side"),)
_HARDWARE = (
    ("fan-mass", "mass", "fan_mass_kg", "2 kg", "mass of the fan"),
    ("fan-diameter", "length", "fan_diameter_m", "17 cm", "thickness of the fan"),
    ("filter-mass", "mass", "filter_mass_kg", "3.5 kg", "mass of the filter"),
    ("filter-diameter", "length", "filter_diameter_m", "17 cm", "thickness of the filter"),
)
_GROUPS = (
    ("the tent and its lamp", _TENT),
    ("the fan", _FAN),
    ("duct and filter", _RUN),
    ("the air", _AIR),
    ("the crop", _CROP),
    ("energy", ()),
    ("placing", _HARDWARE),
)

_CROPS = ("pepper", "tomato", "lettuce", "basil", "herbs", "other")
_STAGES = ("seedling", "vegetative", "flowering", "fruiting")
_ROOMS = ("room", "cellar", "closet", "attic")
_DUCTS = ("smooth", "flexible_stretched", "flexible_slack")
_ARRANGEMENTS = (
    "both_inside",
    "fan_inside_filter_outside",
    "filter_inside_fan_outside",
    "both_outside",
)
_PRIORITIES = ("smell", "headroom", "lamp_height", "floor_space")


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Declare the command and its options."""
    parser = subparsers.add_parser(
        "size",
        usage="lungwort size [CONFIG] [OPTIONS]",
        help=SIZE_HELP,
        description=SIZE_DESCRIPTION,
        epilog=SIZE_EPILOG,
        formatter_class=HelpPage,
    )
    config = parser.add_argument(
        "config", metavar="CONFIG", type=Path, nargs="?", help="the config file of the tent"
    )
    complete_files(config)
    complete_files(
        parser.add_argument("--html", metavar="FILE", type=Path, help="write a page with drawings")
    )
    parser.add_argument("--json", action="store_true", help="print JSON, in SI, units in the keys")
    parser.add_argument(
        "--full", action="store_true", help="print every figure, assumption and caution"
    )
    parser.add_argument(
        "--explain",
        action="store_true",
        help="print all that and how each figure was reached, on what ground",
    )
    parser.add_argument(
        "--units", choices=("si", "us"), help="units to show; default: the config's, or yours"
    )
    groups = {}
    for title, options in _GROUPS:
        group = groups[title] = parser.add_argument_group(title)
        for flag, _, field, example, text in options:
            shown = f"{text}, e.g. '{example}'" if flag != "light" else text
            group.add_argument(
                f"--{flag}",
                dest=field,
                metavar="PPFD" if flag == "light" else "VALUE",
                help=shown.replace("%", "%%"),
            )
    _add_choices(groups)
    parser.set_defaults(run=run)


def _add_choices(groups: dict[str, argparse._ArgumentGroup]) -> None:
    fan, run_of_duct = groups["the fan"], groups["duct and filter"]
    fan.add_argument(
        "--fan-point",
        action="append",
        metavar="FLOW,PRESSURE",
        help="a point of the fan's curve, e.g. '100 m³/h, 220 Pa'; give several",
    )
    fan.add_argument("--on-off", action="store_true", help="the fan only knows on and off")
    run_of_duct.add_argument("--bends", metavar="NUMBER", help="number of 90° bends")
    run_of_duct.add_argument("--duct-kind", choices=_DUCTS, help="smooth pipe or flexible duct")
    run_of_duct.add_argument(
        "--filter-drop",
        metavar="'DROP at FLOW'",
        help="carbon filter's pressure drop, e.g. '60 Pa at 187 m³/h'",
    )
    either = run_of_duct.add_mutually_exclusive_group()
    either.add_argument(
        "--filter", action="store_true", help="there is a carbon filter of unknown figures"
    )
    either.add_argument("--no-filter", action="store_true", help="there is none")
    groups["the air"].add_argument(
        "--room", choices=_ROOMS, help="where the tent stands, if its air is not given"
    )
    crop = groups["the crop"]
    crop.add_argument("--crop", choices=_CROPS, help="what grows")
    crop.add_argument("--plants", metavar="NUMBER", help="how many plants")
    crop.add_argument("--stage", choices=_STAGES, help="how far they are")
    placing = groups["placing"]
    placing.add_argument(
        "--arrangement",
        choices=_ARRANGEMENTS,
        metavar="NAME",
        help=f"where fan and filter stand now: {', '.join(_ARRANGEMENTS)}",
    )
    placing.add_argument(
        "--priority",
        action="append",
        choices=_PRIORITIES,
        help="what matters, the most important first; repeat it for more (default: smell)",
    )
    groups["energy"].add_argument("--price", metavar="PRICE", help="of a kWh, e.g. '0.31 EUR'")


def run(args: argparse.Namespace) -> int:
    """Work it out and print it."""
    from controller.sizing.arrangements import (
        DEFAULT_PRIORITIES,
        hardware_assumptions,
        place_all,
        recommend,
    )
    from controller.sizing.assess import Sizing
    from controller.sizing.page import Answer

    given = _given(args)
    name, plan, units = _plan(args, given)
    try:
        sizing = Sizing.from_plan(plan)
        plan = sizing.plan
        hardware, measured = _hardware(plan, given)
        placements = place_all(sizing, hardware)
        priorities = tuple(dict.fromkeys(args.priority or ()))
        recommended = recommend(
            placements, priorities or DEFAULT_PRIORITIES, sizing.required_m3_s.best
        )
        assumed = plan.assumptions() + hardware_assumptions(sizing, measured)
        answer = Answer(name, sizing, placements, recommended, priorities, assumed, units)
        if args.html is not None:
            _write_page(args.html, answer, hardware)
            return 0
        print(_shown(args, answer))
    except ValueError as error:
        raise UserError(f"this can't be worked out: {error}", status=2) from error
    return 0


def _shown(args: argparse.Namespace, answer: Answer) -> str:
    """The answer in the form that was asked for."""
    if args.json:
        import json

        from controller.sizing.as_json import as_json

        return json.dumps(as_json(answer), indent=2, ensure_ascii=False, allow_nan=False)
    from controller.sizing.page import brief_page, full_page
    from controller.tables import terminal_width

    width = terminal_width()
    text = full_page(answer, width) if args.full or args.explain else brief_page(answer, width)
    if args.explain:
        from controller.sizing.explain import explanation

        sums = explanation(answer.sizing, answer.assumed, answer.units, width)
        text += "\n\n" + "\n".join(sums)
    return text


def _write_page(path: Path, answer: Answer, hardware: Hardware) -> None:
    from controller.sizing.drawn.html_page import html_page
    from controller.whole_file import whole_file

    text = html_page(answer, hardware)
    with whole_file(path, "the page ") as part:
        part.write_text(text, encoding="utf-8")
    print(f"Written: {path}")


def _given(args: argparse.Namespace) -> dict[str, float]:
    """The quantities given by options, in SI."""
    return {
        field: read(text, kind, f"--{flag}")
        for _, options in _GROUPS
        for flag, kind, field, _, _ in options
        if (text := getattr(args, field)) is not None
    }


def plan_of(args: argparse.Namespace) -> Plan:
    """What is known of the tent by config and options."""
    return _plan(args, _given(args))[1]


def _plan(args: argparse.Namespace, given: dict[str, float]) -> tuple[str, Plan, Units]:
    """What to call the tent, what is known of it, and the units to answer in."""
    from controller.sizing.plan import Plan

    if args.config is not None:
        from controller.config import load_settings

        settings = load_settings(args.config).settings
        plan, name, units = Plan.from_settings(settings), settings.tent.name, settings.units
        wanted: dict[str, float] = given
    else:
        wanted = {"elevation_m": 0.0, **given}
        missing = [
            f"--{flag}"
            for flag, _, field, _, _ in _TENT
            if field in ("width_m", "depth_m", "height_m", "lamp_power_w") and field not in given
        ]
        if missing:
            raise UserError(
                f"give a config, or the tent by options: {', '.join(missing)} "
                f"{'is' if len(missing) == 1 else 'are'} missing",
                status=2,
            )
        size = {key: wanted[key] for key in ("width_m", "depth_m", "height_m", "lamp_power_w")}
        name, units = "Tent", "us" if _sounds_american(args) else "si"
        plan = _make(Plan, **size)
    plan = _with_options(plan, args, wanted)
    return name, plan, args.units or units


def _with_options(plan: Plan, args: argparse.Namespace, given: dict[str, float]) -> Plan:
    """The plan with what the options overrule."""
    changes: dict[str, Any] = {
        field: given[field]
        for field in (
            "width_m", "depth_m", "height_m", "elevation_m", "lamp_power_w", "light_ppfd",
            "min_speed", "day_speed", "night_speed", "intake_c", "intake_humidity_pct",
            "intake_co2_ppm", "lowest_co2_ppm", "leaf_area_m2",
        )
        if field in given
    }  # fmt: skip
    if "lit_s" in given:
        changes["lit_hours"] = given["lit_s"] / 3600.0
    if "change_s" in given:
        changes["minutes_per_change"] = given["change_s"] / 60.0
    for field, band in (
        ("day_high_c", "day_c"),
        ("day_high_pct", "day_humidity_pct"),
        ("night_high_pct", "night_humidity_pct"),
    ):
        if field in given:
            low = getattr(plan, band)[0]
            changes[band] = (min(low, given[field]), given[field])
    if args.on_off:
        changes.update(is_relay=True, min_speed=1.0)
    for option, field in (("crop", "crop_kind"), ("stage", "stage"), ("room", "room_kind")):
        if getattr(args, option) is not None:
            changes[field] = getattr(args, option)
    if args.plants is not None:
        changes["plant_count"] = count(args.plants, "--plants", 10_000)
    if {"crop_kind", "stage", "plant_count"} & changes.keys() and "leaf_area_m2" not in given:
        changes["leaf_area_m2"] = None  # plants named anew overrule the config's leaf area
    if args.price is not None:
        changes.update(price(args.price, plan.currency))
    return _make(replace, plan, **changes, rig=_rig(plan.rig, args, given))


def _rig(rig: Ducting, args: argparse.Namespace, given: dict[str, float]) -> Ducting:
    changes: dict[str, Any] = {
        field: given[field]
        for field in (
            "free_flow_m3_s", "max_pressure_pa", "fan_power_w", "duct_diameter_m",
            "duct_length_m", "openings_m2",
        )
        if field in given
    }  # fmt: skip
    for field in ("free_flow_m3_s", "max_pressure_pa", "duct_diameter_m", "openings_m2"):
        if field in changes and changes[field] <= 0.0:
            flag = next(flag for _, o in _GROUPS for flag, _, name, _, _ in o if name == field)
            raise UserError(f"--{flag}: must be more than nothing", status=2)
    if not 0.03 <= changes.get("duct_diameter_m", 0.1) <= 1.0:
        raise UserError("--duct-diameter: out of range; expected 3 cm to 1 m", status=2)
    if {"free_flow_m3_s", "max_pressure_pa"} & changes.keys():
        changes["fan_points"] = ()  # another fan than the config's curve
    if args.fan_point:
        changes["fan_points"] = tuple(pair(text, "--fan-point") for text in args.fan_point)
    if args.bends is not None:
        changes["bends"] = count(args.bends, "--bends", 20)
    if args.duct_kind is not None:
        changes["duct_kind"] = args.duct_kind
    if args.arrangement is not None:
        changes["arrangement"] = args.arrangement
    if args.no_filter:
        changes.update(has_filter=False, filter_drop_pa=None, filter_flow_m3_s=None)
    elif args.filter_drop is not None:
        drop_pa, flow_m3_s = drop(args.filter_drop)
        changes.update(has_filter=True, filter_drop_pa=drop_pa, filter_flow_m3_s=flow_m3_s)
    elif args.filter:
        changes.update(has_filter=True, filter_drop_pa=None, filter_flow_m3_s=None)
    return replace(rig, **changes)


def _hardware(plan: Plan, given: dict[str, float]) -> tuple[Hardware, frozenset[str]]:
    from controller.sizing.arrangements import Hardware

    measured = {field: given[field] for _, _, field, _, _ in _HARDWARE if field in given}
    typical = Hardware.typical(plan.rig.inside_diameter_m, plan.rig.has_filter)
    return replace(typical, **measured), frozenset(measured)


def _make(make: Callable[..., Plan], *args: Any, **kwargs: Any) -> Plan:
    try:
        return make(*args, **kwargs)
    except ValueError as error:
        raise UserError(str(error), status=2) from error


def _sounds_american(args: argparse.Namespace) -> bool:
    """Whether any quantity was written in US units."""
    from controller.units import looks_us

    texts = [getattr(args, field) for _, o in _GROUPS for _, _, field, _, _ in o]
    texts += [args.filter_drop, *(args.fan_point or ())]
    return any(text and looks_us(text) for text in texts)
