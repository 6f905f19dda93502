"""What only several values together get wrong, each at its line and column."""

# ruff: noqa: E501  (one case a line reads as a table)

from __future__ import annotations

import pytest
from settings_texts import errors, good, load, marked, places

TENT = "{name: canopy, role: tent, driver: dht22, pin: 4}"
TENT_ON_5 = TENT.replace("pin: 4", "pin: 5")

ERRORS = [
    # Bands and hystereses
    ({"targets": "{day: {temperature: ▸[75 °F, 70 °F]}}"}, "low limit is not below the high limit"),
    ({"targets": "{night: {humidity: ▸[60 %, 60 %]}}"}, "`targets.night.humidity`: the low limit"),
    ({"targets": "{day: {vpd: ▸[1.6 kPa, 600 Pa]}}"}, "`targets.day.vpd`: the low limit"),
    ({"overrides": "{temperature: {hysteresis: ▸3 K}}"}, "a temperature hysteresis of 3.0 K is no narrower than the day band of 2.8 K"),
    ({"targets": "{night: {humidity: ▸[60 %, 63 %]}}"}, "a humidity hysteresis of 4 % is no narrower than the night band of 3 %"),
    ({"overrides": "{vpd: {hysteresis: ▸1 kPa}}"}, "a vpd hysteresis of 1.00 kPa is no narrower than the day band of 1.00 kPa"),
    ({"lamp": "{power: 90 W, switched_by: relay, pin: 23, photoperiod: {on: 06:00, off: 22:00}, cutout: {above: ▸23 °C}}"}, "the lamp would be cut at 23.0 °C, inside the day band"),
    ({"alarms": "{severe_heat: ▸80 °F}"}, "severe heat from 80.0 °F does not lie above the heat warning at 80.0 °F"),
    ({"alarms": "{high_humidity: 90 %, severe_humidity: ▸88 %}"}, "severe humidity from 88 % does not lie above high humidity from 90 %"),
    # Hours
    ({"schedule": "{pre_run: ▸5 h, run_on: 4 h}"}, "pre-run 5 h, photoperiod 16 h and run-on 4 h make 25 h, so the fan hours would never end"),
    ({"schedule": "{run_on: ▸8 h}"}, "pre-run 15 min, photoperiod 16 h and run-on 8 h make 24 h 15 min"),
    ({"lamp": "{power: 90 W, ▸photoperiod: {on: 06:00, off: 05:45}}"}, "photoperiod 23 h 45 min"),
    ({"schedule": "{purge: {every: 1 h, length: ▸60 min}}"}, "a purge of 1 h does not end before the next"),
    ({"overrides": "{dark_duty: {every: 30 min, length: ▸30 min}}"}, "a run of 30 min does not end before the next"),
    # Pins and drivers
    ({"fan": "{drive: pwm, pin: 4}", "sensors": "[{name: a, role: tent, driver: dht22, pin: ▸4}]"}, "GPIO 4 is taken already by `fan.pin` in line 6"),
    ({"fan": "{drive: pwm, pin: 18, tachometer: {pin: ▸GPIO18}}"}, "GPIO 18 is taken already by `fan.pin` in line 8"),
    ({"lamp": "{power: 90 W, switched_by: photocell, pin: ▸18, photoperiod: {on: 06:00, off: 22:00}}"}, "GPIO 18 is taken already by `fan.pin` in line 5"),
    ({"sensors": f"[{TENT}, {{name: b, role: intake, driver: dht11, pin: ▸4}}]"}, "GPIO 4 is taken already by `sensors[0].pin` in line 9"),
    ({"sensors": f"[{TENT}, {{name: b, role: intake, driver: iio, device: ▸dht11@4}}]"}, "GPIO 4 is taken already by `sensors[0].pin` in line 9"),
    ({"fan": "{drive: pwm, pin: 18, frequency: ▸25 kHz}"}, "software PWM cannot give 25 kHz"),
    ({"fan": "{drive: hardware_pwm, pin: ▸17}"}, "GPIO 17 has no hardware PWM"),
    ({"fan": "{drive: relay, pin: 18, current_switch: {pin: ▸18}}"}, "GPIO 18 is taken already by `fan.pin` in line 8"),
    ({"fan": "{drive: ▸pwm}"}, "the fan has no pin"),
    ({"fan": "{drive: ▸dac}"}, "the fan has no converter"),
    ({"fan": "{drive: dac, dac: {device: mcp4725, raw_full: ▸0}}"}, "full speed and off are the same voltage"),
    ({"lamp": "{power: 90 W, switched_by: ▸relay, photoperiod: {on: 06:00, off: 22:00}}"}, "the lamp relay has no pin"),
    ({"lamp": "{power: 90 W, switched_by: ▸photocell, photoperiod: {on: 06:00, off: 22:00}}"}, "the photocell has no pin"),
    ({"sensors": "[{name: a, role: tent, driver: ▸dht22}]"}, "the dht22 `a` has no pin"),
    ({"sensors": "[{name: a, role: tent, driver: ▸iio}]"}, "the iio sensor `a` has no device"),
    ({"sensors": "[{name: a, role: tent, driver: ▸hwmon}]"}, "the hwmon sensor `a` has no device"),
    ({"sensors": "▸[{name: a, role: intake, driver: dht22, pin: 4}]"}, "no sensor measures the tent"),
    ({"sensors": f"[{TENT}, {{name: ▸canopy, role: intake, driver: dht22, pin: 5}}]"}, "the name `canopy` is taken already in line 9"),
    ({"sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x}, {name: b, role: tent, driver: hwmon, device: ▸sht4x}]"}, "`sht4x` is read already by sensor `a`"),
    ({"sensors": "[{name: a, role: tent, driver: iio, device: scd41}, {name: b, role: intake, driver: iio, device: ▸scd41}]"}, "`scd41` is read already by sensor `a`"),
    ({"sensors": "[▸{name: a, role: tent, driver: w1, device: 28-0316a2795cd1}]"}, "nothing measures the humidity of the tent: `a` is a thermometer"),
    ({"sensors": f"[{TENT}, ▸{{name: b, role: intake, driver: w1, device: 28-0316a2795cd1}}]"}, "nothing measures the humidity of the intake: `b` is a thermometer"),
    ({"sensors": "▸[{name: a, role: leaf, driver: iio, device: mlx90614}]"}, "no sensor measures the tent"),
    ({"sensors": f"[{TENT}, {{name: b, role: ▸tent, driver: iio, device: mlx90614}}]"}, "the infrared thermometer `b` sees surfaces, not air"),
    ({"sensors": f"[{TENT}, {{name: b, role: tent, driver: ▸w1}}]"}, "the w1 sensor `b` has no device"),
    # Speeds
    ({"fan": "{drive: relay, pin: 18}", "schedule": "{day_speed: ▸60 %}"}, "a relay cannot run the fan at 60 %"),
    ({"fan": "{drive: relay, pin: 18}", "schedule": "{night_speed: ▸40 %}"}, "a relay cannot run the fan at 40 %"),
    ({"fan": "{drive: relay, pin: 18, min_speed: ▸30 %}"}, "a relay cannot run the fan at 30 %"),
    ({"fan": "{drive: relay, pin: 18}", "overrides": "{humidity: {speed: ▸50 %}}"}, "a relay cannot run the fan at 50 %"),
    ({"fan": "{drive: relay, pin: 18}", "overrides": "{vpd: {reduced_speed: ▸50 %}}"}, "a relay cannot run the fan at 50 %"),
    ({"fan": "{drive: relay, pin: 18}", "failsafe": "{speed: ▸50 %}"}, "a relay cannot run the fan at 50 %"),
    ({"fan": "{drive: relay, pin: 18}", "schedule": "{purge: {every: 1 h, length: 5 min, speed: ▸50 %}}"}, "a relay cannot run the fan at 50 %"),
    # Rig
    ({"fan": "{drive: pwm, pin: 18, curve: [[9 cfm, 1 inH2O], ▸[5 cfm, 0 Pa]]}"}, "the curve's flows do not rise"),
    ({"fan": "{drive: pwm, pin: 18, curve: [[0 cfm, 1 inH2O], [5 cfm, 90 Pa], ▸[9 cfm, 95 Pa]]}"}, "the curve's pressure rises with the flow"),
    ({"duct": "{diameter: 10 cm, length: 2 m, ▸intake: {openings: 2}}"}, "the intake has neither diameter nor area"),
    ({"duct": "{diameter: 10 cm, length: 2 m, intake: {diameter: 10 cm, area: ▸80 cm²}}"}, "the intake has both diameter and area"),
    ({"▸crop": "{kind: basil, plants: 4}"}, "the crop has plants without a stage"),
    ({"▸crop": "{kind: basil}"}, "no number of plants: how much moisture its leaves give off hangs on it"),
    ({"crop": "{kind: basil, plants: ▸4, stage: seedling, leaf_area: 1 m²}"}, "leaf area and number of plants both given"),
    ({"tent": "{name: ▸🌶, width: 80 cm, depth: 80 cm, height: 160 cm}"}, "no letter and no digit to call the record's file after"),
    ({"tent": "{name: ▸'…!', width: 80 cm, depth: 80 cm, height: 160 cm}"}, "another tent might write the same one"),
    ({"energy": "{price: ▸0.3 USD/kWh, currency: EUR}"}, "the price is in USD, `energy.currency` is EUR"),
]  # fmt: skip

WARNINGS = [
    ({"overrides": "{temperature: {hysteresis: ▸0.4 K}}"}, "the temperature hysteresis of 0.4 K is within the noise of sensor `canopy`"),
    ({"overrides": "{humidity: {hysteresis: ▸2 %}}"}, "the humidity hysteresis of 2 % is within the noise of sensor `canopy`"),
    ({"overrides": "{vpd: {hysteresis: ▸50 Pa}}"}, "the vpd hysteresis of 0.05 kPa is within the noise of sensor `canopy`"),
    ({"sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x}]", "overrides": "{temperature: {hysteresis: ▸0.2 K}}"}, "the temperature hysteresis of 0.2 K is within the noise of sensor `a`"),
    ({"sensors": "[{name: a, role: tent, driver: simulated}]", "overrides": "{humidity: {hysteresis: ▸0}}"}, "the humidity hysteresis of 0 % is within the noise of sensor `a`"),
    ({"targets": "{day: {vpd: ▸[2 kPa, 2.5 kPa]}}"}, "no air is inside all three day bands"),
    ({"fan": "{drive: relay, pin: ▸2}", "sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x}]"}, "GPIO 2 is taken by the I²C bus, which sensor `a` is on"),
    ({"lamp": "{power: 90 W, switched_by: relay, pin: ▸3, photoperiod: {on: 06:00, off: 22:00}}", "sensors": "[{name: a, role: tent, driver: iio, device: 1-0044}]"}, "GPIO 3 is taken by the I²C bus"),
    ({"fan": "{drive: relay, pin: ▸14}"}, "GPIO 14 belongs to the serial console, if that is on"),
    ({"fan": "{drive: pwm, pin: 18, tachometer: {pin: ▸15}}"}, "GPIO 15 belongs to the serial console"),
    ({"fan": "{drive: hardware_pwm, active_low: true, pin: ▸14}"}, "only a Pi 5 has hardware PWM on GPIO 14"),
    ({"targets": "{heat_warning: ▸70 °F}"}, "the heat warning at 70.0 °F lies inside the day band"),
    ({"lamp": "{power: 90 W, photoperiod: {on: 06:00, off: 22:00}, ▸cutout: {above: 35 °C}}"}, "a lamp that lungwort does not switch cannot be cut"),
    ({"alarms": "{cold: ▸65 °F}"}, "the cold alarm at 65.0 °F lies inside the night band"),
    ({"targets": "{night: {humidity: ▸[50 %, 88 %]}}"}, "the humidity alarm at 85 % lies inside the night band"),
    ({"fan": "{drive: ▸hardware_pwm, pin: 18}"}, "stops the fan, for ever if lungwort can't start"),
    ({"fan": "{drive: hardware_pwm, pin: 18, active_low: ▸false}"}, "GPIO meets up to 5.25 V"),
    ({"lamp": "{power: 90 W, pin: ▸23, photoperiod: {on: 06:00, off: 22:00}}"}, "a lamp on its own timer uses no pin"),
    ({"lamp": "{power: 90 W, photoperiod: {on: 06:00, off: ▸06:00}}"}, "the lamp goes on and off at 06:00, which is taken as lit day and night"),
    ({"lamp": "{power: 90 W, photoperiod: {on: 06:00, off: 22:00, same_means: ▸never}}"}, "`same_means` has no effect"),
    ({"schedule": "{purge: {every: 1 h, length: ▸1 min}}"}, "each purge will last 2 min, the fan's shortest run"),
    ({"overrides": "{▸dark_duty: {every: 30 min}}"}, "`dark_duty` has no effect, since this fan can turn slowly"),
    ({"fan": "{drive: relay, pin: 18, min_on: 15 min}", "overrides": "{dark_duty: {length: ▸5 min}}"}, "each run of the duty in the dark will last 15 min"),
    ({"fan": "{drive: relay, pin: 18, min_off: 25 min}", "overrides": "{dark_duty: {every: ▸30 min}}"}, "each rest of the duty in the dark will last 25 min"),
    ({"fan": "{drive: relay, pin: 18, most_starts: 4}", "overrides": "{dark_duty: {every: ▸1 h}}"}, "a run every 1 h of 8 h in the dark would start the fan more often than 4 times a day"),
    ({"schedule": "{night_speed: 50 %, purge: {every: 1 h, length: 5 min, speed: ▸50 %}}"}, "a purge at 50 % has no effect"),
    ({"failsafe": "{stale_after: ▸5 s}"}, "a single reading missed would bring on the failsafe after 5 s"),
    ({"failsafe": "{speed: ▸0 %}"}, "without a usable reading the fan would stand still"),
    ({"fan": "{drive: relay, pin: 18, min_on: ▸5 s, min_off: 5 s}"}, "so short a minimum run and rest wear out relay and motor"),
    ({"fan": "{drive: relay, pin: 18, frequency: ▸100 Hz}"}, "a relay has no frequency"),
    ({"fan": "{drive: pwm, pin: 18, contact: ▸normally_closed}"}, "only a relay has contacts"),
    ({"fan": "{drive: pwm, pin: 18, free_flow: ▸100 cfm, curve: [[0 cfm, 1 inH2O], [50 cfm, 0 Pa]]}"}, "`fan.free_flow` and the end of the curve, 85 m³/h, do not agree"),
    ({"fan": "{drive: pwm, pin: 18, max_pressure: ▸1 kPa, curve: [[0 cfm, 1 inH2O], [50 cfm, 0 Pa]]}"}, "`fan.max_pressure` and the end of the curve, 249 Pa, do not agree"),
    ({"schedule": "{day_speed: ▸10 %}"}, "10 % is below the fan's lowest speed, so it will run at 20 %"),
    ({"schedule": "{night_speed: 60 %}", "overrides": "{humidity: {speed: ▸50 %}}"}, "the humidity override asks for 50 %, which the schedule gives anyway"),
    ({"schedule": "{day_speed: 40 %}", "overrides": "{temperature: {reduced_speed: ▸50 %}}"}, "50 % is above the schedule's speeds, so nothing is lowered"),
    ({"sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x, pin: ▸4}]"}, "hwmon uses no pin"),
    ({"sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x}, ▸{name: b, role: intake, driver: hwmon, device: sht3x}]"}, "sensor `a` and sensor `b` both answer at address 0x44 of the I²C bus"),
    ({"sensors": "[{name: a, role: tent, driver: iio, device: bme280}, ▸{name: b, role: intake, driver: iio, device: 1-0076}]"}, "both answer at address 0x76"),
    ({"sensors": "[▸{name: a, role: tent, driver: iio, device: scd30}]", "fan": "{drive: dac, dac: {device: 1-0061, raw_full: 4095}}"}, "the fan's converter and sensor `a` both answer at address 0x61"),
    ({"sensors": "[{name: a, role: tent, driver: dht22, pin: ▸4}, {name: b, role: tent, driver: w1, device: 28-0316a2795cd1}]"}, "GPIO 4 is the 1-Wire bus's, which `b` is on, unless its overlay names another"),
    ({"fan": "{drive: relay, pin: ▸2}"}, "1.8 kΩ on the board pull GPIO 2 up"),
    ({"lamp": "{power: 90 W, switched_by: relay, pin: ▸3, photoperiod: {on: 06:00, off: 22:00}}"}, "1.8 kΩ on the board pull GPIO 3 up"),
    ({"sensors": "[{name: a, role: tent, driver: dht22, pin: 4, device: ▸sht4x}]"}, "dht22 uses no device"),
]  # fmt: skip


def _text(sections: dict[str, str]) -> tuple[str, list[tuple[int, int]]]:
    text = good(**{name.lstrip("▸"): value for name, value in sections.items()})
    for name in sections:
        text = text.replace(f"\n{name.lstrip('▸')}:", f"\n{name}:")
    return marked(text)


@pytest.mark.parametrize(("sections", "message"), ERRORS)
def test_an_impossible_combination_is_refused_at_its_place(
    sections: dict[str, str], message: str
) -> None:
    text, expected_places = _text(sections)
    problems = errors(text)
    assert places(problems) == expected_places
    assert message in problems[0].message
    assert problems[0].expected


@pytest.mark.parametrize(("sections", "message"), WARNINGS)
def test_a_doubtful_combination_loads_with_a_warning_at_its_place(
    sections: dict[str, str], message: str
) -> None:
    text, expected_places = _text(sections)
    warnings = load(text).warnings
    assert places(warnings) == expected_places
    assert message in warnings[0].message
    assert warnings[0].expected


def test_a_dht11_makes_the_default_hysteresiss_doubtful() -> None:
    warnings = load(good(sensors="[{name: a, role: tent, driver: dht11, pin: 4}]")).warnings
    assert [warning.message.split(" hysteresis")[0] for warning in warnings] == [
        "the humidity",
        "the temperature",
        "the vpd",
    ]


@pytest.mark.parametrize(
    "sections",
    [
        {"lamp": "{power: 90 W, photoperiod: {on: 06:00, off: 06:00, same_means: never}}"},
        {"lamp": "{power: 90 W, photoperiod: {on: 06:00, off: 06:00, same_means: always}}"},
        {"schedule": "{pre_run: 4 h, run_on: 4 h}"},  # 24 h exactly
        {"fan": "{drive: relay, pin: 18}", "schedule": "{day_speed: 100 %, night_speed: 0 %}"},
        {"fan": "{drive: pwm, pin: 18, frequency: 10 kHz}"},
        {"fan": "{drive: hardware_pwm, pin: 12, active_low: true}"},
        {"sensors": f"[{TENT}, {{name: b, role: tent, driver: iio, device: 1-0044}}, "
         "{name: c, role: intake, driver: iio, device: 1-0045}]"},
        {"tent": "{name: тент, width: 80 cm, depth: 80 cm, height: 160 cm}"},
        {"tent": "{name: 🌶, width: 80 cm, depth: 80 cm, height: 160 cm}",
         "record": "{path: tent.db}"},
        {"fan": "{drive: relay, pin: 2, active_low: true}"},  # with no sensor on its bus
        {"fan": "{drive: relay, pin: 2, active_low: true}",
         "sensors": "[{name: a, role: tent, driver: iio, device: dht11@4}]"},
        {"sensors": f"[{TENT_ON_5}, {{name: b, role: tent, driver: w1, device: 28-0316a2795cd1}}]"},
        {"sensors": "[{name: a, role: tent, driver: hwmon, device: sht4x}, "
         "{name: b, role: intake, driver: hwmon, device: aht20}]"},
        {"sensors": "[{name: a, role: tent, driver: iio, device: scd41}]",
         "fan": "{drive: dac, dac: {device: mcp4725, raw_full: 4095}}"},
        {"duct": "{diameter: 4 in, length: 0, intake: {area: 40 sq in}}"},
        {"crop": "{kind: tomato, leaf_area: 1.5 m²}"},
    ],
)  # fmt: skip
def test_what_just_fits_loads_without_a_word(sections: dict[str, str]) -> None:
    assert load(good(**sections)).warnings == ()


def test_a_value_refused_by_itself_is_not_held_against_others() -> None:
    # Were the stand-in for the pin (18) compared, a second problem would come along.
    text, expected_places = marked(
        good(fan="{drive: ▸realy, pin: ▸99}", lamp="{power: 90 W, switched_by: photocell, "
             "pin: 18, photoperiod: {on: 06:00, off: 22:00}}")
    )  # fmt: skip
    problems = errors(text)
    assert sorted(places(problems)) == sorted(expected_places)


def test_errors_carry_the_warnings_along() -> None:
    from controller.config import ConfigError, settings_from_text

    with pytest.raises(ConfigError) as caught:
        settings_from_text(good(failsafe="{speed: 0 %}", schedule="{pre_run: soon}"))
    assert len(caught.value.problems) == 1
    assert [warning.message[:24] for warning in caught.value.warnings] == [
        "without a usable reading"
    ]
