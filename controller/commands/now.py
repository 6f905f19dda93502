"""`lungwort now`: the last reading, what the fan does, why, and what comes next."""

from __future__ import annotations

import argparse
import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from controller.commands.arguments import HelpPage, add_config, add_record
from controller.commands.in_force import settings_in_force

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.display import Units
    from controller.record import ReadingRow, RecordReader
    from controller.record.status import DaemonStatus

NOW_HELP = "show the last reading, what the fan does and why, and what comes next"
NOW_DESCRIPTION = """\
Show the tent's last reading, what the fan does and why, what the timetable changes next, and which
alarms stand.
Reads the record, after asking a running daemon to write what it still holds, so it works with the
daemon and also when that is stopped; a reading that is too old for a running daemon is marked as
old, one of a simulation as simulated.
"""

_EXAMPLES = """\
examples:
  lungwort now /etc/lungwort/chillies.yaml
  lungwort now /etc/lungwort/chillies.yaml --json
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "now",
        help=NOW_HELP,
        description=NOW_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    add_record(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    import json
    import time

    from controller.record import RecordReader
    from controller.tables import terminal_width

    settings = settings_in_force(args.config)
    path = args.record or settings.record_path
    is_fresh = _had_committed(path)
    with RecordReader(path) as reader, reader.snapshot():
        view = look(reader, settings, time.time(), is_fresh=is_fresh)
    print(
        json.dumps(as_json(view), ensure_ascii=False)
        if args.json
        else "\n".join(as_text(view, settings.tent.name, terminal_width()))
    )
    return 0


@dataclass(frozen=True, slots=True)
class NowView:
    """All that is shown.

    Attributes
    ----------
    reading : ReadingRow
        The newest one.
    status : DaemonStatus or None
        What the daemon last said of the fan; None in a record that never had it.
    age_s, stale_after_s : float
        Age of the reading, and from which on it counts as old [s].
    is_simulated : bool
        Whether a simulation wrote the record; its reading has no age then.
    leaf_sensors : frozenset of str
        Names of the sensors that look at leaves.
    alarms : tuple of dict
        Those that stand, as `lungwort alarms --json` prints them.
    """

    reading: ReadingRow
    status: DaemonStatus | None
    age_s: float
    stale_after_s: float
    zone: ZoneInfo
    units: Units
    is_simulated: bool
    leaf_sensors: frozenset[str] = frozenset()
    alarms: tuple[dict[str, Any], ...] = ()

    @property
    def is_stale(self) -> bool:
        """Whether the daemon should have written since; also of a reading in the future."""
        return not -self.stale_after_s <= self.age_s <= self.stale_after_s

    @property
    def fan_speed(self) -> float:
        """The speed last commanded; without that, the last interval's mean."""
        return self.reading.fan_speed if self.status is None else self.status.speed

    @property
    def reasons(self) -> tuple[dict[str, object], ...]:
        """The reasons last given; without them, the rule of the last reading."""
        if self.status is not None:
            return self.status.reasons
        return ({"rule": self.reading.rule, "status": "deciding"},)


def _had_committed(record: Path) -> bool:
    """Whether a running daemon wrote just now what it still held in memory."""
    from controller.daemon.control_socket import ask, socket_path
    from controller.errors import UserError

    try:
        reply = ask(socket_path(record), {"command": "commit"})
    except UserError:
        return False  # none runs, or it may not be asked: the record tells what it has
    return bool(reply.get("recorded", True))


def look(
    reader: RecordReader, settings: Settings, now_s: float, *, is_fresh: bool = False
) -> NowView:
    """Read what is to be shown.

    Parameters
    ----------
    reader : RecordReader
        The record.
    settings : Settings
        The tent.
    now_s : float
        The present [Unix s].
    is_fresh : bool
        Whether all readings so far are in it, and none still in the daemon's memory.

    Raises
    ------
    UserError
        If there is no reading yet.
    """
    from controller.commands.alarms import recorded_alarms
    from controller.errors import UserError
    from controller.record import status as saved_status

    reading = reader.latest()
    if reading is None:
        raise UserError(
            f"no reading yet in {reader.path}; the first comes at the end of the daemon's first "
            "record interval"
        )
    saved = reader.state(saved_status.KEY)
    is_simulated = reader.state(saved_status.SIMULATED_KEY) is not None
    zone = ZoneInfo(settings.place.timezone)
    alarms = recorded_alarms(reader, zone, is_dark=not reading.lamp_on)
    return NowView(
        reading=reading,
        status=None if saved is None else saved_status.DaemonStatus.from_json(saved.value),
        age_s=0.0 if is_simulated else now_s - reading.at_ms / 1000,
        stale_after_s=3 * settings.record.interval_s
        + (0.0 if is_fresh else settings.record.commit_every_s),
        zone=zone,
        units=settings.units,
        is_simulated=is_simulated,
        leaf_sensors=frozenset(s.name for s in settings.sensors if s.role == "leaf"),
        alarms=tuple(alarm for alarm in alarms if alarm["ended"] is None),
    )


def as_json(view: NowView) -> dict[str, object]:
    """The view in SI, units in the keys, times RFC 3339 with the tent's offset."""
    from controller.display import rfc3339
    from controller.wording import reason_words

    row, change = view.reading, view.status.next_change if view.status else None
    return {
        "time": rfc3339(row.at_ms / 1000, view.zone),
        "age_s": round(view.age_s, 1),
        "stale": view.is_stale,
        "simulated": view.is_simulated,
        "temperature_c": _rounded(row.tent_temperature_c, 2),
        "humidity_pct": _rounded(row.tent_humidity_pct, 1),
        "vpd_kpa": None if row.tent_vpd_pa is None else round(row.tent_vpd_pa / 1000, 4),
        "dew_point_c": _rounded(row.tent_dew_point_c, 2),
        "intake_temperature_c": _rounded(row.intake_temperature_c, 2),
        "intake_humidity_pct": _rounded(row.intake_humidity_pct, 1),
        "co2_ppm": {s.sensor: s.co2_ppm for s in row.sensors if s.co2_ppm is not None},
        "leaf_temperature_c": {
            s.sensor: _rounded(s.temperature_c, 2)
            for s in row.sensors
            if s.sensor in view.leaf_sensors
        },
        "fan_speed": round(view.fan_speed, 4),
        "fan_rpm": _rounded(row.fan_rpm, 0),
        "reasons": [
            {**reason, "text": reason_words(reason, "si", view.zone)} for reason in view.reasons
        ],
        "lamp_on": view.status.lamp_on if view.status else row.lamp_on,
        "in_fan_hours": view.status.in_fan_hours if view.status else row.in_fan_hours,
        "next_change": None
        if change is None
        else {"time": rfc3339(change.at_ms / 1000, view.zone), "what": list(change.what)},
        "alarms": [alarm["alarm"] for alarm in view.alarms],
    }


def as_text(view: NowView, tent_name: str, width: int) -> list[str]:
    """The view for people, in their units, in lines of at most `width` columns."""
    from controller import display
    from controller.tables import fact_lines, wrapped
    from controller.wording import reason_words
    from controller.wording.fields import sensor_fault_words

    row, units = view.reading, view.units
    local = dt.datetime.fromtimestamp(row.at_ms / 1000, view.zone)
    facts: list[tuple[str, str]] = []
    if view.is_stale:
        old = "This is old: the daemon seems not to be running, or the clock was set."
        facts.append(("", old))
    facts += [("Alarm", _alarm_words(alarm, local)) for alarm in view.alarms]
    facts += [("", "'lungwort alarms' says what to do.")] if view.alarms else []
    facts.append(("Tent", _tent_words(row, units)))
    if row.intake_temperature_c is not None and row.intake_humidity_pct is not None:
        intake_c = display.temperature(row.intake_temperature_c, units)
        facts.append(("Intake", f"{intake_c}, {display.humidity(row.intake_humidity_pct)}"))
    facts += [
        ("Sensor", sensor_fault_words(sensor.sensor, sensor.fault).removeprefix("sensor "))
        for sensor in row.sensors
        if sensor.fault
    ]
    facts += [
        ("CO2", f"{display.co2(sensor.co2_ppm)} ({sensor.sensor})")
        for sensor in row.sensors
        if sensor.co2_ppm is not None
    ]
    facts += [
        ("Leaf", f"{display.temperature(sensor.temperature_c, units)} ({sensor.sensor})")
        for sensor in row.sensors
        if sensor.sensor in view.leaf_sensors and sensor.temperature_c is not None
    ]
    rpm = "" if row.fan_rpm is None else f", {row.fan_rpm:.0f} rpm"
    facts.append(("Fan", f"{display.speed(view.fan_speed) if view.fan_speed else 'off'}{rpm}"))
    words = [reason_words(reason, units, view.zone) for reason in view.reasons]
    facts += [("Why" if n == 0 else "", text) for n, text in enumerate(words)]
    at_end = view.status or row
    lit = "on" if at_end.lamp_on else "off"
    hours = "in" if at_end.in_fan_hours else "outside"
    facts.append(("Lamp", f"{lit}; {hours} fan hours"))
    if view.status is not None and view.status.next_change is not None:
        facts.append(("Next", _next_words(view)))
    mean_of = display.duration(row.interval_s)
    head = wrapped(
        f"{tent_name}: {local:%Y-%m-%d %H:%M %Z}, {_age(view)}; air: mean of {mean_of}", width
    )
    return [*head, *fact_lines(facts, width, label_width=9)]


def _alarm_words(alarm: dict[str, Any], now: dt.datetime) -> str:
    """What is the matter, and since when; what to do is said by `lungwort alarms`."""
    since = _clock(dt.datetime.fromisoformat(alarm["since"]), now)
    return f"{alarm['title']}, {'noticed' if alarm['learned'] else 'since'} {since}"


def _clock(at: dt.datetime, now: dt.datetime) -> str:
    """A local time, with its date where that is not today's."""
    return f"{at:%H:%M}" if at.date() == now.date() else f"{at:%Y-%m-%d %H:%M}"


def _tent_words(row: ReadingRow, units: Units) -> str:
    from controller import display

    if row.tent_temperature_c is None or row.tent_humidity_pct is None:
        return "no trustworthy reading"
    text = (
        f"{display.temperature(row.tent_temperature_c, units)}, "
        f"{display.humidity(row.tent_humidity_pct)}"
    )
    if row.tent_vpd_pa is not None:
        text += f", air VPD {display.vpd(row.tent_vpd_pa)}"
    if row.tent_dew_point_c is not None:
        text += f", dew point {display.temperature(row.tent_dew_point_c, units)}"
    return text


def _next_words(view: NowView) -> str:
    from controller import display
    from controller.wording import change_words

    assert view.status is not None
    change = view.status.next_change
    assert change is not None
    now_s = view.reading.at_ms / 1000 + view.age_s
    at, now = (dt.datetime.fromtimestamp(s, view.zone) for s in (change.at_ms / 1000, now_s))
    ahead_s = change.at_ms / 1000 - now_s
    far = f" (in {display.duration(ahead_s)})" if ahead_s > 0 else ""
    return f"{change_words(change.what)} at {_clock(at, now)}{far}"


def _age(view: NowView) -> str:
    from controller import display

    if view.is_simulated:
        return "simulated"
    if view.age_s < -1.0:
        return f"{display.duration(-view.age_s)} in the future"
    return f"{display.duration(round(max(0.0, view.age_s)))} ago"


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
