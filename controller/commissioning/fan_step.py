"""Step two: does the fan do what it is told, and which way does the air go?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from controller import display
from controller.commissioning.findings import TrialFinding
from controller.commissioning.watch import RigSnapshot
from controller.daemon.fan_watch import TURNING_RPM

# A speed wire that works makes at least this much of the difference it is asked for.
LEAST_RESPONSE = 0.3
# Air at the intake that has come this share of the way to the tent's has come out of the tent.
BACKFLOW_SHARE = 0.5
# Differences between tent and intake below these tell nothing.
LEAST_CONTRAST_K = 2.0
LEAST_CONTRAST_PCT = 8.0


@dataclass(frozen=True, slots=True)
class FanRun:
    """The fan at one speed.

    Attributes
    ----------
    speed : float
        Commanded, 0–1.
    rpm : float or None
        Measured at the end [1/min]; None without a tachometer.
    seen : str
        What a person saw the air do: "in", "out", "still" or "unsure"; "" when not asked.
    draws_current : bool or None
        By a current switch; None without one.
    """

    speed: float
    rpm: float | None
    seen: str = ""
    draws_current: bool | None = None


@dataclass(frozen=True, slots=True)
class UndrivenRun:
    """The fan while nothing drives its wire.

    Attributes
    ----------
    expected : bool
        Whether it should run then, as the config has it wired.
    rpm : float or None
        Measured at the end [1/min]; None without a tachometer.
    seen : str
        What a person saw the air do; see `FanRun`.
    pin_floats : bool
        Whether the pin itself was let go of. Hardware PWM can only be stopped: its pin is low
        then, as from the Pi's start to the first tick. A converter is set to 0 V.
    draws_current : bool or None
        By a current switch; None without one.
    """

    expected: bool
    rpm: float | None
    seen: str = ""
    pin_floats: bool = True
    draws_current: bool | None = None

    @property
    def turns(self) -> bool | None:
        """Whether it turned; None where nothing and nobody can tell."""
        if self.rpm is not None:
            return self.rpm >= TURNING_RPM
        return {"in": True, "out": True, "still": False}.get(self.seen, self.draws_current)


def judge_undriven(run: UndrivenRun, *, lamp_burns_on: bool) -> TrialFinding:
    """What the fan does while nothing drives its wire, and whether that will do.

    Parameters
    ----------
    run : UndrivenRun
        What was seen.
    lamp_burns_on : bool
        Whether the lamp goes on without the Pi: it is not lungwort's to switch.
    """
    if run.turns is None:
        return TrialFinding(
            "advice",
            "What the fan does while nothing drives its wire is not known: there is no tachometer "
            "and nobody looked. See for yourself before a crop has to trust it.",
        )
    if run.turns and run.pin_floats:
        return TrialFinding(
            "fine", "While nothing drives its wire the fan runs, so a dead Pi leaves the tent air."
        )
    if run.turns:
        return TrialFinding(
            "fine",
            "Without a signal the fan runs. A dead Pi can't be tried from here: pull its plug once "
            "and look.",
        )
    if run.expected:
        return TrialFinding(
            "fault",
            "While nothing drives its wire the fan stands still, although the config has it run "
            "then: check the contact (normally_closed), active_low, the transistor and its "
            "pull-down; an input that stops the fan when it is silent can't be made safe.",
        )
    if lamp_burns_on:
        return TrialFinding(
            "advice",
            "While nothing drives its wire the fan stands still: with a dead Pi the lamp stays on "
            "in a tent without air. 'lungwort check' says how to wire it the other way round.",
        )
    return TrialFinding(
        "fine",
        "While nothing drives its wire the fan stands still, and the lamp is dark then, too.",
    )


def judge_fan(runs: Sequence[FanRun]) -> tuple[TrialFinding, ...]:
    """What follows from runs of rising speed, the first of them at standstill."""
    findings: list[TrialFinding] = []
    findings += _standstill(runs[0])
    turning = runs[1:]
    for run in turning:
        findings += _turns(run)
        findings += _seen(run, is_full=run is turning[-1])
    findings += _speed_wire(turning)
    if all(run.rpm is None and run.draws_current is None for run in runs) and not any(
        run.seen in ("in", "out", "still") for run in runs
    ):
        findings.append(
            TrialFinding(
                "advice",
                "Whether the fan turned is not known: there is no tachometer and nobody looked.",
            )
        )
    return tuple(findings)


def _draws(run: FanRun) -> list[TrialFinding]:
    """What a current switch tells of a fan without a tachometer."""
    if run.draws_current is None:
        return []
    speed = display.speed(run.speed)
    if run.draws_current is (run.speed > 0.0):
        words = f"current when told {speed}" if run.speed else "no current when switched off"
        return [TrialFinding("fine", f"The fan draws {words}.")]
    if run.speed > 0.0:
        return [
            TrialFinding(
                "fault",
                f"The fan draws no current at {speed}: check its fuse and plug, the wire on its "
                "pin, and that the current switch closes below what the fan draws then.",
            )
        ]
    return [
        TrialFinding(
            "fault",
            "The fan draws current although it is switched off: check active_low, the contact "
            "(normally_open or normally_closed), a relay whose contact is welded, and "
            "active_low of the current switch.",
        )
    ]


def _standstill(run: FanRun) -> list[TrialFinding]:
    if run.rpm is None:
        return _draws(run)
    if run.rpm >= TURNING_RPM:
        return [
            TrialFinding(
                "fault",
                f"The fan turns at {run.rpm:.0f} rpm although it is switched off: check "
                "active_low, the contact (normally_open or normally_closed) and, at a fan with a "
                "speed wire, whether it stops at all without its supply being cut.",
            )
        ]
    return [TrialFinding("fine", "The fan stands still when it is switched off.")]


def _turns(run: FanRun) -> list[TrialFinding]:
    if run.rpm is None:
        return _draws(run)
    speed = display.speed(run.speed)
    if run.rpm < TURNING_RPM:
        return [
            TrialFinding(
                "fault",
                f"The fan does not turn at {speed}: check its supply, the wire on its pin, and "
                "the tachometer; if it only turns when faster, raise fan.min_speed.",
            )
        ]
    return [TrialFinding("fine", f"The fan turns at {run.rpm:.0f} rpm when told {speed}.")]


def _seen(run: FanRun, *, is_full: bool) -> list[TrialFinding]:
    speed = display.speed(run.speed)
    if run.seen == "in":
        return [TrialFinding("fine", f"At {speed} air is drawn in at the intake.")]
    if run.seen == "out":
        return [
            TrialFinding(
                "fault",
                f"At {speed} air blows out of the intake opening: the fan or its duct is mounted "
                "the wrong way round.",
            )
        ]
    if run.seen == "still":
        if is_full:
            return [
                TrialFinding(
                    "fault",
                    f"At {speed} the air at the intake stands still: look for a closed flap, a "
                    "crushed duct, a filter still in its wrapping, or a fan without supply.",
                )
            ]
        return [
            TrialFinding(
                "advice",
                f"At {speed} no air moves at the intake: raise fan.min_speed, or count such "
                "speeds as no ventilation.",
            )
        ]
    return []


def _speed_wire(runs: Sequence[FanRun]) -> list[TrialFinding]:
    measured = [(run.speed, run.rpm) for run in runs if run.rpm is not None]
    if len(measured) < 2 or any(rpm < TURNING_RPM for _, rpm in measured):
        return []
    (slow, slow_rpm), (fast, fast_rpm) = measured[0], measured[-1]
    # Fans follow their duty roughly in proportion; a third of that is still a working wire.
    if fast_rpm - slow_rpm < LEAST_RESPONSE * (fast - slow) * fast_rpm:
        return [
            TrialFinding(
                "fault",
                f"The fan hardly follows its speed wire: {slow_rpm:.0f} rpm at "
                f"{display.speed(slow)}, {fast_rpm:.0f} rpm at {display.speed(fast)}. Check the "
                "wire, fan.drive, fan.frequency and active_low.",
            )
        ]
    return [TrialFinding("fine", "The fan follows its speed wire.")]


def sense_direction(before: RigSnapshot, after: Sequence[RigSnapshot]) -> TrialFinding | None:
    """What the intake sensor tells of the direction, from before the fan ran to after.

    Air that goes the wrong way shows the tent's air to the intake sensor for a minute or so, until
    the tent is full of the room's air: the farthest it came the tent's way counts.

    Parameters
    ----------
    before : RigSnapshot
        With the fan at rest and the tent's air different from the intake's.
    after : sequence of RigSnapshot
        With the fan running.

    Returns
    -------
    TrialFinding or None
        None when there is no intake sensor or the two airs were too much alike.
    """
    tent, intake = before.tent, before.intake
    nows = [look.intake for look in after if look.intake is not None]
    if tent is None or intake is None or not nows:
        return None
    contrast_k = tent.temperature_c - intake.temperature_c
    contrast_pct = tent.humidity_pct - intake.humidity_pct
    shares: list[float] = []
    if abs(contrast_k) >= LEAST_CONTRAST_K:
        shares += [(now.temperature_c - intake.temperature_c) / contrast_k for now in nows]
    if abs(contrast_pct) >= LEAST_CONTRAST_PCT:
        shares += [(now.humidity_pct - intake.humidity_pct) / contrast_pct for now in nows]
    if not shares:
        return None
    if max(shares) >= BACKFLOW_SHARE:
        return TrialFinding(
            "fault",
            "With the fan running the intake sensor reads the tent's air: the air goes the wrong "
            "way, or the exhaust is drawn in again.",
        )
    return TrialFinding("fine", "With the fan running the intake sensor goes on reading fresh air.")
