"""The steady rise against balances by hand, and its order whatever the tent."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tent_bodies import CONFIG, changed, random_tent

from controller.airflow.span import Span
from controller.config import settings_from_text
from controller.expectation import ExpectedRise, SteadyRise
from controller.expectation.rise import Figure

# Dry air at 20 °C and 101 325 Pa: 1.204 kg/m³ and 1006 J/(kg K), ASHRAE Fundamentals 2017 ch. 1.
DRY_AIR_J_PER_M3_K = 1.204 * 1006.0
STILL = Figure(0.0, 0.0)


def expected(text: str = CONFIG) -> ExpectedRise:
    made = ExpectedRise.from_settings(settings_from_text(text).settings)
    assert made is not None
    return made


def steady(rise: ExpectedRise, speed: float = 1.0, *, lit: bool = True) -> SteadyRise:
    made = rise.steady(speed, lit, 20.0, 40.0)
    assert made is not None
    return made


def test_a_dry_tent_rises_by_its_lamp_over_what_air_and_walls_carry_off() -> None:
    """Walls of 5.76 m² at 1/(0.13 + 0.13) W/m²K: films of ISO 6946, table 7."""
    rise = expected()
    walls_w_per_k = (4 * 0.8 * 1.6 + 0.8 * 0.8) / 0.26
    air_w_per_k = rise.delivered_m3_s() * DRY_AIR_J_PER_M3_K
    by_hand_k = (150.0 + 0.1 * 25.0) / (walls_w_per_k + air_w_per_k)  # a tenth of the motor's heat
    # Moist air carries a per cent or so more, and warm air is a per cent thinner.
    assert steady(rise).dry_k == pytest.approx(by_hand_k, rel=0.02)


def test_water_takes_its_latent_heat_along() -> None:
    """A gram of vapour more in each kilogram of air is 2.45 kJ (FAO-56, eq. 8), so 2.4 K less."""
    made = steady(expected())
    air_w_per_k = made.dry_air_kg_s.best * made.air_j_per_kg_k
    by_hand_k = 2.45 / 1.02 * air_w_per_k / made.w_per_k
    drop_k = made.balanced_k(150.0, 0.0) - made.balanced_k(150.0, 0.001)
    assert drop_k == pytest.approx(by_hand_k, rel=0.02)


def test_measured_moisture_tells_a_dead_fan_from_a_strong_lamp() -> None:
    """What hangs over the intake in heat alone may be a lamp; heat and moisture are still air."""
    rise = expected()
    made = steady(rise)
    dry = rise.limits_k((made,) * 3, True, STILL, Figure(0.0, 0.0016))
    wet = rise.limits_k((made,) * 3, True, STILL, Figure(0.008, 0.0016))
    assert wet.high < dry.high - 1.0
    assert wet.high < 1.5


@pytest.mark.parametrize("gain", [0.0, 0.012])
def test_walls_that_may_let_more_through_bring_a_tent_nearer_to_its_room(gain: float) -> None:
    """Whether it is warmer by its lamp or, with a cold mist in it, colder."""
    rise = expected()
    made = steady(rise)
    is_colder = made.balanced_k(150.0, gain) < 0.0
    assert is_colder == (gain > 0.01)

    def limits(most_w_per_k: float) -> Span:
        walls = Span(0.5 * made.w_per_k, 0.5 * made.w_per_k, most_w_per_k)
        one = made._replace(wall_w_per_k=walls, best_k=-9.0, dry_k=9.0)
        return rise.limits_k((one,) * 3, True, STILL, Figure(gain, 0.0))

    known, doubtful = limits(0.5 * made.w_per_k), limits(made.w_per_k)
    assert (doubtful.high > known.high + 0.01) == is_colder
    assert (doubtful.low < known.low - 0.01) != is_colder


@pytest.mark.parametrize("gain", [0.004, 0.008, 0.012])
def test_a_cold_mist_is_no_open_tent(gain: float) -> None:
    """More water than any plants give off: what was evaporated has cooled the air."""
    rise = expected()
    made = steady(rise)
    assert gain > made.planted_gain
    limits = rise.limits_k((made,) * 3, True, STILL, Figure(gain, 0.001))
    assert limits.low < made.balanced_k(150.0, gain) < limits.high


def test_the_share_of_air_is_what_the_balance_leaves() -> None:
    rise = expected()
    made = steady(rise)
    assert rise.air_share(made, True, made.balanced_k(150.0, 0.002), 0.002) == pytest.approx(1.0)
    assert rise.air_share(made, True, 150.0 / made.wall_w_per_k.best, 0.004) == pytest.approx(0.0)
    assert rise.air_share(made, True, -1.0, 0.0) is None


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (", free_flow: 190 m³/h, max_pressure: 250 Pa", ""),
        ("  - {name: room, role: intake, driver: dht22, pin: 27}\n", ""),
    ],
)
def test_nothing_is_expected_of_what_is_not_described(old: str, new: str) -> None:
    assert ExpectedRise.from_settings(settings_from_text(changed((old, new))).settings) is None


def test_nothing_is_expected_beyond_the_air_that_is_known() -> None:
    assert expected().steady(1.0, True, 80.0, 50.0) is None
    assert expected().steady(1.0, True, -60.0, 50.0) is None


@given(st.integers(0, 400), st.booleans(), st.floats(5.0, 35.0), st.floats(10.0, 90.0))
def test_more_air_never_warms_a_dry_tent_and_limits_enclose_the_likely_rise(
    seed: int, lit: bool, intake_c: float, intake_pct: float
) -> None:
    rise = expected(random_tent(seed))
    by_speed = [rise.steady(speed, lit, intake_c, intake_pct) for speed in (0.0, 0.3, 0.6, 1.0)]
    if lit:  # in the dark the motor is all that heats
        dry_k = [one.dry_k for one in by_speed if one is not None]
        assert all(fast <= 1.02 * slow + 0.02 for slow, fast in pairwise(dry_k))
    for one in by_speed:
        if one is None:
            continue
        assert one.planted_doubt_k >= 0.0
        assert one.dry_doubt_k >= 0.0
        assert one.best_k <= one.dry_k + 1e-6
        for gain in (-0.002, 0.0, 0.003, 0.02):
            limits = rise.limits_k((one,) * 3, lit, Figure(5.0, 5.0), Figure(gain, 0.001))
            assert limits.low <= limits.best <= limits.high


def test_a_stronger_fan_is_reckoned_by_the_same_balance() -> None:
    rise = expected()
    likely, dry = rise.needed_flow_m3_s(24.0, 27.0)
    assert 0.0 < likely < dry
    by_hand = (150.0 + 2.5 - 3.0 * (4 * 0.8 * 1.6 + 0.64) / 0.26) / 3.0 / DRY_AIR_J_PER_M3_K
    assert dry == pytest.approx(by_hand, rel=0.03)
    assert rise.needed_flow_m3_s(28.0, 27.0) == (float("inf"), float("inf"))
