"""Quantities as people write them.

Conversion factors: NIST SP 811 (2008), appendix B.8: inch 0.0254 m (exact), foot 0.3048 m (exact),
cubic foot per minute 4.719474e-4 m³/s, conventional inch of water 249.0889 Pa, millibar 100 Pa;
t/°C = (t/°F − 32)/1.8.
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import display, units
from controller.config.written import as_written

numbers = st.floats(0.001, 9999.0).map(lambda value: float(f"{value:.6g}"))


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("80 cm", "length", 0.8),
        ("80cm", "length", 0.8),
        ("2 ft 3 in", "length", 27 * 0.0254),
        ("2ft 3in", "length", 27 * 0.0254),
        ("""2' 3\"""", "length", 27 * 0.0254),
        ("100 mm", "length", 0.1),
        ("5280 ft", "altitude", 1609.344),
        ("-3 m", "altitude", -3.0),
        ("24 °C", "temperature", 24.0),
        ("24°C", "temperature", 24.0),
        ("24 C", "temperature", 24.0),
        ("75 °F", "temperature", 43 / 1.8),
        ("75F", "temperature", 43 / 1.8),
        ("-40 °F", "temperature", -40.0),
        ("−10.1 °C", "temperature", -10.1),
        ("300 K", "temperature", 26.85),
        ("2 K", "temperature_difference", 2.0),
        ("2 °C", "temperature_difference", 2.0),
        ("3.6 °F", "temperature_difference", 2.0),
        ("-1 °F", "temperature_difference", -1 / 1.8),
        ("60 %", "humidity", 60.0),
        ("60%", "humidity", 60.0),
        ("60 % RH", "humidity", 60.0),
        ("1.1 kPa", "pressure", 1100.0),
        ("11 hPa", "pressure", 1100.0),
        ("11 mbar", "pressure", 1100.0),
        ("187 m³/h", "flow", 187 / 3600),
        ("187 m3/h", "flow", 187 / 3600),
        ("50 l/s", "flow", 0.05),
        ("15 min", "duration", 900.0),
        ("1 h 30 min", "duration", 5400.0),
        ("1h30min", "duration", 5400.0),
        ("30m", "duration", 1800.0),
        ("30 m", "length", 30.0),
        ("1h30", "duration", 5400.0),
        ("1 h 5", "duration", 3900.0),
        ("1h30m", "duration", 5400.0),
        ("2d 1h30", "duration", 2 * 86400 + 5400.0),
        ("90s", "duration", 90.0),
        ("1:30 h", "duration", 5400.0),
        ("1:30 min", "duration", 90.0),
        ("2 years", "duration", 2 * 365.25 * 86400),
        ("150 W", "power", 150.0),
        ("1.2 kW", "power", 1200.0),
        ("25 kHz", "frequency", 25_000.0),
        ("40 %", "speed", 0.4),
        ("1000 ppm", "co2", 1000.0),
        ("24\u00a0°C", "temperature", 24.0),  # no-break space, as copied from a data sheet
        ("0", "duration", 0.0),
        ("0", "speed", 0.0),
    ],
)
def test_reads_what_people_write(text: str, kind: str, value: float) -> None:
    assert units.parse(text, kind) == pytest.approx(value, rel=1e-9, abs=1e-12)


hours = st.sampled_from([name for name, unit in units.KINDS["duration"].spellings.items()
                         if unit == "hour"])  # fmt: skip


@given(st.integers(0, 99), st.integers(0, 59), hours, st.sampled_from(["", " "]))
def test_hours_and_minutes_read_however_they_are_written(
    h: int, m: int, hour: str, gap: str
) -> None:
    seconds = 3600.0 * h + 60.0 * m
    for text in (
        f"{h}{gap}{hour}{gap}{m}",
        f"{h}{gap}{hour}{gap}{m:02}",
        f"{h}{gap}{hour}{gap}{m}{gap}m",
        f"{h}{gap}{hour.upper()}{gap}{m}{gap}min",
        f"{h}:{m:02}{gap}{hour}",
    ):
        assert units.parse(text, "duration") == seconds
        assert re.match(_pattern("duration"), text)
        with pytest.raises(units.NotAQuantityError):
            units.parse(text, "length")


@given(st.integers(0, 10**7))
def test_a_duration_that_is_shown_reads_as_what_it_shows(seconds: int) -> None:
    text = display.duration(seconds)
    read = units.parse(text, "duration")
    assert display.duration(read) == text
    assert abs(read - seconds) <= (1800 if seconds >= 86400 else 30 if seconds >= 3600 else 0)


@given(st.text("0123456789hmin:. ", max_size=12))
def test_the_schema_takes_every_duration_that_reads(text: str) -> None:
    try:
        units.parse(text, "duration")
    except units.NotAQuantityError:
        return
    assert re.match(_pattern("duration"), text)


@given(numbers)
def test_inches_and_feet_are_the_international_ones(number: float) -> None:
    assert units.parse(f"{number} in", "length") == pytest.approx(number * 0.0254, rel=1e-11)
    assert units.parse(f"{number} ft", "length") == pytest.approx(number * 0.3048, rel=1e-11)


@given(numbers)
def test_cfm_is_a_cubic_foot_a_minute(number: float) -> None:
    # Seven digits are what the table prints.
    assert units.parse(f"{number} cfm", "flow") == pytest.approx(number * 4.719474e-4, rel=1e-6)


@given(numbers)
def test_an_inch_of_water_is_the_conventional_one(number: float) -> None:
    for name in ("inH2O", "in H2O", "inwg", "in. w.g.", "in wc"):
        assert units.parse(f"{number} {name}", "pressure") == pytest.approx(
            number * 249.0889, rel=1e-6
        )


@given(st.floats(-100, 200).map(lambda value: round(value, 3)))
def test_fahrenheit_and_celsius_agree(fahrenheit: float) -> None:
    celsius = (fahrenheit - 32) / 1.8
    assert units.parse(f"{fahrenheit} °F", "temperature") == pytest.approx(celsius, abs=1e-9)
    assert units.parse(f"{fahrenheit} °F", "temperature_difference") == pytest.approx(
        fahrenheit / 1.8, abs=1e-9
    )


@given(st.sampled_from(sorted(units.KINDS)), numbers, st.booleans())
def test_a_value_survives_being_written_and_read(kind: str, number: float, big: bool) -> None:
    value = float(f"{number * (100 if big else 0.01):.6g}")
    if kind == "speed":
        value = float(f"{value % 1.0:.6g}")
    assert units.parse(as_written(value, kind), kind) == value


@pytest.mark.parametrize(
    ("text", "us"),
    [("40 ft", True), ("2 ft 3 in", True), ("75F", True), ("75 °F", True), ("9 cfm", True),
     ("1 inH2O", True), ("1 in. w.g.", True), ('4"', True), ("2' 3\"", True),
     ("5 min", False), ("3 cm", False), ("2 °C", False)],
)  # fmt: skip
def test_us_units_are_distinguished_from_the_rest(text: str, us: bool) -> None:
    assert units.looks_us(text) is us


@pytest.mark.parametrize(
    ("text", "fahrenheit"),
    [("75F", True), ("-4.5 °F", True), ("75 deg F", True), ("75\u202fºf", True), ("7e1 ℉", True),
     ("−3 Fahrenheit", True), ("75 °C", False), ("6 ft", False),
     ("row 3 front", False), ("F", False)],
)  # fmt: skip
def test_degrees_fahrenheit_are_distinguished_from_the_rest(text: str, fahrenheit: bool) -> None:
    assert units.is_fahrenheit(text) is fahrenheit


@pytest.mark.parametrize("kind", sorted(units.KINDS))
def test_every_spelling_of_every_kind_reads(kind: str) -> None:
    for spelling in units.KINDS[kind].spellings:
        for written in (spelling, spelling.upper(), spelling.title()):
            assert units.parse(f"1 {written}", kind) is not None
            assert re.match(_pattern(kind), f"1 {written}")


@pytest.mark.parametrize("kind", sorted(units.KINDS))
def test_the_example_of_every_kind_reads(kind: str) -> None:
    assert units.parse(units.KINDS[kind].example, kind) > 0


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("24", "temperature", "24 has no unit; expected a temperature: write 24 °C or 24 °F"),
        ("0", "temperature", "0 has no unit; expected a temperature: write 0 °C or 0 °F"),
        ("80", "length", "80 has no unit; expected a length: write 80 cm or 80 in or 80 m"),
        ("0.4", "speed", "0.4 has no unit; expected a fan speed: write 40 % or 0.4 %"),
        ("40", "speed", "40 has no unit; expected a fan speed: write 40 %"),
        ("0.6", "humidity", "0.6 has no unit; expected a relative humidity: write 60 % or 0.6 %"),
        ("60", "humidity", "60 has no unit; expected a relative humidity: write 60 %"),
        (
            "1,5 m",
            "length",
            "'1,5 m' has a comma in its number, which could mean two things; expected a decimal "
            "point and no thousands separator, e.g. 1.5 m",
        ),
        ("nan", "length", "'nan' is not a number to work with; expected e.g. 80 cm"),
        ("-.inf", "power", "'-.inf' is not a number to work with; expected e.g. 150 W"),
        (
            "24 W",
            "temperature",
            "'24 W' is not a temperature; expected a temperature with its unit, "
            "e.g. 24 °C or 24 °F",
        ),
        (
            "1:30",
            "duration",
            "'1:30' is not a duration; expected a duration with its units: 1 h 30 min, or 1 min "
            "30 s",
        ),
        (
            "20:00",
            "duration",
            "'20:00' is not a duration; expected a duration with its units: 20 h, or 20 min",
        ),
        (
            "5min30",
            "duration",
            "'5min30' is not a duration; expected a duration, each number with its unit, the "
            "larger unit first, e.g. 1 h 30 min",
        ),
        (
            "2 ft 3",
            "length",
            "'2 ft 3' is not a length; expected a length, each number with its unit, the larger "
            "unit first, e.g. 2 ft 3 in",
        ),
        ("true", "flow", "'true' is not an air flow; expected an air flow, e.g. 187 m³/h"),
        ("", "length", "'' is not a length; expected a length, e.g. 80 cm"),
    ],
)
def test_says_what_is_wrong_and_how_to_write_it(text: str, kind: str, said: str) -> None:
    with pytest.raises(units.NotAQuantityError, match=f"^{re.escape(said)}$"):
        units.parse(text, kind)


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("3 in 2 ft", "length"),
        ("2 m 2 m", "length"),
        ("5 m3", "length"),
        ("1 °C 2 °C", "temperature"),
        ("1 W W", "power"),
        ("nan m", "length"),
        ("inf cm", "length"),
        ("0x10 cm", "length"),
        ("1_000 cm", "length"),
        ("1 m/s", "length"),
        ("10 cfm", "pressure"),
        ("1h60", "duration"),
        ("1.5h30", "duration"),
        ("1h30 45", "duration"),
        ("30m 1h", "duration"),
        ("1:60 h", "duration"),
        ("1:3 h", "duration"),
        ("1:30:00", "duration"),
        ("1:30 d", "duration"),
        ("1:30 m", "length"),
        ("1 ſ", "duration"),  # a long s, which ignoring case would take for s
        ("١ cm", "length"),  # an Arabic digit one
        ("1 cm" + " " * 80, "length"),
        ("9" * 400 + " cm", "length"),
    ],
)
def test_refuses_the_rest(text: str, kind: str) -> None:
    with pytest.raises(units.NotAQuantityError):
        units.parse(text, kind)


@given(st.text(max_size=30), st.sampled_from(sorted(units.KINDS)))
def test_any_text_is_a_finite_number_or_an_error(text: str, kind: str) -> None:
    try:
        value = units.parse(text, kind)
    except units.NotAQuantityError as error:
        assert "; expected " in str(error)
    else:
        assert value == value and abs(value) < float("inf")


@given(
    st.sampled_from(sorted(units.KINDS)).flatmap(
        lambda kind: st.tuples(st.just(kind), st.from_regex(_pattern(kind), fullmatch=True))
    )
)
def test_a_text_of_the_schemas_pattern_reads_unless_its_parts_are_out_of_order(
    case: tuple[str, str],
) -> None:
    kind, text = case
    try:
        units.parse(text, kind)
    except units.NotAQuantityError as error:
        assert units.KINDS[kind].compound or len(text) > units.MAX_LENGTH, error


def _pattern(kind: str) -> str:
    schema = units.json_schema(kind)
    options = schema.get("anyOf", [schema])
    return str(options[0]["pattern"])
