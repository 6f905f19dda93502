"""What `lungwort sweep` can vary, and the lists of its options read into combinations."""

from __future__ import annotations

import argparse
import itertools
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from controller.commands.arguments import option_quantity
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.config import Settings

_MOST = 1000


# In SI, or one of the words that a key knows.
Value = float | str


def _schedule(key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        schedule = settings.schedule.changed(**{key: value})
        return settings.changed(schedule=schedule)

    return put


def _override(name: str, key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        override = getattr(settings.overrides, name).changed(**{key: value})
        return settings.changed(overrides=settings.overrides.changed(**{name: override}))

    return put


def _overrides(key: str) -> Callable[[Settings, Value], Settings]:
    def put(settings: Settings, value: Value) -> Settings:
        return settings.changed(overrides=settings.overrides.changed(**{key: value}))

    return put


def _worth(settings: Settings, value: Value) -> Settings:
    """Put the worth of a kelvin, and those of a percent and a pascal in the same proportion."""
    over = settings.overrides
    was_w_per_k = over.temperature.worth_w_per_k
    by = float(value) / was_w_per_k if was_w_per_k > 0.0 else 1.0
    overrides = over.changed(
        temperature=over.temperature.changed(worth_w_per_k=value),
        humidity=over.humidity.changed(worth_w_per_pct=by * over.humidity.worth_w_per_pct),
        vpd=over.vpd.changed(worth_w_per_pa=by * over.vpd.worth_w_per_pa),
    )
    return settings.changed(overrides=overrides)


@dataclass(frozen=True, slots=True)
class Knob:
    """One figure that can be varied.

    Attributes
    ----------
    option : str
        Its option, less the dashes.
    kind : str
        What sort of quantity, as `controller.units.parse` calls it.
    low, high : float
        Bounds in SI.
    put : callable
        Gives settings with the figure changed.
    key : str
        In JSON, with its unit.
    help : str
        For --help.
    default : tuple of float
        Tried when no option is given at all.
    words : tuple of str
        What it may be, of a key that knows words only; its kind is "word" then.
    """

    option: str
    kind: str
    low: float
    high: float
    put: Callable[[Settings, Value], Settings]
    key: str
    help: str
    default: tuple[float, ...] = ()
    words: tuple[str, ...] = ()

    @property
    def is_commanded(self) -> bool:
        """Whether the motor is given it as a speed."""
        return self.kind == "speed" and self.option != "step"


KNOBS = (
    Knob("pre-run", "duration", 0.0, 43_200.0, _schedule("pre_run_s"), "pre_run_s",
         "fan start before lights-on, such as 0min,15min,1h", (0.0, 900.0, 3600.0)),
    Knob("run-on", "duration", 0.0, 43_200.0, _schedule("run_on_s"), "run_on_s",
         "fan stop after lights-off"),
    Knob("day-speed", "speed", 0.0, 1.0, _schedule("day_speed"), "day_speed",
         "scheduled speed by day, such as 40%%,60%%,80%%", (0.3, 0.5, 0.7, 1.0)),
    Knob("night-speed", "speed", 0.0, 1.0, _schedule("night_speed"), "night_speed",
         "scheduled speed by night"),
    Knob("hysteresis", "temperature_difference", 0.1, 20.0,
         _override("temperature", "hysteresis_k"), "hysteresis_k",
         "of the temperature override, such as '0.5 K,1 K'", (0.5, 1.0, 2.0)),
    Knob("law", "word", 0.0, 0.0, _overrides("law"), "law",
         "by which an override sets the speed: modulating,fixed",
         words=("modulating", "fixed")),
    Knob("worth", "power_per_kelvin", 0.0, 10_000.0, _worth, "worth_w_per_k",
         "of a degree out of band, such as '20 W/K,60 W/K'; those of humidity and VPD go with it"),
    Knob("humidity-worth", "power_per_percent", 0.0, 1_000.0,
         _override("humidity", "worth_w_per_pct"), "humidity_worth_w_per_pct",
         "of a percent of humidity out of band, such as '2 W/%%,6 W/%%'"),
    Knob("vpd-worth", "power_per_pascal", 0.0, 10.0,
         _override("vpd", "worth_w_per_pa"), "vpd_worth_w_per_pa",
         "of a VPD out of band, such as '60 W/kPa,180 W/kPa'"),
    Knob("every", "duration", 60.0, 3600.0, _overrides("every_s"), "every_s",
         "how often a modulated speed is chosen, such as 10min,15min,30min"),
    Knob("step", "speed", 0.05, 0.5, _overrides("step"), "step",
         "from one modulated speed to the next, such as 5%%,10%%,20%%"),
)  # fmt: skip


def values_of(knob: Knob, text: str, is_relay: bool) -> list[Value]:
    """Read one option's list.

    Raises
    ------
    UserError
        Naming the value that is none, or out of range.
    """
    from controller import display

    values: list[Value] = []
    for part in text.split(","):
        if knob.words:
            if part.strip() not in knob.words:
                raise UserError(
                    f"--{knob.option}: {part.strip()!r} is not known; expected "
                    f"{' or '.join(knob.words)}",
                    status=2,
                )
            if part.strip() not in values:
                values.append(part.strip())
            continue
        value = option_quantity(part.strip(), knob.kind, f"--{knob.option}")
        if not knob.low <= value <= knob.high:
            low, high = (display.quantity(b, knob.kind, "si") for b in (knob.low, knob.high))
            raise UserError(
                f"--{knob.option}: {part.strip()} is out of range; {low} to {high}", status=2
            )
        if is_relay and knob.is_commanded and value not in (0.0, 1.0):
            raise UserError(
                f"--{knob.option}: a relay knows 0 % and 100 % only, got {part.strip()}", status=2
            )
        if value not in values:
            values.append(value)
    return values


def grid(
    args: argparse.Namespace, settings: Settings
) -> tuple[list[Knob], list[tuple[Value, ...]]]:
    """What is varied, and every combination of it."""
    is_relay = settings.fan.drive == "relay"
    given: dict[str, Any] = {k.option: getattr(args, k.option.replace("-", "_")) for k in KNOBS}
    knobs = [knob for knob in KNOBS if given[knob.option] is not None]
    if knobs:
        lists = [values_of(knob, given[knob.option], is_relay) for knob in knobs]
    else:
        knobs = [k for k in KNOBS if k.default and not (is_relay and k.is_commanded)]
        lists = [[*knob.default] for knob in knobs]
    combinations = list(itertools.product(*lists))
    if len(combinations) > _MOST:
        raise UserError(f"{len(combinations)} combinations are too many; {_MOST} at most", status=2)
    return knobs, combinations
