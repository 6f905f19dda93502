"""Tomorrow as one JSON object, in SI units with the units in the keys, and its JSON Schema.

Print the schema with ``python -m controller.tomorrow.as_json``.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

from controller.display import rfc3339
from controller.review.excursions import KINDS
from controller.tomorrow.foresee import Estimated
from controller.tomorrow.report import TomorrowReport, as_today_rms_k, peak_rms_k
from controller.tomorrow.tomorrow_words import Sentences, sentences
from controller.tomorrow.tonight import Tried

FORMAT = "lungwort.tomorrow/2"

Json = dict[str, Any]


def as_json(report: TomorrowReport) -> Json:
    """The report; `schema` describes it."""
    expected, before = report.expected, report.evening.before
    zone = ZoneInfo(report.settings.place.timezone)
    model = expected.forecast.temperature.model
    off_k = peak_rms_k(expected.hindcasts, with_outdoors=report.outdoors.is_used)
    today_k = as_today_rms_k(expected.hindcasts)
    return {
        "format": FORMAT,
        "date": report.date.isoformat(),
        "newest_reading": rfc3339(report.until_s, zone),
        "peak_temperature_c": _estimated(expected.peak_c, 3),
        "peak_at": rfc3339(expected.figures.peak_at_s, zone),
        "room_peak_temperature_c": round(expected.figures.room_peak_c, 3),
        "minutes": {_name(*kind): _estimated(expected.minutes[kind], 1) for kind in KINDS},
        "as_today": None
        if before is None
        else {
            "peak_temperature_c": round(before.peak_c, 3),
            "minutes": {_name(*kind): round(before.minutes[kind], 1) for kind in KINDS},
        },
        "tonight": [_tried(tried) for tried in report.tonight],
        "model": report.model,
        "room": {
            "days": round(report.room_days, 2),
            "time_constant_h": model.time_constant_h,
            "outdoor_share": None if model.share is None else round(model.share, 3),
            "learned_share": round(expected.shares.temperature, 3),
        },
        "outdoors": {
            "file": report.outdoors.name,
            "used": report.outdoors.is_used,
            "why_not": report.outdoors.why_not,
        },
        "checked": {
            "days": len(expected.hindcasts),
            "peak_rms_k": None if off_k is None else round(off_k, 3),
            "as_today_rms_k": None if today_k is None else round(today_k, 3),
            "added_k": round(expected.added_k, 3),
        },
        "sentences": sentences(report)._asdict(),
    }


def _name(quantity: str, side: str) -> str:
    return f"{quantity}_{side}"


def _estimated(estimated: Estimated, digits: int) -> Json:
    return {
        "value": round(estimated.value, digits),
        "low": round(estimated.low, digits),
        "high": round(estimated.high, digits),
    }


def _tried(tried: Tried) -> Json:
    change = tried.change
    return {
        "what": change.what,
        "key": change.key or None,
        "was": change.was or None,
        "to": change.to or None,
        "peak_temperature_c": round(tried.peak_c, 3),
        "gain_k": round(tried.gain_k, 3),
        "too_hot_minutes": round(tried.hot_min, 1),
        "more_energy_kwh": round(tried.more_kwh, 4),
        "more_light_h": round(tried.more_light_h, 2),
    }


def _object(properties: Json, description: str = "", *, null: bool = False) -> Json:
    schema: Json = {
        "type": ["object", "null"] if null else "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
    return {**schema, "description": description} if description else schema


def _field(kind: str, description: str, *, null: bool = False, **more: object) -> Json:
    return {"type": [kind, "null"] if null else kind, "description": description, **more}


def _interval(description: str) -> Json:
    number: Json = {"type": "number"}
    return _object({"value": number, "low": number, "high": number}, description)


def _by_kind(each: Callable[[str], Json]) -> Json:
    return {_name(*kind): each(f"{kind[0]} {kind[1]} its band") for kind in KINDS}


def schema() -> Json:
    """The JSON Schema."""
    tried = _object(
        {
            "what": {"enum": ["lamp_shifted", "lamp_shortened", "night_speed", "room_aired"]},
            "key": _field("string", "The config's key; null where no setting changes.", null=True),
            "was": _field("string", "Its value, in the user's units.", null=True),
            "to": _field("string", "The value that was tried.", null=True),
            "peak_temperature_c": _field("number", "Tomorrow's peak with it [°C]."),
            "gain_k": _field("number", "By how much that is lower [K]."),
            "too_hot_minutes": _field("number", "Time above the band with it [min]."),
            "more_energy_kwh": _field("number", "Fan and lamp, to the end of tomorrow [kWh]."),
            "more_light_h": _field("number", "Lit hours more, to the end of tomorrow [h]."),
        }
    )
    time = "(RFC 3339 with the tent's offset)"
    properties = {
        "format": {"const": FORMAT},
        "date": _field("string", "Tomorrow, local.", format="date"),
        "newest_reading": _field("string", f"Of the record {time}.", format="date-time"),
        "peak_temperature_c": _interval("The tent's, as its sensors read it; 90 % interval [°C]."),
        "peak_at": _field("string", f"When {time}.", format="date-time"),
        "room_peak_temperature_c": _field("number", "Of the air drawn in [°C]."),
        "minutes": _object(
            _by_kind(lambda what: _interval(f"Tomorrow's time with {what} [min].")),
            "Time out of band, with 90 % intervals.",
        ),
        "as_today": _object(
            {
                "peak_temperature_c": _field("number", "[°C]"),
                "minutes": _object(_by_kind(lambda what: _field("number", f"{what} [min]"))),
            },
            "The 24 hours up to the newest reading; null where too little was recorded.",
            null=True,
        ),
        "tonight": {"type": "array", "items": tried, "description": "What would help."},
        "model": _object(
            {
                "tent": {"enum": ["learned", "configured"]},
                "from": _field("string", "When it was learned from.", null=True),
                "to": _field("string", "Up to when.", null=True),
            },
            "The tent's model.",
        ),
        "room": _object(
            {
                "days": _field("number", "Days of intake air it was learned from."),
                "time_constant_h": _field("number", "How fast it follows [h]."),
                "outdoor_share": _field(
                    "number",
                    "How far a lasting change outdoors comes through; null without a forecast.",
                    null=True,
                ),
                "learned_share": _field("number", 'How much it counts beside "as today", 0 to 1.'),
            },
            "The room as learned.",
        ),
        "outdoors": _object(
            {
                "file": _field("string", "The forecast's file; null without one.", null=True),
                "used": _field("boolean", "Whether tomorrow rests on it."),
                "why_not": _field("string", "Why it is not used, with file and line.", null=True),
            },
            "The forecast of outdoors.",
        ),
        "checked": _object(
            {
                "days": _field("integer", "Past days whose forecasts were worked out again."),
                "peak_rms_k": _field("number", "How far their peaks were off [K].", null=True),
                "as_today_rms_k": _field("number", 'How far "as today" was off [K].', null=True),
                "added_k": _field("number", "Added to the peak for what was always missed [K]."),
            },
            "How good such forecasts were.",
        ),
        "sentences": _object(
            {part: {"type": "array", "items": {"type": "string"}} for part in Sentences._fields},
            "In words, in the user's units.",
        ),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A tent's tomorrow",
        **_object(properties),
    }


if __name__ == "__main__":
    print(json.dumps(schema(), indent=2, ensure_ascii=False))
