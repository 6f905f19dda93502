"""What the fan's laws promise, on random configs and faults; law_limits.sh says how it is run.

Sensors are off by up to 0.8 K each, intake sensors fall silent or stale for hours, and the law's
fan curve is up to 30 % wrong. In each tick the decision is held against what it promises:

- between a start and a stop the minimum times pass; heat and the failsafe start at once
- a tent that is too hot never gets less than scheduled, quiet hours apart
- 3 K over its band, with a clearly cooler intake, it gets the override's full speed

and of each config, that modulated speeds do not take more energy than fixed ones for more harm.
"""

from __future__ import annotations

import argparse
import datetime as dt
import math
import random
import sys
from collections import Counter
from typing import NamedTuple
from zoneinfo import ZoneInfo

from laws import wrong

from controller.config import Settings, settings_from_text
from controller.control import Decision, Memory, Now, Readings, Rules, decide
from controller.control.actuator import motor_speed
from controller.control.decide import fresh
from controller.control.modulation import FAR_OVER_K
from controller.control.override_state import HOT
from controller.control.quiet import base_wish
from controller.control.wish import quiet_cap
from simulators.rehearsal.loop import RehearsalLoop
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import TICK_S, policy_rules
from simulators.rehearsal.scene import set_scene
from simulators.weather import load_weather

ZONE = ZoneInfo("America/New_York")
DAYS = 2
STRETCHES = (
    ("airfield-2013", "2013-01-10"),
    ("airfield-2013", "2013-04-20"),
    ("airfield-2013", "2013-10-05"),
    ("coastal-city-2013-07", "2013-07-16"),
    ("invented-heat-wave", "2031-07-05"),
)
# Above so much more energy and harm than with fixed speeds, modulating them is worse.
MOST_ENERGY, MORE_KWH = 1.05, 0.02
MOST_HARM, MORE_HARM = 1.01, 0.5
MOST_CHANGES_A_DAY = 30.0
_SAME = 1e-9


class Faults(NamedTuple):
    """Errors of both sensors [K], how the intake fails, and the factor on the law's flows."""

    tent_k: float
    intake_k: float
    intake: str
    flow: float


def random_config(rng: random.Random) -> str:
    """A config that nobody would choose, as YAML."""

    def spread(low: float, high: float) -> float:
        return math.exp(rng.uniform(math.log(low), math.log(high)))

    height_m = rng.uniform(0.8, 2.2)
    width_cm = 100.0 * math.sqrt(spread(0.2, 20.0) / height_m)
    flow, pressure = spread(10.0, 3000.0), rng.uniform(30.0, 400.0)
    power = max(1.0, flow / 3600.0 * pressure / rng.uniform(0.08, 0.3))
    drive = rng.choice(["pwm", "pwm", "hardware_pwm", "relay"])
    on, off = rng.choice([("06:00", "22:00"), ("20:00", "12:00"), ("08:17", "02:00")])
    fan = f"drive: {drive}, pin: 18, free_flow: {flow:.0f} m³/h, max_pressure: {pressure:.0f} Pa"
    fan += f", power: {power:.1f} W"
    if rng.random() < 0.5:
        fan += f", min_on: {rng.choice([0, 1, 5, 20])} min, min_off: {rng.choice([0, 5, 20])} min"
    if rng.random() < 0.3:
        fan += f", most_starts: {rng.choice([2, 8, 24, 60])}"
    day = 100 if drive == "relay" else rng.choice([30, 50, 80, 100])
    purge = ", purge: {every: 2 h, length: 5 min}" if rng.random() < 0.6 else ""
    lines = [
        f"tent: {{name: t, width: {width_cm:.0f} cm, depth: {width_cm:.0f} cm, "
        f"height: {100.0 * height_m:.0f} cm}}",
        "place: {timezone: America/New_York}",
        f"lamp: {{power: {rng.choice([0.0, spread(10.0, 2000.0)]):.0f} W, "
        f"photoperiod: {{on: '{on}', off: '{off}'}}}}",
        f"fan: {{{fan}}}",
        f"schedule: {{day_speed: {day} %, night_speed: {rng.choice([0, 0, day])} %{purge}}}",
        f"crop: {{kind: {rng.choice(['pepper', 'tomato', 'lettuce', 'basil', 'herbs'])}, "
        f"stage: {rng.choice(['seedling', 'vegetative', 'flowering', 'fruiting'])}, "
        f"plants: {rng.randint(0, 12)}}}",
        f"room: {{kind: {rng.choice(['room', 'cellar', 'closet', 'attic'])}}}",
        "sensors:",
        "  - {name: a, role: tent, driver: dht22, pin: 4}",
    ]
    if rng.random() < 0.85:
        lines.append("  - {name: b, role: intake, driver: hwmon, device: sht4x}")
    if rng.random() < 0.35:
        speed = 0 if drive == "relay" else rng.choice([0, 30, 40])
        lines.append(f"quiet: {{from: '22:00', to: '07:00', speed: {speed} %}}")
    return "\n".join(lines) + "\n"


class Watched:
    """Decides from readings with faults in them, and holds each decision against its promises."""

    def __init__(self, faults: Faults) -> None:
        self.broken: Counter[str] = Counter()
        self.changes = 0
        self._faults = faults
        self._switched_s = -math.inf

    def __call__(self, now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decision:
        """See `controller.control.decide`."""
        seen = self._spoilt(readings, now.monotonic_s)
        decision = decide(now, seen, rules, memory)
        self._hold_against(now, seen, rules, memory, decision)
        return decision

    def _spoilt(self, readings: Readings, now_s: float) -> Readings:
        tent, intake = readings
        faults = self._faults
        if tent is not None:
            tent = tent._replace(temperature_c=tent.temperature_c + faults.tent_k)
        if intake is not None:
            intake = intake._replace(temperature_c=intake.temperature_c + faults.intake_k)
            if now_s // 5400.0 % 3.0 == 1.0:
                if faults.intake == "silent":
                    intake = None
                elif faults.intake == "stale":
                    intake = intake._replace(monotonic_s=now_s - 1000.0)
        return Readings(tent, intake)

    def _hold_against(
        self, now: Now, seen: Readings, rules: Rules, before: Memory, decision: Decision
    ) -> None:
        memory = decision.memory
        was, speed = before.ramp.to_speed, memory.ramp.to_speed
        hot = memory.overrides[HOT]
        is_hot = hot is not None and hot.engaged and not hot.locked_out
        if speed != was:
            self.changes += 1
        if (speed > 0.0) is not (was > 0.0):
            least_s = rules.min_off_s if speed > 0.0 else rules.min_on_s
            may_at_once = memory.in_failsafe or (speed > 0.0 and is_hot)
            if now.monotonic_s - self._switched_s < least_s and not may_at_once:
                self.broken["a minimum time"] += 1
            self._switched_s = now.monotonic_s
        tent, intake = fresh(seen, now.monotonic_s, rules)
        if memory.in_failsafe or tent is None or not is_hot:
            return
        near = memory.near_warning
        most = quiet_cap(now, rules, memory.overrides, near_warning=near)
        is_quiet = rules.quiet_speed is not None and now.is_quiet
        if not is_quiet and speed < motor_speed(base_wish(now, rules, most).speed, rules) - _SAME:
            self.broken["below the schedule when too hot"] += 1
        limits = rules.day if now.lamp_on else rules.night
        law = rules.modulation
        if intake is None or law is None or is_quiet:
            return
        if (
            tent.temperature_c >= limits.hot_c + FAR_OVER_K
            and tent.temperature_c - intake.temperature_c > law.clearly_cooler_k
            and speed < motor_speed(rules.speeds[HOT], rules) - _SAME
        ):
            self.broken["not at full speed far over the band"] += 1


def try_config(number: int) -> tuple[Counter[str], str]:
    """Rehearse one config under both laws; what was broken, and a line about it."""
    rng = random.Random(number)
    settings = settings_from_text(random_config(rng)).settings
    weather, first = rng.choice(STRETCHES)
    faults = Faults(
        rng.uniform(-0.8, 0.8),
        rng.uniform(-0.8, 0.8),
        rng.choice(["works", "works", "silent", "stale"]),
        rng.choice([0.7, 1.0, 1.3]),
    )
    start_s = dt.datetime.fromisoformat(first).replace(tzinfo=ZONE).timestamp()
    runs = {
        law: _rehearse(settings, law, faults, weather, start_s, number)
        for law in ("modulating", "fixed")
    }
    (modulating, watched, changes), (fixed, other, fixed_changes) = runs.values()
    broken = watched.broken + other.broken
    energies = modulating.fan.energy_kwh, fixed.fan.energy_kwh
    if (
        energies[0] > MOST_ENERGY * energies[1] + MORE_KWH
        and modulating.harm > MOST_HARM * fixed.harm + MORE_HARM
    ):
        broken["more energy for more harm than fixed"] += 1
    line = (
        f"{number}: {energies[0]:.2f} kWh, harm {modulating.harm:.0f}, {changes:.0f} changes a "
        f"day; fixed {energies[1]:.2f}, {fixed.harm:.0f}, {fixed_changes:.0f}"
    )
    often = Counter(
        {
            f"more than {MOST_CHANGES_A_DAY:.0f} changes a day, {law}": int(
                a_day > MOST_CHANGES_A_DAY
            )
            for law, a_day in (("modulating", changes), ("fixed", fixed_changes))
        }
    )
    for what, count in broken.items():
        line += f"\n   BROKEN, {count} times: {what}"
    return broken + often, line


def _rehearse(
    settings: Settings, law: str, faults: Faults, weather: str, start_s: float, seed: int
) -> tuple[Outcome, Watched, float]:
    settings = settings.changed(overrides=settings.overrides.changed(law=law))
    rules = policy_rules(settings, "config")
    if rules.modulation is not None:
        rules = rules._replace(modulation=wrong(flow=faults.flow)(rules.modulation))
    until_s = start_s + 86_400.0 * DAYS
    watched, outcome = Watched(faults), Outcome(start_s, until_s)
    RehearsalLoop(
        settings,
        rules,
        set_scene(settings, load_weather(weather).covering(start_s, until_s), start_s),
        outcome,
        tick_s=TICK_S,
        seed=seed,
        targets=settings.targets,
        use_shortcut=False,
        decider=watched,
    ).run()
    return outcome, watched, watched.changes / DAYS


def main() -> int:
    """Try them all; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    count = 4 if parser.parse_args().short else 60
    total: Counter[str] = Counter()
    failed = 0
    for number in range(count):
        found, line = try_config(number)
        total += Counter(what for what, times in found.items() if times)
        failed += "BROKEN" in line
        print(line, flush=True)
    print(f"{failed} of {count} configs broke a promise")
    for what, configs in sorted(total.items()):
        print(f"{configs} of {count}: {what}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
