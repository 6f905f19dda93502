"""What can be done tonight: which changes are tried, what they do to the room, and what is said."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "expectation"))

from tent_bodies import CONFIG, changed

from controller.config import Settings, settings_from_text
from controller.review.excursions import KINDS
from controller.timetable import Timetable
from controller.tomorrow.blend import with_lamp
from controller.tomorrow.foresee import AirHour, DayFigures, Evening, ForecastBasis, expect
from controller.tomorrow.hours import HOUR_S, OutdoorHours, RoomHours, lit_share
from controller.tomorrow.tonight import TOO_HOT, tonight_changes, try_tonight

DAYS, NOW = 12, 24 * 10 + 18  # at 20:00 in Rome
START_S = 1_748_822_400.0  # 2025-06-02 00:00 UTC
SETTINGS = settings_from_text(CONFIG).settings
PWM = settings_from_text(changed(("relay, pin: 17", "pwm, pin: 18"))).settings


def lit_hours(settings: Settings) -> list[float]:
    timetable = Timetable.from_settings(settings)
    starts_s = [START_S + hour * HOUR_S for hour in range(24 * DAYS - 2)]
    return [lit_share(timetable, start_s, start_s + HOUR_S) for start_s in starts_s]


def room_c(hour: int) -> float:
    return 24.0 + (4.0 if 10 <= hour % 24 < 16 else 0.0)


HOURS = RoomHours(START_S, [room_c(hour) for hour in range(NOW)], [8.0] * NOW, lit_hours(SETTINGS))
OUTDOORS = OutdoorHours(
    [room_c(hour) - (8.0 if hour % 24 < 6 else -2.0) for hour in range(24 * DAYS)],
    [6.0] * 24 * DAYS,
)
EVENING = Evening(NOW, START_S + (NOW + 4) * HOUR_S, START_S + (NOW + 28) * HOUR_S, None, None)


def run(
    air: Sequence[AirHour],
    now_s: float,
    start_s: float,
    end_s: float,
    settings: Settings | None = None,
) -> DayFigures:
    """A tent as warm as its intake, and 5 K warmer while its lamp is lit."""
    timetable = Timetable.from_settings(settings or SETTINGS)
    tent = [
        (hour.temperature_c + 5.0 * timetable.state(hour.at_s).lamp_on, hour.at_s)
        for hour in air
        if start_s <= hour.at_s < end_s
    ]
    peak_c, at_s = max(tent)
    minutes = dict.fromkeys(KINDS, 0.0)
    minutes[TOO_HOT] = 60.0 * sum(c > 30.0 for c, _ in tent)
    lit_h = sum(timetable.state(hour.at_s).lamp_on for hour in air if hour.at_s >= now_s)
    return DayFigures(peak_c, at_s, peak_c, minutes, 0.5, float(lit_h))


BASIS = ForecastBasis(HOURS, OUTDOORS, 150.0, run)


def test_each_change_is_tried_where_it_can_be() -> None:
    changes = list(tonight_changes(PWM, with_outdoors=True))
    assert {change.what for change in changes} == {
        "lamp_shifted", "lamp_shortened", "night_speed", "room_aired",
    }  # fmt: skip
    assert [c.to for c in changes if c.what == "night_speed"] == ["25 %", "50 %", "100 %"]
    relay = list(tonight_changes(SETTINGS, with_outdoors=False))
    assert [c.to for c in relay if c.what == "night_speed"] == ["100 %"]
    assert not [c for c in relay if c.what == "room_aired"]
    always = settings_from_text(changed(('off: "22:00"', 'off: "06:00"'))).settings
    kinds = {change.what for change in tonight_changes(always, with_outdoors=False)}
    assert kinds == {"night_speed"}


def test_the_best_of_each_kind_is_said_with_its_cost() -> None:
    expected = expect(BASIS, EVENING, [])
    assert expected is not None
    tried = try_tonight(BASIS, EVENING, expected, SETTINGS)
    gains = [one.gain_k for one in tried]
    assert gains == sorted(gains, reverse=True)
    assert min(gains) >= 0.3
    by_kind = {one.change.what: one for one in tried}
    assert len(by_kind) == len(tried)
    # Hot from 12:00 to 18:00 in Rome: only hours that leave these out gain the lamp's 5 K.
    shifted = by_kind["lamp_shifted"]
    assert shifted.change.to == "18:00–10:00"
    assert shifted.gain_k == pytest.approx(4.0, abs=1.1)
    assert shifted.hot_min < expected.minutes[TOO_HOT].value
    assert shifted.more_kwh == pytest.approx(0.15 * shifted.more_light_h)
    assert "night_speed" not in by_kind  # this tent's fan does nothing


def test_airing_counts_only_while_it_is_cooler_outdoors() -> None:
    seen: list[list[AirHour]] = []

    def watched(air: Sequence[AirHour], *args: float, **kwargs: Settings | None) -> DayFigures:
        seen.append(list(air))
        return run(air, *args, **kwargs)

    basis = BASIS._replace(run=watched)  # type: ignore[arg-type]
    expected = expect(basis, EVENING, [])
    assert expected is not None
    try_tonight(basis, EVENING, expected, SETTINGS)
    aired = seen[-1]
    for i, (before, after) in enumerate(zip(expected.air, aired, strict=True)):
        hour = NOW + i - (len(expected.air) - (24 * DAYS - 2 - NOW))
        outside_c = OUTDOORS.temperature_c[hour]
        assert outside_c is not None
        if hour >= NOW and outside_c < before.temperature_c:
            assert after.temperature_c == pytest.approx(0.5 * (before.temperature_c + outside_c))
        else:
            assert after == before


def test_what_is_done_tonight_begins_tonight_also_when_foreseen_in_the_morning() -> None:
    begun: set[float] = set()

    def watched(
        air: Sequence[AirHour], now_s: float, *args: float, **kwargs: Settings | None
    ) -> DayFigures:
        begun.add(now_s)
        return run(air, now_s, *args, **kwargs)

    morning = NOW - 17  # at 03:00, of the same tomorrow
    hours = HOURS._replace(temperature_c=HOURS.temperature_c[:morning])
    basis = BASIS._replace(run=watched, hours=hours)  # type: ignore[arg-type]
    evening = EVENING._replace(now=morning)
    expected = expect(basis, evening, [])
    assert expected is not None
    begun.clear()
    tried = try_tonight(basis, evening, expected, SETTINGS)
    assert begun == {evening.start_s - 4 * HOUR_S}
    shifted = next(one for one in tried if one.change.what == "lamp_shifted")
    assert shifted.change.to == "18:00–10:00"
    assert shifted.more_light_h == 2.0  # 20:00 to 24:00 in place of 22:00; of this morning nothing


def test_nothing_is_tried_for_a_tomorrow_in_band() -> None:
    cool = BASIS._replace(hours=HOURS._replace(temperature_c=[15.0] * NOW), outdoors=None)
    expected = expect(cool, EVENING, [])
    assert expected is not None
    assert try_tonight(cool, EVENING, expected, SETTINGS) == []


def test_a_lamp_at_other_hours_warms_the_room_at_other_hours() -> None:
    expected = expect(BASIS, EVENING, [])
    assert expected is not None
    count = len(expected.forecast.temperature.learned)
    model = expected.forecast.temperature.model
    warmer, _ = with_lamp(expected.forecast, [0.0] * count, [1.0] + [0.0] * (count - 1))
    assert max(warmer) == warmer[0] or warmer[0] > 0.0
    assert all(value >= 0.0 for value in warmer)
    same, moister = with_lamp(expected.forecast, [1.0] * count, [1.0] * count)
    assert same == moister == [0.0] * count
    dark, _ = with_lamp(expected.forecast, [1.0] * count, [0.0] * count)
    assert min(dark) >= -max(0.0, model.lamp) - 1e-9
