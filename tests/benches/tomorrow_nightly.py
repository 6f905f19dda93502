"""Tomorrow as the nightly job foresees it at 03:00, and on tents that change half-way.

See `tomorrow_nightly.sh`. Tents, rooms and forecasts are those of `tomorrow.py`, but the tent is
learned anew each night. Tomorrow is the day after, whose peak is a day and a half away; "as today"
is the 24 hours before. Half-way some get another lamp, and a config that says so; another fan, or a
door left open, of which no config says anything.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import random
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "tomorrow_nightly.json"
sys.path[:0] = [str(HERE), str(HERE.parent / "expectation")]

from learning import DAY_S, SEASONS, ZONE, config, truth  # noqa: E402
from quick_record import quick_record  # noqa: E402
from tomorrow import AiredTent, Truth, forecast, hidden_room, outdoors, rms  # noqa: E402

from controller.config import Settings, settings_from_text  # noqa: E402
from controller.learning.learn import CannotLearnError, learn  # noqa: E402
from controller.record import ReadingRow  # noqa: E402
from controller.timetable import Timetable  # noqa: E402
from controller.tomorrow.foresee import (  # noqa: E402
    MOST_HINDCASTS,
    DayFigures,
    ForecastBasis,
    expect,
    hindcast_all,
)
from controller.tomorrow.from_record import hours_of  # noqa: E402
from controller.tomorrow.source import TomorrowRows  # noqa: E402
from simulators.day_ahead import SimulatedTent, evenings, recorded_figures  # noqa: E402
from simulators.learned_tent import ModelledTent  # noqa: E402
from simulators.rehearsal import scene_in  # noqa: E402
from simulators.rehearsal.recorded import RecordedAir  # noqa: E402
from simulators.weather import Weather, load_weather  # noqa: E402

NIGHT_S = 3 * 3600.0
DAYS, HALF_WAY = 27, 14
USUAL = [(0, "summer"), (1, "spring"), (2, "winter"), (3, "autumn"), (5, "summer")]
USUAL_NIGHTS = (9, 12, 15, 18, 21, 24)
CHANGED = [(0, "summer"), (3, "autumn")]
CHANGES = ("lamp", "fan", "door")
CHANGED_NIGHTS = (15, 16, 18, 21, 24)


class Life(NamedTuple):
    """A tent's record, and since when its config is the one in force [Unix s]."""

    settings: Settings
    rows: list[ReadingRow]
    weather: Weather
    start_s: float
    alike_from_s: float


def lived(number: int, season: str, change: str | None) -> Life:
    """Let a hidden tent live, and change it half-way."""
    text = config(number)
    before = after = settings_from_text(text).settings
    physics, fan, _, other = truth(before, number)
    start = dt.datetime(2013, *SEASONS[season], tzinfo=ZoneInfo(ZONE))
    start_s = (start + dt.timedelta(days=4 * number)).timestamp()
    half_s = start_s + HALF_WAY * DAY_S
    weather = load_weather("airfield-2013", ZONE)
    assert isinstance(weather, Weather)
    seed = 10 * number + list(SEASONS).index(season)
    timetable = Timetable.from_settings(before)
    room = list(hidden_room(seed, weather, start_s, DAYS, before.lamp.power_w, timetable))
    rows: list[ReadingRow] = []
    for half, (from_s, until_s) in enumerate([(start_s, half_s), (half_s, start_s + DAYS * DAY_S)]):
        if half == 1 and change == "lamp":
            physics = physics._replace(lamp_heat_w=1.3 * physics.lamp_heat_w)
            after = before.changed(lamp=before.lamp.changed(power_w=1.3 * before.lamp.power_w))
        elif half == 1 and change == "door":
            opened = 0.5 * fan.flow_m3_s(1.0)
            physics = physics._replace(infiltration_m3_s=physics.infiltration_m3_s + opened)
        elif half == 1 and change == "fan":
            fan.strengthen(1.5)
        air = room[round(48 * half * HALF_WAY) :]
        intake, again = (RecordedAir(iter(air), physics.pressure_pa) for _ in range(2))
        scene = scene_in(after, physics, intake, (), fan)
        if other:
            scene = scene._replace(tent=AiredTent(physics, intake.air_c, intake.ratio, 430.0))
        rows += quick_record(after, scene, again, from_s, until_s, seed)
    return Life(after, rows, weather, start_s, half_s if change == "lamp" else start_s)


def nights(life: Life, number: int, days: tuple[int, ...]) -> Iterator[dict[str, Any]]:
    """What was foreseen in some nights, against what came."""
    settings = life.settings
    ends = [row.at_ms / 1000.0 for row in life.rows]

    def between(from_s: float, until_s: float) -> list[ReadingRow]:
        return [r for r, at_s in zip(life.rows, ends, strict=True) if from_s < at_s <= until_s]

    for day in days:
        now_s = life.start_s + day * DAY_S + NIGHT_S
        rows = between(0.0, now_s)
        alike = between(life.alike_from_s, now_s)
        hours = hours_of(settings, TomorrowRows(rows, alike, now_s))
        try:
            week = between(max(life.alike_from_s, now_s - 7.0 * DAY_S), now_s)
            model = ModelledTent(learn(settings, week), settings)
        except CannotLearnError:
            model = ModelledTent()
        *over, now = evenings(alike, settings, hours, MOST_HINDCASTS + 2)
        actual = recorded_figures(between(now.start_s, now.end_s), settings, now.start_s, now.end_s)
        as_today = recorded_figures(between(now_s - DAY_S, now_s), settings, now_s - DAY_S, now_s)
        assert actual is not None
        assert as_today is not None
        true = outdoors(Truth(settings, rows, life.weather, life.start_s), hours)
        likely = forecast(true, now.now, random.Random(1000 * number + day))
        figures: dict[str, Any] = {"day": day, "learned": model.learned is not None}
        figures["as_today_error_k"] = round(as_today.peak_c - actual.peak_c, 3)
        for name, there in (("", likely), ("no_file_", None)):
            basis = ForecastBasis(
                hours, there, settings.lamp.power_w, SimulatedTent(settings, model)
            )
            expected = expect(basis, now, hindcast_all(basis, over))
            assert expected is not None
            figures["checked"] = len(expected.hindcasts)
            peak = expected.peak_c
            figures |= {
                f"{name}error_k": round(peak.value - actual.peak_c, 3),
                f"{name}half_k": round(peak.high - peak.value, 3),
                f"{name}held": peak.low <= actual.peak_c <= peak.high,
                f"{name}hot_held": _held(expected.minutes[("temperature", "above")], actual),
            }
        yield figures


def _held(minutes: Any, actual: DayFigures) -> bool:
    return bool(minutes.low <= actual.minutes[("temperature", "above")] <= minutes.high)


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """What some nights come to."""
    figures: dict[str, Any] = {"nights": len(rows)}
    for name in ("as_today_", "", "no_file_"):
        figures[f"{name}rmse_k"] = round(rms([row[f"{name}error_k"] for row in rows]), 2)
    for name in ("", "no_file_"):
        figures[f"{name}held_pct"] = round(100.0 * sum(r[f"{name}held"] for r in rows) / len(rows))
        halves = [row[f"{name}half_k"] for row in rows]
        figures[f"{name}half_k"] = round(sum(halves) / len(rows), 2)
    figures["hot_held_pct"] = round(100.0 * sum(row["hot_held"] for row in rows) / len(rows))
    return figures


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    args = parser.parse_args()
    jobs: list[tuple[int, str, str | None, tuple[int, ...]]]
    jobs = [(*each, None, USUAL_NIGHTS) for each in USUAL]
    jobs += [(*each, change, CHANGED_NIGHTS) for change in CHANGES for each in CHANGED]
    if args.short:
        jobs = [(*CHANGED[0], "fan", (12, 15))]
    each: list[dict[str, Any]] = []
    for number, season, change, days in jobs:
        for figures in nights(lived(number, season, change), number, days):
            kind = change or "none"
            each.append({"tent": number, "season": season, "change": kind, **figures})
            print(json.dumps(each[-1]), flush=True)
    result = {
        change: summed([row for row in each if row["change"] == change])
        for change in dict.fromkeys(row["change"] for row in each)
    }
    print(json.dumps(result, indent=1))
    if args.short:
        return 0 if result["fan"]["rmse_k"] < 4.0 else 1
    date = dt.datetime.now(dt.UTC).date().isoformat()
    whole = {"bench": "tomorrow_nightly", "date": date, "changes": result, "each": each}
    RESULT.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")
    return 0 if result["none"]["held_pct"] >= 75 else 1


if __name__ == "__main__":
    raise SystemExit(main())
