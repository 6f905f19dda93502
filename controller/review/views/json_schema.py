"""The layout of `lungwort review --json`, as JSON Schema (draft 2020-12).

Print it with ``python -m controller.review.views.json_schema``.
"""

from __future__ import annotations

import json
from typing import Any

from controller.review.cause_conditions import CODES
from controller.review.suggestion import HOURS_UNITS
from controller.review.views.json_view import FORMAT

Json = dict[str, Any]


def _number(description: str, *, null: bool = False, least: float | None = None) -> Json:
    kind: Json = {
        "type": ["number", "null"] if null else "number",
        "description": description,
    }
    return kind if least is None else {**kind, "minimum": least}


def _count(description: str) -> Json:
    return {"type": "integer", "minimum": 0, "description": description}


def _text(description: str, *, null: bool = False) -> Json:
    return {"type": ["string", "null"] if null else "string", "description": description}


def _flag(description: str) -> Json:
    return {"type": "boolean", "description": description}


def _time(description: str, *, null: bool = False) -> Json:
    return {**_text(f"{description} (RFC 3339 with the tent's offset)", null=null),
            "format": "date-time"}  # fmt: skip


def _object(properties: Json, description: str = "") -> Json:
    found: Json = {
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }
    return {**found, "description": description} if description else found


def _list(item: Json, description: str) -> Json:
    return {"type": "array", "items": item, "description": description}


def _minutes() -> Json:
    return {
        "minutes_below": _number("Minutes below the band then in force.", least=0),
        "minutes_in": _number("Minutes in the band, its limits included.", least=0),
        "minutes_above": _number("Minutes above the band.", least=0),
        "minutes_missing": _number(
            "Minutes without a trustworthy value, those to come included; the four add up to the "
            "period's minutes.",
            least=0,
        ),
    }


def _quantity() -> Json:
    phase = _object({"mean": _number("Mean, weighted by time.", null=True), **_minutes()})
    return _object(
        {
            "unit": _text("Unit of lowest, mean and highest."),
            "lowest": _number("Lowest value in any interval.", null=True),
            "lowest_time": _time("End of the first interval with it", null=True),
            "mean": _number("Mean, weighted by time.", null=True),
            "highest": _number("Highest value in any interval.", null=True),
            "highest_time": _time("End of the first interval with it", null=True),
            **_minutes(),
            "day": {**phase, "description": "While the lamp was lit."},
            "night": {**phase, "description": "While it was dark."},
        }
    )


def _figures() -> Json:
    return {
        "readings": _count("Readings whose intervals touch the time."),
        "minutes_recorded": _number("Minutes covered by readings.", least=0),
        "temperature": _quantity(),
        "humidity": _quantity(),
        "vpd": _quantity(),
        "leaf_vpd_estimate": {
            **_object(
                {
                    "mean_pa": _number("Mean, weighted by time.", null=True),
                    "day_mean_pa": _number("While the lamp was lit.", null=True),
                    "night_mean_pa": _number("While it was dark.", null=True),
                }
            ),
            "type": ["object", "null"],
            "description": "VPD from inside the leaves to the air, modelled, not measured: leaves "
            "in balance with each hour's recorded air and the config's lamp; null if the config "
            "does not describe lamp, crop and leaf area.",
        },
        "intake_mean_c": _number("Mean temperature of the intake air.", null=True),
        "degree_hours_above": _number("Temperature above its band times time, K h.", least=0),
        "degree_hours_below": _number("Temperature below its band times time, K h.", least=0),
        "heat_warning_minutes": _number("Minutes above targets.heat_warning.", least=0),
        "fan_hours": _number("Hours the fan ran.", least=0),
        "mean_speed": _number("Mean commanded speed, 0-1.", null=True),
        "fan_starts": _count("Starts of the fan."),
        "fan_hours_by_rule": {
            "type": "object",
            "additionalProperties": {"type": "number"},
            "description": "Hours of intervals with the fan running, by the rule that ruled.",
        },
        "lamp_hours": _number("Hours the lamp was lit.", least=0),
        "daily_light_estimate": {
            **_object(
                {
                    "mol_per_m2_per_day": _number(
                        "Photons on the floor area of the tent.", least=0
                    ),
                    "lowest": _number("With a lamp of poor efficacy.", least=0),
                    "highest": _number("With one of the best.", least=0),
                }
            ),
            "type": ["object", "null"],
            "description": "Daily light integral, estimated, not measured: the lamp's rated power "
            "while lit, by common photon efficacies, over the tent's floor.",
        },
        "locked_out_minutes": _number("Minutes with an override locked out.", least=0),
        **{
            key: _number(description, null=True)
            for key, description in (
                ("energy_kwh", "Fan: rated power times speed cubed (fan laws); null if unknown."),
                ("cost", "Cost of energy_kwh; null without a price."),
                ("energy_always_on_kwh", "The fan at full speed for all recorded time."),
                ("cost_always_on", "Cost of energy_always_on_kwh."),
                ("energy_schedule_alone_kwh", "The fan as the schedule alone would run it."),
                ("cost_schedule_alone", "Cost of energy_schedule_alone_kwh."),
                ("lamp_energy_kwh", "Lamp: rated power while lit."),
                ("lamp_cost", "Cost of lamp_energy_kwh."),
                ("total_energy_kwh", "Lamp and, where its power is known, fan."),
                ("total_cost", "Cost of total_energy_kwh."),
            )
        },
    }


def _override() -> Json:
    return _object(
        {
            "rule": _text("too_hot, too_humid, too_cold or too_dry."),
            "quantity": _text("temperature, humidity, vpd or dew_point."),
            "start": _time("When it engaged"),
            "end": _time("When it released, or the end of what is known"),
            "minutes": _number("Its length in the period.", least=0),
            "ended": {"enum": ["released", "stands", "unknown"]},
            "value": _number("The value that engaged it, in `unit`.", null=True),
            "limit": _number("Its limit, in `unit`.", null=True),
            "unit": _text("Unit of value and limit."),
            "locked_out_minutes": _number("Minutes in which outside air could not help."),
            "ruled_minutes": _number("Minutes in which its rule set the fan's speed.", least=0),
            "before": _number("The quantity when it began.", null=True),
            "after": _number("The quantity when it ended.", null=True),
            "extreme": _number("Its worst value in between.", null=True),
            "extreme_unit": _text("Unit of before, after and extreme."),
            "reason": _text("Why, in words."),
            "effect": _text("What it did, in words."),
        }
    )


def _spell() -> Json:
    cause = _object(
        {
            "cause": {"enum": list(CODES), "description": "; ".join(
                f"{code}: {meaning}" for code, meaning in CODES.items())},
            "minutes": _number("How long it held in the spell.", least=0),
            "since": _time("First moment it held"),
            "until": _time("Last moment it held"),
            "value": _number("A number to go with it; see the cause.", null=True),
            "text": _text("In words."),
        }
    )  # fmt: skip
    return _object(
        {
            "start": _time("First minute out of band"),
            "end": _time("Last minute out of band"),
            "quantity": {"enum": ["temperature", "humidity", "vpd"]},
            "side": {"enum": ["above", "below"]},
            "minutes": _number("Minutes out of band in it; shorter returns are bridged.", least=0),
            "extreme": _number("Worst value, in `unit`.", null=True),
            "extreme_time": _time("When", null=True),
            "limit": _number("The limit it was past, in `unit`.", null=True),
            "unit": _text("Unit of extreme and limit."),
            "causes": _list(cause, "What held meanwhile, longest first; never guessed."),
        }
    )


def _deviation() -> Json:
    return _object(
        {
            "kind": {"enum": ["less_air", "little_rise", "heat_while_dark", "lit_out_of_hours"]},
            "start": _time("First moment"),
            "end": _time("Last moment"),
            "minutes": _number("Its length in the period.", least=0),
            "rise_k": _number("Tent over intake air where it was furthest off.", null=True),
            "expected_lowest_k": _number("What was to be expected then at least.", null=True),
            "expected_highest_k": _number("What was to be expected then at most.", null=True),
            "air_share": _number("Share of the expected air that would explain it.", null=True),
            "text": _text("In words, with what to look at."),
        }
    )


def _stood(what: str, detail: str) -> Json:
    return _object(
        {
            what: _text("Which."),
            detail: _text("Of what kind."),
            "title": _text("What is the matter, in words."),
            "start": _time("Since when, cut at the period's start"),
            "end": _time("Until when; null if it had not ended", null=True),
            "minutes": _number("How long it stood in the period.", least=0),
            "acknowledged": _time("When a person acknowledged it", null=True),
        }
    )


def _quality() -> Json:
    gap = _object(
        {"start": _time("Begin"), "end": _time("End"), "minutes": _number("Length.", least=0)}
    )
    step = _object({"time": _time("When"), "by_s": _number("By how much, forward positive.")})
    return _object(
        {
            "readings": _count("Readings in the period."),
            "readings_missed": _count("Readings that would fill the gaps."),
            "gaps": _list(gap, "Stretches without readings."),
            "measurements_failed": {"type": "object", "additionalProperties": {"type": "integer"}},
            "measurements_tried": {"type": "object", "additionalProperties": {"type": "integer"}},
            "sensor_faults": _list(_stood("sensor", "fault"), "Faults of sensors."),
            "starts": _list(_time("A start of the daemon"), "Starts of the daemon."),
            "starts_after_crash_or_power_cut": _count("Starts without a stop before them."),
            "clock_steps": _list(step, "Steps of the wall clock."),
            "config_changes": _list(_time("A change"), "Changes of the config."),
            "configs_unreadable": _count("Configs this version cannot read."),
        }
    )


def _suggestion() -> Json:
    unit = {"enum": sorted(HOURS_UNITS.values())}
    return _object(
        {
            "key": _text("The config's key, or what a plan is about."),
            "was": _text("Its value."),
            "to": _text("The value tried."),
            "plan": _flag("Whether it takes more than the config: another fan, another place."),
            "quantity": _text("What it would have shortened."),
            "side": _text("above or below."),
            "minutes_saved": _number("Minutes less out of band in the period."),
            "hours_saved": _number("Distance from the band times time less, in `hours_unit`."),
            "hours_unit": unit,
            "worse": _list(
                _object(
                    {
                        "quantity": _text("What it would have made worse."),
                        "side": _text("above or below."),
                        "minutes_more": _number("Minutes more out of band."),
                        "hours_more": _number("Distance times time more, in `hours_unit`."),
                        "hours_unit": unit,
                    }
                ),
                "Its price elsewhere in the period: ten weighted minutes a day and more.",
            ),
            "peak_more_k": _number("How much higher the highest temperature of a day rises."),
            "fan_kwh_more": _number("Energy of the fan in the period.", null=True),
            "lamp_kwh_more": _number("Energy of the lamp in the period."),
            "cost_more": _number("Price of both; null where not known.", null=True),
            "days_judged": _count("Days replayed: the period's and others around them."),
            "days_better": _count("How many of them are better for it."),
            "days_worse": _count("How many are worse."),
            "worst_day": _object(
                {
                    "date": {"type": "string", "format": "date"},
                    "minutes_more": _number("Minutes out of band, of all quantities added up."),
                    "weighted_minutes_more": _number("The same, weighted by how far out."),
                },
                "The day that comes off worst.",
            ),
            "weighted_minutes_saved_all_days": _number(
                "Minutes out of band weighted by how far, of all quantities on all days judged."
            ),
            "highest_peak_more_k": _number("The most that the peak of a judged day rises."),
            "light_mol_per_m2_per_day": _number(
                "Daily light integral, estimated, where the lamp's hours change.", null=True
            ),
        }
    )


def _trend() -> Json:
    return _object(
        {
            "kind": _text("fan_rpm, sensor_temperature or sensor_humidity."),
            "subject": _text("The speed, or the two sensors."),
            "unit": _text("Unit of first and last."),
            "first": _number("The fitted line on the first day."),
            "last": _number("The fitted line on the last day."),
            "per_week": _number("Its slope a week."),
            "days": _count("Days it rests on."),
            "significant": {"type": "boolean"},
        }
    )


def schema() -> Json:
    """The JSON Schema."""
    properties = {
        "format": {"const": FORMAT},
        "tent": _text("The tent's name."),
        "record": _text("The record's file."),
        "simulated": _flag("Whether a simulation wrote the record."),
        "timezone": _text("IANA zone of the local days."),
        "from": {"type": "string", "format": "date", "description": "First local day."},
        "to": {"type": "string", "format": "date", "description": "Last local day."},
        "start": _time("First instant"),
        "end": _time("End, not included"),
        "minutes": _number("Length of the period.", least=0),
        "minutes_to_come": _number("What of it lies in the future.", least=0),
        "headline": _text("What happened, in one sentence."),
        "also": _list(_text("A sentence."), "What else a grower should know."),
        **_figures(),
        "currency": _text("ISO 4217 code of every cost."),
        "deviations": _list(_deviation(), "When the tent was not as its config lets expect."),
        "overrides": _list(_override(), "Overrides in the order of their start."),
        "spells": _list(_spell(), "Stretches out of band."),
        "suggestions": _list(_suggestion(), "What to change; only what a replay has shown."),
        "suggestions_note": _text(
            "What no change would have helped, or cannot be said, and why; may be empty."
        ),
        "changes_replayed": _count("How many changes were replayed."),
        "model_error": _object(
            {
                "temperature_mean_k": _number("Readings of the tent less the model's air."),
                "humidity_mean_pct": _number("The same of humidity."),
                "temperature_spread_k": _number("Root mean square about the mean."),
            },
            "How far the tent's readings are from the simulated tent; zeros where none was run.",
        ),
        "alarms": _list(_stood("alarm", "priority"), "Alarms that stood."),
        "data_quality": _quality(),
        "days": _list(
            _object({"date": {"type": "string", "format": "date"}, **_figures()}),
            "The same figures by local day.",
        ),
        "trends": _list(_trend(), "Slow changes; only for more than one day."),
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A review of a tent's record",
        **_object(properties),
    }


if __name__ == "__main__":
    print(json.dumps(schema(), indent=2, ensure_ascii=False))
