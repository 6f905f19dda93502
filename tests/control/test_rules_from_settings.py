"""Each figure of the config arrives where the decision compares with it."""

from __future__ import annotations

import pytest

from controller.config import settings_from_text
from controller.control import Limits, Rule, Rules, Wish
from controller.control.thresholds import Duty

# Every value differs from every other and from every default, so that none can be mistaken.
TEXT = """
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm, elevation: 500 m}
place: {timezone: Europe/Berlin, units: si}
lamp:
  power: 100 W
  switched_by: relay
  pin: 22
  photoperiod: {on: 06:00, off: 22:00}
  cutout: {above: 33 °C, delay: 4 min, hold_off: 41 min}
fan: {drive: pwm, pin: 18, min_speed: 17 %, ramp: 7 s, min_on: 6 min, min_off: 3 min}
schedule:
  day_speed: 45 %
  night_speed: 22 %
  purge: {every: 2 h, length: 3 min, speed: 66 %}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
crop: {kind: pepper, plants: 2, stage: flowering}
targets:
  day: {temperature: [19.5 °C, 25.5 °C], humidity: [41 %, 71 %], vpd: [0.61 kPa, 1.61 kPa]}
  night: {temperature: [14.5 °C, 23.5 °C], humidity: [42 %, 82 %], vpd: [0.31 kPa, 1.41 kPa]}
  dew_point_margin: 1.2 K
  low_co2: 310 ppm
overrides:
  temperature: {speed: 95 %, reduced_speed: 31 %, delay: 61 s, hysteresis: 0.7 K}
  humidity: {speed: 85 %, reduced_speed: 32 %, delay: 121 s, hysteresis: 3.5 %}
  vpd: {speed: 75 %, reduced_speed: 33 %, delay: 122 s, hysteresis: 0.12 kPa}
  dew_point: {speed: 65 %, delay: 123 s, hysteresis: 0.8 K}
  co2: {speed: 58 %, delay: 124 s, hysteresis: 35 ppm}
failsafe: {stale_after: 130 s, speed: 55 %}
"""


def rules_of(text: str = TEXT) -> Rules:
    return Rules.from_settings(settings_from_text(text).settings)


def test_the_limits_of_day_and_night_are_the_bands_edges() -> None:
    rules = rules_of()
    assert rules.day == pytest.approx(Limits(25.5, 71.0, 610.0, 1.2, 19.5, 41.0, 1610.0, 310.0))
    assert rules.night == pytest.approx(Limits(23.5, 82.0, 310.0, 1.2, 14.5, 42.0, 1410.0, 0.0))


def test_each_override_has_its_own_hysteresis_delay_and_speed() -> None:
    rules = rules_of()
    assert rules.hystereses == pytest.approx((0.7, 3.5, 120.0, 0.8, 0.7, 3.5, 120.0, 35.0))
    assert rules.delays_s == (61.0, 121.0, 122.0, 123.0, 61.0, 121.0, 122.0, 124.0)
    assert rules.speeds == pytest.approx((0.95, 0.85, 0.75, 0.65, 0.31, 0.32, 0.33, 0.58))


def test_the_schedules_wish_is_looked_up_by_fan_hours_and_purge() -> None:
    assert rules_of().base == (
        Wish(0.22, Rule.SCHEDULE),
        Wish(0.45, Rule.SCHEDULE),
        Wish(0.66, Rule.PURGE),
        Wish(0.66, Rule.PURGE),
    )


def test_a_purge_slower_than_the_schedule_or_as_fast_wishes_nothing() -> None:
    slow = rules_of(TEXT.replace("speed: 66 %", "speed: 45 %"))
    assert slow.base[2:] == (Wish(0.45, Rule.PURGE), Wish(0.45, Rule.SCHEDULE))


def test_without_a_purge_nothing_is_wished_of_it() -> None:
    none = rules_of(TEXT.replace("  purge: {every: 2 h, length: 3 min, speed: 66 %}\n", ""))
    assert none.base[2:] == none.base[:2]


def test_the_fans_figures_and_the_failsafes() -> None:
    rules = rules_of()
    assert (rules.min_speed, rules.ramp_s) == (0.17, 7.0)
    assert (rules.min_on_s, rules.min_off_s) == (360.0, 180.0)
    assert (rules.stale_after_s, rules.failsafe_speed) == (130.0, 0.55)


def test_the_lamps_interlock_counts_only_where_the_lamp_is_ours() -> None:
    rules = rules_of()
    assert rules.lamp_is_ours
    assert (rules.cut_above_c, rules.cut_delay_s, rules.cut_hold_off_s) == (33.0, 240.0, 2460.0)
    own = rules_of(TEXT.replace("  switched_by: relay\n  pin: 22\n", ""))
    assert not own.lamp_is_ours


def test_the_pressure_is_that_of_the_elevation() -> None:
    """ISO 2533 (standard atmosphere): 954.61 hPa at 500 m."""
    assert rules_of().pressure_pa == pytest.approx(95_461.0, abs=15.0)


NO_REDUCED = (
    TEXT.replace("reduced_speed: 31 %, ", "")
    .replace("reduced_speed: 32 %, ", "")
    .replace("reduced_speed: 33 %, ", "")
)


def test_an_air_too_cold_lowers_a_modulating_fan_to_night_speed_but_not_below_its_least() -> None:
    assert rules_of(NO_REDUCED).speeds[4:7] == (0.22, 0.22, 0.22)
    resting = rules_of(NO_REDUCED.replace("night_speed: 22 %", "night_speed: 0 %"))
    assert resting.speeds[4:7] == (0.17, 0.17, 0.17)


RELAY = NO_REDUCED.replace(
    "drive: pwm, pin: 18, min_speed: 17 %, ramp: 7 s", "drive: relay, pin: 18"
).replace("night_speed: 22 %", "night_speed: 0 %")
for speed in ("day_speed: 45", "speed: 66", "speed: 95", "speed: 85", "speed: 75", "speed: 65",
              "speed: 55", "speed: 58"):  # fmt: skip
    RELAY = RELAY.replace(f"{speed} %", f"{speed.split()[0]} 100 %")


def test_a_relay_fan_rests_when_air_is_not_wanted_and_has_no_ramp() -> None:
    relay = rules_of(RELAY)
    assert relay.ramp_s == 0.0
    assert relay.speeds[4:7] == (0.0, 0.0, 0.0)
    assert relay.min_speed == 1.0


def test_stale_air_gets_half_of_what_the_schedule_leaves_and_a_relay_all_there_is() -> None:
    left_out = (
        TEXT.replace("co2: {speed: 58 %, ", "co2: {"),
        RELAY.replace("{speed: 100 %, delay: 124", "{delay: 124"),
    )
    assert [rules_of(text).speeds[7] for text in left_out] == pytest.approx([0.725, 1.0])


def test_a_relay_fan_starts_24_times_a_day_at_most_unless_the_config_says_otherwise() -> None:
    assert rules_of(RELAY).start_every_s == 3600.0
    fewer = RELAY.replace("min_on: 6 min", "min_on: 6 min, most_starts: 16")
    assert rules_of(fewer).start_every_s == 5400.0
    assert rules_of().start_every_s == 0.0  # a modulated fan has no such limit


@pytest.mark.parametrize(
    ("given", "speed"),
    [("40 %", 0.4), ("5 %", 0.17), ("0 %", 0.0), ("100 %", 1.0)],  # 17 %: the least it turns at
)
def test_quiet_hours_cap_the_speed_at_one_that_the_fan_can_turn_at(
    given: str, speed: float
) -> None:
    assert rules_of().quiet_speed is None
    assert (
        rules_of(f"{TEXT}quiet: {{from: 22:00, to: 07:00, speed: {given}}}\n").quiet_speed == speed
    )


INTAKE = TEXT.replace(
    "pin: 4}]", "pin: 4}, {name: room, role: intake, driver: dht22, pin: 27}]"
).replace("ramp: 7 s", "ramp: 7 s, free_flow: 187 m³/h, max_pressure: 300 Pa, power: 30 W")


def test_speeds_are_modulated_but_of_a_relay_and_where_the_config_wants_them_fixed() -> None:
    modulated = rules_of(INTAKE)
    assert modulated.modulation is not None
    # By default 30 % in the dark, where no intake sensor says whether more helps.
    assert modulated.dark_speeds == pytest.approx((0.3, *modulated.speeds[1:]))
    fixed = rules_of(INTAKE.replace("overrides:", "overrides:\n  law: fixed"))
    for rules in (fixed, rules_of(RELAY)):
        assert (rules.modulation, rules.dark_speeds) == (None, None)


def test_a_speed_in_the_dark_is_never_above_the_overrides_own() -> None:
    dark = rules_of(INTAKE.replace("overrides:", "overrides:\n  dark_speed: 100 %"))
    assert dark.dark_speeds is not None
    assert dark.dark_speeds[0] == pytest.approx(0.95)


IDLE_RELAY = """
tent: {name: r, width: 70 cm, depth: 90 cm, height: 150 cm}
place: {timezone: Europe/Berlin}
lamp: {power: 90 W, photoperiod: {on: 07:00, off: 21:00}}
fan: {drive: relay, pin: 17, min_on: 2 min, min_off: 2 min}
schedule: {day_speed: 0 %, night_speed: 0 %}
sensors: [{name: canopy, role: tent, driver: iio, device: scd30}]
overrides: {dark_duty: {every: 25 min, length: 7 min}}
"""


def test_a_relay_that_rests_by_schedule_runs_in_full_against_stale_air() -> None:
    assert rules_of(IDLE_RELAY).speeds[-1] == 1.0


def test_what_a_relays_run_leaves_of_its_duty_is_its_rest() -> None:
    assert rules_of(IDLE_RELAY).dark_duty == Duty(420.0, 1080.0)
