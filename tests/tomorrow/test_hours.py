"""The record by the hour."""

from __future__ import annotations

import datetime as dt

import pytest

from controller.record import ReadingRow
from controller.timetable import Timetable
from controller.tomorrow.hours import HOUR_S, lit_share, room_hours

START_S = 1_748_822_400.0
TIMETABLE = Timetable("UTC", dt.time(6, 30), dt.time(20))
PRESSURE_PA = 101_325.0


def row(minute: int, temperature_c: float | None) -> ReadingRow:
    return ReadingRow(
        at_ms=round(1000.0 * (START_S + 60.0 * (minute + 1))),
        interval_s=60.0,
        intake_temperature_c=temperature_c,
        intake_humidity_pct=50.0,
        fan_speed=0.0,
        fan_on_s=0.0,
        lamp_on=True,
        lamp_on_s=60.0,
        in_fan_hours=True,
        rule="schedule",
    )


def test_hours_are_means_of_what_was_read_and_the_lamps_of_what_it_was() -> None:
    rows = [row(minute, 20.0 + (minute >= 30)) for minute in range(60)]
    rows += [row(60 + minute, 22.0 if minute < 10 else None) for minute in range(60)]
    hours = room_hours(
        rows, START_S + 5.0, START_S + 2 * HOUR_S, START_S + 8 * HOUR_S, PRESSURE_PA, TIMETABLE
    )
    assert hours.temperature_c == [pytest.approx(20.5), None]  # ten minutes tell no hour
    # 20 and 21 °C at 50 %: 7.26 and 7.73 g/kg (psychrometric chart of ASHRAE, read by eye).
    assert hours.ratio_g_kg[0] == pytest.approx(7.5, abs=0.08)
    assert hours.lit == pytest.approx([1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.5, 1.0])
    assert hours.hour_of(START_S + 1.5 * HOUR_S) == 1
    assert hours.middle_s(1) == START_S + 1.5 * HOUR_S


def test_the_lamps_share_of_a_stretch_is_exact() -> None:
    assert lit_share(TIMETABLE, START_S, START_S + 24 * HOUR_S) == pytest.approx(13.5 / 24.0)
    assert lit_share(TIMETABLE, START_S + 6 * HOUR_S, START_S + 7 * HOUR_S) == pytest.approx(0.5)
