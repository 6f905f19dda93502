"""The quiet hours of a config: what they leave of the fan's sound, for people and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from controller import display
from controller.airflow.noise import sound_level_change_db
from controller.control import Rules
from controller.control.actuator import QUIET_LASTS_S, motor_speed
from controller.control.quiet import near_warning_c

if TYPE_CHECKING:
    from controller.config import Settings


def quiet_words(settings: Settings, hours: str) -> str:
    """Say what quiet hours do; `hours` are those of the day in words.

    Levels are relative to full speed, by the fan laws: see `sound_level_change_db`.
    """
    rules, units = Rules.from_settings(settings), settings.units
    speed = rules.quiet_speed
    if speed is None:
        return ""
    cap = _speed_and_level(speed, " at most") if speed else "fan off"
    day = motor_speed(rules.base[1].speed, rules)
    compared = f" (by day: {_speed_and_level(day)})" if day > speed else ""
    return (
        f"{hours}: {cap}{compared}, a speed lasting {display.duration(QUIET_LASTS_S)} at least. "
        f"From {display.temperature(near_warning_c(rules), units)} on, near the heat warning, "
        "while a surface is near the dew point, in a failsafe and under a hold there is no quiet"
    )


def quiet_json(settings: Settings) -> dict[str, Any] | None:
    """The cap as the motor is given it, and its level against full speed; None without any."""
    rules = Rules.from_settings(settings)
    speed = rules.quiet_speed
    if speed is None:
        return None
    return {
        "speed": speed,
        "level_db": round(sound_level_change_db(speed), 1) if speed else None,
        "gives_way_above_c": round(near_warning_c(rules), 3),
    }


def _speed_and_level(speed: float, limit: str = "") -> str:
    """Such as "fan at 40 % at most, some 20 dB below full speed"."""
    level_db = -sound_level_change_db(speed)
    below = f", some {level_db:.0f} dB below full speed" if level_db >= 0.5 else ""
    return f"{display.fan(speed)}{limit}{below}"
