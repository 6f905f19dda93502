"""Parking: the state in which fan and lamp are left without a controller.

A tent can be left alone when its lamp is dark or its fan runs.  So:

* A lamp that the controller switches is switched off, always.
* After a fault the fan is left at the failsafe speed: nobody chose to stop, the lamp may be on its
  own timer, and heat, moisture and spent air must not build up until the next start.
* After a stop on purpose it is left off if the controller switches the lamp, which is dark now;
  with a lamp on a timer of its own it is left at the failsafe speed, since that lamp goes on
  heating.

Pulses timed by software end with the process that times them; in between off and full speed such a
fan is left at full.  The plan of the outputs in use is kept in a small file, so that they can be
parked by another process when the config can no longer be read.
"""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from controller.outputs.iio_dac import DacWiring

if TYPE_CHECKING:
    from controller.config import Settings

# Names the file; set by the unit, one file per tent.
PLAN_VARIABLE = "LUNGWORT_PARKING_FILE"

Drive = Literal["relay", "pwm", "hardware_pwm", "dac"]


@dataclass(frozen=True, slots=True)
class FanWiring:
    """The wiring of a fan; see `controller.config.sections.fan.Fan`."""

    drive: Drive
    pin: int | None
    active_low: bool
    normally_closed: bool
    frequency_hz: float
    dac: DacWiring | None = None


@dataclass(frozen=True, slots=True)
class LampWiring:
    """The wiring of a lamp's relay."""

    pin: int
    active_low: bool


@dataclass(frozen=True, slots=True)
class ParkingPlan:
    """The driven wires of a tent and the state to leave them in.

    Attributes
    ----------
    fan : FanWiring
        The fan's wire.
    lamp : LampWiring or None
        The lamp's, where the controller switches it.
    speed_after_stop, speed_after_fault : float
        Fan speed left behind, 0-1.
    """

    fan: FanWiring
    lamp: LampWiring | None
    speed_after_stop: float
    speed_after_fault: float

    @classmethod
    def from_settings(cls, settings: Settings) -> ParkingPlan:
        """The plan of a config."""
        fan, lamp = settings.fan, settings.lamp
        wiring = FanWiring(
            fan.drive,
            fan.pin,
            fan.active_low,
            fan.contact == "normally_closed",
            fan.resolved_frequency_hz,
            None
            if fan.dac is None or fan.drive != "dac"
            else DacWiring(fan.dac.device, fan.dac.channel, fan.dac.raw_off, fan.dac.raw_full),
        )
        lamp_wiring = None
        if lamp.switched_by == "relay" and lamp.pin is not None:
            lamp_wiring = LampWiring(lamp.pin, lamp.active_low)
        speed = settings.failsafe.speed
        return cls(wiring, lamp_wiring, 0.0 if lamp_wiring else speed, speed)

    @property
    def pins(self) -> tuple[int, ...]:
        """The driven GPIOs."""
        lamp = None if self.lamp is None else self.lamp.pin
        return tuple(pin for pin in (self.fan.pin, lamp) if pin is not None)

    def to_json(self) -> str:
        """The plan as one JSON object."""
        return json.dumps(asdict(self))

    @classmethod
    def from_json(cls, text: str) -> ParkingPlan:
        """The plan that `to_json` wrote.

        Raises
        ------
        ValueError
            If it is something else.
        """
        try:
            data = json.loads(text)
            lamp = data.pop("lamp")
            wiring = data.pop("fan")
            dac = wiring.pop("dac", None)
            fan = FanWiring(**wiring, dac=DacWiring(**dac) if dac else None)
            plan = cls(fan=fan, lamp=LampWiring(**lamp) if lamp else None, **data)
            if fan.drive not in ("relay", "pwm", "hardware_pwm", "dac"):
                raise ValueError(f"unknown drive {fan.drive!r}")
            if (fan.dac is None) is (fan.pin is None):
                raise ValueError("neither pin nor converter, or both")
            for speed in (plan.speed_after_stop, plan.speed_after_fault):
                if not 0.0 <= speed <= 1.0:
                    raise ValueError(f"speed {speed} out of range")
        except (TypeError, KeyError, AttributeError) as error:
            raise ValueError(f"not a parking plan: {error}") from error
        return plan


def plan_file() -> Path | None:
    """The file that holds the parking of this tent; None where none is given."""
    name = os.environ.get(PLAN_VARIABLE)
    return Path(name) if name else None


def save(plan: ParkingPlan) -> None:
    """Keep a plan; failing to is no reason not to run a fan."""
    path = plan_file()
    if path is None:
        return
    with contextlib.suppress(OSError):
        fresh = path.with_name(path.name + ".new")
        fresh.write_text(plan.to_json(), encoding="utf-8")
        fresh.replace(path)


def saved() -> ParkingPlan | None:
    """The plan that was kept; None without one that can be read."""
    path = plan_file()
    if path is None:
        return None
    try:
        return ParkingPlan.from_json(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None


def forget() -> None:
    """Drop the plan that was kept: its wires are parked."""
    path = plan_file()
    if path is not None:
        with contextlib.suppress(OSError):
            path.unlink()
