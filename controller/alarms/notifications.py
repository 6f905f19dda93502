"""The message sent for an alarm: a title, a text, and the figures."""

from __future__ import annotations

import datetime as dt
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from controller import display
from controller.alarms.conditions import Condition
from controller.alarms.kinds import OR_SENSOR, Priority
from controller.alarms.states import Alarm, AlarmChange
from controller.display import Units
from controller.wording.fields import UTC, doubt_words, out_of_band_words

_LEARNED = ("reduced_flow", "reduced_transpiration", "sensor_drift")


def is_learned(name: str, compared_with: str) -> bool:
    """Whether nightly learning found it: then it began at some time before it was noticed."""
    return name in _LEARNED or compared_with not in ("", "config")


class Message(NamedTuple):
    """One message, ready to be sent.

    Attributes
    ----------
    priority : Priority
        Of the alarm.
    title, text : str
        In plain words and the user's units.
    data : dict
        The same for programs: SI, units in the keys.
    """

    priority: Priority
    title: str
    text: str
    data: dict[str, Any]


def event_data(change: AlarmChange) -> dict[str, Any]:
    """Give the data of the event that records a change."""
    alarm, condition = change.alarm, change.condition
    data: dict[str, Any] = {
        "alarm": alarm.name,
        "priority": alarm.kind.priority.value,
        "chattering": alarm.is_chattering,
    }
    if condition is not None and condition.value is not None:
        data |= {
            "value": round(condition.value, 4),
            "limit": None if condition.limit is None else round(condition.limit, 4),
            "unit": condition.unit,
        }
    if condition is not None and condition.detail:
        data["detail"] = condition.detail
    if condition is not None and condition.share is not None:
        key = "flow_share" if alarm.name == "reduced_flow" else "air_share"
        data[key] = round(condition.share, 3)
    if change.event == "alarm.raised" and alarm.compared_with:
        data["compared_with"] = alarm.compared_with
        data["or_sensor"] = alarm.why == OR_SENSOR
    data["title"] = alarm.kind.title
    if not is_learned(alarm.name, alarm.compared_with):
        data["began_ms"] = alarm.began_ms
    if change.event == "alarm.raised":
        data["response"] = _response(change)
    return data


def message(
    change: AlarmChange,
    tent: str,
    at_ms: int,
    units: Units,
    zone: ZoneInfo = UTC,
    lesser: Alarm | None = None,
) -> Message | None:
    """Word a change of an alarm; None for an acknowledgement, which is not sent.

    Parameters
    ----------
    change : AlarmChange
        What happened.
    tent : str
        The tent's name.
    at_ms : int
        When [Unix ms].
    units : {"si", "us"}
        The user's units.
    zone : zoneinfo.ZoneInfo
        The tent's zone.
    lesser : Alarm or None
        A lesser alarm of the same matter that still stands when this one is over.
    """
    alarm, kind = change.alarm, change.alarm.kind
    if change.event == "alarm.acknowledged":
        return None
    figures = _figures(change, units)
    data = {"event": change.event, "tent": tent, "at_ms": at_ms, **event_data(change)}
    if change.event == "alarm.cleared":
        span = display.local_span(_local(alarm.began_ms, zone), _local(at_ms, zone))
        sentences = [f"From {span}."]
        sentences += [f"Now {figures}."] if figures else []
        sentences += [f"{kind.afterwards}."] if kind.afterwards else []
        if lesser is not None:
            response = lesser.kind.response_to(lesser.why, is_dark=_is_dark(change))
            sentences.append(f"Still {lesser.kind.title}. What to do: {response}.")
        return Message(kind.priority, f"{tent}: over: {kind.title}", " ".join(sentences), data)
    began = "Noticed" if is_learned(kind.name, alarm.compared_with) else "Since"
    sentences = [f"{began} {_local(alarm.began_ms, zone):%A %H:%M}."]
    sentences += [f"{figures[0].upper()}{figures[1:]}."] if figures else []
    sentences.append(doubt_words(alarm.compared_with, alarm.why == OR_SENSOR, zone))
    sentences.append(f"What to do: {_response(change)}.")
    if alarm.is_chattering:
        sentences.append("It comes and goes; you will hear no more of it until it keeps quiet.")
    text = " ".join(filter(None, sentences))
    return Message(kind.priority, f"{tent}: {kind.title}", text, data)


def _local(at_ms: float, zone: ZoneInfo) -> dt.datetime:
    return dt.datetime.fromtimestamp(at_ms / 1000.0, zone)


def _response(change: AlarmChange) -> str:
    return change.alarm.kind.response_to(change.alarm.why, is_dark=_is_dark(change))


def _is_dark(change: AlarmChange) -> bool:
    return change.condition is not None and change.condition.is_dark


def _figures(change: AlarmChange, units: Units) -> str:
    condition = change.condition
    if condition is not None and condition.detail:
        return condition.detail
    if condition is not None and change.alarm.name == "reduced_flow" and condition.share:
        return f"about {100.0 * condition.share:.0f} % of what it was"
    if condition is not None and change.alarm.name in _CHANGED and condition.value is not None:
        return _CHANGED[change.alarm.name](condition, units)
    if condition is None or condition.value is None or condition.limit is None:
        return ""
    if change.alarm.name == "ventilation_limit":
        return out_of_band_words(condition.value, condition.limit, condition.unit, units)
    if condition.unit == "K":
        return rise_words(condition.value, condition.limit, condition.share, units)
    if condition.unit == "°C":
        value, limit = (display.temperature(v, units) for v in (condition.value, condition.limit))
    elif condition.unit == "ppm":
        value, limit = (display.co2(v) for v in (condition.value, condition.limit))
    else:
        value, limit = (display.humidity(v) for v in (condition.value, condition.limit))
    if change.alarm.name == "condensation":
        return f"fabric about {value}, dew point {limit}"
    return f"{value}, limit {limit}"


def _little_moisture(condition: Condition, units: Units) -> str:
    text = f"{condition.value:.1f} g/kg more than the intake air"
    if condition.limit is not None:
        text += f", expected at least {max(0.0, condition.limit):.1f} g/kg"
    if condition.share is not None:
        text += f", as if plants and soil gave off {_share_words(condition.share)} of their water"
    return text


def _little_rise(condition: Condition, units: Units) -> str:
    assert condition.value is not None
    if condition.unit == "g/kg":
        return _little_moisture(condition._replace(share=None), units)
    text = f"{display.temperature_difference(condition.value, units)} above the intake air"
    if condition.limit is not None:
        text += f", expected at least {display.temperature_difference(condition.limit, units)}"
    return text


def _drift(condition: Condition, units: Units) -> str:
    assert condition.value is not None
    return off_words(condition.value, condition.unit, units)


def off_words(off: float, unit: str, units: Units) -> str:
    """How a sensor's difference has changed, as a sentence without its full stop."""
    size = abs(off)
    shown = display.temperature_difference(size, units) if unit == "K" else display.humidity(size)
    way = "more" if off > 0.0 else "less"
    return f"the tent's sensor reads {shown} {way} beside the intake's than it did"


_CHANGED = {
    "reduced_transpiration": _little_moisture,
    "little_rise": _little_rise,
    "sensor_drift": _drift,
}


def rise_words(rise_k: float, most_k: float, share: float | None, units: Units) -> str:
    """A rise over the intake air beside the most that was to be expected."""
    text = f"{display.temperature_difference(rise_k, units)} above the intake air, expected "
    if most_k > 0.0:
        text += f"at most {display.temperature_difference(most_k, units)}"
    else:
        text += "none with so much moisture in it"
    if share is not None and share < 0.9:
        text += f", as if {_share_words(share)} of the air came through"
    return text


def _share_words(share: float) -> str:
    return "hardly any" if share < 0.05 else f"about {100.0 * share:.0f} %"
