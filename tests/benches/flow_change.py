"""A fall of the fan's flow on random tents: found when a filter clogs, never without a fault.

See `flow_change.sh`. Each tent lives through its days by its timetable, off its config within its
doubts, without a fault; and through as many in which its filter, or its duct where it has none,
comes to resist ten times as much within a week, from the fifteenth day on.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "flow_change.json"
sys.path[:0] = [str(HERE.parent / "learning"), str(HERE.parent / "expectation")]

from learning_records import lived  # noqa: E402
from tent_bodies import START_S, random_tent, within_doubt  # noqa: E402

from controller.config import settings_from_text  # noqa: E402
from controller.learning.flow_fall import DAY_S, daily_flows, flow_fall  # noqa: E402
from controller.learning.learn import CannotLearnError, fixed_of, learn  # noqa: E402
from controller.record import ReadingRow  # noqa: E402
from simulators.learned_tent import ModelledTent  # noqa: E402

TENTS, DAYS, BEGINS = 20, 30.0, 14.0


def clogging(day: float) -> float:
    """Ten times the resistance within a week."""
    return 10.0 ** min(1.0, max(0.0, (day - BEGINS) / 7.0))


def config(seed: int) -> str:
    """A random tent with a purge, so that its fan changes its speed."""
    purge = "purge: {every: 2 h, length: 5 min, speed: 100 %}"
    return random_tent(seed).replace("schedule: {", f"schedule: {{{purge}, ")


def found_days(text: str, seed: int, days: float, clogs: bool) -> list[float]:
    """The ends of the days on which a fall is said."""
    settings, rows = lived(
        text, days, physics=within_doubt(seed), **({"clogging": clogging} if clogs else {})
    )
    fixed = fixed_of(settings)
    until_ms = 1000.0 * (START_S + 7.0 * DAY_S)
    learned = learn(settings, [row for row in rows if row.at_ms <= until_ms])

    def read(from_s: float, until_s: float) -> list[ReadingRow]:
        first, last = (max(0, round((at_s - START_S) / 60.0)) for at_s in (from_s, until_s))
        return rows[first:last]

    last_s = START_S + days * DAY_S
    usual = daily_flows(fixed, read, START_S + 7.0 * DAY_S, learned.fitted, 7)
    flows = daily_flows(fixed, read, last_s, learned.fitted, int(days) - 7)
    return [
        (flows[n - 1].until_s - START_S) / DAY_S
        for n in range(1, len(flows) + 1)
        if flow_fall(usual, flows[:n]) is not None
    ]


def tent(seed: int, days: float) -> dict[str, Any]:
    """What came of one tent."""
    text = config(seed)
    settings = settings_from_text(text).settings
    figures: dict[str, Any] = {"seed": seed}
    try:
        figures["false"] = len(found_days(text, seed, days, False))
        clogged = found_days(text, seed, days, True)
    except CannotLearnError as error:
        return {**figures, "refused": error.message}
    _, fan = ModelledTent().build(settings)
    before = fan.flow_m3_s(1.0)
    fan.clog(10.0)
    figures["flow_left"] = round(fan.flow_m3_s(1.0) / before, 2)
    figures["found_after_days"] = clogged[0] - BEGINS if clogged else None
    return figures


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    args = parser.parse_args()
    count, days = (2, 22.0) if args.short else (TENTS, DAYS)
    tents = []
    for seed in range(count):
        tents.append(tent(seed, days))
        print(json.dumps(tents[-1], ensure_ascii=False), flush=True)
    tried = [one for one in tents if "refused" not in one]
    false = sum(one["false"] > 0 for one in tried)
    halved = [one for one in tried if one["flow_left"] <= 0.65]
    took = [one["found_after_days"] for one in halved if one["found_after_days"] is not None]
    print(f"flow_change: {false} of {len(tried)} tents with a false alarm in {days:g} days "
          f"({count - len(tried)} refused); where the flow falls by a third and more, found in "
          f"{len(took)} of {len(halved)}, after {sorted(took)} days")  # fmt: skip
    if not args.short:
        date = dt.datetime.now(dt.UTC).date().isoformat()
        figures = {"bench": "flow_change", "date": date, "days": days, "tents": tents}
        RESULT.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")
    return 1 if false > 1 else 0


if __name__ == "__main__":
    raise SystemExit(main())
