"""What the learning found to have changed in the tent, as the record keeps it. Pure.

Two things are kept: a change within hours (`SUDDEN_KEY`, by the hourly look) and a drift of a
sensor beside the reference week (`DRIFT_KEY`, by night). Both stand until a later look finds
otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from controller.alarms.conditions import HOLDS, Condition
from controller.alarms.kinds import OR_SENSOR
from controller.record.status import TENT_CHANGED_KEY

SUDDEN_KEY, DRIFT_KEY = TENT_CHANGED_KEY, "sensor.drift"
"""The keys under which they are saved."""

KINDS = ("reduced_transpiration", "little_rise", "less_air", "sensor_drift")
"""What is found, each an alarm of the same name."""


def saved_change(change: object) -> dict[str, Any]:
    """What the record keeps of an hour: `change` as found, None where there is none."""
    return {"change": change}


def saved_drift(drift: object, tent_digest: str, reference: object = None) -> dict[str, Any]:
    """What the record keeps of a night: `drift` since the reference week, None without one."""
    return {"drift": drift, "tent": tent_digest, "compared_with": days_of(reference)}


def days_of(week: object) -> str:
    """A learned week's days as an interval of ISO 8601; "" where they aren't known."""
    if not isinstance(week, dict):
        return ""
    return f"{week.get('from')}/{week.get('to')}"


def standing_changes(sudden: object, drift: object, tent_digest: str) -> Mapping[str, Condition]:
    """What stands, as conditions of the alarms.

    Parameters
    ----------
    sudden, drift : object
        What the record has under the two keys, of whatever version.
    tent_digest : str
        Of the config in force: a drift of another tent's sensors is no matter any more.
    """
    standing = dict(_standing_drift(drift, tent_digest))
    change = sudden_change(sudden)
    if change is None:
        return standing
    kind = change["kind"]
    compared_with = str(change.get("compared_with", ""))
    if kind == "sensor_drift":
        standing[kind] = _drift_condition(change["off_k"], change["off_pct"], compared_with)
        return standing
    by_moisture = kind == "reduced_transpiration" or (
        kind == "little_rise" and _lack(change, "g_kg") > _lack(change, "k")
    )
    unit, key = ("g/kg", "g_kg") if by_moisture else ("K", "k")
    doubt = change[f"doubt_{key}"]
    standing[kind] = HOLDS._replace(
        value=change[f"observed_{key}"],
        limit=change[f"expected_{key}"] + (doubt if kind == "less_air" else -doubt),
        unit=unit,
        share=change["share"],
        why=OR_SENSOR if change.get("or_sensor") is True else "",
        compared_with=compared_with,
    )
    return standing


def _lack(change: Mapping[str, Any], unit: str) -> float:
    """How far a rise is below the expected one, in its doubt."""
    names = ("observed", "expected", "doubt")
    observed, expected, doubt = (float(change[f"{name}_{unit}"]) for name in names)
    return (expected - observed) / max(1e-6, doubt)


def sudden_change(saved: object) -> dict[str, Any] | None:
    """A change within hours, if what was saved is one that this version knows."""
    try:
        change: Any = saved["change"]  # type: ignore[index]
        numbers = [float(change[name]) for name in _NUMBERS]
    except (KeyError, TypeError, ValueError, OverflowError):
        return None
    if not all(map(math.isfinite, numbers)) or change.get("kind") not in KINDS:
        return None
    return {**change, **dict(zip(_NUMBERS, numbers, strict=True))}


_NUMBERS = (
    *("observed_k", "expected_k", "doubt_k", "observed_g_kg", "expected_g_kg", "doubt_g_kg"),
    *("share", "off_k", "off_pct"),
)


def _standing_drift(saved: object, tent_digest: str) -> dict[str, Condition]:
    if not isinstance(saved, dict) or saved.get("tent") != tent_digest:
        return {}
    try:
        by_k, by_pct = float(saved["drift"]["by_k"]), float(saved["drift"]["by_pct"])
    except (KeyError, TypeError, ValueError, OverflowError):
        return {}
    if not (math.isfinite(by_k) and math.isfinite(by_pct)) or by_k == by_pct == 0.0:
        return {}
    return {"sensor_drift": _drift_condition(by_k, by_pct, str(saved.get("compared_with", "")))}


def _drift_condition(by_k: float, by_pct: float, compared_with: str) -> Condition:
    value, unit = by_k or by_pct, "K" if by_k else "%"
    return HOLDS._replace(value=value, unit=unit, compared_with=compared_with)
