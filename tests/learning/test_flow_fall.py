"""A fan that moves less from day to day is found; days that only differ are not."""

from __future__ import annotations

import random
from zoneinfo import ZoneInfo

import pytest
from learning_records import START_S, lived, off_the_config, usually_learned

from controller.learning.flow_fall import DAY_S, DayFlow, FlowFall, daily_flows, flow_fall
from controller.learning.learn import fixed_of
from controller.learning.learned import Week, learned_from_json
from controller.learning.learned_words import sentences
from controller.record import ReadingRow


def days(*shares: float) -> list[DayFlow]:
    """One day after the other."""
    return [DayFlow(START_S + n * DAY_S, share) for n, share in enumerate(shares, 1)]


def fall_of(*shares: float) -> FlowFall | None:
    """The fall in days of which the first week is the reference."""
    every = days(*shares)
    return flow_fall(every[:7], every[7:])


@pytest.mark.parametrize(("deviation", "most"), [(0.02, 0), (0.03, 4), (0.05, 12)])
def test_days_that_differ_by_chance_are_hardly_ever_a_fall(deviation: float, most: int) -> None:
    """Chance can't be ruled out, only be rare: so many of 2,000 fixed months, drawn once."""
    dice = random.Random(20)
    months = [[0.9 * (1.0 + dice.gauss(0.0, deviation)) for _ in range(28)] for _ in range(2000)]
    assert sum(fall_of(*month) is not None for month in months) <= most


@pytest.mark.parametrize(("deviation", "least"), [(0.01, 300), (0.02, 285), (0.03, 240)])
def test_an_eighth_less_is_found_in_three_days_though_days_differ(
    deviation: float, least: int
) -> None:
    dice = random.Random(21)

    def month() -> list[float]:
        moved = [1.0] * 17 + [0.875] * 3
        return [share * (1.0 + dice.gauss(0.0, deviation)) for share in moved]

    assert sum(fall_of(*month()) is not None for _ in range(300)) >= least


def test_one_odd_day_is_no_fall() -> None:
    assert fall_of(*[1.0] * 12, 0.6) is None
    assert fall_of(*[1.0] * 12, 0.6, 1.0, 1.0) is None


def test_a_slow_fall_is_found_with_its_beginning_and_size() -> None:
    fall = fall_of(*[0.9] * 10, 0.86, 0.8, 0.74, 0.68)
    assert fall is not None
    assert 11 <= (fall.since_s - START_S) / DAY_S <= 12
    assert fall.times == pytest.approx(0.71 / 0.9, rel=0.02)


def test_more_air_is_no_fall() -> None:
    assert fall_of(*[0.7] * 8, *[1.0] * 8) is None


def test_a_week_and_a_day_are_too_few_to_compare() -> None:
    assert fall_of(*[1.0] * 7, 0.3) is None
    every = days(*[1.0] * 4, 0.3, 0.3)
    assert flow_fall(every[:4], every[4:]) is None


def test_a_fall_that_lasts_for_months_does_not_become_usual() -> None:
    week, month = days(*[1.0] * 7), days(*[0.6] * 120)[-21:]
    fall = flow_fall(week, month)
    assert fall is not None
    assert fall.times == pytest.approx(0.6)


def test_a_season_later_a_fall_must_be_larger_than_seasons_differ() -> None:
    week = days(*[1.0] * 7)
    assert flow_fall(week, days(*[0.92] * 30)[-21:]) is not None
    assert flow_fall(week, days(*[0.92] * 50)[-21:]) is None
    assert flow_fall(week, days(*[0.85] * 50)[-21:]) is not None


def test_a_filter_that_clogs_within_a_week_is_found_within_three_days() -> None:
    def clogging(day: float) -> float:
        return 10.0 ** min(1.0, max(0.0, (day - 10.0) / 7.0))

    settings, rows = lived(days=14.0, physics=off_the_config, clogging=clogging)

    def read(from_s: float, until_s: float) -> list[ReadingRow]:
        return [row for row in rows if from_s < row.at_ms / 1000.0 <= until_s]

    held = usually_learned().fitted
    flows = daily_flows(fixed_of(settings), read, START_S + 14.0 * DAY_S, held, 13)
    assert flow_fall(flows[:7], flows[7:-4]) is None  # the tenth day: not yet
    fall = flow_fall(flows[:7], flows[7:-1])
    assert fall is not None
    week = Week(START_S, START_S + 7.0 * DAY_S)
    learned = usually_learned()._replace(until_s=START_S + 14.0 * DAY_S, reference=week, fall=fall)
    again = learned_from_json(learned.as_json())
    assert again is not None
    assert again.fall == pytest.approx(fall, rel=1e-4)
    assert again.reference == week
    said = sentences(learned, ZoneInfo("Europe/Rome"), "si")[0]
    assert "% less air than in the reference week, 2 to 8 June 2025" in said
    assert "loaded filter" in said
