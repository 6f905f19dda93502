"""Single values in words, their unit taken from a reason or from a key."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Mapping
from zoneinfo import ZoneInfo

from controller import display
from controller.display import Units

UTC = ZoneInfo("UTC")


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
    if unit == "ppm":
        return display.co2(value)
    if unit == "g/kg":
        return f"{value:.1f} g/kg"
    return display.speed(value)


_FAULTS = {
    "dead": "gives no readings",
    "stuck": "gives the same reading for too long",
    "absurd": "gives impossible values",
    "jumped": "jumps faster than air can change",
    "disagrees": "disagrees with its twin",
}


def sensor_fault_words(sensor: str, fault: str) -> str:
    """What is wrong with a sensor: "sensor canopy gives no readings"."""
    return f"sensor {sensor} {_FAULTS.get(fault, 'failed: ' + fault)}"


def doubt_words(compared_with: object, or_sensor: bool, zone: ZoneInfo = UTC) -> str:
    """What the readings were compared with, and whether a sensor may be why; "" if neither.

    Parameters
    ----------
    compared_with : object
        ``"config"``, or the days that were learned from as an interval of ISO 8601.
    or_sensor : bool
        Whether a sensor that reads otherwise than it did would show the same.
    zone : zoneinfo.ZoneInfo
        The tent's zone.
    """
    sentences = []
    if compared_with == "config":
        sentences.append("Compared with the config's figures.")
    else:
        with contextlib.suppress(ValueError, OverflowError, OSError):
            first, last = (dt.datetime.fromisoformat(at) for at in str(compared_with).split("/"))
            days = display.days(first.timestamp(), last.timestamp(), zone)
            sentences.append(f"Compared with the tent as learned {days}.")
    if or_sensor:
        sentences.append("A sensor that reads otherwise than it did would show the same.")
    return " ".join(sentences)


def compared_words(value: float, limit: float, unit: str, units: Units) -> str:
    """A value beside its limit, and on which side of it where both look the same."""
    shown, bound = quantity_words(value, unit, units), quantity_words(limit, unit, units)
    if shown != bound or abs(value - limit) < 0.001:  # limits are recorded with four decimals
        return f"{shown} (limit {bound})"
    side = "above" if value > limit else "below"
    return f"{shown} (just {side} the limit of {bound})"


def out_of_band_words(value: float, limit: float, unit: str, units: Units) -> str:
    """The same of a value that an override compares, with its name where the unit isn't enough."""
    shown = compared_words(value, limit, unit, units)
    if unit == "K":
        number, _, bound = shown.partition(" (")
        return f"coldest surface {number} above the dew point ({bound}"
    return f"VPD {shown}" if unit == "Pa" else shown


def alarm_value_words(alarm: str, value: float, limit: float, unit: str, units: Units) -> str:
    """An alarm's value beside what it was compared with."""
    if alarm == "ventilation_limit":
        return out_of_band_words(value, limit, unit, units)
    shown, bound = quantity_words(value, unit, units), quantity_words(limit, unit, units)
    if alarm == "condensation":
        return f"fabric about {shown}, dew point {bound}"
    if alarm == "less_air":
        return f"{shown}, at most {bound} expected"
    if alarm in ("little_rise", "reduced_transpiration"):
        return f"{shown}, {bound} or more expected"
    return compared_words(value, limit, unit, units)


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


def field_words(key: str, value: object, units: Units, zone: ZoneInfo = UTC) -> str:
    """One field in words, its unit taken from its key: ``age_s`` 90 as "age 1 min 30 s"."""
    amount = number(value)
    if amount is not None:
        if key.endswith("_ms") and amount > 1e11:
            return f"{key[:-3].replace('_', ' ')} {local(amount, zone)}"
        for suffix, show in sorted(_BY_SUFFIX, key=lambda pair: -len(pair[0])):
            if key.endswith(suffix):
                return f"{key[: -len(suffix)].replace('_', ' ')} {show(amount, units)}"
        if key in ("speed", "was"):
            return f"{key} {display.speed(amount)}"
        return f"{key.replace('_', ' ')} {amount:g}"
    if isinstance(value, bool):
        return f"{key.replace('_', ' ')} {'yes' if value else 'no'}"
    return f"{key.replace('_', ' ')} {value}"


def until_words(data: Mapping[str, object], zone: ZoneInfo) -> str:
    """ " until 14:30", from a time in ms or in text; empty without one."""
    until = data.get("until_ms", data.get("until"))
    at = number(until)
    if at is not None:
        return f" until {local(at if at > 1e11 else at * 1000, zone)}"
    if isinstance(until, str):
        instant = dt.datetime.fromisoformat(until)
        if instant.tzinfo is None:
            return f" until {until}"
        return f" until {local(instant.timestamp() * 1000, zone)}"
    return ""


def local(at_ms: float, zone: ZoneInfo) -> str:
    """An instant [Unix ms] as local date and time."""
    return dt.datetime.fromtimestamp(at_ms / 1000, zone).strftime("%Y-%m-%d %H:%M")


def number(value: object) -> float | None:
    """A number from JSON; None for anything else, booleans included."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
