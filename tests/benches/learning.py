"""Learning on hidden tents: parameters, and the next day's peak, against a simulated truth.

See `learning.sh`. Each tent is a config and a truth that is up to 40 % off it in every figure, in
rooms that follow observed weather of four seasons, read by sensors with the errors of their data
sheets. Every other tent is of another structure than the model: its walls stand in other air than
its intake draws, warmer still in the afternoon, its fan follows the speed by another power, its
door is opened once a day. The model learns from seven days; on the eighth, given the air that was
drawn in, the config's own decisions run on the tent as learned and as configured, and the highest
five-minute means are compared with that of the record.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import random
import re
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "learning.json"
RESULT_SMALL = HERE / "results" / "learning_small_errors.json"
sys.path.insert(0, str(HERE.parent / "expectation"))

from tent_bodies import random_tent  # noqa: E402

from controller.config import Loaded, Settings, settings_from_text  # noqa: E402
from controller.learning.fan_flow import FanFlow  # noqa: E402
from controller.learning.learn import CannotLearnError, learn  # noqa: E402
from controller.learning.parameters import TentParameters, configured  # noqa: E402
from controller.record import MemoryRecord, ReadingRow  # noqa: E402
from controller.tent_physics import TentPhysics  # noqa: E402
from simulators.fan import Fan  # noqa: E402
from simulators.intake import RoomAir  # noqa: E402
from simulators.learned_tent import learned_errors, learned_scene  # noqa: E402
from simulators.rehearsal import rehearse_fully, scene_in  # noqa: E402
from simulators.rehearsal.loop import RehearsalLoop  # noqa: E402
from simulators.rehearsal.outcome import Outcome, Trajectory  # noqa: E402
from simulators.rehearsal.recorded import RecordedAir, knots  # noqa: E402
from simulators.rehearsal.rehearse import policy_rules  # noqa: E402
from simulators.rehearsal.scene import Scene  # noqa: E402
from simulators.room import Room  # noqa: E402
from simulators.tent import Tent  # noqa: E402
from simulators.tent.step import StepRows  # noqa: E402
from simulators.weather import load_weather  # noqa: E402

TENTS, DAYS = 8, 7
SEASONS = {"winter": (1, 8), "spring": (4, 8), "summer": (7, 8), "autumn": (10, 8)}
ZONE = "America/New_York"
DAY_S = 86_400.0

CONFIGS = Path(__file__).resolve().parents[2] / "config"


class OtherTent(Tent):
    """A tent of another structure than the model.

    Its walls stand in air `WALLS_K` warmer than its intake's, and `SUN_K` more in the afternoon;
    for ten minutes a day its door is open.
    """

    WALLS_K, SUN_K, DOOR_S, DOOR_M3_S = 0.4, 0.4, 600.0, 0.05

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.lived_s = 0.0

    def advance(
        self,
        flow_m3_s: float,
        lamp_on: bool,
        dt_s: float,
        room_c: float,
        intake_c: float,
        intake_ratio: float,
        fan_heat_w: float = 0.0,
    ) -> StepRows:
        """Go on as a tent does, but for what is different."""
        self.lived_s += dt_s
        hour = self.lived_s % DAY_S
        flow = flow_m3_s + (self.DOOR_M3_S if 61_200.0 < hour < 61_200.0 + self.DOOR_S else 0.0)
        walls_k = self.WALLS_K + (self.SUN_K if 43_200.0 < hour < 64_800.0 else 0.0)
        return super().advance(
            flow, lamp_on, dt_s, room_c + walls_k, intake_c, intake_ratio, fan_heat_w
        )


class OtherFan(Fan):
    """A fan whose flow follows the speed by another power than its curve gives."""

    POWER = 0.1

    def flow_m3_s(self, speed: float) -> float:
        """Flow at a speed [m³/s]."""
        flow = super().flow_m3_s(speed)
        return flow * speed**self.POWER if speed > 0.0 else flow


def config(number: int) -> str:
    """The config of a tent: the example with an intake sensor, then random ones of 0.2 to 20 m³."""
    if number == 0:
        return (CONFIGS / "chillies.yaml").read_text(encoding="utf-8")
    purge = "purge: {every: 2 h, length: 5 min, speed: 100 %}"
    text = random_tent(100 + number).replace("Europe/Rome", ZONE)
    return text.replace("schedule: {", f"schedule: {{{purge}, ")


def with_small_errors(text: str) -> str:
    """A config whose sensors of tent and intake err as an SHT4x and an SHT3x do."""
    devices = iter(("sht4x", "sht3x"))
    return re.sub(
        r"driver: (?:dht22|hwmon)(,\s*|\s+)(?:pin: \d+|device: \w+)",
        lambda found: f"driver: hwmon{found[1]}device: {next(devices)}",
        text,
    )


def truth(settings: Settings, seed: int) -> tuple[TentPhysics, Fan, TentParameters, bool]:
    """A tent up to 40 % off its config: physics, fan, parameters; and whether it is another."""
    dice = random.Random(seed)

    def off() -> float:
        return math.exp(dice.uniform(-math.log(1.4), math.log(1.4)))

    other = seed % 2 == 1
    physics = TentPhysics.from_settings(settings)
    share, leaves = off(), off()
    true = physics._replace(
        wall_w_per_k=off() * physics.wall_w_per_k,
        air_capacity_j_k=off() * physics.air_capacity_j_k,
        contents_capacity_j_k=off() * physics.contents_capacity_j_k,
        contents_w_per_k=off() * physics.contents_w_per_k,
        lamp_contents_share=off() * physics.lamp_contents_share,
        infiltration_m3_s=off() * physics.infiltration_m3_s,
        leaf_area_m2=leaves * physics.leaf_area_m2,
    )
    fan = (OtherFan if other else Fan)(settings, physics.density_kg_m3)
    fan.clog(FanFlow.from_settings(settings, physics.density_kg_m3).resistance(share))
    fan.strengthen(max(1.0, share))
    parameters = configured(true)._replace(
        flow_share=share, transpiration_lit=leaves, transpiration_dark=leaves
    )
    return true, fan, parameters, other


def live(loaded: Loaded, scene: Scene, start_s: float, days: float, seed: int) -> list[ReadingRow]:
    """What a daemon records."""
    record = MemoryRecord()
    rehearse_fully(loaded, scene, start_s, start_s + days * DAY_S, record, seed=seed)
    return record.readings


def peak_c(rows: list[ReadingRow], from_s: float) -> float:
    """The highest five-minute mean from a time on [°C]."""
    read = [r.tent_temperature_c for r in rows if r.at_ms / 1000.0 > from_s]
    return highest_mean_c([c for c in read if c is not None])


def highest_mean_c(minutes_c: Sequence[float]) -> float:
    """The highest five-minute mean of temperatures a minute apart [°C]."""
    return max(sum(minutes_c[i : i + 5]) / 5.0 for i in range(len(minutes_c) - 4))


class Traced(Outcome):
    """Outcome of a rehearsal that keeps what the sensors read [°C]."""

    def __init__(self, start_s: float, until_s: float) -> None:
        super().__init__(start_s, until_s)
        self.read_c: list[float] = []

    def count(self, states: Trajectory, *args: Any, **kwargs: Any) -> None:
        """Count states, and keep them."""
        self.read_c += states.air_c
        super().count(states, *args, **kwargs)


def foreseen_c(
    loaded: Loaded, rows: list[ReadingRow], start_s: float, fitted: TentParameters
) -> float:
    """The eighth day's peak by a simulated tent in the recorded intake air [°C]."""
    settings = loaded.settings
    begin_s = start_s + (DAYS - 1) * DAY_S
    pressure = TentPhysics.from_settings(settings).pressure_pa
    intake = RecordedAir(knots(r for r in rows if r.at_ms / 1000.0 > begin_s), pressure)
    scene = learned_scene(settings, fitted, intake)

    outcome = Traced(begin_s, begin_s + 2.0 * DAY_S)
    RehearsalLoop(
        settings,
        policy_rules(settings, "config"),
        scene,
        outcome,
        tick_s=60.0,
        seed=1,
        targets=settings.targets,
        errors=learned_errors(settings, fitted),
    ).run(None)
    return highest_mean_c(outcome.read_c[round(DAY_S / 60.0) :])


def window(number: int, season: str, *, small_errors: bool = False) -> dict[str, Any]:
    """What came of one tent in one season."""
    text = config(number)
    loaded = settings_from_text(with_small_errors(text) if small_errors else text)
    settings = loaded.settings
    seed = 10 * number + list(SEASONS).index(season)
    physics, fan, true, other = truth(settings, number)
    start = dt.datetime(2013, *SEASONS[season], tzinfo=ZoneInfo(ZONE))
    start_s = start.timestamp()
    weather = load_weather("airfield-2013", ZONE).covering(start_s - 4 * DAY_S, start_s + 9 * DAY_S)
    room = RoomAir(Room(settings.room.kind, weather, start_s, physics.pressure_pa))
    scene = scene_in(settings, physics, room, (), fan)
    if other:
        scene = scene._replace(tent=OtherTent(physics, room.air_c, room.ratio, 430.0))
    rows = live(loaded, scene, start_s, DAYS + 1, seed)
    eve_s = start_s + DAYS * DAY_S
    figures: dict[str, Any] = {"tent": number, "season": season, "other_structure": other}
    began = time.process_time()
    try:
        learned = learn(settings, [row for row in rows if row.at_ms / 1000.0 <= eve_s])
    except CannotLearnError as error:
        return {**figures, "refused": error.message}
    figures["cpu_s"] = round(time.process_time() - began, 2)
    figures["fit_k"], figures["fit_pct"] = (round(x, 4) for x in learned.misfit)
    found = peak_c(rows, eve_s)
    figures["peak_error_k"] = round(foreseen_c(loaded, rows, start_s, learned.fitted) - found, 4)
    plain = configured(TentPhysics.from_settings(settings))
    figures["peak_error_as_configured_k"] = round(
        foreseen_c(loaded, rows, start_s, plain) - found, 4
    )
    figures["parameters"] = {
        name: {
            "true": getattr(true, name),
            "value": output.value,
            "configured": output.configured,
            "learned": output.is_learned,
            "low": output.low,
            "high": output.high,
            "held": output.low <= getattr(true, name) <= output.high,
        }
        for name, output in learned.parameters.items()
        if name not in ("evaporation_lit", "difference_k", "difference_pct")
    }
    return figures


def summary(windows: list[dict[str, Any]]) -> dict[str, Any]:
    """What it comes to."""
    fitted = [w for w in windows if "refused" not in w]

    def rms(key: str, of: list[dict[str, Any]]) -> float | None:
        return round(math.sqrt(sum(w[key] ** 2 for w in of) / len(of)), 3) if of else None

    own = [w for w in fitted if not w["other_structure"]]
    other = [w for w in fitted if w["other_structure"]]
    parameters = {}
    for name in fitted[0]["parameters"] if fitted else ():
        output = [w["parameters"][name] for w in fitted if w["parameters"][name]["learned"]]
        errors = sorted(abs(math.log(p["value"] / p["true"])) for p in output)
        before = sorted(
            abs(math.log(w["parameters"][name]["configured"] / w["parameters"][name]["true"]))
            for w in fitted
        )
        parameters[name] = {
            "told": len(output),
            "median_error_pct": round(100 * errors[len(errors) // 2], 1) if errors else None,
            "configured_error_pct": round(100 * before[len(before) // 2], 1),
            "held_pct": round(100 * sum(p["held"] for p in output) / len(output))
            if output
            else None,
        }
    told_all = [
        (w["other_structure"], p) for w in fitted for p in w["parameters"].values() if p["learned"]
    ]

    def held(other: bool | None) -> int | None:
        those = [p["held"] for kind, p in told_all if other is None or kind is other]
        return round(100 * sum(those) / len(those)) if those else None

    return {
        "windows": len(windows),
        "refused": len(windows) - len(fitted),
        "peak_rmse_k": rms("peak_error_k", fitted),
        "peak_rmse_own_structure_k": rms("peak_error_k", own),
        "peak_rmse_other_structure_k": rms("peak_error_k", other),
        "peak_rmse_as_configured_k": rms("peak_error_as_configured_k", fitted),
        "held_pct": held(None),
        "held_own_structure_pct": held(False),
        "held_other_structure_pct": held(True),
        "cpu_s": round(sum(w["cpu_s"] for w in fitted) / max(1, len(fitted)), 1),
        "parameters": parameters,
    }


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--small-errors", action="store_true", help="sensors as SHT4x and SHT3x")
    args = parser.parse_args()
    seasons = ["spring"] if args.short else list(SEASONS)
    windows = []
    for number in range(2 if args.short else TENTS):
        for season in seasons:
            windows.append(window(number, season, small_errors=args.small_errors))
            shown = {key: value for key, value in windows[-1].items() if key != "parameters"}
            print(json.dumps(shown, ensure_ascii=False), flush=True)
    found = summary(windows)
    print(json.dumps(found, indent=1))
    if not args.short:
        date = dt.datetime.now(dt.UTC).date().isoformat()
        result = RESULT_SMALL if args.small_errors else RESULT
        result.write_text(
            json.dumps({"bench": "learning", "date": date, **found, "each": windows}, indent=1)
            + "\n",
            encoding="utf-8",
        )
    return 1 if found["peak_rmse_k"] is None or found["peak_rmse_k"] > 0.15 else 0


if __name__ == "__main__":
    raise SystemExit(main())
