"""Some simulated days for each fault, held against the policy's row that names the test."""

from __future__ import annotations

import itertools
import random
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from fault_tent import (
    BROKEN_DAYS,
    DAY_S,
    FAIL_SAFE_WIRING,
    INTAKE,
    LAMP_RELAY,
    PHOTOCELL,
    QUIET_S,
    SETTLED_DAYS,
    TACHOMETER,
    TICK_S,
    TWIN,
    FaultTent,
)

from controller.measurement import Measurement
from controller.record import BackgroundRecord, RecordReader, RecordWriter

Holds = Callable[..., None]


def lost_s(tent: FaultTent) -> float:
    """How much of the time under control is in no reading [s]."""
    cuts = 1.5 * tent.cuts * QUIET_S  # each power cut loses the interval that is open
    return max(0.0, tent.alive_s - tent.readings_s() - cuts)


def silent(measured: Measurement) -> Measurement | None:
    return None


# Sensors.


def test_a_dead_tent_sensor(holds: Holds) -> None:
    tent = FaultTent().run_until(1.0, days=SETTLED_DAYS)
    assert tent.speed == 0.0
    tent.sensors["canopy"].fault = silent
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)
    tent.run(days=BROKEN_DAYS)
    assert tent.speed == 1.0
    assert tent.now.decision is not None
    assert tent.now.decision.rule.value == "sensor_failsafe"
    tent.sensors["canopy"].fault = lambda measured: measured
    tent.run_until(1.0, days=1)
    assert tent.speed == 0.0
    assert len(tent.events("sensor.failed")) == len(tent.events("sensor.recovered")) == 1
    assert len(tent.events("failsafe.left")) == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_stuck_tent_sensor(holds: Holds) -> None:
    tent = FaultTent().run_until(7.0, days=SETTLED_DAYS)
    stuck_at = Measurement(22.4, 55.0)
    tent.sensors["canopy"].fault = lambda measured: stuck_at
    took_s = tent.seconds_until(lambda: tent.now.memory.in_failsafe)
    assert tent.events("sensor.failed")[0]["fault"] == "stuck"
    tent.run(days=BROKEN_DAYS)
    assert tent.speed == 1.0
    tent.sensors["canopy"].fault = lambda measured: measured
    tent.run(hours=1)
    assert not tent.now.memory.in_failsafe
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_an_absurd_tent_sensor(holds: Holds) -> None:
    tent = FaultTent().run_until(1.0, days=SETTLED_DAYS)
    dice = random.Random(1)
    tent.sensors["canopy"].fault = lambda measured: dice.choice(
        [Measurement(0.0, 0.0), Measurement(-60.0, 50.0), Measurement(20.0, 140.0)]
    )
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)
    assert tent.events("sensor.failed")[0]["fault"] == "absurd"
    tent.run(days=BROKEN_DAYS)
    assert tent.speed == 1.0
    assert tent.now.memory.in_failsafe
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_jumping_tent_sensor(holds: Holds) -> None:
    tent = FaultTent().run_until(1.0, days=SETTLED_DAYS)
    levels = itertools.cycle((-20.0, 60.0, 79.0, 45.0))
    tent.sensors["canopy"].fault = lambda measured: Measurement(next(levels), 50.0)
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)
    assert tent.events("sensor.failed")[0]["fault"] == "jumped"
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_drifting_sensor_beside_a_good_one(holds: Holds) -> None:
    """Half a degree a day towards cold: followed, it would let the tent grow hot."""
    tent = FaultTent(TWIN).run_until(12.0, days=3)  # a comparison takes days
    usual_c, tent.peak_c = tent.peak_c, 0.0
    began_s = tent.now_s

    def drift_k() -> float:
        return 0.5 * (tent.now_s - began_s) / DAY_S

    tent.sensors["canopy"].fault = lambda measured: Measurement(
        round(measured.temperature_c - drift_k(), 1), measured.humidity_pct
    )
    # Both admit ±0.5 K: so far apart they could both be right.
    tent.run(days=2)
    assert not tent.events("sensor.failed")
    tent.seconds_until(lambda: bool(tent.events("sensor.failed")), 4 * DAY_S)
    took_s = tent.now_s - began_s
    assert tent.events("sensor.failed")[0]["fault"] == "disagrees"
    assert 1.0 <= drift_k() <= 1.6
    tent.run(days=BROKEN_DAYS)
    tent.finish()
    # The reading goes with the good one, less half of what both admit.
    assert tent.peak_c < usual_c + 1.0
    holds(tent, took_s=took_s, lost_s=lost_s(tent))


def test_twins_that_disagree(holds: Holds) -> None:
    tent = FaultTent(TWIN).run_until(12.0, days=3)  # a comparison takes days
    usual_c, tent.peak_c = tent.peak_c, 0.0
    tent.sensors["twin"].fault = lambda measured: Measurement(
        measured.temperature_c - 8.0, max(1.0, measured.humidity_pct - 20.0)
    )
    took_s = tent.seconds_until(lambda: bool(tent.events("sensor.failed")))
    assert {e["fault"] for e in tent.events("sensor.failed")} == {"disagrees"}
    assert {e["sensor"] for e in tent.events("sensor.failed")} == {"canopy", "twin"}
    tent.finish()
    assert not tent.events("failsafe.entered")
    assert tent.peak_c < usual_c + 1.0
    holds(tent, took_s=took_s, lost_s=lost_s(tent))


def test_a_dead_intake_sensor(holds: Holds) -> None:
    """A night in which cooling is locked out, since the room is as hot: blind, air is moved."""
    tent = FaultTent(INTAKE).run_until(23.0, days=SETTLED_DAYS)
    tent.room_extra_k = 14.0
    tent.seconds_until(lambda: bool(tent.events("override.locked_out")), 6 * 3600.0)
    tent.run(hours=1)
    assert tent.speed == 0.0
    tent.sensors["intake"].fault = silent
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)
    assert not tent.events("failsafe.entered")
    tent.room_extra_k = 0.0
    tent.run(days=BROKEN_DAYS)
    tent.sensors["intake"].fault = lambda measured: measured
    tent.run(hours=1)
    assert len(tent.events("sensor.recovered")) == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


# Fan and lamp.


def test_a_fan_that_does_not_turn(holds: Holds) -> None:
    """With a lamp of ours: told at once, and the lamp is cut before the tent cooks."""
    tent = FaultTent(TACHOMETER, LAMP_RELAY).run_until(12.0, days=SETTLED_DAYS)
    tent.fan_stuck, tent.room_extra_k, tent.peak_c = 0.0, 10.0, 0.0
    took_s = tent.seconds_until(lambda: bool(tent.events("fan.failed")))
    assert tent.events("fan.failed")[0]["fault"] == "not_turning"
    tent.run(days=BROKEN_DAYS)
    assert tent.speed in (0.0, 1.0)
    assert tent.events("lamp.cut")
    # 35 °C, for 5 min, and what the lamp's own heat adds until it has cooled.
    assert tent.peak_c < 37.0
    tent.fan_stuck, tent.room_extra_k = None, 0.0
    tent.run(days=1)
    assert len(tent.events("fan.failed")) == len(tent.events("fan.recovered")) == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_fan_that_stands_still_without_a_tachometer(holds: Holds) -> None:
    """Heat and moisture of the lit tent say so, against what its air should carry off."""
    tent = FaultTent(INTAKE).run_until(12.0, days=SETTLED_DAYS)
    assert not tent.has_raised("less_air")
    tent.fan_stuck = 0.0
    took_s = tent.seconds_until(lambda: tent.has_raised("less_air"))
    tent.run(days=BROKEN_DAYS)
    assert not tent.has_raised("ventilation_limit")  # cool air is there, and does not come in
    tent.fan_stuck = None
    tent.run(days=1)
    assert [e["alarm"] for e in tent.events("alarm.cleared")].count("less_air") == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_fan_that_turns_when_it_should_rest(holds: Holds) -> None:
    tent = FaultTent(TACHOMETER).run_until(1.0, days=SETTLED_DAYS)
    tent.fan_stuck = 1.0
    took_s = tent.seconds_until(lambda: bool(tent.events("fan.failed")))
    assert tent.events("fan.failed")[0]["fault"] == "turning_when_off"
    tent.run(days=BROKEN_DAYS)
    assert not tent.events("fan.recovered")  # by day it should turn, which proves nothing
    tent.fan_stuck = None
    tent.run_until(1.0, days=1)
    assert len(tent.events("fan.failed")) == len(tent.events("fan.recovered")) == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_lamp_lit_out_of_its_hours(holds: Holds) -> None:
    tent = FaultTent(PHOTOCELL).run_until(1.0, days=SETTLED_DAYS)
    assert tent.speed == 0.0
    tent.lamp_stuck = True
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)
    tent.run(days=BROKEN_DAYS)
    tent.lamp_stuck = None
    tent.run_until(1.0, days=1)
    assert tent.speed == 0.0
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_lamp_dark_in_its_hours(holds: Holds) -> None:
    tent = FaultTent(PHOTOCELL).run_until(12.0, days=SETTLED_DAYS)
    tent.lamp_stuck = False
    took_s = tent.seconds_until(lambda: tent.has_raised("lamp_dark_in_hours"))
    assert tent.speed == 1.0  # the fan hours go on
    tent.run(days=BROKEN_DAYS)
    tent.lamp_stuck = None
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_too_hot_at_full_speed_with_a_lamp_of_ours(holds: Holds) -> None:
    tent = FaultTent(LAMP_RELAY).run_until(12.0, days=SETTLED_DAYS)
    tent.room_extra_k = 15.0
    tent.seconds_until(lambda: tent.tent.air_c > 35.2)  # surely so, whatever the sensor's noise
    took_s = tent.seconds_until(lambda: not tent.lamp_command)
    assert tent.events("lamp.cut")
    assert tent.speed == 1.0
    cut_s = tent.now_s
    tent.room_extra_k = 0.0
    held_off_s = tent.seconds_until(lambda: tent.lamp_command)
    assert held_off_s >= 1800.0 - 4.0
    assert tent.now_s - cut_s < 3600.0
    # A week of heat: cut and held off again and again, and never lit for long while too hot.
    tent.room_extra_k, tent.peak_c = 15.0, 0.0
    tent.run(days=BROKEN_DAYS)
    assert tent.peak_c < 39.0
    tent.room_extra_k = 0.0
    tent.run(days=1)
    assert tent.events("lamp.restored")
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_too_hot_at_full_speed_with_a_lamp_on_its_own_timer(holds: Holds) -> None:
    tent = FaultTent().run_until(12.0, days=SETTLED_DAYS)
    tent.room_extra_k = 13.0
    tent.seconds_until(lambda: tent.tent.air_c > (90.0 - 32.0) / 1.8 + 0.2)
    took_s = tent.seconds_until(lambda: tent.has_raised("severe_heat"))
    tent.run(days=BROKEN_DAYS)
    assert tent.speed == 1.0
    tent.room_extra_k = 0.0
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_pin_that_cannot_be_driven(holds: Holds) -> None:
    tent = FaultTent().run_until(12.0, days=SETTLED_DAYS)
    tent.fan_error = OSError("GPIO busy")
    took_s = tent.seconds_until(lambda: bool(tent.events("output.failed")))
    tent.run(days=2)
    assert len(tent.events("output.failed")) == 1
    tent.run_until(1.0)
    tent.fan_error = None
    tent.tick()
    assert tent.speed == 0.0  # what is right now, whatever was missed
    assert len(tent.events("output.recovered")) == 1
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


# The clock.


def test_steps_of_the_clock(holds: Holds) -> None:
    """Forwards and backwards, by a second to a day: right at the next tick."""
    tent = FaultTent().run_until(12.0, days=2)
    took_s = 0.0
    for by_s in (3600.0, -3600.0, 10.0 * 3600.0, -10.0 * 3600.0, 86_400.0, -86_400.0, 59.0, -59.0):
        tent.clock.step_wall(by_s)
        hour = (tent.clock.wall_s() + 2 * 3600.0) % DAY_S / 3600.0  # Rome's summer time
        should = 1.0 if 5.75 <= hour < 22.25 else 0.0
        began_s = tent.now_s
        tent.tick()
        # A fan may rest or run no less than two minutes.
        tent.seconds_until(lambda should=should: tent.speed == should, 122.0)  # type: ignore[misc]
        took_s = max(took_s, tent.now_s - began_s)
        tent.run(hours=12)
    assert len(tent.events("clock.stepped")) == 8
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_clock_wrong_at_boot(holds: Holds) -> None:
    """No RTC and no network for five days: the Pi believes it is 1970."""
    tent = FaultTent().run_until(23.0, days=SETTLED_DAYS)
    tent.cut_power()
    tent.run(hours=1)
    right_by_s = tent.clock.wall_s()
    tent.clock.step_wall(-right_by_s)
    tent.start()
    began_s = tent.now_s
    took_s = tent.seconds_until(lambda: tent.speed == 1.0)  # at night: the fan hours go on
    tent.run(days=BROKEN_DAYS)
    assert tent.speed == 1.0
    assert not tent.now.clock_is_settled
    tent.clock.step_wall(right_by_s)
    tent.tick()
    assert tent.events("clock.trusted")
    tent.run(days=1)
    tent.run_until(1.0)
    assert tent.speed == 0.0
    assert began_s > 0
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


def test_a_clock_months_ahead(holds: Holds) -> None:
    """For a day, with a power cut before it is put right: nothing is deleted, nobody waits."""
    tent = FaultTent()
    tent.prunes = True
    tent.start()
    tent.run_until(12.0, days=SETTLED_DAYS)
    kept = len(tent.record.readings)  # type: ignore[attr-defined]
    tent.clock.step_wall(700.0 * DAY_S)
    took_s = tent.seconds_until(lambda: bool(tent.events("clock.stepped")))
    assert tent.speed == 1.0
    tent.run(days=1)
    assert len(tent.record.readings) > kept  # type: ignore[attr-defined]
    tent.prunes = False
    tent.cut_power()
    tent.run(hours=2)
    tent.clock.step_wall(-700.0 * DAY_S)
    tent.start()
    tent.run(hours=1)
    assert tent.events("clock.distrusted")
    tent.clock_was_set = True
    tent.tick()
    assert tent.events("clock.trusted")
    tent.run_until(1.0)
    assert tent.speed == 0.0
    tent.run_until(12.0)
    assert tent.speed == 1.0
    holds(tent.finish(), took_s=took_s, lost_s=lost_s(tent))


# The record's disk.


class Disk:
    """What stands between the record and its file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.error: sqlite3.Error | None = None
        self.errors_once: sqlite3.Error | None = None

    def open(self, path: Path) -> RecordWriter:
        writer = RecordWriter(path, durable=False)
        together = writer.together

        def breakable():  # type: ignore[no-untyped-def]
            once, self.errors_once = self.errors_once, None
            if once is not None or self.error is not None:
                raise once or self.error
            return together()

        writer.together = breakable  # type: ignore[method-assign]
        return writer


def full() -> sqlite3.Error:
    error = sqlite3.OperationalError("database or disk is full")
    error.sqlite_errorcode = sqlite3.SQLITE_FULL
    return error


def read_only() -> sqlite3.Error:
    error = sqlite3.OperationalError("attempt to write a readonly database")
    error.sqlite_errorcode = sqlite3.SQLITE_READONLY
    return error


class DiskTent(FaultTent):
    """A tent whose record is the daemon's own, in a file on a disk that can break."""

    def __init__(self, path: Path) -> None:
        self.disk = Disk(path)
        self.said: list[tuple[str, dict[str, object]]] = []
        super().__init__(
            record=BackgroundRecord(
                path,
                emit=lambda at_ms, name, level, data: self.said.append((name, data)),
                open_writer=self.disk.open,
                backoff_s=(3600.0,),
            )
        )

    def tick(self, step_s: float = TICK_S) -> None:
        super().tick(step_s)
        # The writing thread lives in real time; without waiting for it now and then, it would
        # be days of the tent behind.
        if self.now_s % 7200.0 < step_s or step_s <= TICK_S:
            self.record.flush(60.0)

    def all_events(self) -> list[tuple[str, dict[str, object]]]:
        return self.said

    def events(self, *names: str) -> list[dict[str, object]]:
        return [data for name, data in self.said if name in names]

    def readings_s(self) -> float:
        with RecordReader(self.disk.path) as reader:
            return sum(row.interval_s for row in reader.readings())


@pytest.mark.parametrize("error", [full, read_only])
def test_a_disk_that_takes_nothing(
    holds: Holds, tmp_path: Path, error: Callable[[], sqlite3.Error]
) -> None:
    tent = DiskTent(tmp_path / "tent.sqlite3")
    tent.run_until(12.0, days=SETTLED_DAYS)
    tent.disk.error = error()
    took_s = tent.seconds_until(lambda: tent.record.trouble is not None)
    tent.run_until(1.0, days=BROKEN_DAYS)
    assert tent.speed == 0.0
    tent.run_until(12.0)
    assert tent.speed == 1.0
    tent.disk.error = None
    tent.run(hours=4)
    assert tent.record.trouble is None
    assert tent.events("record.recovered") == [{"lost": 0}]
    tent.finish()
    assert tent.record.close(60.0)
    holds(tent, took_s=took_s, lost_s=lost_s(tent))


def test_a_record_damaged_while_it_is_written(holds: Holds, tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    tent = DiskTent(path)
    tent.run_until(12.0, days=BROKEN_DAYS)
    assert tent.record.flush(60.0)
    before_s = tent.readings_s()
    error = sqlite3.DatabaseError("database disk image is malformed")
    error.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
    tent.disk.errors_once = error
    took_s = tent.seconds_until(lambda: bool(tent.events("record.set_aside")))
    tent.finish()
    assert tent.record.close(60.0)
    aside = [p.name for p in tmp_path.iterdir() if p.name.startswith("tent.sqlite3.corrupt-")]
    assert aside
    holds(tent, took_s=took_s, lost_s=tent.alive_s - before_s - tent.readings_s())


# Power.


def test_power_cuts(holds: Holds) -> None:
    """Two dozen of them, from seconds to a day long: right within a tick of the power's return."""
    dice = random.Random(6)
    tent = FaultTent(FAIL_SAFE_WIRING)
    took_s, hot = 0.0, 0
    for _ in range(25):
        tent.run(seconds=dice.uniform(10.0, 1.2 * DAY_S))
        if dice.random() < 0.2:
            tent.now.hold(0.0, 7200.0)
            tent.run(seconds=150)
        hold = tent.now.memory.hold
        tent.cut_power()
        away_s = dice.choice((3.0, 60.0, 3600.0, dice.uniform(60.0, DAY_S)))
        tent.run(seconds=away_s)
        tent.start()
        began_s = tent.now_s
        tent.tick()
        took_s = max(took_s, tent.now_s - began_s)
        hour = (tent.now_s % DAY_S) / 3600.0
        if hold is not None and tent.now.memory.hold is not None:
            hot += 1
            assert tent.speed == 0.0
        elif 5.75 <= hour < 22.25:
            assert tent.speed == 1.0
    assert hot >= 1  # a hold outlived at least one of them
    tent.finish()
    holds(tent, took_s=took_s, lost_s=lost_s(tent))
