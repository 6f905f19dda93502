"""Events in plain words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from controller import display
from controller.display import Units
from controller.wording.fields import (
    UTC,
    alarm_value_words,
    doubt_words,
    field_words,
    local,
    number,
    sensor_fault_words,
    until_words,
)
from controller.wording.reasons import reason_words, rule_words

# Reasons told beside a change of speed.
_SHOWN = ("deciding", "limiting", "resting", "locked_out", "overruled")


def event_words(
    name: str, data: Mapping[str, object], units: Units = "si", zone: ZoneInfo = UTC
) -> str:
    """Put an event into words with its numbers; an unknown one shows its fields.

    Parameters
    ----------
    name : str
        Such as ``fan.changed``.
    data : mapping
        As recorded; missing or odd fields never raise.
    units : {"si", "us"}
        The user's units.
    zone : zoneinfo.ZoneInfo
        The tent's zone.

    Returns
    -------
    str
        One line.
    """
    try:
        to_words = _WORDERS.get(name)
        if to_words is not None:
            text = to_words(data, units, zone)
        elif name.startswith("override."):
            text = _override_event(name, data, units, zone)
        else:
            text = _plain(name, data, units, zone)
    except (AttributeError, KeyError, TypeError, ValueError, OverflowError, OSError):
        text = _raw(name, data)
    return " ".join(text.split())


def _override_event(name: str, data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    what = name.partition(".")[2]
    status = {"delayed": "delayed", "locked_out": "locked_out"}.get(what, "released")
    text = reason_words({**data, "status": status}, units, zone)
    if what == "delayed":
        return f"Override pending, {text}"
    if what == "locked_out":
        return f"Override locked out, {text.replace(', locked out because', ', because')}"
    word = {"engaged": "engaged", "released": "released", "resumed": "resumed"}.get(what, what)
    return f"Override {word}, {'was ' if what == 'released' else ''}{text}"


def _fan_changed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    speed, was = float(data["speed"]), number(data.get("was"))
    if speed == 0:
        was_words = f" (was {display.speed(was)})" if was else ""
        text = "Fan stays off" if was == 0 else f"Fan off{was_words}"
    elif was is None:
        text = f"Fan at {display.speed(speed)}"
    elif was == speed:
        text = f"Fan stays at {display.speed(speed)}"
    elif was == 0:
        text = f"Fan on at {display.speed(speed)}"
    else:
        text = f"Fan {display.speed(was)} → {display.speed(speed)}"
    reasons = data.get("reasons") or []
    if reasons:
        shown = [r for r in reasons if r.get("status") in _SHOWN]
        if reasons[0].get("rule") == "schedule":
            # Beside it also what asked for more air, which was not worth it.
            shown += [r for r in reasons if r.get("forecast")][:1]
        words = [_beside_speed(r, units, zone) for r in shown or reasons[:1]]
        return f"{text}: {'; '.join(words)}"
    return text + (f": {rule_words(data['rule'])}" if data.get("rule") else "")


def _beside_speed(reason: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    """A reason beside the speed that it asks for, which is not repeated."""
    if reason.get("rule") in ("schedule", "purge", "quiet") and reason.get("status") == "deciding":
        return rule_words(reason["rule"])
    return reason_words(reason, units, zone)


def _daemon_started(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    away_s = number(data.get("away_s"))
    words = f"Daemon started, {display.duration(away_s)} after the record ended" if away_s else ""
    others = {key: value for key, value in data.items() if key != "away_s"}
    return _with_fields(words or "Daemon started", others, units, zone)


def _daemon_stopped(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return "Daemon stopped" + (f": {data['why']}" if data.get("why") else "")


def _config_reloaded(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return "Config read anew and in force"


def _config_rejected(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Config rejected, the last good one stays in force: {data['problem']}"


def _fan_failed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    fault = data.get("fault", "not_turning")
    words = {
        "not_turning": "Fan commanded but not turning",
        "turning_when_off": "Fan turning though it should not",
    }.get(fault, f"Fan failed ({fault})")
    return _with_fields(words, {key: data.get(key) for key in ("speed", "rpm")}, units, zone)


def _fan_recovered(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    is_rest = data.get("fault") == "turning_when_off"
    words = "Fan rests again when it should" if is_rest else "Fan turning again"
    return _with_fields(words, {key: data.get(key) for key in ("speed", "rpm")}, units, zone)


def _lamp_switched(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    text = f"Lamp {'on' if data.get('on', data.get('lamp_on')) else 'off'}"
    how = {"photocell": ", as the photocell sees", "own_timer": ", by its timer's hours"}
    return text + how.get(str(data.get("by")), "")


def _fan_hours_began(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    why = {
        "lamp_lit": ": the lamp is lit out of its hours",
        "clock_distrusted": ": the clock can't be trusted, so air is kept moving",
    }
    return "Fan hours began" + why.get(str(data.get("by")), "")


def _sensor_failed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    words = sensor_fault_words(str(data.get("sensor", "?")), str(data.get("fault", "failed")))
    return words[0].upper() + words[1:]


def _sensor_recovered(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Sensor {data.get('sensor', '?')} works again"


def _hold_set(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Held by hand at {display.speed(float(data['speed']))}{until_words(data, zone)}"


def _clock_stepped(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    by_s = float(data["by_s"])
    way = "forward" if by_s >= 0 else "back"
    return f"Clock stepped {way} by {display.duration(abs(by_s))}"


def _alarm(data: Mapping[str, Any], units: Units, zone: ZoneInfo, *, opening: str) -> str:
    title = data.get("title") or str(data["alarm"]).replace("_", " ")
    text = f"{opening}: {title}"
    value, limit = number(data.get("value")), number(data.get("limit"))
    if value is not None and limit is not None:
        unit = str(data.get("unit") or "")
        text += f", {alarm_value_words(data['alarm'], value, limit, unit, units)}"
    return f"{text}: {data['detail']}" if data.get("detail") else text


def _alarm_raised(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    opening = f"ALARM{_since(data, zone)}, {data.get('priority', '?')} priority"
    text = _alarm(data, units, zone, opening=opening)
    text = _with_basis(text, data, zone)
    return text + (f". What to do: {data['response']}" if data.get("response") else "")


def _alarm_cleared(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return _alarm(data, units, zone, opening=f"Alarm{_since(data, zone)} over")


def _since(data: Mapping[str, Any], zone: ZoneInfo) -> str:
    """Since when its condition holds, as every other command says it; "" in older records."""
    began_ms = number(data.get("began_ms"))
    return "" if began_ms is None else f" since {local(began_ms, zone)}"


def _alarm_acknowledged(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return _alarm(data, units, zone, opening="Alarm acknowledged")


def _notification_failed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Nobody could be told by {data.get('channel', '?')}, trying again: {data.get('why')}"


def _day_summarised(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    if not data.get("readings"):
        return f"Day {data['date']}: nothing was read"
    if data["temperature_mean_c"] is None:
        return f"Day {data['date']}: nothing that can be trusted was read"
    lowest, mean, highest = (
        display.temperature(data[f"temperature_{which}_c"], units)
        for which in ("lowest", "mean", "highest")
    )
    parts = [
        f"Day {data['date']}: {lowest} to {highest}, mean {mean}",
        f"{display.humidity(data['humidity_lowest_pct'])} to "
        f"{display.humidity(data['humidity_highest_pct'])}",
        _out_of_band(data),
        f"fan on for {display.hours_and_minutes(60 * data['fan_hours'])}",
    ]
    if data.get("locked_out_minutes"):
        parts.append(
            f"overrides locked out for {display.hours_and_minutes(data['locked_out_minutes'])}"
        )
    return "; ".join(parts)


def _out_of_band(data: Mapping[str, Any]) -> str:
    """How long a day was too hot, too cold, too humid and too dry, as far as that was counted."""
    known = {
        words: minutes
        for key, words in _TOO.items()
        if (minutes := number(data.get(f"{key}_minutes"))) is not None
    }
    shown = [
        f"{words} for {display.hours_and_minutes(minutes)}"
        for words, minutes in known.items()
        if minutes >= 1.0
    ]
    if shown:
        return ", ".join(shown)
    return "temperature and humidity in band" if len(known) == len(_TOO) else "never too hot"


_TOO = {
    "too_hot": "too hot",
    "too_cold": "too cold",
    "too_humid": "too humid",
    "too_dry": "too dry",
}


def _flow_reduced(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    since = dt.datetime.fromisoformat(data["since"]).astimezone(zone)
    text = (
        f"Fan moves {100.0 * data['flow_share']:.0f} % of its usual air, at the same speeds, "
        f"falling since {since:%-d %B}: look for a loaded filter, a kinked or loose duct, a dusty "
        "fan"
    )
    return _with_basis(text, data, zone)


def _with_basis(text: str, data: Mapping[str, Any], zone: ZoneInfo) -> str:
    """The same with what it was compared with, and whether a sensor may be why."""
    doubt = doubt_words(data.get("compared_with"), data.get("or_sensor") is True, zone)
    return f"{text}. {doubt.removesuffix('.')}" if doubt else text


def _tent_changed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return _with_basis(_change_words(data, units), data, zone)


def _change_words(data: Mapping[str, Any], units: Units) -> str:
    kind = data["kind"]
    if kind == "sensor_drift":
        off_k, off_pct = number(data.get("off_k")) or 0.0, number(data.get("off_pct")) or 0.0
        size = (
            display.temperature_difference(abs(off_k), units)
            if off_k
            else display.humidity(abs(off_pct))
        )
        way = "more" if off_k + off_pct > 0.0 else "less"
        return f"Tent's sensor reads {size} {way} beside the intake's than it did"
    observed, expected, doubt = (data[f"{key}_g_kg"] for key in _EVIDENCE)
    low, high = max(0.0, expected - doubt), expected + doubt
    moisture = f"{observed:.1f} g/kg, {low:.1f} to {high:.1f} g/kg expected"
    if kind == "reduced_transpiration":
        return f"Air takes up less moisture in the tent than it did: {moisture}"
    observed, expected, doubt = (data[f"{key}_k"] for key in _EVIDENCE)
    shown, low, high = (
        display.temperature_difference(value, units)
        for value in (observed, expected - doubt, expected + doubt)
    )
    rise = f"{shown}, {low} to {high} expected"
    if kind == "less_air":
        return f"Tent is further above its intake air than it was: {rise}"
    return f"Tent is less far above its intake air than it was: {rise}; {moisture}"


_EVIDENCE = ("observed", "expected", "doubt")


def _tent_recovered(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Tent is as learned again, {str(data['kind']).replace('_', ' ')} is over"


def _record_volatile(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Record lies on {data['why']}"


def _fixed(words: str) -> Callable[[Mapping[str, Any], Units, ZoneInfo], str]:
    """Words that stand for the name, with the fields behind them."""
    return lambda data, units, zone: _with_fields(words, data, units, zone)


def _record_set_aside(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    what = "Record of a simulation" if data.get("simulated") else "Damaged record"
    fields = {name: value for name, value in data.items() if name != "simulated"}
    return _with_fields(f"{what} set aside, a new one begun", fields, units, zone)


_WORDERS: dict[str, Callable[[Mapping[str, Any], Units, ZoneInfo], str]] = {
    "config.questioned": _fixed("Config warning"),
    "control.failed": _fixed("No control socket, hold and release cannot reach the daemon"),
    "daemon.started": _daemon_started,
    "daemon.stopped": _daemon_stopped,
    "config.loaded": _config_reloaded,
    "config.reloaded": _config_reloaded,
    "config.rejected": _config_rejected,
    "fan.changed": _fan_changed,
    "fan.failed": _fan_failed,
    "fan.recovered": _fan_recovered,
    "filter.changed": _fixed("Filter changed, by hand: what the fan moves from now on is usual"),
    "flow.reduced": _flow_reduced,
    "job.failed": _fixed("Calendar job failed"),
    "lamp.switched": _lamp_switched,
    "lamp.cut": _fixed("Lamp cut, the tent is too hot for it"),
    "lamp.restored": _fixed("Lamp given back"),
    "output.failed": _fixed("Output cannot be set"),
    "input.failed": _fixed("Input cannot be read"),
    "request.failed": _fixed("A request by hand could not be served"),
    "input.recovered": _fixed("Input can be read again"),
    "output.recovered": _fixed("Output can be set again"),
    "clock.trusted": _fixed("Clock set, the schedule can be trusted"),
    "clock.distrusted": _fixed("Clock not yet set, the schedule may be wrong"),
    "tick.failed": _fixed("A control step failed"),
    "fan_hours.began": _fan_hours_began,
    "fan_hours.ended": _fixed("Fan hours ended"),
    "purge.started": _fixed("Purge started"),
    "quiet.began": _fixed("Quiet hours began"),
    "quiet.ended": _fixed("Quiet hours ended"),
    "purge.ended": _fixed("Purge ended"),
    "sensor.failed": _sensor_failed,
    "sensor.recovered": _sensor_recovered,
    "failsafe.entered": _fixed("Failsafe, no trustworthy reading"),
    "failsafe.left": _fixed("Failsafe left: readings can be trusted again"),
    "hold.set": _hold_set,
    "hold.released": _fixed("Hold by hand released"),
    "hold.expired": _fixed("Hold by hand expired"),
    "clock.stepped": _clock_stepped,
    "tent.changed": _tent_changed,
    "tent.recovered": _tent_recovered,
    "timezone.changed": _fixed("Time zone's rules changed on this machine, lamp hours follow them"),
    "day.summarised": _day_summarised,
    "letter.written": _fixed("Letter of the day written"),
    "record.pruned": _fixed("Old readings and events deleted"),
    "record.failed": _fixed("Record cannot be written"),
    "record.recovered": _fixed("Record written again"),
    "record.set_aside": _record_set_aside,
    "record.volatile": _record_volatile,
    "record.refused": _fixed("Something could not be recorded"),
    "backup.written": _fixed("Backup written"),
    "alarm.raised": _alarm_raised,
    "alarm.cleared": _alarm_cleared,
    "alarm.acknowledged": _alarm_acknowledged,
    "notification.failed": _notification_failed,
    "library.said": _fixed("Library"),
}


def _plain(name: str, data: Mapping[str, object], units: Units, zone: ZoneInfo) -> str:
    return _with_fields(name, data, units, zone)


def _with_fields(words: str, data: Mapping[str, object], units: Units, zone: ZoneInfo) -> str:
    shown = [
        field_words(key, value, units, zone)
        for key, value in data.items()
        if not (value is None or value is False or value == "")
        and not isinstance(value, dict | list | tuple)
    ]
    reasons = data.get("reasons")
    if isinstance(reasons, list | tuple):
        shown += [reason_words(r, units, zone) for r in reasons if isinstance(r, Mapping)]
    return words + (f": {', '.join(shown)}" if shown else "")


def _raw(name: str, data: Mapping[str, object]) -> str:
    return " ".join([name, *(f"{key}={value}" for key, value in data.items())])
