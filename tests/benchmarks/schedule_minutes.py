"""The long form of the timetable's test, and what its look-ups cost.

    python tests/benchmarks/schedule_minutes.py --cases 100000 --seed 7

Judges so many generated timetables minute by minute against the reference of tests/timetable,
in all its zones, and prints how many minutes were wrong; exit status 1 when any was. Then prints,
for a rehearsed year at one tick a minute, the time the look-ups take.
"""

from __future__ import annotations

import argparse
import datetime as dt
import random
import sys
import time
from pathlib import Path

sys.path[:0] = [
    str(Path(__file__).parents[2]),
    str(Path(__file__).parents[1] / "timetable"),
]

import minute_reference as reference  # noqa: E402
from test_timetable_minutes import wrong_minutes  # noqa: E402

from controller.timetable import Timetable  # noqa: E402


def judge(cases: int, seed: int) -> int:
    """Judge generated timetables; how many minutes were wrong."""
    rng = random.Random(seed)
    wrong = 0
    began_s = time.perf_counter()
    for number in range(1, cases + 1):
        case = reference.random_case(rng)
        count = wrong_minutes(case)
        if count:
            print(f"wrong: {count} minutes in {case}")
        wrong += count
        if number % 10_000 == 0:
            print(f"{number} timetables, {wrong} wrong minutes", flush=True)
    minutes = cases * reference.JUDGED_DAYS * 1440
    print(
        f"{cases} timetables in {len(reference.ZONES)} zones, {minutes} minutes judged, "
        f"{wrong} wrong, {time.perf_counter() - began_s:.0f} s"
    )
    return wrong


def cost() -> None:
    """Print the cost of a year of ticks, asking at every tick and only at changes."""
    table = Timetable(
        "Europe/Rome",
        dt.time(20),
        dt.time(12),
        pre_run_s=900,
        run_on_s=1800,
        purge_every_s=3600,
        purge_length_s=300,
    )
    start_s = dt.datetime(2026, 1, 1, tzinfo=dt.UTC).timestamp()
    began_s = time.perf_counter()
    for minute in range(525_600):
        table.state(start_s + 60.0 * minute)
    every_tick_s = time.perf_counter() - began_s
    began_s = time.perf_counter()
    changes = sum(1 for _ in table.changes(start_s, start_s + 525_600 * 60.0))
    at_changes_s = time.perf_counter() - began_s
    print(f"a year at one tick a minute, asked at every tick: {every_tick_s:.2f} s")
    print(f"the same, asked at its {changes} changes alone: {at_changes_s:.2f} s")


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=7)
    args = parser.parse_args()
    wrong = judge(args.cases, args.seed)
    cost()
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
