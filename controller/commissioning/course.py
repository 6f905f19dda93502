"""Options, consent and results so far of commissioning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from controller.commissioning.air_change import AirChange
from controller.commissioning.fan_step import FanRun, UndrivenRun
from controller.commissioning.findings import TrialFinding
from controller.commissioning.sensors_step import SensorsResult
from controller.commissioning.talk import Talk
from controller.config import Settings
from controller.errors import UserError

Step = Literal["sensors", "fan", "air-change"]
STEPS: tuple[Step, ...] = ("sensors", "fan", "air-change")

CAUTIONS = """\
Before anything spins:
- Mains power kills. Work on the wiring with the plug out; mains parts belong in a closed, earthed \
box, behind a residual-current device (RCD/GFCI), with strain relief and a drip loop on every \
cord. Local codes rule; what is wired to the mains for good is a licensed electrician's work.
- A fan starts without warning. Guard on, fingers, hair, cords and leaves clear of the blades. To \
stop it at once pull its plug: that always works, a program may not.
- Relay, cord and plug must be rated for what they switch, motors above all. Nothing may get hot.
- Lamp and heaters make the tent hot while the fan rests: stay with it, keep cloth off the lamp.
"""


@dataclass(frozen=True, slots=True)
class TrialState:
    """Options of the steps.

    Attributes
    ----------
    steps : tuple of Step
        The steps to take.
    speeds : tuple of float
        Fan speeds to try, rising, above 0 and up to 1.
    listen_s : float
        How long the sensors are compared [s].
    build_up_s : float
        Longest rest of the fan before the air change is timed [s].
    """

    steps: tuple[Step, ...]
    speeds: tuple[float, ...]
    listen_s: float = 120.0
    build_up_s: float = 900.0


def default_speeds(settings: Settings) -> tuple[float, ...]:
    """The least reliable speed, full speed, and one between; a relay knows only full speed."""
    least = settings.fan.resolved_min_speed
    if settings.fan.drive == "relay" or least >= 1.0:
        return (1.0,)
    return (least, round((least + 1.0) / 2.0, 2), 1.0)


@dataclass(slots=True)
class Result:
    """Results so far; updated after each step, so that an interruption loses nothing.

    Attributes
    ----------
    sensors : SensorsResult or None
        Step one.
    runs : list of FanRun
        Step two, standstill first.
    undriven : UndrivenRun or None
        Step two: with nothing driving the fan's wire.
    air_change : AirChange or None
        Step three.
    findings : list of TrialFinding
        Everything found, in order.
    unfinished : str
        Why it stopped early; "" when it went through.
    """

    sensors: SensorsResult | None
    runs: list[FanRun]
    air_change: AirChange | None
    findings: list[TrialFinding]
    unfinished: str = ""
    undriven: UndrivenRun | None = None

    @classmethod
    def empty(cls) -> Result:
        """Nothing yet."""
        return cls(None, [], None, [])


def get_consent(talk: Talk) -> None:
    """Show the cautions and have them agreed to, before any pin is opened.

    Raises
    ------
    UserError
        If they are not.
    """
    talk.say(CAUTIONS)
    if not talk.consents("cautions_read") or not talk.consents("hands_clear"):
        raise UserError("stopped before anything was switched")
