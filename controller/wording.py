"""Reasons and events in plain words: the one place for them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from controller import display
from controller.decision.types import Reason
from controller.display import Units
from controller.record.situation import as_reason_json

_UTC = ZoneInfo("UTC")

_RULES = {
    "manual_hold": "held by hand",
    "sensor_failsafe": "failsafe",
    "too_hot": "too hot",
    "too_humid": "too humid",
    "too_cold": "too cold",
    "too_dry": "too dry",
    "purge": "timed flush",
    "schedule": "schedule",
}

_CHANGES = {
    "lights_on": "lights on",
    "lights_off": "lights off",
    "window_opens": "fan window opens",
    "window_closes": "fan window closes",
    "purge_starts": "timed flush starts",
    "purge_ends": "timed flush ends",
}

_FAULTS = {
    "dead": "gives no readings",
    "stuck": "gives the same reading for too long",
    "absurd": "gives impossible values",
    "jumped": "jumps faster than air can change",
}


def rule_words(rule: object) -> str:
    """A rule's code in words: "too_hot" as "too hot"."""
    return _RULES.get(str(rule), str(rule).replace("_", " "))


def change_words(kinds: object) -> str:
    """What the timetable changes: ("lights_on", "window_opens") as words."""
    names = (
        [kinds]
        if isinstance(kinds, str)
        else list(kinds)
        if isinstance(kinds, list | tuple)
        else []
    )
    return ", ".join(_CHANGES.get(str(name), str(name).replace("_", " ")) for name in names)


def reason_words(
    reason: Reason | Mapping[str, object], units: Units = "si", zone: ZoneInfo = _UTC
) -> str:
    """One reason in words with its numbers.

    Parameters
    ----------
    reason : Reason or mapping
        From a decision, or as recorded.
    units : {"si", "us"}
        The user's units.
    zone : zoneinfo.ZoneInfo
        The tent's zone.

    Returns
    -------
    str
        Such as "too hot: 27.3 °C, limit 26.7 °C".
    """
    fields = as_reason_json(reason)
    rule, standing = str(fields.get("rule")), fields.get("standing")
    value, limit = _number(fields.get("value")), _number(fields.get("limit"))
    until = _until(fields, zone)
    if standing == "limiting":
        text = "waiting out the fan's minimum on or off time"
        if value is not None and limit is not None:
            text += f" ({display.duration(value)} of {display.duration(limit)})"
        return f"{text}; wanted: {rule_words(rule)}"
    if rule == "manual_hold":
        return "held by hand" + (f" at {display.speed(value)}" if value is not None else "") + until
    if rule == "sensor_failsafe":
        if value is None:
            return "failsafe: no trustworthy reading since the start"
        return f"failsafe: no trustworthy reading for {display.duration(value)}"
    if rule in ("schedule", "purge"):
        return rule_words(rule) + (f": {display.speed(value)}" if value is not None else "")
    return _override_words(fields, rule, str(standing), value, limit, units) + until


def _override_words(
    fields: Mapping[str, object],
    rule: str,
    standing: str,
    value: float | None,
    limit: float | None,
    units: Units,
) -> str:
    quantity, unit = fields.get("quantity"), str(fields.get("unit") or "")
    text = rule_words(rule)
    if standing in ("ruling", "engaged") and _is_back(rule, quantity, value, limit):
        text += ", not yet back by the deadband"
    numbers = _comparison(quantity, value, limit, unit, units)
    if numbers:
        text += f": {numbers}"
    if standing == "delayed":
        text += "; waiting out its delay"
    elif standing == "withheld":
        text += "; withheld, " + _withheld_words(fields, quantity, units)
    return text


def _is_back(rule: str, quantity: object, value: float | None, limit: float | None) -> bool:
    """Whether the value is inside its limit again, so that only the deadband holds the rule."""
    if value is None or limit is None:
        return False
    # More VPD is drier, and more distance from the dew point is safer.
    is_upper = (rule in ("too_hot", "too_humid")) != (quantity in ("vpd", "dew_point"))
    return value < limit if is_upper else value > limit


def _comparison(
    quantity: object, value: float | None, limit: float | None, unit: str, units: Units
) -> str:
    if value is None:
        return ""
    if quantity == "dew_point":
        text = f"surfaces {display.temperature_difference(value, units)} above the dew point"
        if value < 0:
            text = f"surfaces {display.temperature_difference(-value, units)} below the dew point"
        least = "" if limit is None else f", least {display.temperature_difference(limit, units)}"
        return text + least
    text = quantity_words(value, unit, units)
    if quantity == "vpd":
        text = f"VPD {text}"
    return text if limit is None else f"{text}, limit {quantity_words(limit, unit, units)}"


def _withheld_words(fields: Mapping[str, object], quantity: object, units: Units) -> str:
    intake, inside = _number(fields.get("intake")), _number(fields.get("inside"))
    rule = fields.get("rule")
    if quantity == "temperature":
        better = "cooler" if rule == "too_hot" else "warmer"
        unit = "°C"
    else:
        better = "drier" if rule == "too_humid" else "moister"
        unit = "g/kg"
    if rule in ("too_cold", "too_dry"):
        text = f"less intake air would not help, it is {better}"
    else:
        text = f"the intake air is not {better}"
    if intake is None:
        return text
    text += f" ({quantity_words(intake, unit, units)}"
    return text + (")" if inside is None else f", tent {quantity_words(inside, unit, units)})")


def quantity_words(value: float, unit: str, units: Units) -> str:
    """A value in one of the units of reasons, in the user's units."""
    if unit == "°C":
        return display.temperature(value, units)
    if unit == "K":
        return display.temperature_difference(value, units)
    if unit == "%":
        return display.humidity(value)
    if unit == "Pa":
        return display.vpd(value)
    if unit == "s":
        return display.duration(value)
    if unit == "g/kg":
        return f"{value:.1f} g/kg"
    return display.speed(value)


def event_words(
    name: str, data: Mapping[str, object], units: Units = "si", zone: ZoneInfo = _UTC
) -> str:
    """One event in words with its numbers; one without words of its own shows its fields.

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
        teller = _TELLERS.get(name)
        if teller is not None:
            text = teller(data, units, zone)
        elif name.startswith("override."):
            text = _override_event(name, data, units, zone)
        else:
            text = _plain(name, data, units, zone)
    except (KeyError, TypeError, ValueError, OverflowError, OSError):
        text = _raw(name, data)
    return " ".join(text.split())


def _override_event(name: str, data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    what = name.partition(".")[2]
    standing = {"delayed": "delayed", "withheld": "withheld"}.get(what, "released")
    text = reason_words({**data, "standing": standing}, units, zone)
    if what == "delayed":
        return f"Override pending: {text}"
    if what == "withheld":
        return f"Override withheld: {text.replace('; withheld,', ';')}"
    word = {"engaged": "engaged", "released": "released", "resumed": "resumed"}.get(what, what)
    return f"Override {word}: {'was ' if what == 'released' else ''}{text}"


def _fan_changed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    speed, was = float(data["speed"]), _number(data.get("was"))
    if speed == 0:
        text = "Fan off" + (f" (was {display.speed(was)})" if was else "")
    elif was is None:
        text = f"Fan at {display.speed(speed)}"
    elif was == 0:
        text = f"Fan on at {display.speed(speed)}"
    else:
        text = f"Fan {display.speed(was)} → {display.speed(speed)}"
    reasons = data.get("reasons") or []
    if reasons:
        shown = [r for r in reasons if r.get("standing") in ("ruling", "limiting", "withheld")]
        return f"{text}: " + "; ".join(reason_words(r, units, zone) for r in shown or reasons[:1])
    return text + (f": {rule_words(data['rule'])}" if data.get("rule") else "")


def _lamp_switched(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Lamp {'on' if data.get('on', data.get('lamp_on')) else 'off'}"


def _sensor_failed(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    fault = str(data.get("fault", "failed"))
    return f"Sensor {data.get('sensor', '?')} {_FAULTS.get(fault, 'failed: ' + fault)}"


def _hold_set(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    return f"Held by hand at {display.speed(float(data['speed']))}{_until(data, zone)}"


def _clock_stepped(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    by_s = float(data["by_s"])
    way = "forward" if by_s >= 0 else "back"
    return f"Clock stepped {way} by {display.duration(abs(by_s))}"


def _day_summarised(data: Mapping[str, Any], units: Units, zone: ZoneInfo) -> str:
    if isinstance(data.get("text"), str):
        return str(data["text"])
    return _plain("day.summarised", data, units, zone)


def _fixed(words: str) -> Callable[[Mapping[str, Any], Units, ZoneInfo], str]:
    """Words that stand for the name, with the fields behind them."""
    return lambda data, units, zone: _with_fields(words, data, units, zone)


_TELLERS: dict[str, Callable[[Mapping[str, Any], Units, ZoneInfo], str]] = {
    "daemon.started": _fixed("Daemon started"),
    "daemon.stopped": _fixed("Daemon stopped"),
    "config.loaded": _fixed("Config loaded"),
    "config.reloaded": _fixed("Config reloaded"),
    "config.rejected": _fixed("Edited config rejected, the last good one stays in force"),
    "fan.changed": _fan_changed,
    "fan.failed": _fixed("Fan commanded but not turning"),
    "fan.recovered": _fixed("Fan turning again"),
    "lamp.switched": _lamp_switched,
    "lamp.cut": _fixed("Lamp cut: too hot for it"),
    "window.opened": _fixed("Fan window opened"),
    "window.closed": _fixed("Fan window closed"),
    "purge.started": _fixed("Timed flush started"),
    "purge.ended": _fixed("Timed flush ended"),
    "sensor.failed": _sensor_failed,
    "sensor.recovered": _fixed("Sensor works again"),
    "failsafe.entered": _fixed("Failsafe: no trustworthy reading"),
    "failsafe.left": _fixed("Failsafe left: readings can be trusted again"),
    "hold.set": _hold_set,
    "hold.released": _fixed("Hold by hand released"),
    "hold.expired": _fixed("Hold by hand expired"),
    "clock.stepped": _clock_stepped,
    "day.summarised": _day_summarised,
    "record.pruned": _fixed("Old readings and events deleted"),
    "record.failed": _fixed("Record cannot be written"),
    "record.recovered": _fixed("Record written again"),
    "record.set_aside": _fixed("Damaged record set aside, a new one begun"),
    "record.refused": _fixed("Something could not be recorded"),
    "backup.written": _fixed("Backup written"),
    "alarm.raised": _fixed("Alarm"),
    "alarm.cleared": _fixed("Alarm cleared"),
    "alarm.acknowledged": _fixed("Alarm acknowledged"),
    "library.said": _fixed("Library"),
}


def _plain(name: str, data: Mapping[str, object], units: Units, zone: ZoneInfo) -> str:
    return _with_fields(name, data, units, zone)


def _with_fields(words: str, data: Mapping[str, object], units: Units, zone: ZoneInfo) -> str:
    shown = [
        field_words(key, value, units, zone)
        for key, value in data.items()
        if value is not None and value != "" and not isinstance(value, dict | list | tuple)
    ]
    reasons = data.get("reasons")
    if isinstance(reasons, list | tuple):
        shown += [reason_words(r, units, zone) for r in reasons if isinstance(r, Mapping)]
    return words + (f": {', '.join(shown)}" if shown else "")


_BY_SUFFIX: tuple[tuple[str, Callable[[float, Units], str]], ...] = (
    ("_c", display.temperature),
    ("_k", display.temperature_difference),
    ("_pct", lambda value, _: display.humidity(value)),
    ("_pa", lambda value, _: display.vpd(value)),
    ("_s", lambda value, _: display.duration(value)),
    ("_w", lambda value, _: display.power(value)),
    ("_kwh", lambda value, _: display.energy(value)),
    ("_m3_s", display.flow),
)


def field_words(key: str, value: object, units: Units, zone: ZoneInfo = _UTC) -> str:
    """One field in words, its unit taken from its key: ``age_s`` 90 as "age 1 min 30 s"."""
    number = _number(value)
    if number is not None:
        if key.endswith("_ms") and number > 1e11:
            return f"{key[:-3].replace('_', ' ')} {_local(number, zone)}"
        for suffix, show in sorted(_BY_SUFFIX, key=lambda pair: -len(pair[0])):
            if key.endswith(suffix):
                return f"{key[: -len(suffix)].replace('_', ' ')} {show(number, units)}"
        if key in ("speed", "was"):
            return f"{key} {display.speed(number)}"
        return f"{key.replace('_', ' ')} {number:g}"
    if isinstance(value, bool):
        return f"{key.replace('_', ' ')} {'yes' if value else 'no'}"
    return f"{key.replace('_', ' ')} {value}"


def _raw(name: str, data: Mapping[str, object]) -> str:
    return " ".join([name, *(f"{key}={value}" for key, value in data.items())])


def _until(data: Mapping[str, object], zone: ZoneInfo) -> str:
    """ " until 14:30", from a time in ms or in text; empty without one."""
    until = data.get("until_ms", data.get("until"))
    number = _number(until)
    if number is not None:
        return f" until {_local(number if number > 1e11 else number * 1000, zone)}"
    if isinstance(until, str):
        instant = dt.datetime.fromisoformat(until)
        if instant.tzinfo is None:
            return f" until {until}"
        return f" until {_local(instant.timestamp() * 1000, zone)}"
    return ""


def _local(at_ms: float, zone: ZoneInfo) -> str:
    return dt.datetime.fromtimestamp(at_ms / 1000, zone).strftime("%Y-%m-%d %H:%M")


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
