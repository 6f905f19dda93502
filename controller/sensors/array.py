"""All sensors of a tent: polled by the daemon, then asked for readings and faults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from controller.control.plausibility import (
    FRESH,
    Profile,
    Role,
    SensorFault,
    combine,
    disagreeing,
    judge,
    trusted,
)
from controller.control.types import Reading, Readings, SensorReading
from controller.measurement import Measurement
from controller.sensors.driver import SensorError
from controller.sensors.pollers import Poller, PollResult

# As in the config. The leaves' is recorded and shown, and nothing is decided by it.
Place = Literal["tent", "intake", "leaf"]

# Twins may differ for a while, when a door opens or the sun comes round.
DISAGREES_AFTER_S = 600.0


@dataclass(frozen=True, slots=True)
class SensorState:
    """The state of one sensor.

    Attributes
    ----------
    name, role, driver : str
        As configured.
    reading : SensorReading or None
        The latest that can be trusted, however old; its values have the offsets applied.
    age_s : float or None
        How old that is [s].
    fault : SensorFault or None
        The sensor's fault now, if any.
    message : str
        What was last wrong with it, and what to do; "" without a fault.
    failures : int
        Failed or refused measurements since the start.
    """

    name: str
    role: Place
    driver: str
    reading: SensorReading | None
    age_s: float | None
    fault: SensorFault | None
    message: str
    failures: int

    @property
    def is_failed(self) -> bool:
        """Whether its readings are not used; those of one that merely disagrees are."""
        return self.fault is not None and self.fault is not SensorFault.DISAGREES


@dataclass(frozen=True, slots=True)
class SensorTransition:
    """A sensor failed or recovered; to be logged and recorded once.

    Attributes
    ----------
    event : {"sensor.failed", "sensor.recovered"}
        The event's name.
    sensor : str
        Which sensor.
    fault : SensorFault
        What began or ended.
    message : str
        What is wrong and what to do; "" for a recovery.
    """

    event: Literal["sensor.failed", "sensor.recovered"]
    sensor: str
    fault: SensorFault
    message: str

    @property
    def level(self) -> Literal["info", "warning", "error"]:
        """How loud to log it."""
        if self.event == "sensor.recovered":
            return "info"
        return "warning" if self.fault is SensorFault.DISAGREES else "error"


class WatchedSensor:
    """One sensor: its poller, its history and its fault, if any.

    Parameters
    ----------
    name, role, driver : str
        As configured.
    profile : Profile
        What to believe of its measurements.
    poller : Poller
        Reads the sensor.
    """

    __slots__ = (
        "_apart_since_s",
        "_attempts_taken",
        "_failures_taken",
        "_history",
        "_hopeless",
        "_message",
        "_opened_s",
        "_reported",
        "_trouble",
        "attempts",
        "driver",
        "failures",
        "name",
        "poller",
        "profile",
        "reading",
        "role",
    )

    def __init__(
        self, name: str, role: Place, driver: str, profile: Profile, poller: Poller
    ) -> None:
        self.name = name
        self.role = role
        self.driver = driver
        self.profile = profile
        self.poller = poller
        self.reading: SensorReading | None = None
        self.attempts = 0
        self._attempts_taken = 0
        self.failures = 0
        self._failures_taken = 0
        self._history = FRESH
        self._opened_s: float | None = None
        self._trouble: SensorFault | None = None  # of the latest attempt
        self._hopeless = False  # the latest trouble will not pass by waiting
        self._message = ""
        self._apart_since_s: float | None = None
        self._reported: SensorFault | None = None  # the fault in the log

    def poll(self, now_s: float, lit: bool | None) -> bool:
        """Take in what the poller has; True when something came."""
        if self._opened_s is None:
            self._opened_s = now_s
        outcomes = self.poller.drain(now_s)
        for outcome in outcomes:
            self._take(outcome, lit)
        return bool(outcomes)

    def _take(self, outcome: PollResult, lit: bool | None) -> None:
        self.attempts += 1
        at_s, measurement, error = outcome
        if measurement is None:
            self._refuse(SensorFault.DEAD, _failure(error))
            self._hopeless = error is not None and error.kind.needs_a_person
            return
        self._hopeless = False
        fault, self._history = judge(self.profile, self._history, at_s, measurement, lit)
        if fault is None:
            self._trouble = None
            self.reading = trusted(self.profile, self._history)
        else:
            self._refuse(fault, f"{_REFUSALS[fault]}: {_in_words(measurement)}")

    def _refuse(self, fault: SensorFault, message: str) -> None:
        self.failures += 1
        self._trouble = fault
        self._message = message

    def usable(self, now_s: float, stale_after_s: float) -> SensorReading | None:
        """The trusted reading, None once it is too old."""
        reading = self.reading
        if reading is None or now_s - reading.monotonic_s > stale_after_s:
            return None
        return reading

    def fault(self, now_s: float, stale_after_s: float) -> SensorFault | None:
        """Give the sensor's fault; None while it is usable and agrees.

        Single failed or refused measurements do not: a DHT loses a good part of its own, and the
        trusted reading bridges them. Its age makes it a fault.
        """
        if self.usable(now_s, stale_after_s) is not None:
            since_s = self._apart_since_s
            apart = since_s is not None and now_s - since_s >= DISAGREES_AFTER_S
            return SensorFault.DISAGREES if apart else None
        opened_s = now_s if self._opened_s is None else self._opened_s
        waiting = self.reading is None and now_s - opened_s <= stale_after_s
        if waiting and not self._hopeless:
            return None
        return self._trouble or SensorFault.DEAD

    def note_agreement(self, apart: bool, now_s: float) -> None:
        """Remember since when it has disagreed with its twins."""
        if not apart:
            self._apart_since_s = None
        elif self._apart_since_s is None:
            self._apart_since_s = now_s

    def message(self, fault: SensorFault | None) -> str:
        """Describe a fault in words."""
        if fault is None:
            return ""
        if fault is SensorFault.DISAGREES:
            return "further from the others than their accuracies explain; compare and correct them"
        return self._message or "no measurement has come"

    def transition(self, now_s: float, stale_after_s: float) -> SensorTransition | None:
        """A failure or recovery to report; a change from one fault to another is none."""
        fault = self.fault(now_s, stale_after_s)
        reported = self._reported
        failed_already = reported not in (None, SensorFault.DISAGREES)
        if fault is reported or (failed_already and fault not in (None, SensorFault.DISAGREES)):
            return None
        self._reported = fault
        if fault is None:
            assert reported is not None
            return SensorTransition("sensor.recovered", self.name, reported, "")
        return SensorTransition("sensor.failed", self.name, fault, self.message(fault))

    def take_attempts(self) -> int:
        """Measurements tried since this was last called."""
        count = self.attempts - self._attempts_taken
        self._attempts_taken = self.attempts
        return count

    def take_failures(self) -> int:
        """Failed or refused measurements since this was last called."""
        count = self.failures - self._failures_taken
        self._failures_taken = self.failures
        return count


_REFUSALS = {
    SensorFault.ABSURD: "this cannot be; check the wiring, the supply and the driver's kind",
    SensorFault.JUMPED: "this jumps about faster than air can; check the wiring",
    SensorFault.STUCK: "nothing has moved for hours; cut the sensor's supply for a moment "
    "or replace it",
}


def _in_words(measurement: Measurement) -> str:
    temperature_c, humidity_pct, _ = measurement
    words = f"{temperature_c:.1f} °C"
    return words if humidity_pct is None else f"{words} and {humidity_pct:.1f} %"


def _failure(error: SensorError | None) -> str:
    return error.message if error is not None else "no measurement has come"


class SensorArray:
    """All sensors of one tent.

    Call `poll` once a tick, then ask for what is needed.

    Parameters
    ----------
    sensors : sequence of WatchedSensor
        In the order of the configuration.
    stale_after_s : float
        Age beyond which a reading is not used (`failsafe.stale_after`) [s].
    """

    def __init__(self, sensors: Sequence[WatchedSensor], stale_after_s: float) -> None:
        self._sensors = tuple(sensors)
        self._stale_after_s = stale_after_s
        self._tent = tuple(s for s in self._sensors if s.role == "tent")
        self._intake = tuple(s for s in self._sensors if s.role == "intake")
        self._transitions: list[SensorTransition] = []

    def poll(self, now_s: float, lit: bool | None = None) -> None:
        """Take in what the sensors have brought since the last call; never waits for a sensor.

        Parameters
        ----------
        now_s : float
            Monotonic time [s].
        lit : bool or None
            Whether the lamp is lit, which makes a sensor that stands still suspicious sooner.
        """
        news = False
        for sensor in self._sensors:
            news = sensor.poll(now_s, lit) or news
        if news:
            self._compare(self._tent, now_s)
            self._compare(self._intake, now_s)
        for sensor in self._sensors:
            transition = sensor.transition(now_s, self._stale_after_s)
            if transition is not None:
                self._transitions.append(transition)

    def _compare(self, sensors: Sequence[WatchedSensor], now_s: float) -> None:
        if len(sensors) < 2:
            return
        usable = [(s, s.usable(now_s, self._stale_after_s)) for s in sensors]
        verdicts = disagreeing([(r, s.profile) for s, r in usable if r is not None])
        apart = dict(zip((s for s, r in usable if r is not None), verdicts, strict=True))
        for sensor in sensors:
            sensor.note_agreement(apart.get(sensor, False), now_s)

    def readings(self, now_s: float) -> Readings:
        """What is known of the air: each role's sensors combined, None where none is usable."""
        return Readings(
            self._combined("tent", self._tent, now_s),
            self._combined("intake", self._intake, now_s) if self._intake else None,
        )

    def _combined(
        self, role: Role, sensors: Sequence[WatchedSensor], now_s: float
    ) -> Reading | None:
        usable = ((s.usable(now_s, self._stale_after_s), s.profile) for s in sensors)
        return combine(role, [(r, profile) for r, profile in usable if r is not None])

    def co2_ppm(self, now_s: float) -> float | None:
        """The most carbon dioxide that any sensor shows [ppm]; None where none measures it."""
        usable = (sensor.usable(now_s, self._stale_after_s) for sensor in self._sensors)
        shown = [reading.co2_ppm for reading in usable if reading is not None]
        return max((ppm for ppm in shown if ppm is not None), default=None)

    def states(self, now_s: float) -> tuple[SensorState, ...]:
        """Each sensor by itself, in the order of the configuration."""
        return tuple(self._state(sensor, now_s) for sensor in self._sensors)

    def _state(self, sensor: WatchedSensor, now_s: float) -> SensorState:
        fault = sensor.fault(now_s, self._stale_after_s)
        reading = sensor.reading
        return SensorState(
            name=sensor.name,
            role=sensor.role,
            driver=sensor.driver,
            reading=reading,
            age_s=None if reading is None else now_s - reading.monotonic_s,
            fault=fault,
            message=sensor.message(fault),
            failures=sensor.failures,
        )

    def faults(self, now_s: float) -> dict[str, str]:
        """The faults by the names of the sensors that have one."""
        faults = {s.name: s.fault(now_s, self._stale_after_s) for s in self._sensors}
        return {name: fault.value for name, fault in faults.items() if fault is not None}

    def take_attempts(self) -> dict[str, int]:
        """Measurements tried by sensor, since this was last called."""
        return {sensor.name: sensor.take_attempts() for sensor in self._sensors}

    def take_failures(self) -> dict[str, int]:
        """Failed or refused measurements by sensor, since this was last called."""
        return {sensor.name: sensor.take_failures() for sensor in self._sensors}

    def take_transitions(self) -> list[SensorTransition]:
        """The failures and recoveries since this was last called, oldest first."""
        transitions, self._transitions = self._transitions, []
        return transitions

    def close(self) -> None:
        """Stop reading and close the devices."""
        for sensor in self._sensors:
            sensor.poller.close()
