"""The bound: no run without sensors' errors does better, and each of its own can be had."""

from __future__ import annotations

import functools
from itertools import pairwise
from math import inf

import pytest
from examples import examples
from hypothesis import Phase, given
from hypothesis import strategies as st
from rehearsal_builders import CHILLIES, span

from controller.config import Settings, settings_from_text
from controller.control.forecast import Drive
from controller.timetable import Timetable
from simulators.rehearsal import Outcome, Policy, rehearse, set_scene
from simulators.rehearsal.bound import Bound, BoundRun, find_bound
from simulators.rehearsal.bound.bound_words import bound_lines, nearness, nearness_words
from simulators.rehearsal.bound.program import StateGrid, costs_to_go
from simulators.rehearsal.bound.stages import (
    StageModel,
    StageState,
    keep_fan_hours,
    stages_of,
)
from simulators.rehearsal.recorded_errors import RecordedErrors
from simulators.tent import Tent
from simulators.weather import Weather

# The best of a grid: speeds in steps of a tenth, chosen every quarter of an hour. Finer grids come
# out at most so much better. And where nearly nothing is out of band, a run that switches within a
# stage may save a little more.
GRID, HARM_A_DAY = 0.01, 0.25
OTHERS: tuple[tuple[str, Policy], ...] = (
    ("modulating", "config"),
    ("fixed", "config"),
    ("modulating", "schedule_alone"),
    ("modulating", "always_on"),
)


def exact_run(
    config: Settings, law: str, policy: Policy, days: tuple[Weather, float, float]
) -> Outcome:
    weather, start_s, until_s = days
    config = config.changed(overrides=config.overrides.changed(law=law))
    return rehearse(
        config,
        set_scene(config, weather, start_s),
        start_s,
        until_s,
        policy=policy,
        errors=RecordedErrors([0.0], [0.0], [0.0], {"tent": (0.0, 0.0), "intake": (0.0, 0.0)}),
    )


def bound_of(config: Settings, days: tuple[Weather, float, float], *worths: float) -> Bound:
    weather, start_s, until_s = days
    return find_bound(
        config,
        lambda: set_scene(config, weather, start_s),
        start_s,
        until_s,
        worths_w_per_k=worths,
    )


# Without shrinking: that takes minutes, and an example says all of its tent anyway.
@examples(3, phases=[Phase.generate])
@given(
    first=st.sampled_from(["01-20", "03-30", "06-10", "07-25", "10-05", "11-25"]),
    room=st.sampled_from(["room", "cellar", "attic"]),
    lamp_w=st.integers(0, 400),
    width_in=st.integers(20, 60),
    plants=st.integers(0, 9),
    worth=st.sampled_from([6.0, 60.0, 600.0]),
)
def test_no_other_run_without_errors_of_sensors_comes_off_better(
    first: str, room: str, lamp_w: int, width_in: int, plants: int, worth: float
) -> None:
    text = CHILLIES.replace("32 in", f"{width_in} in").replace("150 W", f"{lamp_w} W")
    text = text.replace("plants: 4", f"plants: {plants}") + f"room: {{kind: {room}}}\n"
    config = settings_from_text(text).settings
    days = span("airfield-2013", f"2013-{first}", 1)
    at_rest, best = bound_of(config, days, worth).runs
    others = [BoundRun(0.0, exact_run(config, *other, days)) for other in OTHERS]
    for other in (at_rest, *others):
        assert best.cost(worth) <= (1.0 + GRID) * other.cost(worth) + HARM_A_DAY


@functools.cache
def hot_day() -> tuple[Settings, tuple[Weather, float, float], Bound]:
    config = settings_from_text(CHILLIES.replace('"06:00"', '"06:07"')).settings
    days = span("coastal-city-2013-07", "2013-07-18", 1)
    return config, days, bound_of(config, days, 6.0, 60.0)


def test_each_run_is_had_in_the_simulated_tent_with_a_speed_a_quarter_of_an_hour() -> None:
    _, _, bound = hot_day()
    at_rest, *runs = bound.runs
    assert at_rest.energy_kwh == 0.0
    assert [run.worth_w_per_k for run in runs] == [6.0, 60.0]
    for run in runs:
        assert run.outcome.ticks == 1440
        # 96 quarters of an hour, and lights-on at 06:07 within one of them.
        assert run.outcome.speed_changes <= 97
        assert run.outcome.fan.energy_kwh > 0.0


def test_more_worth_buys_less_harm_for_more_energy() -> None:
    at_rest, cheap, dear = hot_day()[2].runs
    assert at_rest.energy_kwh < cheap.energy_kwh < dear.energy_kwh
    assert at_rest.harm > cheap.harm > dear.harm


@pytest.mark.parametrize("width", [40, 80])
def test_the_frontier_is_shown_with_the_config_in_lines_that_fit(width: int) -> None:
    config, days, bound = hot_day()
    outcome = exact_run(config, *OTHERS[0], days)
    lines = bound_lines(bound, outcome, config, width)
    assert max(map(len, lines)) <= width
    shown = " ".join(" ".join(lines).split())
    assert nearness_words(bound, outcome) in shown
    for word in ("fan at rest", "60 W/K", "this config", "It is the best of a grid"):
        assert word in shown


def test_stages_end_on_the_quarter_and_where_the_lamp_is_switched_and_cover_the_day() -> None:
    config, (_, start_s, until_s), _ = hot_day()
    stages = stages_of(config, start_s, until_s, 60.0, [])
    assert (stages[0].from_s, stages[-1].until_s) == (start_s, until_s)
    assert all(a.until_s == b.from_s for a, b in pairwise(stages))
    lit_from = next(stage.from_s for stage in stages if stage.lit)
    assert lit_from - start_s == 6 * 3600 + 7 * 60
    assert sum(s.until_s - s.from_s for s in stages if s.lit) == 22 * 3600 - (lit_from - start_s)
    assert all(sum(s.looks_s) == pytest.approx(s.until_s - s.from_s) for s in stages)
    off_the_quarter = [s.from_s for s in stages if (s.from_s - start_s) % 900.0]
    assert off_the_quarter == [lit_from]


def test_a_bound_that_keeps_the_fan_hours_has_day_speed_in_them_at_least() -> None:
    config, (_, start_s, until_s), _ = hot_day()
    stages = keep_fan_hours(config, stages_of(config, start_s, until_s, 60.0, []))
    timetable, day_speed = Timetable.from_settings(config), config.schedule.day_speed
    for stage in stages:
        in_hours = timetable.state(0.5 * (stage.from_s + stage.until_s)).in_fan_hours
        assert stage.least_speed == (day_speed if in_hours else 0.0)
    model = StageModel(Tent(set_scene(config, hot_day()[1][0], start_s).tent.physics))
    grids = [StateGrid((20.0,), (20.0,), (0.01,))]
    stage, slow = stages[50], Drive(0.5 * day_speed, 0.01, 1.0, 0.0)
    assert stage.least_speed == day_speed
    for drives, is_had in ([slow], False), ([slow, slow._replace(speed=day_speed)], True):
        ((cost,),) = costs_to_go(model, [stage], grids, drives, [60.0], lambda _share: None)
        assert (cost[0] < inf) is is_had


@given(
    states=st.lists(st.tuples(*[st.floats(5.0, 45.0)] * 2, st.floats(0.001, 0.03)), min_size=1),
    share=st.floats(0.0, 1.0),
    slopes=st.tuples(*[st.floats(-3.0, 3.0)] * 3),
)
def test_a_cost_that_is_linear_in_the_state_is_interpolated_exactly(
    states: list[tuple[float, float, float]], share: float, slopes: tuple[float, float, float]
) -> None:
    grid = StateGrid.through([StageState(*state) for state in states])

    def cost(state: StageState) -> float:
        return sum(slope * value for slope, value in zip(slopes, state[:3], strict=True))

    values = [cost(state) for state in grid.states()]
    between = StageState(*(axis[0] + share * (axis[-1] - axis[0]) for axis in grid))
    around = grid.weights(between)
    assert sum(weight for _, weight in around) == pytest.approx(1.0)
    assert sum(w * values[at] for at, w in around) == pytest.approx(cost(between), abs=1e-6)


def made_up(energy_kwh: float, harm: float, worth: float = 1.0) -> BoundRun:
    outcome = Outcome(0.0, 86_400.0)
    outcome.fan.energy_j = energy_kwh * 3.6e6
    outcome.day["temperature"].hours_above = harm
    return BoundRun(worth, outcome)


HULL = Bound((made_up(0.0, 100.0, 0.0), made_up(1.0, 40.0), made_up(2.0, 39.0), made_up(3.0, 10.0)))


def test_the_frontier_is_the_lower_hull_since_days_may_be_shared_between_two_runs() -> None:
    # By hand: from (1, 40) straight to (3, 10), so 25 for 2 kWh; (2, 39) lies above.
    assert HULL.frontier == [(0.0, 100.0), (1.0, 40.0), (3.0, 10.0)]
    assert HULL.harm_at(0.5) == pytest.approx(70.0)
    assert HULL.harm_at(2.0) == pytest.approx(25.0)
    assert HULL.harm_at(9.0) == 10.0
    assert HULL.energy_at(25.0) == pytest.approx(2.0)
    assert HULL.energy_at(200.0) == 0.0
    assert HULL.energy_at(9.0) is None


@pytest.mark.parametrize(
    ("energy_kwh", "harm", "said"),
    [
        (2.0, 26.0, "within 4 %. It took 2.00 kWh; the same comfort was to be had for 1.93 kWh"),
        (2.0, 25.0, "do with its energy. It took 2.00 kWh, no more than it takes."),
        (2.0, 24.0, "do with its energy. It took 2.00 kWh, no more than it takes."),
        (3.0, 9.0, "do with its energy. It took 3.00 kWh, no more than it takes."),
        (2.0, 100.0, "within 300 %. It took 2.00 kWh; the same comfort was to be had for next to"),
        (6.0, 40.0, "the same comfort was to be had for 1.00 kWh: 6.0 × its energy."),
    ],
)
def test_how_near_a_config_comes_is_said_in_a_sentence(
    energy_kwh: float, harm: float, said: str
) -> None:
    assert said in nearness_words(HULL, made_up(energy_kwh, harm).outcome)


def test_a_day_on_which_nothing_leaves_its_band_is_compared_by_energy_alone() -> None:
    calm = Bound((made_up(0.0, 0.0, 0.0),))
    outcome = made_up(0.3, 0.0).outcome
    assert nearness(calm, outcome).harm_ratio is None
    words = nearness_words(calm, outcome)
    assert "the air hardly left its bands" in words
    assert "the same comfort was to be had for next to nothing" in words


def test_a_tent_whose_lamp_was_cut_is_not_compared_since_no_fan_cuts_lamps() -> None:
    outcome = made_up(2.0, 1.0).outcome
    outcome.lamp_cut_min = 90.0
    assert nearness(HULL, outcome) == (None, None, None)
    words = nearness_words(HULL, outcome)
    assert "was cut for heat for 1 h 30 min" in words
    assert "not compared" in words


def test_a_lamp_that_lungwort_may_cut_stays_lit_in_the_bound() -> None:
    text = CHILLIES.replace(
        "power: 150 W,",
        "power: 300 W, switched_by: relay, pin: 23, cutout: {above: 28 °C, delay: 1 min},",
    )
    config = settings_from_text(text).settings
    at_rest, run = bound_of(config, span("coastal-city-2013-07", "2013-07-18", 1), 60.0).runs
    assert at_rest.outcome.peak.value > 33.0
    assert (at_rest.outcome.lamp_cut_min, run.outcome.lamp_cut_min) == (0.0, 0.0)
