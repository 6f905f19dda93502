"""The timetable against a minute-by-minute reference, in zones with every kind of clock change."""

from __future__ import annotations

import datetime as dt
import random

import minute_reference as reference
import numpy as np
import pytest

from controller.timetable import Timetable

# A hundred thousand more: tests/benchmarks/schedule_minutes.py
CASES = 800
SHARES = 5  # so that two workers can share them


def as_time(minute: int) -> dt.time:
    return dt.time(*divmod(minute, 60))


def timetable(case: reference.Case) -> Timetable:
    return Timetable(
        case.zone,
        as_time(case.lights_on_min),
        as_time(case.lights_off_min),
        same_means=case.same_means,
        pre_run_s=case.pre_run_min * 60,
        run_on_s=case.run_on_min * 60,
        purge_every_s=case.purge_every_min * 60 if case.purge_every_min else None,
        purge_length_s=case.purge_length_min * 60 if case.purge_length_min else None,
    )


def wrong_minutes(case: reference.Case) -> int:
    """How many of the judged minutes the timetable gets wrong, over lamp, fan hours and purges."""
    subject = timetable(case)
    count = reference.JUDGED_DAYS * 1440
    lamp, fan_hours, purge = (np.zeros(count, dtype=bool) for _ in range(3))
    minute = 0
    while minute < count:
        state = subject.state((case.first_min + minute) * 60.0)
        until = min(count, int(state.valid_until_s // 60) - case.first_min)
        assert until > minute
        lamp[minute:until] = state.lamp_on
        fan_hours[minute:until] = state.in_fan_hours
        purge[minute:until] = state.purge_on
        minute = until
    expected = reference.lamp_fan_hours_purge(case)
    return sum(
        int(np.count_nonzero(a != b))
        for a, b in zip((lamp, fan_hours, purge), expected, strict=True)
    )


@pytest.mark.parametrize("share", range(SHARES))
def test_no_minute_is_wrong_in_generated_timetables(share: int) -> None:
    rng = random.Random(f"timetables, share {share}")
    cases = [reference.random_case(rng) for _ in range(CASES // SHARES)]
    wrong = {case: count for case in cases if (count := wrong_minutes(case))}
    assert not wrong, f"{len(wrong)} cases differ, the first: {next(iter(wrong.items()))}"


def test_the_generated_timetables_cover_many_zones_and_clock_changes() -> None:
    rng = random.Random("timetables, share 0")
    cases = [reference.random_case(rng) for _ in range(CASES // SHARES)]
    assert len({case.zone for case in cases}) == len(reference.ZONES)
    on_a_change = [c for c in cases if _sees_the_clocks_change(c)]
    assert len(on_a_change) > len(cases) / 4


@pytest.mark.parametrize("zone", sorted(reference.ZONES))
def test_no_minute_is_wrong_at_any_clock_change_of_a_zone(zone: str) -> None:
    for day in reference.days_of_change(zone, reference.ZONES[zone]):
        for on in range(0, 1440, 90):
            for lit in (30, 16 * 60, 23 * 60 + 30):
                case = reference.Case(
                    zone,
                    day - dt.timedelta(days=1),
                    on,
                    (on + lit) % 1440,
                    "always",
                    pre_run_min=20,
                    run_on_min=40,
                    purge_every_min=100,
                    purge_length_min=10,
                )
                assert wrong_minutes(case) == 0, case


def _sees_the_clocks_change(case: reference.Case) -> bool:
    local = reference.local_minutes(case.zone, case.first_min, reference.JUDGED_DAYS * 1440)
    return bool((np.diff(local) != 1).any())
