"""A reading is what its ticks say, weighted by time."""

from __future__ import annotations

import math
from typing import NamedTuple

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.record import IntervalMeans, ReadingRow

# A whole minute, so that ends lie where a person expects them.
WALL_S = 1_374_105_600.0


class Tick(NamedTuple):
    at_s: float
    tent: tuple[float, float] | None = (24.0, 60.0)
    intake: tuple[float, float] | None = None
    speed: float = 0.4
    lamp_on: bool = True
    in_fan_hours: bool = True
    rule: str = "schedule"
    locked_out: bool = False
    rpm: float | None = None


def run(ticks: list[Tick], interval_s: float = 60.0, wall_s: float = WALL_S) -> list[ReadingRow]:
    means = IntervalMeans(interval_s)
    rows = []
    for tick in ticks:
        row = means.add(
            1000.0 + tick.at_s,
            wall_s + tick.at_s,
            *(tick.tent or (None, None)),
            *(tick.intake or (None, None)),
            *tick[3:],
        )
        if row is not None:
            rows.append(row)
    return rows


def test_a_steady_minute_is_one_row_with_its_values() -> None:
    (row,) = run([Tick(2.0 * n, intake=(20.0, 50.0), rpm=1800.0) for n in range(31)])
    assert row.at_ms == (WALL_S + 60) * 1000
    assert row.interval_s == pytest.approx(60.0)
    assert row.tent_temperature_c == pytest.approx(24.0)
    assert row.tent_humidity_pct == pytest.approx(60.0)
    # psychrolib 2.5.0, GetVaporPressure and GetTDewPointFromRelHum at 24 °C 60 %.
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    assert row.tent_vpd_pa == pytest.approx(psychrolib.GetSatVapPres(24.0) * 0.4, rel=1e-6)
    assert row.tent_dew_point_c == pytest.approx(
        psychrolib.GetTDewPointFromRelHum(24.0, 0.6), abs=0.01
    )
    assert (row.intake_temperature_c, row.intake_humidity_pct) == (20.0, 50.0)
    assert row.fan_speed == pytest.approx(0.4)
    assert row.fan_on_s == pytest.approx(60.0)
    assert row.fan_rpm == 1800.0
    assert row.lamp_on_s == pytest.approx(60.0)


def test_the_fan_is_on_from_the_tick_that_starts_it_to_the_tick_that_stops_it() -> None:
    ticks = [Tick(2.0 * n, speed=1.0 if 10 <= 2 * n < 25 else 0.0) for n in range(31)]
    (row,) = run(ticks)
    # On at 10 s, off at the tick at 26 s.
    assert row.fan_on_s == pytest.approx(16.0)
    assert row.fan_speed == pytest.approx(16.0 / 60.0)


def test_lamp_and_fan_hours_are_those_at_the_end() -> None:
    ticks = [Tick(2.0 * n) for n in range(30)]
    ticks.append(Tick(60.0, lamp_on=False, in_fan_hours=False))
    (row,) = run(ticks)
    assert (row.lamp_on, row.in_fan_hours) == (False, False)
    assert row.lamp_on_s == pytest.approx(60.0)


def test_the_rule_is_the_one_that_decided_longest() -> None:
    """Not the one that comes next: it has done nothing yet."""
    hot = [Tick(2.0 * n, rule="too_hot", locked_out=True) for n in range(18)]
    ticks = [*hot, *(Tick(2.0 * n, rule="schedule") for n in range(18, 31))]
    (row,) = run(ticks)
    assert (row.rule, row.locked_out) == ("too_hot", True)
    (row,) = run(
        [*ticks[:10], *(tick._replace(rule="schedule", locked_out=False) for tick in ticks[10:])]
    )
    assert (row.rule, row.locked_out) == ("schedule", False)


def test_time_without_a_trusted_reading_counts_for_nothing() -> None:
    ticks = [Tick(2.0 * n, tent=(30.0, 40.0) if n < 10 else None) for n in range(31)]
    (row,) = run(ticks)
    assert row.tent_temperature_c == pytest.approx(30.0)
    (row,) = run([Tick(2.0 * n, tent=None) for n in range(31)])
    assert row.tent_temperature_c is None
    assert row.tent_temperature_max_c is None
    assert row.tent_vpd_pa is None
    assert row.fan_on_s == pytest.approx(60.0)


def test_extremes_are_of_the_interval_alone() -> None:
    hot = [Tick(2.0 * n, tent=(35.0 if n == 15 else 24.0, 60.0)) for n in range(30)]
    cool = [Tick(60.0 + 2.0 * n, tent=(24.0, 30.0 if n == 15 else 60.0)) for n in range(31)]
    first, second = run(hot + cool)
    assert (first.tent_temperature_min_c, first.tent_temperature_max_c) == (24.0, 35.0)
    assert (second.tent_temperature_min_c, second.tent_temperature_max_c) == (24.0, 24.0)
    assert (second.tent_humidity_min_pct, second.tent_humidity_max_pct) == (30.0, 60.0)


def test_ends_lie_on_whole_minutes_whenever_it_was_started() -> None:
    rows = run([Tick(17.0 + 2.0 * n) for n in range(120)])
    assert [row.at_ms / 1000 - WALL_S for row in rows] == [61.0, 121.0, 181.0, 241.0]
    assert rows[0].interval_s == pytest.approx(44.0)
    assert sum(row.interval_s for row in rows) == pytest.approx(241.0 - 17.0)


@pytest.mark.parametrize("step_s", [-3600.0, -7.0, 7.0, 3600.0, 180 * 86400.0])
def test_a_clock_step_changes_labels_but_no_length(step_s: float) -> None:
    means = IntervalMeans(60.0)
    rows = []
    for n in range(200):
        wall_s = WALL_S + 2.0 * n + (step_s if n >= 50 else 0.0)
        row = means.add(2.0 * n, wall_s, 24.0, 60.0, None, None, 1.0, True, True, "schedule")
        if row is not None:
            rows.append(row)
    assert all(row.fan_on_s == pytest.approx(row.interval_s) for row in rows)
    assert all(0.0 < row.interval_s <= 92.0 for row in rows)
    assert 398.0 - sum(row.interval_s for row in rows) < 92.0
    assert (rows[-1].at_ms / 1000) % 60.0 < 2.0


def test_a_stretch_without_ticks_is_left_out() -> None:
    before = [Tick(2.0 * n) for n in range(10)]
    after = [Tick(2000.0 + 2.0 * n) for n in range(60)]
    rows = run(before + after)
    assert rows[0].interval_s == pytest.approx(18.0)
    assert rows[0].fan_on_s == pytest.approx(18.0)
    assert sum(row.interval_s for row in rows[1:]) <= 118.0


def test_an_interval_shorter_than_the_tick_gives_a_row_for_each_tick() -> None:
    rows = run([Tick(2.0 * n) for n in range(31)], interval_s=1.0)
    assert [row.interval_s for row in rows] == [pytest.approx(2.0)] * 30


@pytest.mark.parametrize("humidity_pct", [0.0, 100.0])
def test_the_ends_of_the_humidity_scale_do_not_raise(humidity_pct: float) -> None:
    (row,) = run([Tick(2.0 * n, tent=(24.0, humidity_pct)) for n in range(31)])
    assert row.tent_humidity_pct == pytest.approx(humidity_pct)


@pytest.mark.parametrize("interval_s", [0.0, -1.0, math.nan])
def test_an_interval_that_is_none_is_refused(interval_s: float) -> None:
    with pytest.raises(ValueError, match="interval_s"):
        IntervalMeans(interval_s)


readings = st.none() | st.tuples(st.floats(-10, 60), st.floats(0, 100))


@given(
    st.lists(
        st.tuples(
            st.floats(0.1, 20.0),
            readings,
            readings,
            st.sampled_from([0.0, 0.4, 1.0]),
            st.booleans(),
        ),
        min_size=2,
        max_size=60,
    )
)
def test_it_agrees_with_a_data_frame_that_holds_every_tick(
    steps: list[tuple[float, tuple[float, float] | None, tuple[float, float] | None, float, bool]],
) -> None:
    """The reference: pandas 2, each tick's values times the seconds until the next tick."""
    ticks, at_s = [], 0.0
    for length_s, tent, intake, speed, lamp_on in steps:
        ticks.append(Tick(at_s, tent, intake, speed, lamp_on))
        at_s += length_s
    rows = run(ticks)
    ends_s = [row.at_ms / 1000 - WALL_S for row in rows]
    frame = pd.DataFrame(
        {
            "at": [t.at_s for t in ticks],
            "tent": [math.nan if t.tent is None else t.tent[0] for t in ticks],
            "intake": [math.nan if t.intake is None else t.intake[1] for t in ticks],
            "speed": [t.speed for t in ticks],
            "lamp": [float(t.lamp_on) for t in ticks],
        }
    )
    frame["s"] = frame["at"].shift(-1) - frame["at"]
    frame = frame.dropna(subset="s")
    start_s = 0.0
    for row, end_s in zip(rows, ends_s, strict=True):
        part = frame[(frame["at"] >= start_s - 1e-3) & (frame["at"] < end_s - 1e-3)]
        start_s = end_s
        assert row.interval_s == pytest.approx(part["s"].sum(), abs=1e-3)
        assert row.fan_on_s == pytest.approx(part["s"][part["speed"] > 0].sum(), abs=1e-3)
        assert row.fan_speed * row.interval_s == pytest.approx(
            (part["s"] * part["speed"]).sum(), abs=1e-3
        )
        assert row.lamp_on_s == pytest.approx((part["s"] * part["lamp"]).sum(), abs=1e-3)
        for name, value in (("tent", row.tent_temperature_c), ("intake", row.intake_humidity_pct)):
            known = part.dropna(subset=name)
            if known.empty:
                assert value is None
            else:
                mean = (known[name] * known["s"]).sum() / known["s"].sum()
                assert value == pytest.approx(mean, abs=1e-6)
        known = part.dropna(subset="tent")
        if not known.empty:
            assert row.tent_temperature_min_c == known["tent"].min()
            assert row.tent_temperature_max_c == known["tent"].max()


def test_what_there_is_of_an_interval_is_given_at_the_end() -> None:
    means = IntervalMeans(60.0)
    for n in range(40):  # the first full interval ends at 60 s, the last tick is at 78 s
        means.add(
            1000.0 + 2.0 * n, WALL_S + 2.0 * n, 24.0, 60.0, None, None, 0.4, True, True, "schedule"
        )
    row = means.finish(1079.5, WALL_S + 79.5)
    assert row is not None
    assert (row.at_ms, row.interval_s) == ((WALL_S + 79.5) * 1000, pytest.approx(19.5))
    assert (row.fan_on_s, row.lamp_on_s) == (pytest.approx(19.5), pytest.approx(19.5))
    assert (row.tent_temperature_c, row.rule, row.in_fan_hours) == (24.0, "schedule", True)
    assert means.finish(1079.5, WALL_S + 79.5) is None


def test_there_is_nothing_to_give_before_the_first_tick() -> None:
    assert IntervalMeans(60.0).finish(1000.0, WALL_S) is None
