"""What each failure does to the fan, by the config: for `check` and `commission`.

A pure function of the settings. It assumes the wiring of the README's "Wire it"; only a
test on the rig shows that it is so.

Pulls of the Pi's pins while nothing has set them up: GPIO 0-8 up, 9-27 down, about 50 kΩ (data
sheet "BCM2835 ARM Peripherals", table 6-31, from memory; the RP1 of a Pi 5 likewise).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from controller.outputs.parking import ParkingPlan

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.fan import FanConfig

PULLED_UP_AT_BOOT = range(9)
# The I²C bus, by resistors of 1.8 kΩ to 3.3 V (from memory).
PULLED_UP_BY_BOARD = (2, 3)
# What the fan does without a signal is its own affair, and nothing of a pin's level stays.
_MAY_STAND = ("hardware_pwm", "dac")

_AT_NO_VOLTAGE = "most such fans stand, some run slowly (its data sheet)"
_AT_POWER_UP = "the converter gives what it gave, or after a power cut what it starts with"

Failure = Literal["pi_dead", "starting", "undriven", "stopped", "fault"]

_NAMES: dict[Failure, str] = {
    "pi_dead": "Pi dead, no power",
    "starting": "until the first tick",
    "undriven": "wire off",
    "stopped": "stopped on purpose",
    "fault": "crashed, can't start",
}


class FanFailure(NamedTuple):
    """What one failure does to the fan.

    Attributes
    ----------
    failure : Failure
        Kind of failure.
    speed : float or None
        The fan's speed then, 0-1; None where the config can't tell.
    why : str
        Reason, in words.
    """

    failure: Failure
    speed: float | None
    why: str

    @property
    def name(self) -> str:
        """The failure in words."""
        return _NAMES[self.failure]

    def to_json(self) -> dict[str, Any]:
        """The row as `check --json` prints it."""
        return {"failure": self.failure, "speed": self.speed, "why": self.why}


def runs_undriven(fan: FanConfig) -> bool:
    """Whether the fan runs while nothing drives its wire, wired as the README says.

    A relay is released then. A PWM line is low, by its pull-down: that is no drive, or with
    `active_low` (a transistor that pulls the fan's own wire down, and is off now) full speed.
    A converter without power gives 0 V, which a stage that inverts makes full speed.
    """
    if fan.dac is not None and fan.drive == "dac":
        return fan.dac.runs_at_no_voltage
    if fan.drive == "relay":
        return fan.contact == "normally_closed"
    return fan.active_low


def fan_failures(settings: Settings) -> tuple[FanFailure, ...]:
    """What each failure does to the fan of a config, the worst first.

    Parameters
    ----------
    settings : Settings
        A checked config.
    """
    plan = ParkingPlan.from_settings(settings)
    undriven = _undriven(settings.fan)
    return (
        _pi_dead(settings.fan),
        _starting(settings.fan),
        FanFailure("undriven", *undriven),
        _parked(settings, "stopped", plan.speed_after_stop),
        _parked(settings, "fault", plan.speed_after_fault),
    )


def standstill_caution(settings: Settings) -> str | None:
    """What to do about a fan that stands still while the lamp stays on; None for another."""
    fan = settings.fan
    if runs_undriven(fan) or settings.lamp.switched_by == "relay":
        return None
    remedy = {
        "relay": "hang the fan on the relay's normally closed contact",
        "pwm": "drive it through an inverting stage, with active_low: true",
        "hardware_pwm": "drive its wire through a transistor, with active_low: true",
        "dac": "put a stage that inverts before its input, with a supply of its own, and raw_full "
        "below raw_off",
    }[fan.drive]
    verb = "may stand" if fan.drive in _MAY_STAND else "stands"
    return (
        f"With a dead Pi this fan {verb} still "
        f'while the lamp stays on: {remedy} (README, "Fail-safe wiring").'
    )


def failure_notes(settings: Settings) -> tuple[str, ...]:
    """What a person should do about it, a sentence or two each."""
    fan, caution = settings.fan, standstill_caution(settings)
    notes = [] if caution is None else [caution]
    if fan.drive not in _MAY_STAND:
        notes.append(
            "Once lungwort has ended the pin keeps its level; with dtparam=strict_gpiod it does "
            "not, and the fan does as with its wire off."
        )
    return tuple(notes)


def _undriven(fan: FanConfig) -> tuple[float | None, str]:
    speed = float(runs_undriven(fan))
    if fan.drive == "relay":
        contact = fan.contact.replace("_", " ")
        return speed, f"the relay is released, the fan hangs on its {contact} contact"
    if fan.drive == "pwm":
        level = "is full speed" if fan.active_low else "keeps the MOSFET off"
        return speed, f"the pull-down holds the line low, which {level}"
    if fan.drive == "dac":
        return None, f"no voltage at its input: {_AT_NO_VOLTAGE}"
    if fan.active_low:
        return speed, "the pull-down keeps the transistor off, the fan pulls its wire up"
    return None, "the fan pulls its wire up, the pin's own 50 kΩ pull it down"


def _pi_dead(fan: FanConfig) -> FanFailure:
    if fan.drive == "hardware_pwm" and not fan.active_low:
        return FanFailure("pi_dead", None, "a pin without power may hold the fan's wire down")
    if fan.dac is not None and fan.drive == "dac" and fan.dac.runs_at_no_voltage:
        why = "0 V from the converter, which the inverting stage makes full speed"
        return FanFailure("pi_dead", 1.0, why)
    return FanFailure("pi_dead", *_undriven(fan))


def _starting(fan: FanConfig) -> FanFailure:
    """Until the daemon's first tick, which never comes if it can't start."""
    if fan.drive == "hardware_pwm":
        if fan.active_low:
            why = "the kernel's PWM driver holds the pin low: transistor off, the wire is pulled up"
            return FanFailure("starting", 1.0, why)
        return FanFailure("starting", 0.0, "the kernel's PWM driver holds the wire low: duty 0 %")
    if fan.drive == "dac":
        if fan.dac is not None and fan.dac.runs_at_no_voltage:
            return FanFailure("starting", None, f"{_AT_POWER_UP}; 0 V is full speed")
        return FanFailure("starting", None, f"{_AT_POWER_UP}; at 0 V {_AT_NO_VOLTAGE}")
    is_pulled_up = fan.gpio in PULLED_UP_AT_BOOT
    if fan.gpio in PULLED_UP_BY_BOARD and not (fan.drive == "relay" and fan.active_low):
        why = (
            f"1.8 kΩ on the board pull GPIO {fan.gpio} up until then, which no pull-down undoes: "
            "use a GPIO from 9 up"
        )
        return FanFailure("starting", 1.0 - float(runs_undriven(fan)), why)
    # A relay is released by the level that does not energise it, a PWM line rests low.
    rests_high = fan.drive == "relay" and fan.active_low
    if is_pulled_up is rests_high:
        return FanFailure("starting", *_undriven(fan))
    own, wanted = ("up", "down") if is_pulled_up else ("down", "up")
    better = "GPIO 4 to 8" if rests_high else "a GPIO from 9 up"
    why = (
        f"GPIO {fan.gpio} pulls itself {own} until then, which may drive it: fit a pull-{wanted} "
        f"of 10 kΩ, or use {better}"
    )
    return FanFailure("starting", None, why)


def _parked(settings: Settings, failure: Failure, speed: float) -> FanFailure:
    drive = settings.fan.drive
    if drive == "relay" or (drive == "pwm" and 0.0 < speed < 1.0):
        speed = float(speed > 0.0)  # pulses timed by software end with the process
    if speed == 0.0 and failure == "stopped" and settings.lamp.switched_by == "relay":
        return FanFailure(failure, speed, "parked off: the lamp is lungwort's and dark, too")
    why = "parked at the failsafe speed"
    if failure == "fault":
        why += "; if even that can't be done, as last driven, or as while starting"
    return FanFailure(failure, speed, why)
