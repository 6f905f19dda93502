"""Several sensors of one role: one reading, and who disagrees."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.control.plausibility import Profile, Role, combine, disagreeing
from controller.control.types import Reading, SensorReading

FINE = Profile(low_c=-40.0, high_c=80.0, accuracy_k=0.5, accuracy_pct=2.0)
COARSE = Profile(low_c=0.0, high_c=60.0, accuracy_k=2.0, accuracy_pct=5.0)


def parts(
    *values: tuple[float, float], profile: Profile = FINE
) -> list[tuple[SensorReading, Profile]]:
    return [(SensorReading(10.0, t, rh), profile) for t, rh in values]


def combined(role: Role, *values: tuple[float, float]) -> tuple[float, float]:
    reading = combine(role, parts(*values))
    assert reading is not None
    return reading.temperature_c, reading.humidity_pct


def test_no_sensor_no_reading() -> None:
    assert combine("tent", []) is None


def test_a_sensor_alone_has_its_way() -> None:
    assert combined("tent", (24.0, 55.0)) == (24.0, 55.0)


@pytest.mark.parametrize("role", ["tent", "intake"])
def test_twins_that_agree_are_averaged(role: Role) -> None:
    assert combined(role, (24.0, 55.0), (25.0, 59.0)) == (24.5, 57.0)


def test_twins_that_disagree_err_towards_moving_air() -> None:
    # 4 K apart where accuracies explain 1 K: the tent is at least as hot as the hotter says, less
    # its share; the intake air at least as cool.
    assert combined("tent", (24.0, 55.0), (28.0, 65.0)) == (27.5, 63.0)
    assert combined("intake", (24.0, 55.0), (28.0, 65.0)) == (24.5, 57.0)


def test_temperature_and_humidity_disagree_each_by_itself() -> None:
    assert combined("tent", (24.0, 70.0), (28.0, 60.0)) == (27.5, 68.0)


def test_of_three_one_that_has_gone_wrong_is_outvoted() -> None:
    assert combined("tent", (24.0, 55.0), (24.4, 56.0), (60.0, 5.0)) == (24.4, 55.0)


def test_of_four_the_middle_two_decide() -> None:
    values = (24.0, 50.0), (24.4, 51.0), (24.8, 52.0), (60.0, 99.0)
    assert combined("tent", *values) == pytest.approx((24.6, 51.5))
    assert combined("tent", (20.0, 50.0), (20.0, 50.0), (26.0, 50.0), (26.0, 50.0))[0] == 25.5


def test_an_old_reading_has_no_vote_beside_a_fresh_one() -> None:
    old, fresh = SensorReading(0.0, 20.0, 50.0), SensorReading(31.0, 26.0, 60.0)
    assert combine("tent", [(old, FINE), (fresh, FINE)]) == Reading(*fresh)


def test_the_time_is_that_of_the_oldest_vote() -> None:
    first, second = SensorReading(5.0, 24, 55), SensorReading(9.0, 24, 55)
    reading = combine("tent", [(first, FINE), (second, FINE)])
    assert reading is not None
    assert reading.monotonic_s == 5.0


def test_twins_beyond_the_sum_of_their_accuracies_disagree() -> None:
    assert disagreeing(parts((24.0, 55.0), (25.0, 59.0))) == (False, False)
    assert disagreeing(parts((24.0, 55.0), (25.1, 55.0))) == (True, True)
    assert disagreeing(parts((24.0, 55.0), (24.0, 59.1))) == (True, True)
    mixed = [(SensorReading(0.0, 24.0, 55.0), FINE), (SensorReading(0.0, 26.4, 55.0), COARSE)]
    assert disagreeing(mixed) == (False, False)


def test_a_twin_whose_range_has_ended_does_not_disagree_with_what_is_beyond_it() -> None:
    """An SCD4x ends at 60 °C, a DHT22 at 80 °C: in a tent of 74 °C both do what they can."""
    short, long = FINE._replace(high_c=60.0), FINE._replace(high_c=80.0)

    def apart(first_c: float, second_c: float) -> bool:
        both = [
            (SensorReading(0.0, first_c, 9.0), short),
            (SensorReading(0.0, second_c, 9.0), long),
        ]
        return disagreeing(both) == (True, True)

    assert not apart(60.0, 74.0)
    assert apart(57.0, 74.0)
    shifted = [
        (SensorReading(0.0, 63.0, 9.0), short._replace(temperature_offset_k=3.0)),
        (SensorReading(0.0, 74.0, 9.0), long),
    ]
    assert disagreeing(shifted) == (False, False)


@pytest.mark.parametrize(
    ("first_c", "second_c", "disagree"),
    [(3.0, -9.0, False), (6.0, -9.0, True), (63.0, 74.0, False), (60.0, 74.0, True)],
)
def test_a_range_ends_where_its_corrected_values_do(
    first_c: float, second_c: float, disagree: bool
) -> None:
    """From 0 to 60 °C and corrected by 3 K: it tells 3 to 63 °C."""
    corrected = FINE._replace(low_c=0.0, high_c=60.0, temperature_offset_k=3.0)
    both = [
        (SensorReading(0.0, first_c, 9.0), corrected),
        (SensorReading(0.0, second_c, 9.0), FINE),
    ]
    assert disagreeing(both) == (disagree, disagree)


def test_of_three_the_odd_one_out_is_named() -> None:
    assert disagreeing(parts((24.0, 55.0), (24.2, 55.0), (28.0, 55.0))) == (False, False, True)
    assert disagreeing(parts((24.0, 55.0))) == (False,)


temperatures = st.floats(-10.0, 60.0)


@given(st.lists(temperatures, min_size=1, max_size=6), st.sampled_from(["tent", "intake"]))
def test_the_reading_lies_within_the_sensors_whatever_their_order(
    values: list[float], role: Role
) -> None:
    results = set()
    for order in itertools.islice(itertools.permutations(values), 24):
        reading = combine(role, parts(*[(t, 50.0) for t in order]))
        assert reading is not None
        results.add(reading.temperature_c)
    assert len(results) == 1
    assert min(values) - 1e-9 <= results.pop() <= max(values) + 1e-9


@given(temperatures, st.floats(0.0, 10.0), st.floats(0.0, 0.01))
def test_nothing_jumps_where_agreement_ends(low: float, gap: float, more: float) -> None:
    before = combined("tent", (low, 50.0), (low + gap, 50.0))[0]
    after = combined("tent", (low, 50.0), (low + gap + more, 50.0))[0]
    assert -1e-9 <= after - before <= more + 1e-9


@given(temperatures, temperatures)
def test_the_tent_is_never_taken_for_cooler_than_its_hotter_sensor_less_its_error(
    a: float, b: float
) -> None:
    value = combined("tent", (a, 50.0), (b, 50.0))[0]
    assert value >= max(a, b) - 0.5 - 1e-9


def test_a_thermometer_beside_a_hygrometer_disagrees_by_temperature_alone() -> None:
    hygrometer, thermometer = SensorReading(10.0, 24.0, 55.0), SensorReading(10.0, 24.5, None)
    assert disagreeing([(hygrometer, FINE), (thermometer, FINE)]) == (False, False)
    cold = thermometer._replace(temperature_c=20.0)
    assert disagreeing([(hygrometer, FINE), (cold, FINE)]) == (True, True)


def test_a_reading_that_is_just_half_a_minute_older_still_has_a_vote() -> None:
    new = (SensorReading(100.0, 24.0, 55.0), FINE)
    for age_s, expected_c in ((30.0, 24.25), (30.5, 24.0)):
        old = (SensorReading(100.0 - age_s, 24.5, 55.0), FINE)
        reading = combine("tent", [new, old])
        assert reading is not None
        assert reading.temperature_c == expected_c
