"""Timing an exponential decay, and knowing when it can't be."""

import math
import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from controller.commissioning.decay import Decay, NoDecay, _t_quantile, combined, fit_decay


def curve(rate_per_s, *, start=14.0, settled=9.0, every_s=2.5, span_s=300.0, noise=0.0, seed=1):
    rng = random.Random(seed)
    times = [every_s * i for i in range(int(span_s / every_s) + 1)]
    values = [
        settled + (start - settled) * math.exp(-rate_per_s * t) + rng.gauss(0.0, noise)
        for t in times
    ]
    return times, values


@given(
    time_constant_s=st.floats(30.0, 120.0),
    start=st.floats(-20.0, 20.0),
    fall=st.floats(1.0, 10.0),
    rising=st.booleans(),
)
def test_a_clean_decay_is_timed_exactly(time_constant_s, start, fall, rising):
    settled = start + fall if rising else start - fall
    times, values = curve(1.0 / time_constant_s, start=start, settled=settled, span_s=360.0)
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
    assert isinstance(fit, Decay)
    assert fit.time_constant_s == pytest.approx(time_constant_s, rel=1e-3)
    assert fit.settled == pytest.approx(settled, abs=1e-2 * fall)


def test_the_fit_is_that_of_a_general_library():
    times, values = curve(1 / 60.0, noise=0.08)
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
    # scipy 1.14+, optimize.curve_fit (Levenberg-Marquardt) from another starting point.
    (settled, amplitude, rate, own), covariance = optimize.curve_fit(
        lambda t, c, a, k, b: c + a * np.exp(-k * t) + b * np.exp(-t / 8.0),
        np.array(times),
        values,
        p0=(8.0, 4.0, 0.03, 0.0),
    )
    assert fit.rate_per_s == pytest.approx(rate, rel=1e-4)
    assert fit.settled == pytest.approx(settled, abs=1e-3)
    assert fit.start - fit.settled == pytest.approx(amplitude + own, abs=1e-3)
    half_width = 1.96 * math.sqrt(covariance[2][2])
    assert (fit.high_per_s - fit.low_per_s) / 2.0 == pytest.approx(half_width, rel=0.25)


def test_confidence_limits_hold_the_true_rate_as_often_as_they_say():
    hits = 0
    for seed in range(100):
        times, values = curve(1 / 70.0, every_s=5.0, noise=0.1, seed=seed)
        fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
        hits += fit.low_per_s <= 1 / 70.0 <= fit.high_per_s
    # 95 are expected; fewer than 88 would come up once in several hundred such tests.
    assert hits >= 88


def test_autocorrelated_scatter_widens_the_limits():
    times, values = curve(1 / 60.0)
    rng = random.Random(2)
    white, red, level = [], [], 0.0
    for value in values:
        level = 0.8 * level + rng.gauss(0.0, 0.06)
        red.append(value + level)
        white.append(value + rng.gauss(0.0, 0.1))
    fits = [fit_decay(times, v, least_fall=0.3, sensor_lag_s=8.0) for v in (white, red)]
    widths = [f.high_per_s / f.low_per_s for f in fits]
    assert widths[1] - 1.0 > 2.0 * (widths[0] - 1.0)


@pytest.mark.parametrize("noise", [0.0, 0.05])
def test_a_reading_that_does_not_change_is_no_decay(noise):
    times, values = curve(1 / 60.0, start=9.02, settled=9.0, noise=noise)
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
    assert isinstance(fit, NoDecay)
    assert "hardly changed" in fit.reason


def test_a_decay_cut_short_is_not_extrapolated():
    times, values = curve(1 / 900.0, span_s=120.0, noise=0.01)
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
    assert isinstance(fit, NoDecay)
    assert "did not settle" in fit.reason


def test_a_decay_as_fast_as_the_sensor_gives_only_a_bound():
    times, values = curve(1 / 6.0, noise=0.02)
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=8.0)
    assert isinstance(fit, NoDecay)
    assert fit.at_least_per_s == pytest.approx(1 / 8.0)


def test_a_lagging_sensor_does_not_slow_the_decay_down():
    # The exact response of a first-order sensor, at rest until the decay begins.
    rate, lag_s = 1 / 40.0, 15.0
    times = [2.5 * i for i in range(120)]
    share = rate * lag_s
    values = [
        9.0 + 5.0 * (math.exp(-rate * t) - share * math.exp(-t / lag_s)) / (1.0 - share)
        for t in times
    ]
    fit = fit_decay(times, values, least_fall=0.3, sensor_lag_s=lag_s)
    assert fit.time_constant_s == pytest.approx(40.0, rel=1e-3)
    assert fit.start == pytest.approx(14.0, abs=1e-3)
    assert fit.settled == pytest.approx(9.0, abs=1e-3)


def test_limits_under_several_assumptions_are_the_outermost_ones():
    one, other = (
        fit_decay(*curve(1 / tau_s, noise=0.05), least_fall=0.3, sensor_lag_s=8.0)
        for tau_s in (60.0, 75.0)
    )
    both = combined([one, other])
    assert both.low_per_s == pytest.approx(other.low_per_s, rel=0.006)
    assert both.high_per_s == pytest.approx(one.high_per_s, rel=0.006)
    assert both.low_per_s < other.low_per_s and both.high_per_s > one.high_per_s
    assert other.rate_per_s < both.rate_per_s < one.rate_per_s
    assert combined([one, NoDecay("why")]) == NoDecay("why")
    bounds = [NoDecay("too fast", 0.1), NoDecay("too fast", 0.05)]
    assert combined([*bounds, one]) == NoDecay("too fast", one.low_per_s)


def test_assumptions_too_far_apart_leave_only_a_bound():
    fits = [
        fit_decay(*curve(1 / tau_s, noise=0.02), least_fall=0.3, sensor_lag_s=8.0)
        for tau_s in (25.0, 90.0)
    ]
    both = combined(fits)
    assert isinstance(both, NoDecay)
    assert both.at_least_per_s == pytest.approx(fits[1].low_per_s, rel=0.006)


def test_too_few_readings_are_reported():
    assert (
        "only 5"
        in fit_decay([0, 1, 2, 3, 4], [5, 4, 3, 2, 1], least_fall=0.1, sensor_lag_s=8.0).reason
    )


@pytest.mark.parametrize(
    ("times", "values"),
    [([0.0, 1.0], [1.0]), ([0.0, math.nan], [1.0, 2.0]), ([0.0, 0.0], [1.0, 2.0])],
)
def test_what_is_no_series_is_refused(times, values):
    with pytest.raises(ValueError):
        fit_decay(times, values, least_fall=0.1, sensor_lag_s=8.0)


@pytest.mark.parametrize("free", [3.0, 5.0, 10.0, 30.0, 200.0])
def test_t_quantile_is_the_tables(free):
    assert _t_quantile(free) == pytest.approx(stats.t.ppf(0.975, free), rel=0.02)
