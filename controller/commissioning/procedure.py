"""The walk through commissioning on an opened rig: sensors, fan, air change."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from controller import air, display
from controller.airflow.rig import Ducting
from controller.airflow.span import CASES, Span
from controller.clock import Clock
from controller.commissioning.air_change import time_air_change
from controller.commissioning.course import Result, TrialState
from controller.commissioning.fan_step import (
    FanRun,
    UndrivenRun,
    judge_fan,
    judge_undriven,
    sense_direction,
)
from controller.commissioning.findings import TrialFinding
from controller.commissioning.sensors_step import judge_sensors, listen
from controller.commissioning.talk import Talk
from controller.commissioning.watch import RigSnapshot, RigWatch
from controller.config import Settings
from controller.control.types import Reading
from controller.daemon.edges import Edges
from controller.daemon.fan_watch import COAST_DOWN_S, SPIN_UP_S
from controller.outputs.failures import runs_undriven

# Changes of the humidity ratio that are plenty, and just enough, to time the air by [kg/kg].
PLENTY_KG_PER_KG = 4.0e-3
ENOUGH_KG_PER_KG = 1.5e-3
# Damper air condenses on the fabric, which gives it back while the air is timed: then just enough
# must do [%].
DAMPEST_PCT = 92.0
# How often a long wait says how the air stands [s].
PROGRESS_S = 60.0
# From the announcement to the fan's start [s].
WARNING_S = 5.0
# How long full speed fills the tent with the room's air [s].
PURGE_S = 60.0
# While the fan rests for contrast the tent must stay this much below the lamp's cut-out [K].
HEAT_MARGIN_K = 2.0
# The air change is timed at the slowest speed that should renew the air within this [s].
SLOWEST_CHANGE_S = 150.0


class Procedure:
    """The steps on an opened rig.

    Parameters
    ----------
    settings : Settings
        The tent.
    edges : Edges
        Its rig, opened with the fan at rest.
    clock : Clock
        Its time.
    talk : Talk
        The person, or prepared answers.
    course : TrialState
        How to go about it.
    result : Result
        Filled as it goes.
    """

    def __init__(
        self,
        settings: Settings,
        edges: Edges,
        clock: Clock,
        talk: Talk,
        course: TrialState,
        result: Result,
    ) -> None:
        self._settings = settings
        self._edges = edges
        self._talk = talk
        self._course = course
        self._result = result
        self._watch = RigWatch(edges, clock)
        self._pressure_pa = air.pressure_at_elevation_pa(settings.tent.elevation_m)

    def run(self) -> None:
        """Take the steps; the fan is at rest between them."""
        self._edges.fan.apply(0.0)
        if self._edges.lamp is not None:
            self._edges.lamp.apply(False)
        if "sensors" in self._course.steps:
            self._sensors()
        if "fan" in self._course.steps:
            self._fan()
        if "air-change" in self._course.steps:
            self._air_change()

    def _add_findings(self, findings: Sequence[TrialFinding]) -> None:
        for finding in findings:
            self._talk.say(finding.marked())
        self._result.findings += findings

    def _sensors(self) -> None:
        talk, course = self._talk, self._course
        talk.say(f"\nSensors, {display.duration(course.listen_s)}:")
        together = len(self._settings.sensors) > 1 and talk.fact("sensors_together")
        heard = listen(self._watch.looks(course.listen_s), self._settings)
        result = judge_sensors(
            heard,
            self._settings,
            together=together,
            thermometer_c=talk.value("thermometer"),
            hygrometer_pct=talk.value("hygrometer"),
        )
        self._result.sensors = result
        self._add_findings(result.findings)

    def _fan(self) -> None:
        talk, runs = self._talk, self._result.runs
        talk.say("\nFan:")
        still = self._settle(0.0, COAST_DOWN_S)
        runs.append(FanRun(0.0, still.rpm, draws_current=still.draws_current))
        self._warn()
        for speed in self._course.speeds:
            talk.say(f"  … {display.speed(speed)}")
            look = self._settle(speed, SPIN_UP_S)
            runs.append(FanRun(speed, look.rpm, self._ask_direction(speed), look.draws_current))
        self._edges.fan.apply(0.0)
        self._add_findings(judge_fan(runs))
        self._undriven()

    def _undriven(self) -> None:
        """Stop driving the fan's wire, from the state in which it should not stay.

        So a line that merely keeps its last level, without a resistor, is found out.
        """
        expected = runs_undriven(self._settings.fan)
        drive = self._settings.fan.drive
        floats = drive in ("relay", "pwm")
        how = {
            "hardware_pwm": "the PWM is stopped, as before the first tick",
            "dac": "the converter gives 0 V, as without power",
        }.get(drive, "the pin floats")
        self._talk.say(f"  … the fan's wire is let go: {how}")
        self._settle(0.0 if expected else 1.0, COAST_DOWN_S if expected else SPIN_UP_S)
        self._edges.fan.release()
        look = self._wait(SPIN_UP_S if expected else COAST_DOWN_S)
        seen = self._talk.direction("air_undriven")
        run = UndrivenRun(expected, look.rpm, seen, floats, look.draws_current)
        self._edges.fan.apply(0.0)
        self._result.undriven = run
        self._add_findings(
            [judge_undriven(run, lamp_burns_on=self._settings.lamp.switched_by != "relay")]
        )

    def _warn(self) -> None:
        """Announce that the fan will start, and wait a moment."""
        self._talk.say(f"  … the fan starts in {display.duration(WARNING_S)}: hands clear")
        self._settle(0.0, WARNING_S)

    def _ask_direction(self, speed: float) -> str:
        if speed == self._course.speeds[-1]:
            return self._talk.direction("air_at_full")
        if speed == self._course.speeds[0]:
            return self._talk.direction("air_at_slowest")
        return ""

    def _settle(self, speed: float, for_s: float) -> RigSnapshot:
        """Set the fan, wait until it has followed, and look."""
        self._edges.fan.apply(speed)
        return self._wait(for_s)

    def _wait(self, for_s: float) -> RigSnapshot:
        """Watch the rig for a time."""
        look = self._watch.look()
        for look in self._watch.looks(for_s):  # noqa: B007 - the last one is wanted
            pass
        return look

    def _air_change(self) -> None:
        talk = self._talk
        talk.say("\nAir change:")
        if not talk.consents("tent_closed"):
            self._add_findings([TrialFinding("advice", "The air change was not timed.")])
            return
        speed, calculated = self._timing_speed()
        before = self._build_up()
        if before is None:
            self._add_findings(
                [
                    TrialFinding(
                        "advice",
                        "The air change was not timed: without a tent reading nobody would see "
                        "how hot it gets while the fan rests.",
                    )
                ]
            )
            return
        started_s = self._watch.now_s()
        self._edges.fan.apply(speed)
        for_s = _watching_time(self._settings.tent.volume_m3, calculated)
        talk.say(f"  … fan at {display.speed(speed)} for {display.duration(for_s)}")
        readings: list[Reading] = []
        looks: list[RigSnapshot] = []
        progress = self._progress()
        for look in self._watch.looks(for_s):
            looks.append(look)
            progress(look)
            tent = look.tent
            if tent is not None and (not readings or tent.monotonic_s > readings[-1].monotonic_s):
                readings.append(tent)
        self._edges.fan.apply(0.0)
        result = time_air_change(
            readings,
            started_s=started_s,
            speed=speed,
            volume_m3=self._settings.tent.volume_m3,
            pressure_pa=self._pressure_pa,
            calculated_m3_s=calculated,
            units=self._settings.units,
        )
        self._result.air_change = result
        self._add_findings(result.findings)
        direction = sense_direction(before, looks)
        if direction is not None:
            self._add_findings([direction])

    def _timing_speed(self) -> tuple[float, Span | None]:
        """The speed to time the air change at, and the flow that should make there [m³/s]."""
        rig = Ducting.from_settings(self._settings)
        if not rig.has_fan:
            return self._course.speeds[len(self._course.speeds) // 2], None
        density = air.density_kg_per_m3(24.0, 0.010, self._pressure_pa)
        volume = self._settings.tent.volume_m3
        for speed in self._course.speeds:
            low, best, high = (rig.point(speed, density, case).flow_m3_s for case in CASES)
            flow = Span(min(low, best), best, max(best, high))
            if flow.best * SLOWEST_CHANGE_S >= volume:
                break
        return speed, flow

    def _build_up(self) -> RigSnapshot | None:
        """Keep the fan at rest until the tent's air differs enough from the room's.

        None when there is no tent reading to watch it by; the fan then runs at full speed.
        """
        if "fan" not in self._course.steps:
            self._warn()
            self._settle(1.0, PURGE_S)
        self._edges.fan.apply(0.0)
        self._light_up(True)
        self._talk.say(
            f"  … fan at rest for {display.duration(self._course.build_up_s)} at most, "
            "so that the tent's air parts from the room's"
        )
        limit_c = self._settings.lamp.cutout.above_c - HEAT_MARGIN_K
        first: float | None = None
        progress = self._progress()
        look = self._watch.look()
        for look in self._watch.looks(self._course.build_up_s):
            if look.tent is None:
                self._light_up(False)
                self._edges.fan.apply(1.0)
                return None
            ratio = self._ratio(look.tent)
            first = ratio if first is None else first
            progress(look)
            changed = abs(ratio - first)
            damp = look.tent.humidity_pct >= DAMPEST_PCT
            if changed >= PLENTY_KG_PER_KG or (damp and changed >= ENOUGH_KG_PER_KG):
                break
            if look.tent.temperature_c >= limit_c:
                self._talk.say("  … it gets hot in there: the rest ends here")
                break
        self._light_up(False)
        return look

    def _progress(self) -> Callable[[RigSnapshot], None]:
        """A callback that reports the tent's air once a minute."""
        began_s = said_s = self._watch.now_s()

        def tell(look: RigSnapshot) -> None:
            nonlocal said_s
            if look.tent is None or look.at_s - said_s < PROGRESS_S:
                return
            said_s = look.at_s
            temperature = display.temperature(look.tent.temperature_c, self._settings.units)
            self._talk.say(
                f"    after {display.duration(look.at_s - began_s)}: {temperature}, "
                f"{display.humidity(look.tent.humidity_pct)}"
            )

        return tell

    def _light_up(self, on: bool) -> None:
        if self._edges.lamp is not None:
            self._edges.lamp.apply(on)

    def _ratio(self, reading: Reading) -> float:
        return air.humidity_ratio(reading.temperature_c, reading.humidity_pct, self._pressure_pa)


def _watching_time(volume_m3: float, calculated: Span | None) -> float:
    """How long to watch the air settle: six air changes, three minutes at least, ten at most."""
    if calculated is None or calculated.low <= 0.0:
        return 420.0
    return min(600.0, max(180.0, 6.0 * volume_m3 / calculated.best))
