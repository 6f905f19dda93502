"""Reasons for the fan's speed in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from controller import display
from controller.control.types import Reason
from controller.display import Units
from controller.record.status import as_reason_json
from controller.wording.fields import UTC, compared_words, number, quantity_words, until_words

_RULES = {
    "manual_hold": "held by hand",
    "sensor_failsafe": "failsafe",
    "quiet": "quiet hours",
    "too_hot": "too hot",
    "too_humid": "too humid",
    "too_stale": "too stale",
    "too_cold": "too cold",
    "too_dry": "too dry",
    "purge": "purge",
    "schedule": "schedule",
}

# Humidity may be within its band where the VPD is not: what is named is the limit that was passed.
_BY_QUANTITY = {
    ("too_humid", "vpd"): "VPD too low",
    ("too_humid", "dew_point"): "near the dew point",
    ("too_dry", "vpd"): "VPD too high",
}

_CHANGES = {
    "lights_on": "lights on",
    "lights_off": "lights off",
    "fan_hours_begin": "fan hours begin",
    "fan_hours_end": "fan hours end",
    "purge_starts": "purge starts",
    "purge_ends": "purge ends",
}


def rule_words(rule: object, quantity: object = None) -> str:
    """A rule's code in words: "too_hot" as "too hot", "too_humid" by VPD as "VPD too low"."""
    by_quantity = _BY_QUANTITY.get((str(rule), str(quantity)))
    return by_quantity or _RULES.get(str(rule), str(rule).replace("_", " "))


def change_words(kinds: object) -> str:
    """What the timetable changes: ("lights_on", "fan_hours_begin") as words."""
    names = (
        [kinds]
        if isinstance(kinds, str)
        else list(kinds)
        if isinstance(kinds, list | tuple)
        else []
    )
    return ", ".join(_CHANGES.get(str(name), str(name).replace("_", " ")) for name in names)


def reason_words(
    reason: Reason | Mapping[str, object], units: Units = "si", zone: ZoneInfo = UTC
) -> str:
    """Put a reason into words with its numbers.

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
        Such as "too hot, 27.3 °C (limit 26.7 °C)".
    """
    fields = as_reason_json(reason)
    rule, status = str(fields.get("rule")), fields.get("status")
    named = rule_words(rule, fields.get("quantity"))
    value, limit = number(fields.get("value")), number(fields.get("limit"))
    until = until_words(fields, zone)
    if rule == "quiet":
        return _quiet_words(str(status), value, limit, units)
    if status == "limiting":
        text = "waiting out the fan's minimum on or off time"
        if value is not None and limit is not None:
            text += f" ({display.duration(value)} of {display.duration(limit)})"
        return f"{text}, then {named}"
    if status == "resting":
        text = "resting in the dark by overrides.dark_duty"
        if value is not None and limit is not None:
            text += f" ({display.duration(value)} of {display.duration(limit)})"
        return f"{text}, then {named}"
    if rule == "manual_hold":
        return "held by hand" + (f" at {display.speed(value)}" if value is not None else "") + until
    if rule == "sensor_failsafe":
        if value is None:
            return "failsafe, no trustworthy reading since the start"
        return f"failsafe, no trustworthy reading for {display.duration(value)}"
    if rule in ("schedule", "purge"):
        speed = "" if value is None else f", {display.speed(value) if value else 'off'}"
        return rule_words(rule) + speed
    return _override_words(fields, rule, str(status), value, limit, units) + until


def _quiet_words(status: str, value: float | None, limit: float | None, units: Units) -> str:
    if value is None or limit is None:
        is_overruled = status == "overruled"
        return "near the dew point quiet hours give way" if is_overruled else rule_words("quiet")
    if status == "limiting":
        return f"in quiet hours a speed lasts {display.duration(limit)} at least"
    if status == "overruled":
        compared = compared_words(value, limit, "°C", units)
        return f"near the heat warning quiet hours give way, {compared}"
    return f"quiet hours, {display.speed(value)} at most"


def _override_words(
    fields: Mapping[str, object],
    rule: str,
    status: str,
    value: float | None,
    limit: float | None,
    units: Units,
) -> str:
    quantity, unit = fields.get("quantity"), str(fields.get("unit") or "")
    text = rule_words(rule, quantity)
    if status in ("deciding", "engaged", "ignored") and _is_back(rule, quantity, value, limit):
        text += " until back by the hysteresis"
    numbers = _comparison(quantity, value, limit, unit, units)
    if numbers:
        text += f", {numbers}"
    if status == "delayed":
        text += ", waiting out its delay"
    elif status == "ignored":
        text += ", ignored while too hot: hot air is dry because it is hot"
    elif status == "locked_out":
        text += ", locked out because " + _locked_out_words(fields, quantity, units)
    forecast = fields.get("forecast")
    if isinstance(forecast, Mapping):
        text += _forecast_words(forecast, unit, units)
    return text


def _forecast_words(forecast: Mapping[str, object], unit: str, units: Units) -> str:
    """What a modulated speed brings, and what the fastest would gain for its power.

    Such as "; 80 % brings 80.1 °F; full speed 0.2 °F less, for 11 W more".
    """
    names = ("speed", "fastest", "value", "value_at_fastest", "saved_w")
    speed, fastest, value, at_fastest, saved_w = (number(forecast.get(name)) for name in names)
    if speed is None or value is None:
        return ""
    chosen = f"{display.speed(speed)} brings" if speed else "at rest it comes to"
    text = f"; {chosen} {quantity_words(value, unit, units)}"
    if fastest is None or at_fastest is None or saved_w is None or fastest <= speed:
        return text
    best = "full speed" if fastest == 1.0 else display.speed(fastest)
    gain = abs(at_fastest - value)
    # Cooler and drier is what they are for; a VPD should rise.
    helps = at_fastest > value if unit == "Pa" else at_fastest < value
    words = (
        display.temperature_difference(gain, units)
        if unit == "°C"
        else quantity_words(gain, unit, units)
    )
    if not helps:
        return f"{text}; {best} would do no better"
    if not any(digit in words for digit in "123456789"):
        return f"{text}; {best} would hardly do better, for {display.power(saved_w)} more"
    change = "more" if unit == "Pa" else "less"
    worsens = forecast.get("worsens")
    if isinstance(worsens, Mapping):
        return f"{text}; {best} {words} {change}, but {_worsening_words(worsens, units)}"
    return f"{text}; {best} {words} {change}, for {display.power(saved_w)} more"


def _worsening_words(worsens: Mapping[str, object], units: Units) -> str:
    """What holds the fan where its power does not: "VPD too high, 1.90 kPa (limit 1.40 kPa)"."""
    words = rule_words(worsens.get("rule"), worsens.get("quantity"))
    value, limit = number(worsens.get("value")), number(worsens.get("limit"))
    if value is None or limit is None:
        return words
    return f"{words}, {compared_words(value, limit, str(worsens.get('unit') or ''), units)}"


def _is_back(rule: str, quantity: object, value: float | None, limit: float | None) -> bool:
    """Whether the value is inside its limit again, so that only the hysteresis holds the rule."""
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
        side = "above" if value >= 0 else "below"
        text = f"surfaces {display.temperature_difference(abs(value), units)} {side} it"
        least = "" if limit is None else f" (least {display.temperature_difference(limit, units)})"
        return text + least
    if limit is None:
        text = quantity_words(value, unit, units)
    else:
        text = compared_words(value, limit, unit, units)
    return f"CO2 {text}" if quantity == "co2" else text


# What the intake air would have to be, by rule; less of it helps only while it is the opposite.
_BETTER = {
    "too_hot": "cooler",
    "too_humid": "drier",
    "too_stale": "richer in CO2",
    "too_cold": "colder",
    "too_dry": "drier",
}
_INTAKE_UNITS: dict[object, str] = {"temperature": "°C", "co2": "ppm"}


def _locked_out_words(fields: Mapping[str, object], quantity: object, units: Units) -> str:
    intake, inside = number(fields.get("intake")), number(fields.get("inside"))
    rule = str(fields.get("rule"))
    # Between "not" and "enough" lies the margin that keeps an override from flapping.
    degree = "no"
    if intake is not None and inside is not None:
        is_better = intake > inside if quantity == "co2" else intake < inside
        degree = "hardly" if is_better else "no"
    text = f"the intake air is {degree} {_BETTER.get(rule, 'better')}"
    if rule in ("too_cold", "too_dry"):
        text = f"less of it would not help: {text}"
    if intake is None:
        return text
    unit = _INTAKE_UNITS.get(quantity, "g/kg")
    text += f" ({quantity_words(intake, unit, units)}"
    return text + (")" if inside is None else f", tent {quantity_words(inside, unit, units)})")
