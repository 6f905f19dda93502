"""A fan that moves less from day to day is found; days that only differ are not."""

from __future__ import annotations

import random
from zoneinfo import ZoneInfo

import pytest
from learning_records import START_S, lived, off_the_config, usually_learned

from controller.learning.change import DAY_S, DayFlow, daily_flows, flow_change
from controller.learning.learn import fixed_of
from controller.learning.learned import learned_from_json
from controller.learning.words import sentences
from controller.record import ReadingRow


def days(*shares: float) -> list[DayFlow]:
    """One day after the other."""
    return [DayFlow(START_S + n * DAY_S, share) for n, share in enumerate(shares, 1)]


@pytest.mark.parametrize(("deviation", "most"), [(0.02, 0), (0.03, 1), (0.05, 12)])
def test_days_that_differ_by_chance_are_hardly_ever_a_fall(deviation: float, most: int) -> None:
    """Chance can't be ruled out, only be rare: so many of 2,000 fixed months, drawn once."""
    dice = random.Random(20)
    months = [[0.9 * (1.0 + dice.gauss(0.0, deviation)) for _ in range(28)] for _ in range(2000)]
    assert sum(flow_change(days(*month)) is not None for month in months) <= most


@pytest.mark.parametrize(("deviation", "least"), [(0.01, 300), (0.02, 285), (0.03, 240)])
def test_an_eighth_less_is_found_in_three_days_though_days_differ(
    deviation: float, least: int
) -> None:
    dice = random.Random(21)

    def month() -> list[float]:
        moved = [1.0] * 17 + [0.875] * 3
        return [share * (1.0 + dice.gauss(0.0, deviation)) for share in moved]

    assert sum(flow_change(days(*month())) is not None for _ in range(300)) >= least


def test_one_odd_day_is_no_fall() -> None:
    assert flow_change(days(*[1.0] * 12, 0.6)) is None
    assert flow_change(days(*[1.0] * 12, 0.6, 1.0, 1.0)) is None


def test_a_slow_fall_is_found_with_its_beginning_and_size() -> None:
    fall = flow_change(days(*[0.9] * 10, 0.86, 0.8, 0.74, 0.68))
    assert fall is not None
    assert 11 <= (fall.since_s - START_S) / DAY_S <= 12
    assert fall.times == pytest.approx(0.71 / 0.9, rel=0.02)


def test_more_air_is_no_fall() -> None:
    assert flow_change(days(*[0.7] * 8, *[1.0] * 8)) is None


def test_a_week_and_a_day_are_too_few_to_compare() -> None:
    assert flow_change(days(*[1.0] * 6, 0.3, 0.3)) is None


def test_a_filter_that_clogs_within_a_week_is_found_within_three_days() -> None:
    def clogging(day: float) -> float:
        return 10.0 ** min(1.0, max(0.0, (day - 10.0) / 7.0))

    settings, rows = lived(days=14.0, physics=off_the_config, clogging=clogging)

    def read(from_s: float, until_s: float) -> list[ReadingRow]:
        return [row for row in rows if from_s < row.at_ms / 1000.0 <= until_s]

    held = usually_learned().fitted
    flows = daily_flows(fixed_of(settings), read, START_S + 14.0 * DAY_S, held, 13)
    assert flow_change(flows[:-4]) is None  # the tenth day: not yet
    fall = flow_change(flows[:-1])
    assert fall is not None
    learned = usually_learned()._replace(fall=fall)
    assert learned_from_json(learned.as_json()).fall == pytest.approx(fall, rel=1e-4)  # type: ignore[union-attr]
    said = sentences(learned, ZoneInfo("Europe/Rome"), "si")[0]
    assert "% less air than some weeks ago" in said
    assert "loaded filter" in said
