"""The alarms `less_air` and `little_rise` on random tents without a fault, and with a dead fan.

See `less_air.sh`. Each tent lives through its days without a fault, its sensors off by what their
data sheets admit and its figures off within their stated doubts; and through two more in which its
fan dies at noon of the second.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "less_air.json"
sys.path.insert(0, str(HERE.parent / "expectation"))

from tent_bodies import fault, live, raised, random_tent, within_doubt  # noqa: E402

from controller.expectation import ExpectedRise  # noqa: E402

TENTS, DAYS = 20, 30.0
DIES_AT_H = 36.0


def tent(seed: int, days: float) -> dict[str, Any]:
    """What came of one tent."""
    text, physics = random_tent(seed), within_doubt(seed)
    loaded, record = live(text, days, seed=seed, physics=physics)
    false = raised(record, "less_air") + raised(record, "little_rise")
    _, broken = live(
        text, 2.0, seed=seed, physics=physics, faults=[fault("fan_dead", 1, DIES_AT_H - 24.0)]
    )
    found = raised(broken, "less_air")
    expected = ExpectedRise.from_settings(loaded.settings)
    assert expected is not None
    return {
        "seed": seed,
        "volume_m3": round(expected.plan.volume_m3, 2),
        "lamp_w": expected.plan.lamp_power_w,
        "flow_m3_h": round(3600.0 * expected.delivered_m3_s()),
        "false_alarms": len(false),
        "found_after_min": round(60.0 * (found[0] - DIES_AT_H), 1) if found else None,
    }


def _tent(job: tuple[int, float]) -> dict[str, Any]:
    return tent(*job)


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("-n", type=int, default=2, help="processes")
    args = parser.parse_args()
    count, days = (2, 2.0) if args.short else (TENTS, DAYS)
    jobs = [(args.first_seed + number, days) for number in range(count)]
    tents = []
    with ProcessPoolExecutor(args.n) as pool:
        for one in pool.map(_tent, jobs):
            print(json.dumps(one), flush=True)
            tents.append(one)
    false = sum(one["false_alarms"] for one in tents)
    took = [one["found_after_min"] for one in tents if one["found_after_min"] is not None]
    print(f"less_air: {false} false alarms in {count} tents × {days:g} days; dead fan found in "
          f"{len(took)} of {count}, the slowest after {max(took, default=0.0):g} min")  # fmt: skip
    if not args.short:
        date = dt.datetime.now(dt.UTC).date().isoformat()
        RESULT.write_text(
            json.dumps({"bench": "less_air", "date": date, "days": days, "tents": tents}, indent=1)
            + "\n",
            encoding="utf-8",
        )
    return 1 if false else 0


if __name__ == "__main__":
    raise SystemExit(main())
