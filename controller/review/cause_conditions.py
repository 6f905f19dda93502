"""What can keep a quantity out of its band, as tests of a single reading."""

from __future__ import annotations

from controller.review.excursions import Kind
from controller.review.fan_stalls import TURNING_RPM

FULL_SPEED = 0.995
# A fan commanded to full speed that does not turn is not at full speed.
_AT_FULL_SPEED = (
    f"r.fan_speed >= {FULL_SPEED} AND coalesce(r.fan_rpm, {TURNING_RPM}) >= {TURNING_RPM} "
    # Nor is one whose air did not come.
    "AND NOT EXISTS (SELECT 1 FROM less_air s WHERE r.at_ms > s.a AND r.at_ms <= s.b)"
)
# No override set the speed: none was engaged, or the one that was asked for no more than that.
_AS_SCHEDULED = "r.in_fan_hours = 0 AND r.rule = 'schedule'"
# Of the rule's own overrides: 1 engaged, 0 locked out, null not engaged.
_ENGAGED = (
    "(SELECT CASE WHEN r.at_ms <= g.b THEN g.helps END FROM engaged g WHERE g.a < r.at_ms "
    "ORDER BY g.a DESC LIMIT 1)"
)

CODES = {
    "intake_too_hot": "the intake air was not below the band's upper limit; value: its highest, °C",
    "intake_too_cold": "the intake air was not above the band's lower limit; value: its lowest, °C",
    "intake_too_wet": "intake air warmed to the tent's temperature would be past the limit",
    "intake_too_dry": "intake air warmed to the tent's temperature would be past the limit",
    "fan_at_full_speed": "the fan was already commanded to full speed, and nothing in the record "
    "says that it did not turn or its air did not come",
    "fan_below_full_speed": "the override set the fan's speed, at a speed below full",
    "quiet_hours": "quiet hours kept the fan slower than it was asked to run, and the intake air "
    "was such that more of it would have helped",
    "fan_at_rest": "the override was engaged and the fan rested: its minimum off time, the number "
    "of its starts, its duty in the dark, or no speed that was worth its power",
    "fan_slowed": "the fan already rested, or an override had slowed it",
    "too_hot_meanwhile": "the tent was too hot as well: less air would have made it hotter, and so "
    "drier still",
    "slowed_against_cold": "the override against too cold a tent set the fan's speed",
    "kept_running_against_humidity": "an override that dries the air set the fan's speed",
    "kept_running_against_stale_air": "the override against too little CO2 set the fan's speed",
    "kept_running_against_heat": "the override against heat set the fan's speed in a tent that was "
    "no longer too hot: until back by its hysteresis, of a relay also until its next start is due",
    "ran_for_want_of_starts": "an override asked for rest, and the fan of a relay ran on as "
    "scheduled: its next start would not have been due",
    "purge": "a purge set the fan's speed",
    "override_delay": "the override waited out its own delay; value: the delay, s",
    "minimum_off_time": "the fan waited out its minimum off time; value: that time, s",
    "outside_fan_hours": "it was outside the fan hours and no override acted",
    "sensor_missing": "there was no trustworthy reading",
    "fan_not_turning": "the fan was commanded but did not turn",
    "lamp_heat": "at full flow the lamp lifts the tent past the limit: surely, or likely and seen "
    "at full speed, and by more than intake air past it already is; no more than was to be "
    "expected; value: the likely rise, K",
    "less_air_than_expected": "the lit tent was further above its intake air than the commanded "
    "fan's air would leave it, all doubt allowed for: less air, or more heat than the config says; "
    "value: the rise, K",
    "tent_open_or_lamp_dark": "the lit lamp hardly warmed the tent, all doubt allowed for; value: "
    "the rise, K",
    "reduced_transpiration": "the air took up far less moisture in the tent than the tent as "
    "learned would give off: plants that wilt, empty pots; value: the rise of temperature, K",
    "heat_while_dark": "something heated the tent while its lamp should have been dark: the lamp, "
    "or another source; value: the rise, K",
    "lamp_lit_out_of_hours": "the photocell saw the lamp lit out of its hours",
    "band_narrower_than_swing": "the quantity went from one side of its band to the other and back "
    "all day; value: the swing, in the quantity's unit",
    "held_by_hand": "a manual hold set the fan's speed",
    "override_locked_out": "an override was locked out: outside air can't help",
    "config_changed": "the config was changed that day",
}

RULES: dict[Kind, str] = {
    ("temperature", "above"): "too_hot",
    ("temperature", "below"): "too_cold",
    ("humidity", "above"): "too_humid",
    ("humidity", "below"): "too_dry",
    ("vpd", "above"): "too_dry",
    ("vpd", "below"): "too_humid",
}
# What intake air would have to be, for no amount of it to bring the quantity back.
_TENT_SATURATED = "(p.e + p.slope * ((r.tent_temperature_c + 100.0) * 10.0 - p.k))"
_INTAKE_VAPOUR = (
    "(r.intake_humidity_pct / 100.0 * "
    "(q.e + q.slope * ((r.intake_temperature_c + 100.0) * 10.0 - q.k)))"
)
_INTAKE = {
    ("temperature", "above"): ("intake_too_hot", "r.intake_temperature_c >= m.t_high"),
    ("temperature", "below"): ("intake_too_cold", "r.intake_temperature_c <= m.t_low"),
    ("humidity", "above"): (
        "intake_too_wet", f"{_INTAKE_VAPOUR} >= m.h_high / 100.0 * {_TENT_SATURATED}"),
    ("humidity", "below"): (
        "intake_too_dry", f"{_INTAKE_VAPOUR} <= m.h_low / 100.0 * {_TENT_SATURATED}"),
    ("vpd", "above"): ("intake_too_dry", f"{_TENT_SATURATED} - {_INTAKE_VAPOUR} >= m.v_high"),
    ("vpd", "below"): ("intake_too_wet", f"{_TENT_SATURATED} - {_INTAKE_VAPOUR} <= m.v_low"),
}  # fmt: skip
COLUMNS = {
    "temperature": ("r.tent_temperature_c", "m.t_low", "m.t_high"),
    "humidity": ("r.tent_humidity_pct", "m.h_low", "m.h_high"),
    "vpd": ("r.tent_vpd_pa", "m.v_low", "m.v_high"),
}
PEAKS = {
    ("temperature", "above"): "coalesce(r.tent_temperature_max_c, r.tent_temperature_c)",
    ("temperature", "below"): "coalesce(r.tent_temperature_min_c, r.tent_temperature_c)",
    ("humidity", "above"): "coalesce(r.tent_humidity_max_pct, r.tent_humidity_pct)",
    ("humidity", "below"): "coalesce(r.tent_humidity_min_pct, r.tent_humidity_pct)",
    ("vpd", "above"): "r.tent_vpd_pa",
    ("vpd", "below"): "r.tent_vpd_pa",
}


def conditions(quantity: str, side: str) -> list[tuple[str, str]]:
    """Each cause that one reading can show, as its code and a test in SQL.

    The test speaks of the reading as `r`, its terms as `m`, and saturation at the tent's and the
    intake's temperature as `p` and `q`.
    """
    rule = RULES[quantity, side]
    code, intake = _INTAKE[quantity, side]
    wants_air = rule in ("too_hot", "too_humid")
    tests = [
        (code, intake),
        ("held_by_hand", "r.rule = 'manual_hold'"),
    ]
    if wants_air:
        tests += [
            ("fan_at_full_speed", _AT_FULL_SPEED),
            (
                "fan_below_full_speed",
                f"r.rule = '{rule}' AND r.fan_speed > 0.0 AND r.fan_speed < {FULL_SPEED} "
                "AND r.fan_on_s >= r.interval_s - 1.0",
            ),
            (
                "fan_at_rest",
                f"r.fan_on_s <= 0 AND (r.rule = '{rule}' OR {_AS_SCHEDULED} AND {_ENGAGED} = 1)",
            ),
            # Without an intake reading nobody knows what more air would have done.
            ("quiet_hours", f"r.rule = 'quiet' AND {_ENGAGED} IS NOT 0 AND NOT ({intake})"),
            ("outside_fan_hours", f"{_AS_SCHEDULED} AND {_ENGAGED} IS NULL"),
        ]
    else:
        tests += [
            ("fan_slowed", "(r.rule IN ('too_cold', 'too_dry') OR r.fan_speed <= 0)"),
            ("kept_running_against_humidity", "r.rule = 'too_humid' AND r.fan_on_s > 0"),
            ("kept_running_against_stale_air", "r.rule = 'too_stale' AND r.fan_on_s > 0"),
            (
                "kept_running_against_heat",
                "r.rule = 'too_hot' AND r.fan_on_s > 0 AND r.tent_temperature_c <= m.t_high",
            ),
            (
                "ran_for_want_of_starts",
                f"r.rule = 'schedule' AND r.fan_speed >= {FULL_SPEED} AND {_ENGAGED} = 1",
            ),
            ("purge", "r.rule = 'purge'"),
        ]
    if rule == "too_humid":
        tests.append(("slowed_against_cold", "r.rule = 'too_cold'"))
    if rule == "too_dry":
        tests.append(("too_hot_meanwhile", "r.tent_temperature_c > m.t_high"))
    if (quantity, side) == ("temperature", "above"):
        tests.append(
            ("lamp_heat", "m.id & 1 AND r.intake_temperature_c - m.t_high < m.sure_k "
             "AND NOT EXISTS (SELECT 1 FROM less_air s WHERE r.at_ms > s.a AND r.at_ms <= s.b) "
             "AND (r.intake_temperature_c + m.sure_k > m.t_high "
             f"OR {_AT_FULL_SPEED} AND r.intake_temperature_c + m.rise_k > m.t_high)")
        )  # fmt: skip
    return tests
