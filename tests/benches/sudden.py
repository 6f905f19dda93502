"""Changes within hours on random tents: how soon each is found, and how often without one.

See `sudden.sh`. Each tent lives through its days by its timetable, off its config within its
doubts, its sensors by what their data sheets admit. Every other tent is of another structure than
the model: its leaves grow and follow the hours of the day, it is watered every third day, its
walls stand in other air than it draws in, and on most its door is open for ten minutes a day. It
lives through as many days without a fault; and through some with each fault: leaves that give off
a tenth, a door left open, a fan that stands still, a sensor that jumps, and one that drifts by 5 %
or a kelvin a month (every fifth tent, for a month). The model learns once a week, so that it is as
old as it may be, and looks at every other lit hour, which is all of them.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import random
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "sudden.json"
sys.path[:0] = [str(HERE), str(HERE.parent / "learning"), str(HERE.parent / "expectation")]

from flow_change import config  # noqa: E402
from learning_records import USUAL, Act, lived  # noqa: E402
from tent_bodies import within_doubt  # noqa: E402

from controller.config import settings_from_text  # noqa: E402
from controller.learning.drift import sensor_drift  # noqa: E402
from controller.learning.learn import (  # noqa: E402
    CannotLearnError,
    UnlikelySensorsError,
    fixed_of,
    learn,
)
from controller.learning.learned import Learned  # noqa: E402
from controller.learning.sudden import LOOK_BACK_S, SuddenChange, sudden_change  # noqa: E402
from controller.record import ReadingRow  # noqa: E402

TENTS, DAYS, DRIFTS_DAYS = 20, 30, 31
LEARNS_EVERY, FAULT_DAY = 7, 10
DRIFTS = ("humidity drifts", "temperature drifts")
FAULTS = ("wilting", "door open", "humidity jumps", "temperature jumps", "fan dead")
Acts = Callable[[float], Act]


def usual_acts(seed: int) -> Acts:
    """What befalls a tent without a fault."""
    if seed % 2 == 0:
        return lambda hours: USUAL
    dice = random.Random(seed + 99)
    swing, growth = dice.uniform(0.05, 0.2), dice.uniform(0.0, 0.02)
    walls_k, has_door = dice.uniform(-0.4, 0.4), dice.random() < 0.7

    def acts(hours: float) -> Act:
        hour, day = hours % 24.0, int(hours // 24.0)
        leaves = (1.0 + swing * math.sin((int(hour) - 8.0) / 24.0 * math.tau)) * (
            1.0 + growth
        ) ** day
        if day % 3 == 0 and 9.0 <= hour < 15.0:
            leaves *= 1.1
        is_open = has_door and 17.0 <= hour < 17.0 + 1.0 / 6.0
        return Act(leaves=round(leaves, 3), walls_k=walls_k, opened_m3_s=0.05 * is_open)

    return acts


def with_fault(usual: Acts, fault: str, from_hours: float, full_m3_s: float) -> Acts:
    """The same with a fault from an hour on."""

    def acts(hours: float) -> Act:
        act = usual(hours)
        if hours < from_hours:
            return act
        days = (hours - from_hours) / 24.0
        return {
            "wilting": act._replace(leaves=round(0.1 * act.leaves, 3)),
            "door open": act._replace(opened_m3_s=max(0.03, 2.0 * full_m3_s)),
            "humidity jumps": act._replace(drift_pct=-8.0),
            "temperature jumps": act._replace(drift_k=2.0),
            "fan dead": act._replace(fan=0.0),
            "humidity drifts": act._replace(drift_pct=-5.0 / 30.0 * round(days)),
            "temperature drifts": act._replace(drift_k=1.0 / 30.0 * round(days)),
        }[fault]

    return acts


class Tent:
    """One tent with its config."""

    def __init__(self, seed: int) -> None:
        self.text, self.seed = config(seed), seed
        self.fixed = fixed_of(settings_from_text(self.text).settings)
        self.usual = usual_acts(seed)

    def rows(
        self, days: float, fault: str | None = None, from_hours: float = 0.0
    ) -> list[ReadingRow]:
        """What it lives through."""
        acts = self.usual
        if fault is not None:
            acts = with_fault(acts, fault, from_hours, self.fixed.fan.full_m3_s)
        return lived(self.text, days, physics=within_doubt(self.seed), acts=acts)[1]

    def learned(self, rows: list[ReadingRow], day: int) -> Learned:
        """The seven days before a night."""
        settings = settings_from_text(self.text).settings
        return learn(settings, rows[1440 * (day - 7) : 1440 * day])

    def night(self, rows: list[ReadingRow], day: int) -> tuple[Learned, bool] | None:
        """What a night learns, and whether it goes by it; else it is kept for a drift alone."""
        try:
            return self.learned(rows, day), True
        except UnlikelySensorsError as error:
            return error.learned, False
        except CannotLearnError:
            return None

    def look(self, rows: list[ReadingRow], hour: int, learned: Learned) -> SuddenChange | None:
        """What is said at an hour after the start."""
        last = rows[max(0, 60 * hour - round(LOOK_BACK_S / 60.0)) : 60 * hour]
        found = sudden_change(self.fixed, learned, last)
        return found if isinstance(found, SuddenChange) else None


def without_fault(tent: Tent, days: int, drifts_only: bool) -> dict[str, Any]:
    """What is said of days without a fault."""
    rows = tent.rows(days)
    said: list[tuple[int, str]] = []
    nights: list[Learned] = []
    learned: Learned | None = None
    for day in range(7, days):
        night = tent.night(rows, day) if (day - 7) % LEARNS_EVERY == 0 else None
        if night is not None:
            nights.append(night[0])
            learned = night[0] if night[1] else learned
        if learned is None or drifts_only:
            continue
        for hour in range(24 * day + 2, 24 * day + 26, 2):
            found = tent.look(rows, hour, learned)
            if found is not None:
                said.append((hour, found.kind))
    drifts = [n for n, _ in enumerate(nights) if sensor_drift(nights[0], nights[: n + 1])]
    if drifts_only:
        return {"nights": len(nights), "false_drifts": len(drifts)}
    return {
        "nights": len(nights),
        "false": len(said),
        "false_kinds": sorted({kind for _, kind in said}),
        "false_drifts": len(drifts),
    }


def lit_hours(rows: list[ReadingRow], from_hours: float, hour: int) -> float:
    """Lit hours between two instants."""
    return sum(row.lamp_on for row in rows[round(60.0 * from_hours) : 60 * hour]) / 60.0


def with_sudden_fault(
    tent: Tent, fault: str, healthy: list[ReadingRow], learned: Learned
) -> dict[str, Any]:
    """How soon a fault is found."""
    at = 24.0 * FAULT_DAY + 7.5 + 8.0 * random.Random(tent.seed).random()
    rows = tent.rows(FAULT_DAY + 3.0, fault, at)
    after = range(round(60.0 * at) + 60, round(60.0 * at) + 180)
    figures: dict[str, Any] = {"found_after_lit_h": None, "called": None}
    for name in ("temperature_c", "humidity_pct"):
        gaps = [
            getattr(rows[i], f"tent_{name}") - getattr(healthy[i], f"tent_{name}") for i in after
        ]
        figures[f"effect_{name}"] = round(sum(gaps) / len(gaps), 2)
    for hour in range(math.ceil(at), 24 * (FAULT_DAY + 3)):
        found = tent.look(rows, hour, learned)
        if found is not None:
            figures["found_after_lit_h"] = round(lit_hours(rows, at, hour), 1)
            figures |= {"called": found.kind, "or_sensor": found.or_sensor}
            break
    return figures


def with_drift(tent: Tent, fault: str) -> dict[str, Any]:
    """How large a drift is said to be after a month, the reference being the first week."""
    last = 7 + DRIFTS_DAYS
    rows = tent.rows(last, fault, 24.0 * 7.0)
    nights = []
    for day in (7, last - 1, last):
        night = tent.night(rows, day)
        if night is None:
            return {"refused": day}
        nights.append(night[0])
    found = sensor_drift(nights[0], nights)
    figures = {} if found is None else found.as_json()
    for name in ("difference_k", "difference_pct"):
        figures[name] = [round(night.parameters[name].value, 2) for night in nights]
    return {"found": found is not None, **figures}


def drifts_tried(job: tuple[int, int, bool]) -> dict[str, Any]:
    """What came of one tent, of drifts alone."""
    seed, days, _ = job
    tent = Tent(seed)
    figures: dict[str, Any] = {"seed": seed, "without": without_fault(tent, days, True)}
    for fault in DRIFTS if seed % 5 == 1 else ():
        figures[fault] = with_drift(tent, fault)
    return figures


def tried(job: tuple[int, int, bool]) -> dict[str, Any]:
    """What came of one tent."""
    seed, days, is_short = job
    tent = Tent(seed)
    figures: dict[str, Any] = {"seed": seed, "other_structure": seed % 2 == 1}
    figures["volume_m3"] = round(tent.fixed.physics.volume_m3, 2)
    figures["without"] = without_fault(tent, days, False)
    healthy = tent.rows(FAULT_DAY + 3.0)
    try:
        learned = tent.learned(healthy, FAULT_DAY)
    except CannotLearnError as error:
        return {**figures, "refused": error.message}
    for fault in FAULTS[: 2 if is_short else None]:
        figures[fault] = with_sudden_fault(tent, fault, healthy, learned)
    for fault in () if is_short or seed % 5 != 1 else DRIFTS:
        figures[fault] = with_drift(tent, fault)
    return figures


def with_drifts(kept: list[dict[str, Any]], drifts: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The tents of an earlier run, with what drifts came to now."""
    by_seed = {tent["seed"]: tent for tent in drifts}
    whole = []
    for tent in kept:
        now = by_seed.get(tent["seed"], tent)
        whole.append({**tent, **now, "without": {**tent["without"], **now["without"]}})
    return whole


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--tents", type=int, default=TENTS)
    parser.add_argument("--drifts", action="store_true", help="these alone; the rest is kept")
    parser.add_argument("-n", type=int, default=2, help="processes")
    args = parser.parse_args()
    count, days = (1, 10) if args.short else (args.tents, DAYS)
    first = 1 if args.short else args.first_seed
    seeds = range(first, first + count)
    tents = []
    with ProcessPoolExecutor(1 if args.short else args.n) as pool:
        job = drifts_tried if args.drifts else tried
        for figures in pool.map(job, [(seed, days, args.short) for seed in seeds]):
            print(json.dumps(figures, ensure_ascii=False), flush=True)
            tents.append(figures)
    if args.drifts:
        tents = with_drifts(json.loads(RESULT.read_text(encoding="utf-8"))["tents"], tents)
    false = sum(tent["without"]["false"] + tent["without"]["false_drifts"] > 0 for tent in tents)
    print(f"sudden: {false} of {count} tents with a false alarm in {days} days")
    if not args.short:
        date = dt.datetime.now(dt.UTC).date().isoformat()
        text = json.dumps({"bench": "sudden", "date": date, "days": days, "tents": tents}, indent=1)
        RESULT.write_text(text + "\n", encoding="utf-8")
    return 1 if false > 1 else 0


if __name__ == "__main__":
    raise SystemExit(main())
