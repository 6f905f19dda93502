"""Fan speeds against what the drive can do and against one another."""

from __future__ import annotations

from collections.abc import Iterator

from controller import display
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath

_PATHS: tuple[KeyPath, ...] = (
    ("fan", "min_speed"),
    ("schedule", "day_speed"),
    ("schedule", "night_speed"),
    ("schedule", "purge", "speed"),
    ("quiet", "speed"),
    ("overrides", "temperature", "speed"),
    ("overrides", "temperature", "reduced_speed"),
    ("overrides", "humidity", "speed"),
    ("overrides", "humidity", "reduced_speed"),
    ("overrides", "vpd", "speed"),
    ("overrides", "vpd", "reduced_speed"),
    ("overrides", "dew_point", "speed"),
    ("overrides", "co2", "speed"),
    ("failsafe", "speed"),
)
_DRIVE: KeyPath = ("fan", "drive")


def _speed(view: CheckedConfig, path: KeyPath) -> float | None:
    value: object = view.settings
    for key in path:
        value = getattr(value, str(key), None)
    return value if isinstance(value, float) else None


def _relay_is_on_or_off(view: CheckedConfig) -> Iterator[Objection]:
    """A relay knows no speed between standstill and full."""
    if view.settings.fan.drive != "relay":
        return
    for path in _PATHS:
        speed = _speed(view, path)
        if speed is not None and 0.0 < speed < 1.0:
            yield Objection(
                path,
                f"a relay cannot run the fan at {display.speed(speed)}",
                "0 % or 100 %, or `fan.drive` pwm, hardware_pwm or dac",
                (_DRIVE,),
            )


def _motor_turns(view: CheckedConfig) -> Iterator[Objection]:
    """Below its lowest speed the motor only hums, so the command is raised."""
    fan = view.settings.fan
    if fan.drive == "relay":
        return
    for path in _PATHS[1:]:
        speed = _speed(view, path)
        if speed is not None and 0.0 < speed < fan.resolved_min_speed:
            yield Objection(
                path,
                f"{display.speed(speed)} is below the fan's lowest speed, so it will run at "
                f"{display.speed(fan.resolved_min_speed)}",
                "a speed from `fan.min_speed` up, or 0 %",
                (_DRIVE, ("fan", "min_speed")),
                is_warning=True,
            )


def _overrides_do_something(view: CheckedConfig) -> Iterator[Objection]:
    """An override that asks for less than the schedule gives never shows."""
    settings = view.settings
    plan = settings.schedule
    schedule: tuple[KeyPath, ...] = (("schedule", "day_speed"), ("schedule", "night_speed"))
    for quantity in ("temperature", "humidity", "vpd", "dew_point"):
        override = getattr(settings.overrides, quantity)
        path: KeyPath = ("overrides", quantity, "speed")
        reduced: KeyPath = ("overrides", quantity, "reduced_speed")
        if override.speed <= min(plan.day_speed, plan.night_speed, 0.999):
            yield Objection(
                view.written(path, *schedule),
                f"the {quantity} override asks for {display.speed(override.speed)}, which the "
                "schedule gives anyway",
                "a higher speed than the schedule's",
                (path, *schedule),
                is_warning=True,
            )
        lowered = getattr(override, "reduced_speed", None)
        if lowered is not None and lowered > max(plan.day_speed, plan.night_speed):
            yield Objection(
                reduced,
                f"{display.speed(lowered)} is above the schedule's speeds, so nothing is lowered",
                "a speed below `schedule.day_speed`",
                schedule,
                is_warning=True,
            )


def _failsafe_moves_air(view: CheckedConfig) -> Iterator[Objection]:
    """Without a reading, a lamp and no air is how tents overheat."""
    if view.settings.failsafe.speed == 0.0:
        yield Objection(
            ("failsafe", "speed"),
            "without a usable reading the fan would stand still while the lamp is on",
            "a speed that keeps the tent safe on its hottest day",
            is_warning=True,
        )


def _quiet_is_slower(view: CheckedConfig) -> Iterator[Objection]:
    """Quiet at full speed is none."""
    quiet = view.settings.quiet
    if quiet is not None and quiet.speed == 1.0:
        yield Objection(
            ("quiet", "speed"),
            "quiet hours at full speed change nothing",
            "a lower `speed`, or no `quiet`",
            is_warning=True,
        )


RULES = (
    _relay_is_on_or_off,
    _motor_turns,
    _overrides_do_something,
    _failsafe_moves_air,
    _quiet_is_slower,
)
