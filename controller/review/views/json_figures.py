"""The figures of a period or a day in `lungwort review --json`: every key and what it means."""

from __future__ import annotations

from controller.review.views.json_fields import (
    Getter,
    Layout,
    count,
    nested,
    number,
    numbers_by_name,
    spread,
    text,
    time,
)

UNITS = {"temperature": "°C", "humidity": "%", "vpd": "Pa"}

_MINUTES: Layout = (
    number("minutes_below", "Minutes below the band then in force.",
           lambda _, m: m.below, 4, least=0),
    number("minutes_in", "Minutes in the band, its limits included.",
           lambda _, m: m.within, 4, least=0),
    number("minutes_above", "Minutes above the band.", lambda _, m: m.above, 4, least=0),
    number("minutes_missing",
           "Minutes without a trustworthy value, those to come included; the four add up to the "
           "period's minutes.", lambda _, m: m.missing, 4, least=0),
)  # fmt: skip

_PHASE: Layout = (
    number("mean", "Mean, weighted by time.", lambda _, p: p.mean, 4, null=True),
    *spread(_MINUTES, lambda p: p.minutes),
)


def _excess(unit: str, get: Getter) -> Layout:
    return (
        number(
            f"above_{unit}", "Above its band times time.", lambda r, f: get(r, f)[0], 4, least=0
        ),
        number(
            f"below_{unit}", "Below its band times time.", lambda r, f: get(r, f)[1], 4, least=0
        ),
    )


_EXCESS: Layout = (
    nested(
        "temperature",
        _excess("k_h", lambda _, f: (f.degree_hours_above, f.degree_hours_below)),
        lambda _, f: f,
    ),
    nested("humidity", _excess("pct_h", lambda _, f: f.humidity_excess), lambda _, f: f),
    nested("vpd", _excess("kpa_h", lambda _, f: f.vpd_excess), lambda _, f: f),
)


def _quantity(name: str) -> Layout:
    return (
        text("unit", "Unit of lowest, mean and highest.", lambda _, q: UNITS[name]),
        number("lowest", "Lowest value in any interval.", lambda _, q: q.lowest, 4, null=True),
        time("lowest_time", "End of the first interval with it",
             lambda _, q: q.lowest_ms, null=True),
        number("mean", "Mean, weighted by time.", lambda _, q: q.mean, 4, null=True),
        number("highest", "Highest value in any interval.", lambda _, q: q.highest, 4, null=True),
        time("highest_time", "End of the first interval with it",
             lambda _, q: q.highest_ms, null=True),
        *spread(_MINUTES, lambda q: q.minutes),
        nested("day", _PHASE, lambda _, q: q.day, "While the lamp was lit."),
        nested("night", _PHASE, lambda _, q: q.night, "While it was dark."),
    )  # fmt: skip


_LEAF_VPD: Layout = (
    number("mean_pa", "Mean, weighted by time.", lambda _, v: v.mean, 1, null=True),
    number("day_mean_pa", "While the lamp was lit.", lambda _, v: v.day_mean, 1, null=True),
    number("night_mean_pa", "While it was dark.", lambda _, v: v.night_mean, 1, null=True),
)

_DAILY_LIGHT: Layout = (
    number("mol_per_m2_per_day", "Photons on the floor area of the tent.",
           lambda _, light: light.best, 3, least=0),
    number("lowest", "With a lamp of poor efficacy.", lambda _, light: light.low, 3, least=0),
    number("highest", "With one of the best.", lambda _, light: light.high, 3, least=0),
)  # fmt: skip

# The fan's under the names that a rehearsal uses; the lamp's and their sum beside them.
_ENERGY: Layout = (
    number("assumed_fan_w", "The fan's rated power by its flow; null where the config gives it.",
           lambda _, e: e.assumed_fan_w, 1, null=True),
    number("energy_kwh", "Fan: rated power times speed cubed (fan laws); null if unknown.",
           lambda _, e: e.fan_kwh, 6, null=True),
    number("cost", "Cost of energy_kwh; null without a price.",
           lambda _, e: e.fan_cost, 6, null=True),
    number("energy_always_on_kwh", "The fan at full speed for all recorded time.",
           lambda _, e: e.always_on_kwh, 6, null=True),
    number("cost_always_on", "Cost of energy_always_on_kwh.",
           lambda _, e: e.always_on_cost, 6, null=True),
    number("energy_schedule_alone_kwh", "The fan as the schedule alone would run it.",
           lambda _, e: e.schedule_kwh, 6, null=True),
    number("cost_schedule_alone", "Cost of energy_schedule_alone_kwh.",
           lambda _, e: e.schedule_cost, 6, null=True),
    number("lamp_energy_kwh", "Lamp: rated power while lit.",
           lambda _, e: e.lamp_kwh, 6, null=True),
    number("lamp_cost", "Cost of lamp_energy_kwh.", lambda _, e: e.lamp_cost, 6, null=True),
    number("total_energy_kwh", "Lamp and, where its power is known, fan.",
           lambda _, e: e.total_kwh, 6, null=True),
    number("total_cost", "Cost of total_energy_kwh.", lambda _, e: e.total_cost, 6, null=True),
)  # fmt: skip

FIGURES: Layout = (
    count("readings", "Readings whose intervals touch the time.", lambda _, f: f.readings),
    number("minutes_recorded", "Minutes covered by readings.",
           lambda _, f: f.covered_minutes, 3, least=0),
    nested("temperature", _quantity("temperature"), lambda _, f: f.temperature),
    nested("humidity", _quantity("humidity"), lambda _, f: f.humidity),
    nested("vpd", _quantity("vpd"), lambda _, f: f.vpd),
    nested("leaf_vpd_estimate", _LEAF_VPD, lambda _, f: f.leaf_vpd,
           "VPD from inside the leaves to the air, modelled, not measured: leaves "
           "in balance with each hour's recorded air and the config's lamp; null if the config "
           "does not describe lamp, crop and leaf area.", null=True),
    number("intake_mean_c", "Mean temperature of the intake air.",
           lambda _, f: f.intake_mean_c, 3, null=True),
    number("degree_hours_above", "Temperature above its band times time, K h.",
           lambda _, f: f.degree_hours_above, 4, least=0),
    number("degree_hours_below", "Temperature below its band times time, K h.",
           lambda _, f: f.degree_hours_below, 4, least=0),
    nested("excess", _EXCESS, lambda _, f: f,
           "How far each quantity was out of band, times for how long."),
    number("heat_warning_minutes", "Minutes above targets.heat_warning.",
           lambda _, f: f.minutes_above_warning, 3, least=0),
    number("fan_hours", "Hours the fan ran.", lambda _, f: f.fan.hours, 4, least=0),
    number("mean_speed", "Mean commanded speed, 0-1.",
           lambda _, f: f.fan.mean_speed, 5, null=True),
    count("fan_starts", "Starts of the fan.", lambda _, f: f.fan.starts),
    count("speed_changes", "Changes of the fan's speed, by the events.",
          lambda _, f: f.fan.speed_changes),
    numbers_by_name("fan_hours_by_rule", "number",
                    lambda _, f: {rule: round(minutes / 60.0, 4) + 0.0 for rule, minutes in
                                  sorted(f.fan.minutes_by_rule.items())},
                    "Hours of intervals with the fan running, by the deciding rule."),
    number("lamp_hours", "Hours the lamp was lit.", lambda _, f: f.lamp_hours, 4, least=0),
    nested("daily_light_estimate", _DAILY_LIGHT, lambda _, f: f.daily_light,
           "Daily light integral, estimated, not measured: the lamp's rated power "
           "while lit, by common photon efficacies, over the tent's floor.", null=True),
    number("locked_out_minutes", "Minutes with an override locked out.",
           lambda _, f: f.locked_out_minutes, 3, least=0),
    *spread(_ENERGY, lambda f: f.energy),
)  # fmt: skip
