"""Plausibility of one sensor's measurements, the median, the offsets."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.control.plausibility import (
    CONFIRMATIONS,
    FRESH,
    MEDIAN_COUNT,
    History,
    Profile,
    SensorFault,
    judge,
    trusted,
)
from controller.measurement import Measurement
from controller.sensors.data_sheets import DHT11, DHT22

HOUR_S = 3600.0


def run(
    measured: Iterable[tuple[float, float, float]],
    profile: Profile = DHT22,
    history: History = FRESH,
    lit: bool | None = None,
) -> tuple[list[SensorFault | None], History]:
    """Judge (time, temperature, humidity) in turn."""
    faults = []
    for at_s, temperature_c, humidity_pct in measured:
        fault, history = judge(
            profile, history, at_s, Measurement(temperature_c, humidity_pct), lit
        )
        faults.append(fault)
    return faults, history


def every(
    period_s: float, values: Iterable[tuple[float, float]], start_s: float = 0.0
) -> list[tuple[float, float, float]]:
    return [(start_s + i * period_s, t, rh) for i, (t, rh) in enumerate(values)]


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"),
    [
        (0.0, 0.0),  # the first edge of the train lost, or an all-zero frame
        (24.0, 0.0),
        (24.0, -1.0),
        (24.0, 100.1),
        (3276.7, 50.0),
        (-3276.7, 50.0),
        (80.1, 50.0),
        (-40.1, 50.0),
        (math.nan, 50.0),
        (24.0, math.nan),
        (math.inf, 50.0),
    ],
)
def test_what_cannot_be_is_refused_and_forgotten(temperature_c: float, humidity_pct: float) -> None:
    _, before = run(every(2.5, [(24.0, 55.0), (24.1, 55.0)]))
    fault, after = judge(DHT22, before, 5.0, Measurement(temperature_c, humidity_pct))
    assert fault is SensorFault.ABSURD
    assert after == before


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"), [(-40.0, 0.1), (80.0, 100.0), (0.0, 30.0), (24.0, 99.9)]
)
def test_the_ends_of_the_data_sheets_range_are_believed(
    temperature_c: float, humidity_pct: float
) -> None:
    # AM2302 product manual: −40 to 80 °C, 0 to 100 % (99.9 in another edition).
    assert run([(0.0, temperature_c, humidity_pct)])[0] == [None]


def test_saturated_air_may_read_above_100_where_the_sensor_does_so() -> None:
    # Sensirion, SHT4x data sheet: the signal conversion may give values outside 0–100 %, to be
    # cropped (from memory).
    sht = Profile(low_c=-40.0, high_c=125.0, accuracy_k=0.4, accuracy_pct=3.5, overshoot_pct=6.0)
    faults, history = run([(0.0, 22.0, 101.5)], sht)
    assert faults == [None]
    reading = trusted(sht, history)
    assert reading is not None
    assert reading.humidity_pct == 100.0


def test_a_single_jump_is_refused_and_leaves_no_trace() -> None:
    faults, history = run(every(2.5, [(24.0, 55.0), (24.1, 55.1), (54.0, 55.0), (24.0, 55.2)]))
    assert faults == [None, None, SensorFault.JUMPED, None]
    assert [s.temperature_c for s in history.recent] == [24.0, 24.1, 24.0]


@pytest.mark.parametrize(
    ("change_k", "change_pct", "believed"),
    [
        (2.7, 0.0, True),  # 1.5 K and 2.5 s at 0.5 K/s
        (-2.7, 0.0, True),
        (2.8, 0.0, False),
        (0.0, 10.9, True),  # 6 % and 2.5 s at 2 %/s
        (0.0, -10.9, True),
        (0.0, 11.1, False),
    ],
)
def test_a_change_is_believed_up_to_a_step_and_a_rate(
    change_k: float, change_pct: float, believed: bool
) -> None:
    faults, _ = run([(100.0, 24.0, 55.0), (102.5, 24.0 + change_k, 55.0 + change_pct)])
    assert faults[1] is (None if believed else SensorFault.JUMPED)


@pytest.mark.parametrize("level", [(34.0, 55.0), (24.0, 85.0), (14.0, 25.0)])
def test_a_new_level_is_believed_once_it_persists(level: tuple[float, float]) -> None:
    after = [(level[0] + 0.1 * i, level[1]) for i in range(CONFIRMATIONS)]
    faults, history = run(every(2.5, [(24.0, 55.0)] * 3 + after))
    assert faults == [None] * 3 + [SensorFault.JUMPED] * (CONFIRMATIONS - 1) + [None]
    # The old level has no say in the median.
    reading = trusted(DHT22, history)
    assert reading is not None
    assert (reading.temperature_c, reading.humidity_pct) == after[-1]


def test_a_sensor_that_jumps_about_is_never_believed_at_its_new_levels() -> None:
    wild = [(34.0, 55.0), (5.0, 20.0), (60.0, 90.0), (15.0, 40.0), (45.0, 70.0)] * 4
    faults, history = run(every(0.1, [(24.0, 55.0), *wild]))
    assert set(faults[1:]) == {SensorFault.JUMPED}
    assert history.last == (0.0, 24.0, 55.0, None)


def test_a_good_measurement_in_between_starts_the_count_again() -> None:
    row = [(24.0, 55.0), (54.0, 55.0), (54.0, 55.0), (24.0, 55.0), (54.0, 55.0), (54.0, 55.0)]
    faults, _ = run(every(2.5, row))
    jumped = SensorFault.JUMPED
    assert faults == [None, jumped, jumped, None, jumped, jumped]


def test_an_opened_tent_is_believed() -> None:
    # 35 °C and 80 % to 20 °C and 45 % with a time constant of 15 s.
    shares = [math.exp(-2.5 * i / 15.0) for i in range(40)]
    faults, _ = run(every(2.5, [(20.0 + 15.0 * s, 45.0 + 35.0 * s) for s in shares]))
    assert set(faults) == {None}


def test_a_long_pause_allows_a_large_change() -> None:
    assert run([(0.0, 20.0, 50.0), (60.0, 32.0, 75.0)])[0] == [None, None]


def test_a_loose_wire_is_never_believed_however_long_it_lasts() -> None:
    wild = every(2.0, [(-20.0, 50.0), (60.0, 50.0), (79.0, 50.0), (45.0, 50.0)] * 300)
    faults = run([(-2.0, 18.0, 60.0), *wild])[0]
    assert faults == [None, *[SensorFault.JUMPED] * 1200]


def still(hours: float, period_s: float = 60.0) -> list[tuple[float, float, float]]:
    return every(period_s, [(18.0, 70.0)] * (int(hours * HOUR_S / period_s) + 1))


@pytest.mark.parametrize(
    ("profile", "lit", "hours"), [(DHT22, True, 2), (DHT22, False, 12), (DHT11, True, 12)]
)
def test_a_sensor_that_stands_still_for_long_is_stuck(
    profile: Profile, lit: bool, hours: float
) -> None:
    faults, _ = run(still(hours + 0.1), profile, lit=lit)
    began = faults.index(SensorFault.STUCK)
    assert began * 60.0 == pytest.approx(hours * HOUR_S, abs=61.0)
    assert set(faults[:began]) == {None}
    assert set(faults[began:]) == {SensorFault.STUCK}


def test_a_dark_cellar_may_stand_still_all_night() -> None:
    assert set(run(still(11.9), lit=False)[0]) == {None}
    assert set(run(still(11.9), lit=None)[0]) == {None}


def test_night_and_day_add_up() -> None:
    _, history = run(still(6.0), lit=False)  # half of what a night may take
    day = every(60.0, [(18.0, 70.0)] * 70, start_s=6.0 * HOUR_S + 60.0)
    faults, _ = run(day, history=history, lit=True)
    assert faults.index(SensorFault.STUCK) == pytest.approx(59, abs=1)


@pytest.mark.parametrize("moved", [(18.1, 70.0), (18.0, 70.1)])
def test_one_value_moving_is_enough_not_to_be_stuck(moved: tuple[float, float]) -> None:
    _, history = run(still(11.9), lit=False)
    at_s = 12 * HOUR_S
    faults, history = run([(at_s, *moved)], history=history, lit=False)
    assert faults == [None]
    assert history.standing_still == 0.0


def test_a_stuck_sensor_recovers_with_the_first_change() -> None:
    _, history = run(still(12.5), lit=False)
    faults, _ = run([(13 * HOUR_S, 18.1, 70.0)], history=history)
    assert faults == [None]


def test_the_time_a_sensor_was_away_does_not_make_it_stuck() -> None:
    faults, history = run([(0.0, 18.0, 70.0), (30 * HOUR_S, 18.0, 70.0)], lit=True)
    assert faults == [None, None]
    assert history.standing_still < 0.1


def test_the_reading_is_the_median_of_the_last_few() -> None:
    row = [(24.0, 55.0), (24.1, 55.4), (25.4, 59.0), (24.2, 55.2), (23.0, 51.0)]
    _, history = run(every(2.5, row))
    reading = trusted(DHT22, history)
    assert reading is not None
    assert (reading.monotonic_s, reading.temperature_c, reading.humidity_pct) == (10.0, 24.1, 55.2)


def test_an_even_number_takes_the_mean_of_the_middle_two() -> None:
    _, history = run(every(2.5, [(24.0, 55.0), (24.2, 56.0)]))
    reading = trusted(DHT22, history)
    assert reading is not None
    assert (reading.temperature_c, reading.humidity_pct) == pytest.approx((24.1, 55.5))


def test_old_measurements_have_no_say_in_the_median() -> None:
    _, history = run([(0.0, 24.0, 55.0), (2.5, 24.0, 55.0), (60.0, 26.0, 50.0)])
    reading = trusted(DHT22, history)
    assert reading is not None
    assert (reading.temperature_c, reading.humidity_pct) == (26.0, 50.0)


@pytest.mark.parametrize(("pause_s", "temperature_c"), [(20.0, 24.5), (20.5, 25.0)])
def test_the_median_looks_back_so_far(pause_s: float, temperature_c: float) -> None:
    _, history = run([(100.0, 24.0, 55.0), (100.0 + pause_s, 25.0, 55.0)])
    reading = trusted(DHT22, history)
    assert reading is not None
    assert reading.temperature_c == temperature_c


def test_an_offset_does_not_make_humidity_negative() -> None:
    profile = Profile(-40.0, 80.0, 0.5, 5.0, humidity_offset_pct=-5.0)
    _, history = run([(0.0, 24.0, 3.0)], profile)
    reading = trusted(profile, history)
    assert reading is not None
    assert reading.humidity_pct == 0.0


def test_offsets_are_added_to_what_is_believed() -> None:
    # 79.8 °C is within the range; what the user's offset makes of it does not matter.
    profile = Profile(-40.0, 80.0, 0.5, 5.0, temperature_offset_k=-0.7, humidity_offset_pct=3.0)
    _, history = run([(0.0, 79.8, 98.0)], profile)
    reading = trusted(profile, history)
    assert reading is not None
    assert reading.temperature_c == pytest.approx(79.1)
    assert reading.humidity_pct == 100.0  # not 101


def test_before_the_first_measurement_there_is_no_reading() -> None:
    assert trusted(DHT22, FRESH) is None


values = st.tuples(
    st.floats(0.1, 30.0),
    st.one_of(st.floats(-50.0, 90.0), st.just(0.0), st.just(3276.7)),
    st.one_of(st.floats(-5.0, 110.0), st.just(0.0)),
)


@given(st.lists(values, max_size=60))
def test_whatever_comes_only_the_possible_is_trusted(
    steps: list[tuple[float, float, float]],
) -> None:
    history = FRESH
    at_s = 0.0
    for step_s, temperature_c, humidity_pct in steps:
        at_s += step_s
        fault, history = judge(DHT22, history, at_s, Measurement(temperature_c, humidity_pct))
        assert len(history.recent) <= MEDIAN_COUNT
        reading = trusted(DHT22, history)
        if reading is not None:
            assert -40.0 <= reading.temperature_c <= 80.0
            assert 0.0 < reading.humidity_pct <= 100.0
            assert reading.monotonic_s <= at_s
            assert (reading.monotonic_s == at_s) == (fault is None)


@given(st.lists(st.tuples(st.floats(-0.5, 0.5), st.floats(-2.0, 2.0)), min_size=1, max_size=60))
def test_honest_noise_is_always_trusted(noise: list[tuple[float, float]]) -> None:
    row = every(2.5, [(24.0 + t, 55.0 + rh) for t, rh in noise])
    assert set(run(row, lit=True)[0]) == {None}


@pytest.mark.parametrize(
    ("co2_ppm", "expected_ppm"),
    [
        (None, None),
        (0.0, None),  # what SCD30 and SCD4x give before their first value (data sheets)
        (0.5, 0.5),
        (420.0, 420.0),
        (40_000.0, 40_000.0),
        (40_000.5, None),
        (-1.0, None),
        (math.nan, None),
    ],
)
def test_co2_that_cannot_be_is_left_out_and_the_rest_believed(
    co2_ppm: float | None, expected_ppm: float | None
) -> None:
    fault, history = judge(DHT22, FRESH, 0.0, Measurement(24.0, 55.0, co2_ppm))
    assert fault is None
    assert trusted(DHT22, history) == (0.0, 24.0, 55.0, expected_ppm)


def test_a_thermometer_is_judged_and_offset_by_its_temperature_alone() -> None:
    profile = DHT22._replace(temperature_offset_k=0.5, humidity_offset_pct=3.0)
    history = FRESH
    for at_s, temperature_c, expected in [
        (0.0, 24.0, None),
        (2.0, 24.5, None),
        (4.0, 40.0, SensorFault.JUMPED),
    ]:
        fault, history = judge(profile, history, at_s, Measurement(temperature_c, None))
        assert fault is expected
    assert trusted(profile, history) == (2.0, 24.75, None, None)


@pytest.mark.parametrize(
    ("pause_s", "change_k", "change_pct", "believed"),
    [
        (2.0, 2.5, 0.0, True),  # exactly 1.5 K and 2 s at 0.5 K/s
        (2.0, 0.0, 10.0, True),  # exactly 6 % and 2 s at 2 %/s
        (0.0, 1.5, 0.0, True),
        (0.0, 1.75, 0.0, False),
        (30.0, 16.5, 0.0, True),  # however long the pause, half a minute of it counts
        (600.0, 16.5, 0.0, True),
        (600.0, 16.75, 0.0, False),
    ],
)
def test_the_change_that_is_just_believed(
    pause_s: float, change_k: float, change_pct: float, believed: bool
) -> None:
    faults, _ = run([(0.0, 24.0, 50.0), (pause_s, 24.0 + change_k, 50.0 + change_pct)])
    assert faults[-1] is (None if believed else SensorFault.JUMPED)


def test_a_new_level_is_believed_the_third_time_and_five_measurements_make_the_median() -> None:
    faults, _ = run(every(2.0, [(24.0, 50.0), *[(44.0, 50.0)] * 3]))
    assert faults[1:] == [SensorFault.JUMPED, SensorFault.JUMPED, None]
    _, history = run(every(2.0, [(24.0 + 0.1 * i, 50.0) for i in range(8)]))
    assert [sample.temperature_c for sample in history.recent] == pytest.approx(
        [24.3, 24.4, 24.5, 24.6, 24.7]
    )
    _, history = run([(20.5, 24.1, 50.0)], history=run([(0.0, 24.0, 50.0)])[1])
    assert len(history.recent) == 1  # nothing older than 20 s is kept


@pytest.mark.parametrize(("lit", "steps"), [(True, 24), (False, 144), (None, 144)])
def test_a_sensor_is_stuck_after_just_two_hours_in_light_and_twelve_in_the_dark(
    lit: bool | None, steps: int
) -> None:
    still = every(300.0, [(24.0, 55.0)] * (steps + 1))
    still[-1] = (still[-1][0] - 0.5, 24.0, 55.0)
    faults, _ = run([*still, (still[-1][0] + 1.0, 24.0, 55.0)], lit=lit)
    assert faults[-2:] == [None, SensorFault.STUCK]


def test_standing_still_counts_five_minutes_of_a_pause_and_nothing_of_none() -> None:
    still = [(24.0, 55.0)] * 2
    assert run(every(600.0, still), DHT22._replace(stuck_lit_s=300.0), lit=True)[0][1] is (
        SensorFault.STUCK
    )
    assert run(every(600.0, still), DHT22._replace(stuck_lit_s=301.0), lit=True)[0][1] is None
    assert run(every(0.0, still), DHT22._replace(stuck_lit_s=1.0), lit=True)[0][1] is None
