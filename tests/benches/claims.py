"""What is claimed of tents without a fault, held against what the simulator knows of them.

See `claims.sh`. Each tent lives through its days under the daemon's own tick, learned and looked at
by the daemon's own calendar jobs, its sensors off by what their data sheets admit and its figures
off within their doubts. Then its alarms, events and review are read. Counted is each claim of a
fault, since there is none, and each claim of a cause that the truth contradicts by more than two
sensors may err.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import random
import re
import sys
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

HERE = Path(__file__).resolve().parent
RESULT = HERE / "results" / "claims.json"
sys.path[:0] = [str(HERE), str(HERE.parent / "expectation")]

from tent_bodies import random_tent, within_doubt  # noqa: E402

from controller import air  # noqa: E402
from controller.alarms.kinds import BY_NAME  # noqa: E402
from controller.config import Loaded, settings_from_text  # noqa: E402
from controller.daemon.calendar import Job, calendar_jobs  # noqa: E402
from controller.errors import UserError  # noqa: E402
from controller.learning.source import change_in_record, learn_from_record  # noqa: E402
from controller.record import RecordReader  # noqa: E402
from controller.record.recorder import InlineRecord  # noqa: E402
from controller.review.open_record import Asked, open_source  # noqa: E402
from controller.review.report import Review, build  # noqa: E402
from controller.review.views.headline import headline  # noqa: E402
from controller.tent_physics import TentPhysics  # noqa: E402
from simulators.fan import Fan  # noqa: E402
from simulators.intake import RoomAir  # noqa: E402
from simulators.rehearsal.rehearse import rehearse_fully  # noqa: E402
from simulators.rehearsal.scene import Scene, scene_in  # noqa: E402
from simulators.room import Room  # noqa: E402
from simulators.tent import Tent  # noqa: E402
from simulators.tent.saturation_table import TentTooHotError  # noqa: E402
from simulators.weather.files import load_weather  # noqa: E402

TENTS, DAYS, LEARNED_ON = 40, 14.0, (7, 10, 13)
BEGINS = {"summer": dt.date(2013, 7, 1), "winter": dt.date(2013, 1, 8)}
ROOMS = ("room", "cellar", "closet", "attic")
ROME = ZoneInfo("Europe/Rome")

FAULT_ALARMS = {
    *("tent_sensor", "sensor", "fan_not_turning", "less_air", "reduced_flow", "little_rise"),
    *("reduced_transpiration", "sensor_drift", "fan_turning_when_off", "lamp_lit_out_of_hours"),
    *("lamp_dark_in_hours", "output", "record", "clock", "config"),
}
FAULT_EVENTS = {"flow.reduced", "tent.changed", "sensor.failed", "failsafe.entered", "job.failed"}
FAULT_CAUSES = {
    *("sensor_missing", "fan_not_turning", "less_air_than_expected", "tent_open_or_lamp_dark"),
    *("reduced_transpiration", "heat_while_dark", "lamp_lit_out_of_hours", "held_by_hand"),
}
# What two sensors that are as their data sheets say may be off by together, about [K], [%].
OFF_K, OFF_PCT = 1.2, 6.0


class Instant(NamedTuple):
    """The truth at a tick: time [Unix s], tent's and intake's temperature [°C], humidity [%]."""

    at_s: float
    tent_c: float
    tent_pct: float
    intake_c: float
    intake_pct: float


class Truth(list[tuple[float, float]]):
    """A track that looks at the rest of the scene whenever a tick is noted."""

    def __init__(self, scene: Scene) -> None:
        super().__init__()
        self.scene, self.instants = scene, list[Instant]()

    def append(self, tick: tuple[float, float]) -> None:
        """Note a tick."""
        at_s, tent_c = tick
        tent, intake = self.scene.tent, self.scene.intake
        past_s = at_s - intake.from_s
        self.instants.append(
            Instant(
                at_s,
                tent_c,
                tent.humidity_pct,
                intake.air_c + past_s * intake.air_c_s,
                intake.humidity_pct + past_s * intake.humidity_pct_s,
            )
        )

    def between(self, from_s: float, until_s: float) -> list[Instant]:
        """The ticks of a stretch."""
        first_s, step_s = self.instants[0].at_s, 60.0
        first, last = (round((at_s - first_s) / step_s) for at_s in (from_s, until_s))
        return self.instants[max(0, first) : max(0, last) + 1]


def any_tent(seed: int) -> str:
    """A config with one to four sensors in some kind of room, its lamp of nearly 0 to 2000 W."""
    dice = random.Random(seed + 500)
    text = random_tent(seed) + f"room: {{kind: {ROOMS[seed % len(ROOMS)]}}}\n"
    more = {
        1: "  - {name: shelf, role: tent, driver: dht22, pin: 22}\n",
        2: "  - {name: shelf, role: tent, driver: hwmon, device: sht3x-1}\n"
        "  - {name: door, role: intake, driver: dht22, pin: 23}\n",
    }.get(seed % 5, "")
    text = text.replace("targets:\n", f"{more}targets:\n", 1)
    if seed % 10 == 3:  # nothing is known of the intake air
        text = re.sub(r"  - \{name: room, role: intake.*\n", "", text)
    watts = {2: 3.0, 6: dice.uniform(1200.0, 2000.0)}.get(seed % 12)
    if watts is not None:
        text = re.sub(r"lamp: \{power: \d+ W", f"lamp: {{power: {watts:.0f} W", text)
    if dice.random() < 0.5:
        text = text.replace("schedule: {", "schedule: {purge: {every: 2 h, length: 5 min}, ", 1)
    return text


class Lived(NamedTuple):
    """What a tent left behind."""

    loaded: Loaded
    body: TentPhysics
    truth: Truth
    record: Path


def live(seed: int, season: str, days: float, folder: Path) -> Lived:
    """Let a tent live in a season."""
    loaded = settings_from_text(any_tent(seed))
    settings = loaded.settings
    body = within_doubt(seed)(TentPhysics.from_settings(settings))
    start_s = dt.datetime.combine(BEGINS[season], dt.time(), tzinfo=ROME).timestamp()
    weather = load_weather("airfield-2013")
    room = Room(settings.room.kind, weather, start_s, body.pressure_pa)  # type: ignore[arg-type]
    scene = scene_in(settings, body, RoomAir(room), ())
    truth = Truth(scene)
    path = folder / f"{seed}-{season}.sqlite3"
    record = InlineRecord(path, batch=500, emit=lambda *_: None)

    def learn(_: Path) -> dict[str, object]:
        try:
            with RecordReader(path) as reader:
                return {"learned": learn_from_record(reader).as_json()}
        except UserError as error:
            return {"refused": error.message}

    def find_change(_: Path) -> dict[str, object]:
        with RecordReader(path) as reader:
            change = change_in_record(reader)
        if change == "unknown":
            return {"refused": "dark"}
        return {"change": None if change is None else change.as_json()}

    jobs = calendar_jobs(lambda: settings, record, learn=learn, find_change=find_change)
    by_name: dict[str, Job] = {job.name: job for job in jobs}
    is_learned = seed % 3 == 0  # the rest goes by the config alone, at a third of the cost

    def progress(at_s: float) -> None:
        day = int((at_s - start_s) // 86_400.0)
        if day in LEARNED_ON and is_learned:
            by_name["learning"].work(at_s)
        if day >= LEARNED_ON[0] and is_learned:
            by_name["change"].work(at_s)

    rehearse_fully(
        loaded, scene, start_s, start_s + days * 86_400.0, record,
        seed=seed, tick_s=60.0, progress=progress, track=truth,
    )  # fmt: skip
    record.close()
    return Lived(loaded, body, truth, path)


class Claim(NamedTuple):
    """A claim that the truth contradicts."""

    where: str
    what: str
    at: str
    detail: str


def of_events(lived: Lived) -> Iterator[Claim]:
    """False claims of events and alarms."""
    with RecordReader(lived.record) as reader:
        events = list(reader.events(0, 2**60))
    for event in events:
        at = dt.datetime.fromtimestamp(event.at_ms / 1000.0, ROME).isoformat(timespec="minutes")
        if event.name in FAULT_EVENTS:
            what = f"{event.name} {event.data.get('kind', event.data.get('fault', ''))}"
            yield Claim("event", what.strip(), at, json.dumps(event.data))
        if event.name != "alarm.raised":
            continue
        name = str(event.data["alarm"])
        wrong = "" if name in FAULT_ALARMS else _contradicts(lived, name, event.at_ms, event.data)
        if name in FAULT_ALARMS or wrong:
            yield Claim("alarm", name, at, wrong or json.dumps(event.data))


def _contradicts(lived: Lived, name: str, at_ms: int, data: dict[str, Any]) -> str:
    """Why an alarm about the air is wrong; "" where it isn't."""
    until_s = at_ms / 1000.0
    true = lived.truth.between(until_s - BY_NAME[name].on_delay_s - 600.0, until_s)
    if not true:
        return ""
    limit = data.get("limit")
    most = Instant(*(max(values) for values in zip(*true, strict=True)))
    least = Instant(*(min(values) for values in zip(*true, strict=True)))
    if name in ("heat", "severe_heat") and most.tent_c < limit - OFF_K:
        return f"{most.tent_c:.1f} °C at most, limit {limit}"
    if name == "cold" and least.tent_c > limit + OFF_K:
        return f"{least.tent_c:.1f} °C at least, limit {limit}"
    if name in ("high_humidity", "severe_humidity") and most.tent_pct < limit - OFF_PCT:
        return f"{most.tent_pct:.0f} % at most, limit {limit}"
    if name == "condensation":
        dew_c = max(air.dew_point_c(one.tent_c, one.tent_pct) for one in true)
        fabric_c = min(0.5 * (one.tent_c + one.intake_c) for one in true)
        return f"dew point {dew_c:.1f}, fabric {fabric_c:.1f} °C" if dew_c < fabric_c - 2 else ""
    if name == "ventilation_limit":
        return _not_out(data, most) or _of_limit(lived, str(data.get("response")), least, most)
    return ""


def _not_out(data: dict[str, Any], most: Instant) -> str:
    """Why the air was not out of its band as `ventilation_limit` says."""
    limit, unit = data["limit"], data["unit"]
    if unit == "°C" and most.tent_c < limit - OFF_K:
        return f"{most.tent_c:.1f} °C at most, limit {limit}"
    if unit == "%" and most.tent_pct < limit - OFF_PCT:
        return f"{most.tent_pct:.0f} % at most, limit {limit}"
    return ""


def _of_limit(lived: Lived, response: str, least: Instant, most: Instant) -> str:
    """Why the reason of the alarm `ventilation_limit` is wrong."""
    bands = (lived.loaded.settings.targets.day, lived.loaded.settings.targets.night)
    warmest_c = min(band.temperature_c.high for band in bands)
    if "the intake air is too warm" in response and most.intake_c < warmest_c - OFF_K:
        return f"intake air {most.intake_c:.1f} °C at most, band up to {warmest_c}"
    cool = "the intake air is cool enough" in response
    if cool and least.intake_c > max(band.temperature_c.high for band in bands) + OFF_K:
        return f"intake air {least.intake_c:.1f} °C at least"
    if cool and "stronger fan" in response:
        rise_k = full_rise_k(lived, most.intake_c, most.intake_pct)
        limit_c = bands[0].temperature_c.high
        if most.intake_c + rise_k < limit_c - OFF_K:
            return f"{most.intake_c:.1f} + {rise_k:.1f} K at full speed, band up to {limit_c}"
    return ""


def full_rise_k(lived: Lived, intake_c: float, intake_pct: float) -> float:
    """How far the true tent settles above its intake air, lit and at full speed [K]."""
    body = lived.body
    ratio = air.humidity_ratio(intake_c, intake_pct, body.pressure_pa)
    tent, fan = Tent(body, intake_c, ratio), Fan(lived.loaded.settings, body.density_kg_m3)
    flow, motor_w = fan.flow_m3_s(1.0), fan.heat_w(1.0)
    for _ in range(12 * 60):
        tent.advance(flow, True, 60.0, intake_c, intake_c, ratio, motor_w)
    return tent.air_c - intake_c


def of_review(lived: Lived, review: Review) -> Iterator[Claim]:
    """False claims of a review of all days."""
    for deviation in review.deviations:
        at = dt.datetime.fromtimestamp(deviation.start_ms / 1000.0, ROME)
        figures = (deviation.observed_k, deviation.low_k, deviation.high_k, deviation.minutes)
        yield Claim("deviation", deviation.kind, at.isoformat(timespec="minutes"), f"{figures}")
    for excursion in review.excursions:
        for cause in excursion.causes:
            at = dt.datetime.fromtimestamp(cause.since_ms / 1000.0, ROME)
            wrong = ""
            if cause.code in FAULT_CAUSES:
                wrong = f"{cause.minutes:.0f} min, {cause.value}"
            else:
                true = lived.truth.between(cause.since_ms / 1000.0, cause.until_ms / 1000.0)
                wrong = _wrong_cause(lived, excursion, cause, true) if true else ""
            if wrong:
                yield Claim("cause", cause.code, at.isoformat(timespec="minutes"), wrong)


def _wrong_cause(lived: Lived, excursion: Any, cause: Any, true: list[Instant]) -> str:
    """Why a cause is wrong; "" where it isn't. A cause may hold for part of its span only."""
    limit = _widest(lived, excursion)
    holds: dict[str, Callable[[Instant], bool]] = {
        "intake_too_hot": lambda one: one.intake_c > limit - OFF_K,
        "intake_too_cold": lambda one: one.intake_c < limit + OFF_K,
        "intake_too_wet": lambda one: _past(excursion, one, limit, +1.0),
        "intake_too_dry": lambda one: _past(excursion, one, limit, -1.0),
        "too_hot_meanwhile": lambda one: (
            one.tent_c > lived.loaded.settings.targets.night.temperature_c.high - OFF_K
        ),
    }
    if cause.code in holds:
        minutes = sum(map(holds[cause.code], true))
        if cause.minutes > 1.02 * minutes + 5.0:
            return f"{cause.minutes:.0f} min claimed, {minutes} true at most, limit {limit}"
    if cause.code == "lamp_heat":
        warmest = max(true, key=lambda one: one.intake_c)
        rise_k = full_rise_k(lived, warmest.intake_c, warmest.intake_pct)
        if warmest.intake_c + rise_k < limit - OFF_K:
            return f"{warmest.intake_c:.1f} °C + {rise_k:.1f} K at full speed, limit {limit}"
    return ""


def _widest(lived: Lived, excursion: Any) -> float:
    """The limit, by day or by night, past which it is soonest: an excursion may be of both."""
    targets = lived.loaded.settings.targets
    name = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
    bands = [getattr(band, name[excursion.quantity]) for band in (targets.day, targets.night)]
    if excursion.side == "above":
        return float(min(band.high for band in bands))
    return float(max(band.low for band in bands))


def _past(excursion: Any, one: Instant, limit: float, wetter: float) -> bool:
    """Whether intake air, as warm as the tent, may be past a limit of humidity or VPD."""
    saturated_pa = air.saturation_vapour_pressure_pa(one.tent_c)
    vapour_pa = 0.01 * one.intake_pct * air.saturation_vapour_pressure_pa(one.intake_c)
    # What both sensors may be off by, in humidity, and 6 % of the vapour for each kelvin.
    off = 0.01 * OFF_PCT + 0.06 * OFF_K * vapour_pa / saturated_pa
    share = vapour_pa / saturated_pa + wetter * off
    bound = 0.01 * limit if excursion.quantity == "humidity" else 1.0 - limit / saturated_pa
    return wetter * (share - bound) > 0.0


def tried(job: tuple[int, str, float]) -> dict[str, Any]:
    """What was claimed of one tent in one season."""
    seed, season, days = job
    with tempfile.TemporaryDirectory() as folder:
        try:
            lived = live(seed, season, days, Path(folder))
        except TentTooHotError:  # a fire, and no tent without a fault
            return {"seed": seed, "season": season, "burned": True, "false": []}
        asked = Asked(length=f"{days:g}d")
        with open_source(lived.loaded, lived.record, asked) as source:
            review = build(source, lived.loaded.settings)
        claims = [*of_events(lived), *of_review(lived, review)]
        with RecordReader(lived.record) as reader:
            nights = [
                "refused" if "refused" in row.result else "learned"
                for row in reader.learnings(newest=30)
            ]
        physics = lived.body
        return {
            "seed": seed,
            "season": season,
            "room": lived.loaded.settings.room.kind,
            "volume_m3": round(physics.volume_m3, 2),
            "lamp_w": physics.lamp_heat_w,
            "sensors": len(lived.loaded.settings.sensors),
            "nights": nights,
            "excursions": len(review.excursions),
            "false": [claim._asdict() for claim in claims],
            "headline": headline(review),
        }


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--tents", type=int, default=TENTS)
    parser.add_argument("-n", type=int, default=2, help="processes")
    args = parser.parse_args()
    count, days = (2, 2.0) if args.short else (args.tents, DAYS)
    seeds = range(args.first_seed, args.first_seed + count)
    jobs = [(seed, season, days) for seed in seeds for season in BEGINS]
    runs = []
    with ProcessPoolExecutor(args.n) as pool:
        for run in pool.map(tried, jobs):
            print(json.dumps(run, ensure_ascii=False), flush=True)
            runs.append(run)
    false = sum(len(run["false"]) for run in runs)
    print(f"claims: {false} false ones in {len(runs)} runs of {days:g} days")
    if not args.short:
        date = dt.datetime.now(dt.UTC).date().isoformat()
        text = json.dumps({"bench": "claims", "date": date, "days": days, "runs": runs}, indent=1)
        RESULT.write_text(text + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
