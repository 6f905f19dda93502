"""How the fan's laws compare; laws.sh says how it is run.

Harm is what the air strays from its bands: K·h + 0.1 × %·h + 3 × kPa·h, of the true air. Each draw
is another pair of sensors with the errors that their data sheets admit. No tuning of the law has
seen the weather held back: the heat wave that ships for demonstrations, and a year inland that is
made up here, of sines and first-order noise.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import random
import sys
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache
from math import cos, pi
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from marked import renew

from controller.config import Settings, settings_from_text
from controller.control.forecast import Drive, outlook_of
from controller.control.lookahead import Lookahead
from controller.control.modulation import HeatStage, Modulation
from simulators.rehearsal.loop import RehearsalLoop
from simulators.rehearsal.outcome import Outcome, Trajectory
from simulators.rehearsal.rehearse import TICK_S, policy_rules
from simulators.rehearsal.scene import set_scene
from simulators.weather import Weather, load_weather
from simulators.weather.plain_csv import read_plain_csv

ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results" / "laws.json"
_ZONE = ZoneInfo("America/New_York")
MONTH, YEAR = "July with a heat wave", "a year by the sea"
WAVE, INLAND = "held back: made-up heat wave", "held back: made-up year inland"
WEATHER = {
    MONTH: ("coastal-city-2013-07", "2013-07-01", 30),
    YEAR: ("airfield-2013", "2013-01-01", 364),
    WAVE: ("invented-heat-wave", "2031-07-01", 13),
    INLAND: (INLAND, "2031-01-01", 364),
}
DRAWS = {MONTH: 6, YEAR: 3, WAVE: 6, INLAND: 3}
# What the short form allows the modulating law, in the fixed law's energy and harm.
MOST_ENERGY, MOST_HARM = 0.8, 1.01


def _inland_lines() -> Iterator[str]:
    """A year that nobody observed: hot dry summers, cold winters, fronts of some days."""
    rng, front_k, damp_k = random.Random(2031), 0.0, 0.0
    start = dt.datetime(2030, 12, 25, tzinfo=dt.UTC)
    yield "time_utc,temperature_c,dew_point_c"
    for hour in range(24 * 380):
        front_k = 0.98 * front_k + rng.gauss(0.0, 0.8)  # 4 K, for two days
        damp_k = 0.98 * damp_k + rng.gauss(0.0, 0.5)
        season = cos(2.0 * pi * (hour / 24.0 - 206.0) / 365.0)
        day = cos(2.0 * pi * ((hour - 5) % 24 - 15.0) / 24.0)
        air_c = 12.0 + 14.0 * season + (5.0 + 2.0 * season) * day + front_k
        dew_c = min(air_c - 0.5, 5.0 + 9.0 * season + 0.6 * front_k + damp_k)
        at = start + dt.timedelta(hours=hour)
        yield f"{at:%Y-%m-%dT%H:%M:%SZ},{air_c:.2f},{dew_c:.2f}"


@lru_cache
def _weather(name: str) -> Weather:
    if name == INLAND:
        return read_plain_csv(name, list(_inland_lines()), None)
    weather = load_weather(name)
    assert isinstance(weather, Weather)
    return weather


class Proportional(Modulation):
    """In proportion to the excess of temperature, full at two kelvins; else full."""

    __slots__ = ()

    def pick(
        self, look: Lookahead, candidates: list[Drive], heat: HeatStage, running: float | None
    ) -> Drive:
        excess_k = look.tent.temperature_c - look.limits.hot_c
        return _nearest(candidates, excess_k / 2.0 if excess_k > 0.0 else 1.0)


class ByAdvantage(Modulation):
    """In proportion to how much cooler the intake is, full at a kelvin; else full."""

    __slots__ = ()

    def pick(
        self, look: Lookahead, candidates: list[Drive], heat: HeatStage, running: float | None
    ) -> Drive:
        if look.tent.temperature_c <= look.limits.hot_c:
            return candidates[-1]
        return _nearest(candidates, look.tent.temperature_c - look.intake.temperature_c)


class ModelFree(Modulation):
    """Twice the air halves the difference to the intake; the rest as the modulating law has it."""

    __slots__ = ()

    def pick(
        self, look: Lookahead, candidates: list[Drive], heat: HeatStage, running: float | None
    ) -> Drive:
        at = running if running is not None else candidates[0].speed
        now = min(self.drives, key=lambda drive: abs(drive.speed - at))
        return super().pick(_Halving(look, self, now), candidates, heat, running)


class _Halving(Lookahead):
    def __init__(self, look: Lookahead, law: Modulation, now: Drive) -> None:
        super().__init__(law, look.tent, look.intake, True, look.limits, look.tent.temperature_c)
        self.counts_dew_point = look.counts_dew_point
        self._through = now.flow_m3_s + law.tent.leakage_m3_s

    def outlook(self, drive: Drive) -> Any:
        law = self._law
        share = self._through / (drive.flow_m3_s + law.tent.leakage_m3_s)
        gains = (a - b for a, b in zip(self._inside, self._drawn_in, strict=True))
        air_c, ratio = (b + gain * share for b, gain in zip(self._drawn_in, gains, strict=True))
        return outlook_of(air_c, max(0.0, ratio), law.tent.pressure_pa)


def _nearest(candidates: list[Drive], share: float) -> Drive:
    low, high = candidates[0].speed, candidates[-1].speed
    wanted = low + (high - low) * min(1.0, max(0.0, share))
    return min(candidates, key=lambda drive: abs(drive.speed - wanted))


def wrong(**scales: float) -> Callable[[Modulation], Modulation]:
    """A law that knows the tent wrongly, by factors."""

    def change(law: Modulation) -> Modulation:
        tent = law.tent._replace(
            wall_w_per_k=law.tent.wall_w_per_k * scales.get("fabric", 1.0),
            lamp_w=law.tent.lamp_w * scales.get("lamp", 1.0),
            lamp_on_contents_w=law.tent.lamp_on_contents_w * scales.get("lamp", 1.0),
            transpiration_kg_s=tuple(  # type: ignore[arg-type]
                _Scaled(table, scales.get("leaves", 1.0)) for table in law.tent.transpiration_kg_s
            ),
        )
        by = scales.get("flow", 1.0)
        drives = tuple(d._replace(flow_m3_s=d.flow_m3_s * by) for d in law.drives)
        return law._replace(tent=tent, drives=drives)

    return change


class _Scaled:
    def __init__(self, table: Any, by: float) -> None:
        self._table, self._by = table, by

    def plane(self, air_c: float, vpd_pa: float) -> tuple[float, ...]:
        return tuple(self._by * value for value in self._table.plane(air_c, vpd_pa))


def _as(kind: type[Modulation]) -> Callable[[Modulation], Modulation]:
    return lambda law: kind(*law)


def _same(law: Modulation) -> Modulation:
    return law


# By name: "fixed", "schedule" or what is made of the config's own law.
LAWS: dict[str, str | Callable[[Modulation], Modulation]] = {
    "schedule alone": "schedule",
    "fixed": "fixed",
    "proportional to the excess": _as(Proportional),
    "proportional to the intake's advantage": _as(ByAdvantage),
    "twice the air halves the difference": _as(ModelFree),
    "modulating": _same,
}
_ON_WEATHER = {
    YEAR: ("schedule alone", "fixed", "twice the air halves the difference", "modulating"),
    WAVE: ("schedule alone", "fixed", "modulating"),
    INLAND: ("schedule alone", "fixed", "modulating"),
}
WRONG = {
    f"modulating, {name} {by - 1.0:+.0%}": wrong(**{name: by})
    for name in ("flow", "fabric", "leaves", "lamp")
    for by in (0.7, 1.3)
}


def example_tents() -> dict[str, Settings]:
    """The two example tents; the second with a PWM fan and an intake sensor, for the law's sake."""
    chillies, basil = (
        (ROOT / "config" / f"{name}.yaml").read_text(encoding="utf-8")
        for name in ("chillies", "basil")
    )
    intake = "  - {name: cellar, role: intake, driver: hwmon, device: sht4x@1}\n\ntargets:\n"
    for old, new in (
        ("drive: relay", "drive: pwm"),
        ("  contact: normally_closed # a dead Pi leaves the fan running\n", ""),
        ("day_speed: 100 %", "day_speed: 60 %"),
        ("device: sht4x\n", "device: sht4x@0\n"),
        ("\ntargets:\n", intake),
    ):
        assert basil.count(old) == 1, old
        basil = basil.replace(old, new)
    return {
        "chillies": settings_from_text(chillies).settings,
        "basil, by PWM": settings_from_text(basil).settings,
    }


class _Daily(Outcome):
    """An outcome that keeps each day's peak, a day from lights-on to lights-on.

    From midnight to midnight it would often be what an evening has left of its own.
    """

    __slots__ = ("_was_lit", "peaks")

    def __init__(self, start_s: float, until_s: float) -> None:
        super().__init__(start_s, until_s)
        self.peaks: dict[int, float] = {0: -273.15}
        self._was_lit = False

    def count(self, states: Trajectory, targets: Any, tick_s: float) -> None:
        day = len(self.peaks) - 1 + (states.by_day and not self._was_lit)
        self._was_lit = states.by_day
        self.peaks[day] = max([self.peaks.get(day, -273.15), *states.air_c])
        super().count(states, targets, tick_s)


class Run(NamedTuple):
    """What one rehearsal came to."""

    energy_kwh: float
    harm: float
    starts: int
    changes_a_day: float
    peaks: dict[int, float]


def rehearse_law(settings: Settings, law: Any, days: tuple[str, str, int], seed: int) -> Run:
    """Rehearse some days under a law."""
    name, first, count = days
    start_s = dt.datetime.fromisoformat(first).replace(tzinfo=_ZONE).timestamp()
    until_s = start_s + 86_400.0 * count
    if law == "fixed":
        settings = settings.changed(overrides=settings.overrides.changed(law="fixed"))
    rules = policy_rules(settings, "schedule_alone" if law == "schedule" else "config")
    if callable(law):
        assert rules.modulation is not None
        rules = rules._replace(modulation=law(rules.modulation))
    outcome = _Daily(start_s, until_s)
    weather = _weather(name).covering(start_s, until_s)
    RehearsalLoop(
        settings,
        rules,
        set_scene(settings, weather, start_s),
        outcome,
        tick_s=TICK_S,
        seed=seed,
        targets=settings.targets,
    ).run()
    return Run(
        outcome.fan.energy_kwh,
        outcome.harm,
        outcome.fan.starts,
        outcome.speed_changes / count,
        outcome.peaks,
    )


def summed_up(runs: list[Run], fixed: list[Run] | None, hot_c: float) -> dict[str, float]:
    """Mean and extremes over the draws, and beside the fixed law's."""
    energies = [run.energy_kwh for run in runs]
    row = {
        "energy_kwh": sum(energies) / len(runs),
        "energy_least_kwh": min(energies),
        "energy_most_kwh": max(energies),
        "harm": sum(run.harm for run in runs) / len(runs),
        "starts": sum(run.starts for run in runs) / len(runs),
        "changes_a_day": sum(run.changes_a_day for run in runs) / len(runs),
    }
    if fixed is not None:
        # A day in its band is as good as a cooler one.
        row["hotter_k"] = max(
            run.peaks[day] - max(other.peaks[day], hot_c)
            for run, other in zip(runs, fixed, strict=True)
            for day in run.peaks
        )
    return row


def measure() -> list[dict[str, Any]]:
    """Rehearse everything; rows as they go into the table."""
    rows: list[dict[str, Any]] = []
    for tent, settings in example_tents().items():
        for weather, days in WEATHER.items():
            fixed: list[Run] | None = None
            for name, law in _laws_for(weather).items():
                # An untouched schedule takes no notice of sensors.
                count = 1 if law == "schedule" else DRAWS[weather]
                runs = [rehearse_law(settings, law, days, seed) for seed in range(1, count + 1)]
                fixed = runs if name == "fixed" else fixed
                row = {"tent": tent, "weather": weather, "law": name, "draws": count}
                rows.append(row | summed_up(runs, fixed, settings.targets.day.temperature_c.high))
                print(_line(rows[-1]), file=sys.stderr, flush=True)
    return rows


def _laws_for(weather: str) -> dict[str, Any]:
    """All laws, right and wrong, on the month; elsewhere those worth the hour."""
    if weather == MONTH:
        return {**LAWS, **WRONG}
    return {name: LAWS[name] for name in _ON_WEATHER[weather]}


def check_shortly() -> list[str]:
    """Rehearse one tent in July; give what the modulating law does worse.

    In every draw, since the fixed law's energy hangs on them.
    """
    settings = example_tents()["chillies"]
    days, draws = WEATHER[MONTH], range(1, DRAWS[MONTH] + 1)
    fixed, modulating = (
        summed_up([rehearse_law(settings, LAWS[name], days, seed) for seed in draws], None, 0.0)
        for name in ("fixed", "modulating")
    )
    failures = []
    for name, most in (("energy_kwh", MOST_ENERGY), ("harm", MOST_HARM)):
        share = modulating[name] / fixed[name]
        print(f"{MONTH}, {name}: modulating {share:.3f} of fixed (at most {most:g})")
        if share > most:
            failures.append(name)
    return failures


_HEAD = (
    "| tent | weather | law | fan kWh (draws) | harm | starts | changes a day | hotter by |\n"
    "|---|---|---|---:|---:|---:|---:|---:|"
)


def _line(row: dict[str, Any]) -> str:
    spread = ""
    if row["draws"] > 1:
        spread = f" ({row['energy_least_kwh']:.1f}-{row['energy_most_kwh']:.1f})"
    hotter = f"{row['hotter_k']:+.2f} K" if "hotter_k" in row else ""
    return (
        f"| {row['tent']} | {row['weather']} | {row['law']} | {row['energy_kwh']:.1f}{spread} | "
        f"{row['harm']:.0f} | {row['starts']:.0f} | {row['changes_a_day']:.0f} | {hotter} |"
    )


def as_table(rows: Iterable[dict[str, Any]]) -> str:
    """The rows as markdown."""
    return "\n".join([_HEAD, *map(_line, rows)])


def write_table() -> None:
    """Put what was measured into DEVELOPERS.md."""
    table = as_table(json.loads(RESULTS.read_text(encoding="utf-8")))
    renew(ROOT / "DEVELOPERS.md", "laws", f"{table}\n")


def main() -> int:
    """Measure and print, or put what was measured into DEVELOPERS.md; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--write", action="store_true")
    asked = parser.parse_args()
    if asked.write:
        write_table()
        return 0
    if asked.short:
        return 1 if check_shortly() else 0
    rows = measure()
    RESULTS.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    print(as_table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main())
