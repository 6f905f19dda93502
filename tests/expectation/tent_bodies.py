"""Tents of every size with all their parts, lived through by the daemon's own tick."""

from __future__ import annotations

import datetime as dt
import math
import random
from collections.abc import Callable, Iterator, Sequence
from zoneinfo import ZoneInfo

from controller.config import Loaded, settings_from_text
from controller.record import MemoryRecord, Record
from controller.tent_physics import TentPhysics
from simulators.rehearsal.faults import Fault
from simulators.rehearsal.recorded import Knot, RecordedAir
from simulators.rehearsal.rehearse import rehearse_fully
from simulators.rehearsal.scene import scene_in

START = dt.datetime(2025, 6, 2, tzinfo=ZoneInfo("Europe/Rome"))
START_S = START.timestamp()
DAY_S = 86_400.0

CONFIG = """\
tent: {name: body, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 17, free_flow: 190 m³/h, max_pressure: 250 Pa, power: 25 W}
duct: {diameter: 10 cm, length: 2 m, bends: 1, kind: flexible_stretched, arrangement: both_inside,
       filter: {pressure_drop: 80 Pa, flow: 190 m³/h}, intake: {openings: 2, diameter: 15 cm}}
schedule: {day_speed: 100 %, night_speed: 0 %}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: room, role: intake, driver: dht22, pin: 27}
targets:
  day: {temperature: [20 °C, 27 °C], humidity: [40 %, 75 %], vpd: [0.5 kPa, 1.9 kPa]}
  night: {temperature: [15 °C, 25 °C], humidity: [40 %, 85 %], vpd: [0.2 kPa, 1.9 kPa]}
crop: {kind: pepper, plants: 4, stage: flowering}
energy: {price: 0.30, currency: EUR}
"""


def changed(*changes: tuple[str, str], text: str = CONFIG) -> str:
    """The config with some of its words replaced."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


def room_knots(
    days: float, seed: int = 1, mean_c: float = 20.0, swing_k: float = 2.0
) -> Iterator[Knot]:
    """A room that follows the sun, is aired now and then, and differs from day to day."""
    dice = random.Random(seed)
    day_c = 0.0
    for half_hour in range(int(days * 48) + 3):
        hour = half_hour / 2.0 % 24.0
        if hour == 0.0:
            day_c = dice.gauss(0.0, 1.0)
        aired_k = -4.0 if hour == 8.5 and dice.random() < 0.5 else 0.0
        room_c = mean_c + day_c + aired_k + swing_k * math.cos((hour - 16.0) / 24.0 * math.tau)
        pct = min(85.0, max(20.0, dice.gauss(50.0, 5.0)))
        yield Knot(START_S + half_hour * 1800.0, room_c, pct, None, None)


def live(
    text: str,
    days: float = 1.0,
    *,
    faults: Sequence[Fault] = (),
    seed: int = 1,
    record: Record | None = None,
    knots: Iterator[Knot] | None = None,
    physics: Callable[[TentPhysics], TentPhysics] = lambda physics: physics,
    truth: str | None = None,
    tick_s: float = 60.0,
) -> tuple[Loaded, MemoryRecord]:
    """Let a tent live under a config; `truth` is the config of the tent that really stands there.

    Returns
    -------
    tuple of (Loaded, MemoryRecord)
        The config, and the record unless another was given.
    """
    loaded = settings_from_text(text)
    real = loaded.settings if truth is None else settings_from_text(truth).settings
    body = physics(TentPhysics.from_settings(real))
    intake = RecordedAir(knots or room_knots(days, seed), body.pressure_pa)
    memory = MemoryRecord()
    rehearse_fully(
        loaded,
        scene_in(real, body, intake, ()),
        START_S,
        START_S + days * DAY_S,
        record or memory,
        faults=faults,
        seed=seed,
        tick_s=tick_s,
    )
    return loaded, memory


def fault(
    kind: str, day: float, hour: float, hours: float = math.inf, factor: float = 1.0
) -> Fault:
    """A fault at an hour of a day."""
    from_s = START_S + day * DAY_S + hour * 3600.0
    return Fault(kind, from_s, from_s + hours * 3600.0, factor=factor)


def random_tent(seed: int) -> str:
    """A config of a tent of 0.2 to 20 m³, its lamp 20 to 1000 W, its fan weak or strong."""
    dice = random.Random(seed)

    def between(low: float, high: float) -> float:
        return math.exp(dice.uniform(math.log(low), math.log(high)))

    volume = between(0.2, 20.0)
    height = min(2.4, 1.6 * volume**0.3)
    width = math.sqrt(volume / height) * between(0.8, 1.25)
    depth = volume / height / width
    floor = width * depth
    lamp = min(1000.0, max(20.0, floor * between(80.0, 500.0)))
    # From a quarter to eight times the flow that carries the lamp's heat off at four kelvins.
    flow = min(3000.0, max(10.0, lamp / (1206.0 * 4.0) * 3600.0 * between(0.25, 8.0)))
    pressure = between(80.0, 500.0)
    drive = dice.choice(["relay, pin: 17", "pwm, pin: 18", "hardware_pwm, pin: 18"])
    day_speed = 1.0 if "relay" in drive else dice.choice([0.4, 0.6, 1.0])
    sensors = [dice.choice(["driver: dht22, pin: 4", "driver: hwmon, device: sht4x"])]
    sensors.append(dice.choice(["driver: dht22, pin: 27", "driver: hwmon, device: sht3x"]))
    duct = ""
    if dice.random() < 0.8:
        diameter = dice.choice([100, 125, 150, 200, 250]) if flow < 900.0 else 315
        place = dice.choice(["both_inside", "both_outside", "filter_inside_fan_outside"])
        carbon = f", filter: {{pressure_drop: 80 Pa, flow: {flow:.0f} m³/h}}"
        duct = (
            f"duct: {{diameter: {diameter} mm, length: {dice.uniform(0.5, 4.0):.1f} m, "
            f"bends: {dice.randrange(4)}, arrangement: {place}"
            f"{carbon if dice.random() < 0.6 else ''}}}\n"
        )
    kind = dice.choice(["tomato", "pepper", "basil", "lettuce", "herbs"])
    crop = dice.choice(
        [
            "",
            f"crop: {{kind: {kind}, plants: {max(1, round(4 * floor))}, stage: vegetative}}\n",
            f"crop: {{kind: {kind}, leaf_area: {floor * dice.uniform(0.1, 3.0):.2f} m²}}\n",
        ]
    )
    return f"""\
tent: {{name: body {seed}, width: {width:.3f} m, depth: {depth:.3f} m, height: {height:.3f} m,
       elevation: {dice.uniform(0, 1500):.0f} m}}
place: {{timezone: Europe/Rome}}
lamp: {{power: {lamp:.0f} W, photoperiod: {{on: "06:00", off: "{dice.choice([18, 20, 22])}:00"}}}}
fan: {{drive: {drive}, free_flow: {flow:.0f} m³/h, max_pressure: {pressure:.0f} Pa,
      power: {max(4.0, flow / 8.0):.0f} W}}
{duct}schedule: {{day_speed: {100 * day_speed:.0f} %, night_speed: {dice.choice([0, 0, 100])} %}}
sensors:
  - {{name: canopy, role: tent, {sensors[0]}}}
  - {{name: room, role: intake, {sensors[1]}}}
targets:
  day: {{temperature: [20 °C, 27 °C], humidity: [40 %, 75 %], vpd: [0.5 kPa, 1.9 kPa]}}
  night: {{temperature: [15 °C, 25 °C], humidity: [40 %, 85 %], vpd: [0.2 kPa, 1.9 kPa]}}
{crop}"""


def within_doubt(seed: int) -> Callable[[TentPhysics], TentPhysics]:
    """A tent that is not quite as sizing takes it to be, each figure within its stated doubt."""
    dice = random.Random(seed + 7)
    walls, pots = dice.uniform(0.62, 1.15), dice.uniform(0.5, 2.0)
    leaves, leaks = dice.choice([0.0, 0.5, 1.0, 2.0]), dice.uniform(0.4, 3.0)

    def changed_physics(physics: TentPhysics) -> TentPhysics:
        return physics._replace(
            wall_w_per_k=walls * physics.wall_w_per_k,
            contents_capacity_j_k=pots * physics.contents_capacity_j_k,
            leaf_area_m2=leaves * physics.leaf_area_m2,
            infiltration_m3_s=leaks * physics.infiltration_m3_s,
        )

    return changed_physics


def raised(record: MemoryRecord, alarm: str) -> list[float]:
    """When an alarm was raised, after the start [h]."""
    return [
        (event.at_ms / 1000.0 - START_S) / 3600.0
        for event in record.events
        if event.name == "alarm.raised" and event.data["alarm"] == alarm
    ]
