"""`lungwort air`: the state of the air from any two quantities, as table, JSON and chart."""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from controller.air import AirState, ImpossibleAirError, pressure_at_elevation_pa, state_from
from controller.commands.arguments import HelpPage, add_record, complete_files, option_quantity
from controller.errors import UserError

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from controller.charts.content import CropBand, PlottedReading
    from controller.config import Settings
    from controller.display import Units

AIR_HELP = "work out the air from any two of temperature, humidity, dew point, VPD, wet bulb"
AIR_DESCRIPTION = """\
Work out everything about the air from any two of its quantities, at your elevation.

Give exactly two of --temperature, --humidity, --dew-point, --vpd and --wet-bulb, each with its
unit. With --config and neither, the newest reading of that tent's record is taken. The table
comes in US units when a temperature is given in °F or the config is in US units.
"""
AIR_EPILOG = """\
examples:
  lungwort air --temperature "24 °C" --humidity "60 %"
  lungwort air --temperature "75 °F" --vpd "1.1 kPa" \\
      --elevation "5280 ft" --leaf-offset "-3 °F"
  lungwort air --dew-point "14 °C" --wet-bulb "17 °C" --json
  lungwort air --temperature=-3°C --humidity=80%   (a minus wants the =)
  lungwort air --config config/basil.yaml --day yesterday --plot air.png
"""

# Option, key of the state, kind of quantity, example.
_QUANTITIES = (
    ("temperature", "temperature_c", "temperature", "24 °C"),
    ("humidity", "humidity_pct", "humidity", "60 %"),
    ("dew_point", "dew_point_c", "temperature", "14 °C"),
    ("vpd", "vpd_pa", "pressure", "1.1 kPa"),
    ("wet_bulb", "wet_bulb_c", "temperature", "18 °C"),
)


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Declare the command and its options."""
    parser = subparsers.add_parser(
        "air",
        help=AIR_HELP,
        description=AIR_DESCRIPTION,
        epilog=AIR_EPILOG,
        formatter_class=HelpPage,
    )
    pair = parser.add_argument_group("the air: exactly two of these")
    helps = {
        "temperature": "dry-bulb temperature",
        "humidity": "relative humidity",
        "dew_point": "dew point",
        "vpd": "vapour pressure deficit of the air",
        "wet_bulb": "thermodynamic wet bulb",
    }
    for option, _, _, example in _QUANTITIES:
        pair.add_argument(
            f"--{option.replace('_', '-')}",
            metavar="VALUE",
            help=f"{helps[option]}, e.g. '{example}'".replace("%", "%%"),
        )
    parser.add_argument(
        "--elevation",
        metavar="HEIGHT",
        help="height above sea level, e.g. '1600 m'; default: the config's, else sea level",
    )
    parser.add_argument(
        "--leaf-offset",
        metavar="DIFFERENCE",
        help="leaf minus air temperature, e.g. '-2 K', for the VPD of the leaf",
    )
    parser.add_argument("--json", action="store_true", help="print JSON, in SI, units in the keys")
    complete_files(
        parser.add_argument(
            "--config", metavar="CONFIG", type=Path, help="a tent: its bands, elevation and record"
        )
    )
    add_record(parser)
    chart = parser.add_argument_group("the chart")
    complete_files(
        chart.add_argument(
            "--plot", metavar="FILE", type=Path, help="write a chart: .png, .svg or .pdf"
        )
    )
    chart.add_argument(
        "--chart",
        choices=("psychrometric", "vpd"),
        default="psychrometric",
        help="which chart to draw (default: psychrometric)",
    )
    chart.add_argument(
        "--day",
        metavar="DAY",
        help="put that day's readings on it: YYYY-MM-DD, today, yesterday, newest",
    )
    parser.set_defaults(run=run)


@dataclass(frozen=True, slots=True)
class _Asked:
    """What the options ask for, in SI."""

    given: dict[str, float]
    units: Units
    elevation_m: float
    leaf_offset_k: float | None
    settings: Settings | None
    record: Path | None


def run(args: argparse.Namespace) -> int:
    """Work it out and print it."""
    asked = _ask(args)
    if args.day and not (args.plot and asked.settings):
        raise UserError("--day puts readings on a chart: give --plot and --config with it", 2)
    if args.plot:
        from controller.charts.canvas import check_file

        check_file(args.plot)
    pressure_pa = _pressure(asked)
    name, at = "Air", None
    state: AirState | None = None
    if len(asked.given) == 2:
        state = _state(pressure_pa, asked)
    elif asked.given or asked.settings is None or asked.record is None:
        raise UserError(
            "give exactly two of --temperature, --humidity, --dew-point, --vpd and --wet-bulb "
            f"(got {len(asked.given)}), or --config for the newest reading of a tent",
            status=2,
        )
    elif not args.day:
        try:
            state, name, at = _newest_state(asked.settings, asked.record, pressure_pa)
        except UserError as error:
            if not args.plot:
                raise
            # A tent that is only planned still has its bands.
            print(f"lungwort: {error.message}; the chart shows the bands alone", file=sys.stderr)
    if state is not None:
        _print_state(args, asked, state, name, at)
    if args.plot:
        _plot(args, asked, state, pressure_pa)
    return 0


def _ask(args: argparse.Namespace) -> _Asked:
    given: dict[str, float] = {}
    texts: list[str] = []
    for option, key, kind, _ in _QUANTITIES:
        text = getattr(args, option)
        if text is not None:
            given[key] = option_quantity(text, kind, "--" + option.replace("_", "-"))
            if kind == "temperature":
                texts.append(text)
    settings = None
    if args.config is not None:
        from controller.config import load_settings

        settings = load_settings(args.config).settings
    elevation_m = settings.tent.elevation_m if settings else 0.0
    if args.elevation is not None:
        elevation_m = option_quantity(args.elevation, "altitude", "--elevation")
    offset_k = None
    if args.leaf_offset is not None:
        offset_k = option_quantity(args.leaf_offset, "temperature_difference", "--leaf-offset")
        if not -15.0 <= offset_k <= 15.0:
            raise UserError(
                f"--leaf-offset: {args.leaf_offset!r} is more than a leaf can differ from the "
                "air; expected from -15 to 15 K",
                status=2,
            )
    record = None
    if settings is not None:
        record = args.record or settings.record_path
    elif args.record is not None:
        raise UserError("--record needs --config, which says whose record it is", status=2)
    return _Asked(given, _units(texts, settings), elevation_m, offset_k, settings, record)


def _units(temperature_texts: list[str], settings: Settings | None) -> Units:
    """US when a temperature is written in °F; SI when all are in °C; else as the config."""
    from controller.units import is_fahrenheit

    if any(map(is_fahrenheit, temperature_texts)):
        return "us"
    if temperature_texts or settings is None:
        return "si"
    return settings.units


def _pressure(asked: _Asked) -> float:
    try:
        return pressure_at_elevation_pa(asked.elevation_m)
    except ValueError as error:
        raise UserError(f"--elevation: {error}", status=2) from error


def _state(pressure_pa: float, asked: _Asked) -> AirState:
    from controller.display import temperature

    try:
        return state_from(pressure_pa, **asked.given)
    except ImpossibleAirError as error:
        raise UserError(error.tell(lambda t_c: temperature(t_c, asked.units)), 2) from error
    except ValueError as error:
        raise UserError(str(error), status=2) from error


def _newest_state(settings: Settings, path: Path, pressure_pa: float) -> tuple[AirState, str, str]:
    """The air of the newest reading, what to call it, and its time (RFC 3339)."""
    from controller.record import RecordReader
    from controller.review.period import Period, local_date

    with RecordReader(path) as record:
        newest = record.latest()
    if newest is None:
        raise UserError(
            f"the record {path} has no reading yet (two quantities can be given instead)"
        )
    t_c, rh_pct = newest.tent_temperature_c, newest.tent_humidity_pct
    if t_c is None or rh_pct is None:
        raise UserError(
            f"the newest reading in {path} has no trusted temperature and "
            "humidity; `lungwort now` says why"
        )
    zone = _zone(settings)
    day = local_date(newest.at_ms, zone)
    period = Period.between(zone, day, day)
    try:
        state = state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    except ValueError as error:
        raise UserError(f"the newest reading in {path}: {error}") from error
    when = f"{period.local(newest.at_ms):%Y-%m-%d %H:%M}"
    return state, f"{settings.tent.name} at {when}", period.rfc3339(newest.at_ms)


def _zone(settings: Settings) -> ZoneInfo:
    from zoneinfo import ZoneInfo

    return ZoneInfo(settings.place.timezone)


def _bands(settings: Settings | None) -> tuple[CropBand, ...]:
    from controller.charts.content import CropBand

    if settings is None:
        return ()
    day, night = settings.targets.day, settings.targets.night
    return tuple(
        CropBand(
            name,
            lit,
            (targets.temperature_c.low, targets.temperature_c.high),
            (targets.humidity_pct.low, targets.humidity_pct.high),
            (targets.vpd_pa.low, targets.vpd_pa.high),
        )
        for name, lit, targets in (("day band", True, day), ("night band", False, night))
    )


def _print_state(
    args: argparse.Namespace, asked: _Asked, state: AirState, name: str, at: str | None
) -> None:
    from controller.air_table import Leaf, as_json, table
    from controller.tables import terminal_width

    leaf = None if asked.leaf_offset_k is None else Leaf(asked.leaf_offset_k)
    try:
        if args.json:
            values: dict[str, object] = {**as_json(state, asked.elevation_m, leaf)}
            if at is not None:
                values = {"time": at, **values}
            print(json.dumps(values, indent=2))
            return
        if at is not None:
            print(name)
        print(
            table(
                state,
                units=asked.units,
                elevation_m=asked.elevation_m,
                leaf=leaf,
                bands=_bands(asked.settings),
                width=terminal_width(),
            )
        )
    except ValueError as error:  # a leaf out of all range
        raise UserError(f"--leaf-offset: {error}", status=2) from error


def _plot(
    args: argparse.Namespace, asked: _Asked, state: AirState | None, pressure_pa: float
) -> None:
    from controller.charts.canvas import save
    from controller.charts.content import AirChart
    from controller.display import length

    readings: tuple[PlottedReading, ...] = ()
    readings_name = ""
    subject = "Air"
    if asked.settings is not None:
        subject = asked.settings.tent.name
        if args.day and asked.record is not None:
            readings, readings_name = _readings(asked.settings, asked.record, args.day)
            subject = f"{subject}, {readings_name}"
    kind = "psychrometric chart" if args.chart == "psychrometric" else "VPD chart"
    height = f"{length(asked.elevation_m, asked.units)} elevation"
    chart = AirChart(
        title=f"{subject}: {kind}, {height}" if args.chart != "vpd" else f"{subject}: {kind}",
        pressure_pa=pressure_pa,
        units=asked.units,
        state=state,
        bands=_bands(asked.settings),
        readings=readings,
        readings_name=readings_name,
    )
    if args.chart == "vpd":
        from controller.charts.vpd import vpd_chart as draw
    else:
        from controller.charts.psychrometric import psychrometric_chart as draw
    save(draw(chart), args.plot)
    if not args.json:
        print(f"chart written to {args.plot}")


def _readings(settings: Settings, path: Path, day: str) -> tuple[tuple[PlottedReading, ...], str]:
    """A local day's trusted readings, and the day's name."""
    from controller.charts.content import PlottedReading
    from controller.record import RecordReader
    from controller.review.period import Period, date_in_words, local_date, parse_day

    zone = _zone(settings)
    with RecordReader(path) as record:
        span = record.span()
        today = local_date(time.time() * 1000.0, zone)
        newest = local_date(span[1] - 1, zone) if span else today
        date = parse_day(day, newest=newest, today=today, option="--day")
        period = Period.between(zone, date, date)
        readings: list[PlottedReading] = []
        quarter = -1
        # A reading carries the end of its interval: the day's last one ends at midnight.
        for row in record.readings(period.start_ms + 1, period.end_ms + 1):
            if row.tent_temperature_c is None or row.tent_humidity_pct is None:
                continue
            mark = ""
            if row.at_ms < period.end_ms and period.local(row.at_ms).hour // 6 > quarter:
                quarter = period.local(row.at_ms).hour // 6
                mark = period.clock(row.at_ms)
            readings.append(
                PlottedReading(row.tent_temperature_c, row.tent_humidity_pct, row.lamp_on, mark)
            )
    if not readings:
        raise UserError(f"the record {path} has no reading on {date.isoformat()}")
    return tuple(readings), date_in_words(date, year=True)
