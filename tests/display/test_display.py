"""Values as people read them.

Factors from outside the project: NIST SP 811 (2008), appendix B.8 (inch, foot, pound, cfm,
conventional inch of water 249.0889 Pa, foot² 0.09290304 m², foot³ 0.02831685 m³).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import display, units


@pytest.mark.parametrize(
    ("shown", "text"),
    [
        (display.temperature(24.06), "24.1 °C"),
        (display.temperature(24.06, "us"), "75.3 °F"),
        (display.temperature(-10.1), "−10.1 °C"),
        (display.temperature(-0.04), "0.0 °C"),
        (display.temperature_difference(1.5), "1.5 K"),
        (display.temperature_difference(1.5, "us"), "2.7 °F"),
        (display.humidity(61.6), "62 %"),
        (display.vpd(1052), "1.05 kPa"),
        (display.flow(187 / 3600), "187 m³/h"),
        (display.flow(110 * 4.719474e-4, "us"), "110 cfm"),
        (display.flow(0.001), "3.6 m³/h"),
        (display.pressure(150), "150 Pa"),
        (display.pressure(7.25), "7.2 Pa"),
        (display.pressure(0.6 * 249.0889, "us"), "0.60 inH2O"),
        (display.length(0.8), "80 cm"),
        (display.length(0.125), "12.5 cm"),
        (display.length(2.5), "2.5 m"),
        (display.length(32 * 0.0254, "us"), "32 in"),
        (display.length(98 * 0.0254, "us"), "8 ft 2 in"),
        (display.length(96 * 0.0254, "us"), "8 ft"),
        (display.altitude(1609.344, "us"), "5280 ft"),
        (display.area(0.64), "0.64 m²"),
        (display.area(0.09290304 * 6.9, "us"), "6.9 ft²"),
        (display.volume(1.0572), "1.06 m³"),
        (display.volume(0.02831685 * 37.3, "us"), "37.3 ft³"),
        (display.speed(0.4), "40 %"),
        (display.power(150), "150 W"),
        (display.power(8.5), "8.5 W"),
        (display.power(1200), "1.20 kW"),
        (display.energy(4.56), "4.56 kWh"),
        (display.energy(1204.4), "1204 kWh"),
        (display.money(1.416, "EUR"), "1.42 EUR"),
        (display.money(0.0126, "USD"), "0.013 USD"),
        (display.money(0, "USD"), "0.00 USD"),
        (display.mass(0.85), "850 g"),
        (display.mass(1.2), "1.2 kg"),
        (display.mass(0.5092), "510 g"),
        (display.mass(11.7), "12 kg"),
        (display.mass(0.45359237 / 2, "us"), "8 oz"),
        (display.mass(0.45359237 * 3.1, "us"), "3.1 lb"),
        (display.frequency(25_000), "25 kHz"),
        (display.frequency(100), "100 Hz"),
        (display.co2(849.6), "850 ppm"),
    ],
)
def test_values_read_as_people_write_them(shown: str, text: str) -> None:
    assert shown == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (0.04, "0 s"),
        (2.5, "2.5 s"),
        (45, "45 s"),
        (59.6, "1 min"),
        (90, "1 min 30 s"),
        (900, "15 min"),
        (5400, "1 h 30 min"),
        (3601, "1 h"),
        (3599.7, "1 h"),
        (7229, "2 h"),
        (7231, "2 h 1 min"),
        (5445, "1 h 31 min"),
        (85_500, "23 h 45 min"),
        (86_399, "1 d"),
        (86_400, "1 d"),
        (93_600, "1 d 2 h"),
        (3 * 86_400 - 1, "3 d"),
        (5 * 86_400 + 3000, "5 d 1 h"),
        (-90, "−1 min 30 s"),
        (math.inf, "–"),
    ],
)
def test_durations_read_in_two_units_at_most(seconds: float, text: str) -> None:
    assert display.duration(seconds) == text


@given(st.floats(0, 3e8))
def test_a_duration_is_rounded_to_its_last_unit(seconds: float) -> None:
    text = display.duration(seconds)
    parts = text.split()
    assert len(parts) in (2, 4)
    allowed = 0.5 if seconds < 3600 else 30.0 if seconds < 86_400 else 1800.0
    assert abs(units.parse(text, "duration") - seconds) <= allowed + 1e-6


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0, "0 min"),
        (0.4, "under 1 min"),
        (45.4, "45 min"),
        (59.6, "1 h"),
        (450, "7 h 30 min"),
        (54 * 60 + 10, "54 h 10 min"),
        (100 * 60 + 29, "100 h"),
        (99 * 60 + 59.6, "100 h"),
        (812 * 60 + 30, "813 h"),
    ],
)
def test_time_counted_up_is_in_hours_and_minutes(minutes: float, text: str) -> None:
    assert display.hours_and_minutes(minutes) == text


@given(st.floats(0.5, 1e7))
def test_time_counted_up_is_rounded_to_its_last_unit(minutes: float) -> None:
    text = display.hours_and_minutes(minutes)
    allowed = 30.0 if text.endswith(" min") else 1800.0 + 30.0
    if minutes >= 1.0:
        assert abs(units.parse(text, "duration") - 60.0 * minutes) <= allowed + 1e-6
    assert "d" not in text.replace("under", "")


@pytest.mark.parametrize(
    ("at_s", "text"),
    [(0.0, "1970-01-01T01:00:00+01:00"), (1_374_178_799.6, "2013-07-18T22:20:00+02:00")],
)
def test_an_instant_for_programs_has_its_offset(at_s: float, text: str) -> None:
    assert display.rfc3339(at_s, ZoneInfo("Europe/Rome")) == text


ROUND_TRIPS: list[tuple[str, Callable[[float, display.Units], str], float, float]] = [
    ("temperature", display.temperature, 0.05, 100.0),
    ("temperature_difference", display.temperature_difference, 0.05, 50.0),
    ("pressure", display.pressure, 1.3, 5000.0),
    ("area", display.area, 0.005, 50.0),
    ("volume", display.volume, 0.005, 50.0),
]


@pytest.mark.parametrize(("kind", "show", "rounding", "most"), ROUND_TRIPS)
@given(data=st.data())
def test_what_is_shown_reads_back_as_the_value(
    kind: str,
    show: Callable[[float, display.Units], str],
    rounding: float,
    most: float,
    data: st.DataObject,
) -> None:
    value = data.draw(st.floats(-most if kind.startswith("temp") else 0.0, most))
    for system in ("si", "us"):
        assert units.parse(show(value, system), kind) == pytest.approx(value, abs=rounding * 1.001)


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(sorted(units.KINDS)))
def test_any_value_of_any_kind_can_be_shown(value: float, kind: str) -> None:
    for system in ("si", "us"):
        text = display.quantity(value, kind, system)
        assert text and "nan" not in text and "inf" not in text.replace("inH2O", "")
