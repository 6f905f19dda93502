"""Every problem points at the offending value, and says what was expected."""

# ruff: noqa: E501  (one case a line reads as a table)

from __future__ import annotations

import pytest
from settings_texts import GOOD, errors, good, load, marked, places

SENSOR = "name: canopy, role: tent, driver: dht22, pin: 4"

CASES = [
    # (section, value with a mark, message, expected)
    ("tent", "{width: ▸80, depth: 80 cm, height: 2 m}", "`tent.width`: 80 has no unit", "a length: write 80 cm or 80 in"),
    ("tent", "{width: ▸3 cm, depth: 80 cm, height: 2 m}", "`tent.width`: 3 cm is too low", "20 cm to 10 m"),
    ("tent", "{width: ▸40 ft, depth: 80 cm, height: 2 m}", "`tent.width`: 40 ft is too high", "7.9 in to 32 ft 10 in"),
    ("tent", "{width: ▸true, depth: 80 cm, height: 2 m}", "`tent.width`: 'true' is not a length", "a length, e.g. 80 cm"),
    ("tent", "{width: ▸[80 cm], depth: 80 cm, height: 2 m}", "`tent.width`: a list is not a length", "e.g. 80 cm"),
    ("tent", "{width: 80 cm, depth: 80 cm, height: ▸.nan}", "`tent.height`: '.nan' is not a number to work with", "e.g. 80 cm"),
    ("duct", "{diameter: ▸125, length: 2 m}", "`duct.diameter`: 125 has no unit", "a length: write 125 mm"),
    ("tent", "{width: ▸1.2, depth: 80 cm, height: 2 m}", "`tent.width`: 1.2 has no unit", "a length: write 1.2 m or 1.2 ft"),
    ("lamp", "{power: ▸2 × 90 W, photoperiod: {on: 06:00, off: 22:00}}", "`lamp.power`: '2 × 90 W' is not a power", "a power, e.g. 150 W"),
    ("place", "{timezone: ▸GMT+1}", "`place.timezone`: unknown time zone 'GMT+1'", "an IANA zone name, e.g. Europe/Rome or America/New_York"),
    ("energy", "{price: 0,▸32 EUR/kWh}", "`energy` has no key `32 EUR/kWh`", "decimals with a point: a comma begins the next key"),
    ("targets", "{day: {temperature: ▸[20,5 °C, 24,5 °C]}}", "`targets.day.temperature`: a list of 4 is not a band", "two limits, [low, high]; decimals have a point, a comma begins the next item"),
    ("▸tent", "{width: 80 cm, depth: 80 cm}", "`tent.height` is missing", "inside height, e.g. 80 cm"),
    ("place", "{timezone: ▸Europe/Rom}", "`place.timezone`: unknown time zone 'Europe/Rom'", "Europe/Rome, perhaps, or another IANA zone name"),
    ("place", "{timezone: ▸europe/rome}", "`place.timezone`: unknown time zone 'europe/rome'", "Europe/Rome, perhaps, or another IANA zone name"),
    ("place", "{timezone: ▸New York}", "`place.timezone`: unknown time zone 'New York'", "America/New_York, perhaps, or another IANA zone name"),
    ("place", "{timezone: ▸Melborne}", "`place.timezone`: unknown time zone 'Melborne'", "Australia/Melbourne, perhaps, or another IANA zone name"),
    ("place", "{timezone: ▸../../etc/passwd}", "`place.timezone`: unknown time zone '../../etc/passwd'", "an IANA zone name, e.g. Europe/Rome or America/New_York"),
    ("place", "{timezone: UTC, units: ▸metric}", "`place.units`: 'metric' is unknown", "si or us"),
    ("lamp", "{power: 150 W, photoperiod: {on: 06:00, off: ▸25:00}}", "`lamp.photoperiod.off`: there is no clock time '25:00'", "a local clock time, e.g. 06:00, 22:30, 10:30 pm or 6am"),
    ("lamp", "{power: 150 W, photoperiod: {on: ▸6, off: 22:00}}", "`lamp.photoperiod.on`: '6' is not a clock time", "a local clock time, e.g. 06:00, 22:30, 10:30 pm or 6am"),
    ("lamp", "{power: 150 W, photoperiod: {on: ▸13:00 pm, off: 22:00}}", "`lamp.photoperiod.on`: '13:00 pm' is not a clock time", "a local clock time, e.g. 06:00, 22:30, 10:30 pm or 6am"),
    ("lamp", "{power: 150 W, ▸photoperiod: {off: 22:00}}", "`lamp.photoperiod.on` is missing", "lights-on, local clock time, e.g. 06:00"),
    ("fan", "{drive: ▸relai, pin: 18}", "`fan.drive`: 'relai' is unknown", "relay, pwm, hardware_pwm or dac (perhaps relay)"),
    ("fan", "{drive: pwm, pin: ▸28}", "`fan.pin`: there is no GPIO 28", "a GPIO number from 0 to 27 (BCM numbering, not the pin of the header), e.g. 18"),
    ("fan", "{drive: pwm, pin: ▸on}", "`fan.pin`: 'on' is not a pin", "a GPIO number from 0 to 27 (BCM numbering, not the pin of the header), e.g. 18"),
    ("fan", "{drive: pwm, pin: 18, active_low: ▸maybe}", "`fan.active_low`: 'maybe' is neither true nor false", "true or false"),
    ("fan", "{drive: pwm, pin: 18, tachometer: {pin: 24, pulses_per_turn: ▸0}}", "`fan.tachometer.pulses_per_turn`: '0' is out of range", "a whole number from 1 to 12"),
    ("fan", "{drive: pwm, pin: 18, tachometer: {pin: 24, pulses_per_turn: ▸two}}", "`fan.tachometer.pulses_per_turn`: 'two' is not a whole number", "a whole number from 1 to 12"),
    ("fan", "{drive: pwm, pin: 18, tachometer: ▸24}", "`fan.tachometer`: '24' is not a section", "keys under it: pin or pulses_per_turn"),
    ("fan", "{drive: pwm, pin: 18, curve: [[0 cfm, 1 inH2O], ▸[100 cfm]]}", "`fan.curve[1]`: a list is not a point of the curve", "[flow, pressure], e.g. [100 m³/h, 80 Pa]"),
    ("fan", "{drive: pwm, pin: 18, curve: [[0 cfm, 1 inH2O], [▸1 inH2O, 0 Pa]]}", "`fan.curve[1][0]`: '1 inH2O' is not an air flow", "an air flow with its unit, e.g. 1 m³/h or 1 cfm"),
    ("fan", "▸relay on 18", "`fan`: 'relay on 18' is not a section", "keys under it: drive, pin, dac, active_low, contact, frequency, min_on, min_off, most_starts, min_speed, ramp, free_flow, max_pressure, curve, power, tachometer or current_switch"),
    ("schedule", "{night_speed: ▸0.4}", "`schedule.night_speed`: 0.4 has no unit", "a fan speed: write 40 % or 0.4 %"),
    ("schedule", "{night_speed: ▸140 %}", "`schedule.night_speed`: 140 % is too high", "0 % to 100 %"),
    ("schedule", "{run_on: ▸-5 min}", "`schedule.run_on`: -5 min is too low", "0 s to 1 d"),
    ("schedule", "{pre_run: ▸2,5 h}".replace("2,5 h", "'2,5 h'"), "`schedule.pre_run`: '2,5 h' has a comma in its number, which could mean two things", "a decimal point and no thousands separator, e.g. 2.5 h"),
    ("▸sensors", "{name: canopy}", "`sensors`: a mapping is not a list", "items behind dashes, or [in, brackets]"),
    ("sensors", "▸[]", "`sensors`: the list is too short", "at least 1"),
    ("sensors", f"[{{{SENSOR}}}, ▸{{name: b, role: intake}}]", "`sensors[1].driver` is missing", "dht22, dht11, iio, hwmon, w1 or simulated"),
    ("sensors", "[{name: canopy, role: tent, driver: ▸SHT4x}]", "`sensors[0].driver`: 'SHT4x' is unknown", "`driver: hwmon` and `device: sht4x`, since the kernel reads it"),
    ("sensors", "[{name: canopy, role: tent, driver: ▸ds18b20}]", "`sensors[0].driver`: 'ds18b20' is unknown", "`driver: w1` and the `device: 28-…` that 'lungwort sensors' prints"),
    ("sensors", f"[{{{SENSOR}}}, ▸nonsense]", "`sensors[1]`: 'nonsense' is not a section", "keys under it: name, role, driver, pin, device, temperature_offset or humidity_offset"),
    ("sensors", "[{name: ▸Canopy 1, role: tent, driver: dht22, pin: 4}]", "`sensors[0].name`: 'Canopy 1' will not do", "short name: lower-case letters, digits and _, a letter first, e.g. canopy"),
    ("sensors", "[{name: canopy, role: tent, driver: dht22, pin: 4, temperature_offset: ▸0.5}]", "`sensors[0].temperature_offset`: 0.5 has no unit", "a difference of temperatures: write 0.5 K or 0.5 °F"),
    ("targets", "{day: {humidity: ▸60 %}}", "`targets.day.humidity`: '60 %' is not a band", "a list of two limits with their units, e.g. [21 °C, 24 °C] or [40 %, 70 %]"),
    ("targets", "{day: {humidity: ▸[40 %]}}", "`targets.day.humidity`: a list of 1 is not a band", "two limits, [low, high]"),
    ("targets", "{day: {humidity: [40 %, ▸70]}}", "`targets.day.humidity[1]`: 70 has no unit", "a relative humidity: write 70 %"),
    ("targets", "{day: {vpd: [0.6 kPa, ▸1.6]}}", "`targets.day.vpd[1]`: 1.6 has no unit", "a pressure: write 1.6 Pa or 1.6 kPa or 1.6 inH2O"),
    ("energy", "{price: ▸1 euro}", "`energy.price`: '1 euro' is not a price", "the price of one kilowatt-hour, e.g. 0.31 or 0.31 EUR/kWh"),
    ("energy", "{currency: ▸euro}", "`energy.currency`: 'euro' is not a currency", "a code of three letters, e.g. EUR or USD"),
    ("record", "{keep: ▸1 h}", "`record.keep`: 1 h is too low", "1 d to 36525 d"),
    ("crop", "{kind: basil, plants: ▸-1, stage: vegetative}", "`crop.plants`: '-1' is out of range", "a whole number from 0 to 10000"),
]  # fmt: skip


@pytest.mark.parametrize(("section", "value", "message", "expected"), CASES)
def test_the_place_and_the_words(section: str, value: str, message: str, expected: str) -> None:
    name = section.lstrip("▸")
    text, expected_places = marked(
        good(**{name: value}).replace(f"{name}:", f"{section}:")
        if section != name
        else good(**{name: value})
    )
    problems = errors(text)
    assert [(problem.message, problem.expected) for problem in problems] == [(message, expected)]
    assert places(problems) == expected_places


def test_all_problems_come_at_once_and_in_the_order_of_the_file() -> None:
    text, expected_places = marked(
        "tent: {width: ▸80, depth: 80 cm, height: ▸99 m}\n"
        "▸palce: {timezone: Europe/Rome}\n"
        "lamp:\n"
        "  power: 150 W\n"
        "  switched_by: ▸relay\n"
        "  photoperiod: {on: 6:00, off: ▸25:00}\n"
        "fan:\n"
        "  drive: pwm\n"
        "  frequency: ▸25 kHz\n"
        "  pin: 18\n"
        "sensors:\n"
        "  - {name: canopy, role: tent, driver: dht22, pin: ▸18}\n"
        "  - {name: ▸canopy, role: intake, driver: ▸dht22}\n"
        "targets: {day: {temperature: ▸[75 °F, 70 °F]}}\n"
    )
    assert places(errors(text)) == expected_places


def test_nothing_at_all_misses_exactly_what_must_be_given() -> None:
    problems = errors("energy: {price: 0.3}\n")
    assert [problem.message for problem in problems] == [
        "`fan` is missing",
        "`lamp` is missing",
        "`place` is missing",
        "`sensors` is missing",
        "`tent` is missing",
    ]
    assert {problem.line for problem in problems} == {1}
    assert problems[2].expected == "a section with `timezone`"
    assert problems[3].expected == "a list of sections with `name`, `role` and `driver`"


@pytest.mark.parametrize(
    ("section", "value", "message", "expected"),
    [
        ("fan", "{▸pinn: 18}", "`fan` has no key `pinn`", "`pin`, perhaps"),
        (
            "fan",
            "{pin: 18, ▸pre_run: 5 min}",
            "`fan` has no key `pre_run`",
            "`pre_run` in `schedule`",
        ),
        (
            "fan",
            "{pin: 18, ▸timezone: UTC}",
            "`fan` has no key `timezone`",
            "`timezone` in `place`",
        ),
        (
            "schedule",
            "{▸pre_run_s: 900}",
            "`schedule` has no key `pre_run_s`",
            "`pre_run`, perhaps",
        ),
        (
            "place",
            "{timezone: UTC, ▸colour: red}",
            "`place` has no key `colour`",
            "timezone or units",
        ),
        ("▸sensros", "[]", "there is no section `sensros`", "`sensors`, perhaps"),
        ("▸sensor", "[]", "there is no section `sensor`", "`sensors`, perhaps"),
        ("▸photoperiod", "{}", "there is no section `photoperiod`", "`photoperiod` in `lamp`"),
    ],
)
def test_a_misspelt_or_misplaced_key_is_put_right(
    section: str, value: str, message: str, expected: str
) -> None:
    text, expected_places = marked(good(**{section: value}))
    problems = errors(text)
    assert [(problem.message, problem.expected) for problem in problems] == [(message, expected)]
    assert places(problems) == expected_places


def test_a_misspelt_required_key_is_reported_once() -> None:
    (problem,) = errors(good(place="{timezon: UTC}"))
    assert problem.expected == "`timezone`, perhaps"


def test_python_names_with_units_are_no_keys_of_the_file() -> None:
    problems = errors(good(tent="{width_m: 80 cm, depth: 80 cm, height: 160 cm}"))
    assert [problem.message for problem in problems] == ["`tent` has no key `width_m`"]


@pytest.mark.parametrize(
    ("price", "value", "currency"),
    [
        ("0.31", 0.31, "EUR"),
        ("0.31 per kWh", 0.31, "EUR"),
        ("0.31 EUR/kWh", 0.31, "EUR"),
        ("0.31 CHF", 0.31, "CHF"),
        ("0.31/kWh", 0.31, "EUR"),
        ("0.18 usd/kWh", 0.18, "USD"),
        ("none", None, "EUR"),
    ],
)
def test_a_price_brings_its_currency_along(price: str, value: float | None, currency: str) -> None:
    energy = load(good(energy=f"{{price: {price}}}")).settings.energy
    assert (energy.price_per_kwh, energy.currency) == (value, currency)


def test_display_units_follow_the_file_unless_they_are_given() -> None:
    assert load(GOOD).settings.units == "si"
    assert load(good(targets="{heat_warning: 82 °F}")).settings.units == "us"
    assert load(good(record="{path: 3 front.sqlite3}")).settings.units == "si"
    assert load(good(targets="{heat_warning: 82F}")).settings.units == "us"
    assert (
        load(
            good(targets="{heat_warning: 82 °F}", place="{timezone: UTC, units: si}")
        ).settings.units
        == "si"
    )
