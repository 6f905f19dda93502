"""How near the fan's laws come to the bound: energy against harm in a July with a heat wave.

    python tests/benches/bound.py            # both example tents, 30 days, six draws
    python tests/benches/bound.py --short    # two days, one draw: that it runs, and bounds

A draw is another pair of sensors with the errors that their data sheets admit. Prints a table,
writes tests/benches/results/bound.json, from which `python .pictures/make-laws.py` draws the
picture of the README; `python tests/benches/bound.py --write` puts the table into DEVELOPERS.md.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
from pathlib import Path
from typing import Any

from laws import example_tents
from marked import renew

from controller.config import Settings
from simulators.rehearsal import Outcome, Policy, rehearse, set_scene
from simulators.rehearsal.bound import BoundRun, find_bound
from simulators.rehearsal.bound.bound_words import nearness
from simulators.weather import load_weather

ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results" / "bound.json"
WEATHER, FIRST, DAYS, DRAWS = "coastal-city-2013-07", "2013-07-01", 30, 6


def plug_timer(settings: Settings) -> Settings:
    """The fan at full speed with the lamp, on one plug timer."""
    schedule = settings.schedule.changed(
        pre_run_s=0.0, run_on_s=0.0, day_speed=1.0, night_speed=0.0, purge=None
    )
    return settings.changed(schedule=schedule)


def fixed(settings: Settings) -> Settings:
    """The config with fixed speeds."""
    return settings.changed(overrides=settings.overrides.changed(law="fixed"))


def policies(settings: Settings) -> dict[str, tuple[Settings, Policy]]:
    """What is held against the bound, by name; the first two take notice of sensors."""
    return {
        "modulating": (settings, "config"),
        "fixed speeds": (fixed(settings), "config"),
        "schedule alone": (settings, "schedule_alone"),
        "plug timer": (plug_timer(settings), "schedule_alone"),
        "always on": (settings, "always_on"),
    }


def measure(days: int, draws: int) -> list[dict[str, Any]]:
    """Rehearse everything; a row for each tent."""
    rows = []
    for tent, example in example_tents().items():
        # A lamp that is cut for heat makes a tent cooler than any fan could.
        settings = example.changed(lamp=example.lamp.changed(switched_by="own_timer"))
        zone = dt.timezone(dt.timedelta(hours=-4))
        start_s = dt.datetime.fromisoformat(FIRST).replace(tzinfo=zone).timestamp()
        until_s = start_s + 86_400.0 * days
        weather = load_weather(WEATHER).covering(start_s, until_s)

        def scene(settings: Settings = settings, start_s: float = start_s) -> Any:
            return set_scene(settings, weather, start_s)  # noqa: B023

        bound = find_bound(settings, scene, start_s, until_s)
        keeping = find_bound(settings, scene, start_s, until_s, keeps_fan_hours=True)
        row: dict[str, Any] = {
            "tent": tent,
            "days": days,
            "bound": [
                {"worth_w_per_k": run.worth_w_per_k, **_figures(run.outcome)} for run in bound.runs
            ],
            "laws": {},
        }
        for name, (config, policy) in policies(settings).items():
            seeds = range(1, 1 + (draws if policy == "config" else 1))
            outcomes = [
                rehearse(config, scene(), start_s, until_s, policy=policy, seed=seed)
                for seed in seeds
            ]
            near = [nearness(bound, outcome) for outcome in outcomes]
            beside = [nearness(keeping, outcome).energy_ratio for outcome in outcomes]
            row["laws"][name] = {
                "draws": [_figures(outcome) for outcome in outcomes],
                "harm_ratio": _mean([n.harm_ratio for n in near]),
                "energy_ratio": _mean([n.energy_ratio for n in near]),
                "fan_hours_ratio": _mean(beside) if policy == "config" else None,
            }
        rows.append(row)
        print(as_table([row]), file=sys.stderr, flush=True)
    return rows


def _figures(outcome: Outcome) -> dict[str, float]:
    run = BoundRun(0.0, outcome)
    return {"energy_kwh": round(run.energy_kwh, 4), "harm": round(run.harm, 2)}


def _mean(values: list[float | None]) -> float | None:
    found = [value for value in values if value is not None]
    return round(sum(found) / len(found), 3) if len(found) == len(values) else None


_HEAD = (
    "| tent | what runs the fan | fan kWh | harm | × the least harm for its energy "
    "| × the least energy for its harm | the fan hours kept |\n|---|---|---:|---:|---:|---:|---:|"
)


def as_table(rows: list[dict[str, Any]]) -> str:
    """The rows as markdown."""
    lines = [_HEAD]
    for row in rows:
        for name, law in row["laws"].items():
            kwh, harm = (
                sum(draw[key] for draw in law["draws"]) / len(law["draws"])
                for key in ("energy_kwh", "harm")
            )
            ratios = (
                "" if law[key] is None else f"{law[key]:.{digits}f}"
                for key, digits in (("harm_ratio", 2), ("energy_ratio", 1), ("fan_hours_ratio", 1))
            )
            lines.append(
                f"| {row['tent']} | {name} | {kwh:.1f} | {harm:.0f} | " + " | ".join(ratios) + " |"
            )
        for run in row["bound"]:
            lines.append(
                f"| {row['tent']} | bound, {run['worth_w_per_k']:.0f} W/K "
                f"| {run['energy_kwh']:.1f} | {run['harm']:.0f} | 1 | 1 |  |"
            )
    return "\n".join(lines)


def write_table() -> None:
    """Put what was measured into DEVELOPERS.md."""
    table = as_table(json.loads(RESULTS.read_text(encoding="utf-8")))
    renew(ROOT / "DEVELOPERS.md", "bound", f"{table}\n")


def check_shortly() -> int:
    """Two days: says what costs less than the bound, and gives the exit status."""
    rows = measure(2, 1)
    status = 0
    for row in rows:
        for run in row["bound"][1:]:
            for name, law in row["laws"].items():
                (other,) = law["draws"]
                mine, theirs = (
                    r["harm"] + 1000.0 * r["energy_kwh"] / run["worth_w_per_k"]
                    for r in (run, other)
                )
                if mine > 1.01 * theirs + 0.25 * 2:
                    print(f"{row['tent']}: {name} beats the bound, {theirs} < {mine}")
                    status = 1
    return status


def main() -> int:
    """Measure and print, or put what was measured into DEVELOPERS.md."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    if asked.write:
        write_table()
        return 0
    if asked.short:
        return check_shortly()
    rows = measure(DAYS, DRAWS)
    RESULTS.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    print(as_table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
