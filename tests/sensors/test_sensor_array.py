"""The array of sensors as the daemon sees it: readings, states, failures and recoveries."""

from __future__ import annotations

import pytest

from controller.control.plausibility import Profile, SensorFault
from controller.control.types import Readings
from controller.sensors.array import DISAGREES_AFTER_S, Place, SensorArray, WatchedSensor
from controller.sensors.data_sheets import DHT22
from controller.sensors.driver import Driver, ErrorKind, Measurement, SensorError
from controller.sensors.pollers import InlinePoller
from controller.sensors.simulated import SimulatedDriver

STALE_AFTER_S = 120.0


class Stand:
    """A sensor of which the test says what it reads."""

    def __init__(
        self,
        name: str = "canopy",
        role: Place = "tent",
        temperature_c: float = 24.0,
        humidity_pct: float | None = 55.0,
        profile: Profile = DHT22,
    ) -> None:
        self.name = name
        self.air: Measurement | None = Measurement(temperature_c, humidity_pct)
        self.opening: SensorError | None = None
        self.closed = False
        self.watched = WatchedSensor(name, role, "dht22", profile, InlinePoller(self.open, 2.5))

    def open(self) -> Driver:
        if self.opening is not None:
            raise self.opening
        stand = self

        class _Driver(SimulatedDriver):
            def close(self) -> None:
                stand.closed = True

        return _Driver(self)

    def measurement(self) -> Measurement | None:
        return self.air


class Run:
    """An array polled every 2.5 s of a time of its own."""

    def __init__(self, *stands: Stand) -> None:
        self.array = SensorArray([s.watched for s in stands], STALE_AFTER_S)
        self.now_s = 0.0
        self.array.poll(0.0)

    def on(self, seconds: float, lit: bool | None = None) -> Run:
        end_s = self.now_s + seconds
        while self.now_s < end_s:
            self.now_s += 2.5
            self.array.poll(self.now_s, lit)
        return self

    def readings(self) -> Readings:
        return self.array.readings(self.now_s)

    def tent(self) -> tuple[float, float] | None:
        reading = self.array.readings(self.now_s).tent
        return None if reading is None else (reading.temperature_c, reading.humidity_pct)

    def fault(self, index: int = 0) -> SensorFault | None:
        return self.array.states(self.now_s)[index].fault

    def shown(self) -> list[tuple[str, str, SensorFault, str]]:
        return [(t.event, t.sensor, t.fault, t.level) for t in self.array.take_transitions()]


def test_the_first_measurement_is_a_reading_at_once() -> None:
    run = Run(Stand())
    assert run.tent() == (24.0, 55.0)
    assert run.array.readings(0.0).intake is None
    assert run.shown() == []


def test_tent_and_intake_are_kept_apart() -> None:
    run = Run(Stand(), Stand("inlet", "intake", 19.0, 45.0))
    readings = run.array.readings(0.0)
    assert readings.tent is not None
    assert readings.intake is not None
    assert (readings.tent.temperature_c, readings.intake.temperature_c) == (24.0, 19.0)


def test_a_few_lost_measurements_are_bridged_and_counted() -> None:
    stand = Stand()
    run = Run(stand).on(60.0)
    stand.air = None
    run.on(25.0)
    assert run.tent() == (24.0, 55.0)
    state = run.array.states(run.now_s)[0]
    assert (state.fault, state.age_s, state.failures) == (None, 25.0, 10)
    assert run.array.take_failures() == {"canopy": 10}
    assert run.array.take_failures() == {"canopy": 0}
    assert run.shown() == []


def test_a_dead_sensor_gives_no_reading_once_the_last_is_stale() -> None:
    stand = Stand()
    run = Run(stand)
    stand.air = None
    run.on(STALE_AFTER_S)
    assert run.tent() == (24.0, 55.0)
    run.on(2.5)
    assert run.tent() is None
    assert run.shown() == [("sensor.failed", "canopy", SensorFault.DEAD, "error")]
    state = run.array.states(run.now_s)[0]
    assert state.is_failed
    assert state.message == "the simulated sensor did not answer"
    assert state.reading is not None  # the last one known, with its age
    assert state.age_s == 122.5


def test_a_failure_is_reported_once_and_its_end_once() -> None:
    stand = Stand()
    run = Run(stand)
    stand.air = None
    run.on(3600.0)
    stand.air = Measurement(24.5, 55.0)
    run.on(60.0)
    assert run.shown() == [
        ("sensor.failed", "canopy", SensorFault.DEAD, "error"),
        ("sensor.recovered", "canopy", SensorFault.DEAD, "info"),
    ]
    assert run.tent() == (24.5, 55.0)
    assert run.fault() is None


def test_the_all_zero_lie_is_a_failure_not_a_frost() -> None:
    stand = Stand()
    run = Run(stand).on(30.0)
    stand.air = Measurement(0.0, 0.0)
    run.on(10.0)
    assert run.tent() == (24.0, 55.0)
    run.on(STALE_AFTER_S)
    assert run.tent() is None
    assert run.shown() == [("sensor.failed", "canopy", SensorFault.ABSURD, "error")]
    assert "0.0 °C and 0.0 %" in run.array.states(run.now_s)[0].message


def test_a_failure_that_changes_its_cause_is_still_one_failure() -> None:
    stand = Stand()
    run = Run(stand)
    stand.air = None
    run.on(200.0)
    stand.air = Measurement(0.0, 0.0)
    run.on(200.0)
    assert run.fault() is SensorFault.ABSURD
    assert [event for event, *_ in run.shown()] == ["sensor.failed"]


def test_a_stuck_sensor_fails() -> None:
    run = Run(Stand()).on(2 * 3600.0 + 2 * STALE_AFTER_S, lit=True)
    assert run.tent() is None
    assert run.shown() == [("sensor.failed", "canopy", SensorFault.STUCK, "error")]


def test_a_sensor_that_stands_still_in_the_dark_has_longer() -> None:
    run = Run(Stand()).on(2 * 3600.0 + 2 * STALE_AFTER_S, lit=False)
    assert run.tent() == (24.0, 55.0)


def test_a_silent_sensor_is_waited_for_at_the_start() -> None:
    stand = Stand()
    stand.air = None
    run = Run(stand).on(STALE_AFTER_S)
    assert run.tent() is None
    assert (run.fault(), run.shown()) == (None, [])
    run.on(2.5)
    assert run.shown() == [("sensor.failed", "canopy", SensorFault.DEAD, "error")]


def test_a_missing_sensor_is_reported_at_once_with_what_to_do_and_found_later() -> None:
    stand = Stand()
    stand.opening = SensorError(ErrorKind.MISSING, "put dtoverlay=dht11 into config.txt")
    run = Run(stand)
    transition = run.array.take_transitions()[0]
    assert (transition.event, transition.fault) == ("sensor.failed", SensorFault.DEAD)
    assert transition.message == "put dtoverlay=dht11 into config.txt"
    stand.opening = None
    run.on(60.0)
    assert run.tent() == (24.0, 55.0)
    assert run.shown() == [("sensor.recovered", "canopy", SensorFault.DEAD, "info")]


def test_with_one_of_twins_dead_the_other_serves_alone() -> None:
    left, right = Stand("left"), Stand("right", temperature_c=24.6)
    run = Run(left, right)
    assert run.tent() == pytest.approx((24.3, 55.0))
    left.air = None
    run.on(60.0)
    assert run.tent() == (24.6, 55.0)


def test_twins_that_disagree_are_reported_after_a_while_and_still_used() -> None:
    left, right = Stand("left"), Stand("right", temperature_c=27.0)
    run = Run(left, right).on(DISAGREES_AFTER_S - 2.5)
    assert run.shown() == []
    run.on(2.5)
    assert run.shown() == [
        ("sensor.failed", "left", SensorFault.DISAGREES, "warning"),
        ("sensor.failed", "right", SensorFault.DISAGREES, "warning"),
    ]
    assert run.tent() == (26.5, 55.0)
    assert not run.array.states(run.now_s)[0].is_failed
    left.air = Measurement(26.5, 55.1)
    run.on(30.0)
    assert [event for event, *_ in run.shown()] == ["sensor.recovered"] * 2


def test_a_disagreeing_twin_that_dies_is_reported_as_dead() -> None:
    left, right = Stand("left"), Stand("right", temperature_c=27.0)
    run = Run(left, right).on(DISAGREES_AFTER_S)
    run.shown()
    right.air = None
    run.on(STALE_AFTER_S + 2.5)
    assert ("sensor.failed", "right", SensorFault.DEAD, "error") in run.shown()


def test_three_sensors_outvote_a_wrong_one_and_name_it() -> None:
    stands = Stand("a"), Stand("b", temperature_c=24.4), Stand("c", temperature_c=35.0)
    run = Run(*stands).on(DISAGREES_AFTER_S)
    assert run.tent() == (24.4, 55.0)
    assert [sensor for _, sensor, *_ in run.shown()] == ["c"]


def test_closing_lets_go_of_every_device() -> None:
    stands = Stand("a"), Stand("b", "intake")
    Run(*stands).array.close()
    assert [s.closed for s in stands] == [True, True]


def test_a_thermometer_counts_beside_a_sensor_of_air() -> None:
    canopy, second = Stand(), Stand("second", temperature_c=24.4, humidity_pct=None)
    reading = Run(canopy, second).on(10.0).readings().tent
    assert reading is not None
    assert reading.temperature_c == pytest.approx(24.2)
    assert reading.humidity_pct == 55.0


def test_thermometers_alone_give_no_reading_and_so_the_failsafe() -> None:
    canopy, second = Stand(), Stand("second", humidity_pct=None)
    run = Run(canopy, second).on(10.0)
    canopy.air = None
    run.on(STALE_AFTER_S + 5.0)
    assert run.readings().tent is None
    assert [state.fault for state in run.array.states(run.now_s)] == [SensorFault.DEAD, None]


def test_a_hygrometer_that_answers_late_keeps_its_vote_beside_a_quick_thermometer() -> None:
    canopy, second = Stand(), Stand("second", humidity_pct=None)
    run = Run(canopy, second).on(10.0)
    canopy.air = None
    reading = run.on(STALE_AFTER_S - 20.0).readings().tent
    assert reading is not None
    assert reading.humidity_pct == 55.0
    assert reading.monotonic_s == 10.0  # no younger than its humidity


def test_what_looks_at_leaves_is_neither_the_tents_air_nor_the_intakes() -> None:
    run = Run(Stand(), Stand("leaf", role="leaf", temperature_c=31.0, humidity_pct=None)).on(10.0)
    readings = run.readings()
    assert readings.tent == (10.0, 24.0, 55.0, None)
    assert readings.intake is None
    state = run.array.states(run.now_s)[1]
    assert state.reading is not None
    assert state.reading.temperature_c == 31.0
