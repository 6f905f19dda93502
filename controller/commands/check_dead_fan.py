"""What of this tent would tell of a dead fan within half an hour: a sentence of `check`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from controller import display

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.expectation.dead_fan import DeadFan

# A room, to tell it by [°C], [%].
_ROOM = (20.0, 50.0)
_REMEDY = "a `fan.tachometer` or `fan.current_switch`"


class DeadFanInLight(NamedTuple):
    """The lit tent at day speed: with plants that give off water, and with none."""

    planted: DeadFan
    bare: DeadFan

    def as_json(self) -> dict[str, Any]:
        """One object, units in the keys."""
        return {
            name: {
                "rise_k": round(dead.turning_k, 2),
                "rise_after_30_min_k": round(dead.dead_k, 2),
                "called_above_k": round(dead.called_above_k, 2),
                "noticed": dead.is_seen,
            }
            for name, dead in self._asdict().items()
        }


def dead_fan_in_light(settings: Settings) -> DeadFanInLight | None:
    """Let the fan die; None where a sensor of its own tells, or nothing can be compared."""
    from controller.expectation import Air, ExpectedRise
    from controller.expectation.dead_fan import dead_fan
    from controller.tent_model import drives, tent_model

    expected = ExpectedRise.from_settings(settings)
    if has_fan_sensor(settings) or expected is None or not expected.plan.lit_hours:
        return None
    tent = tent_model(settings)
    at_day_speed = drives(settings, [settings.schedule.day_speed], tent.density_kg_m3)
    if at_day_speed is None or settings.schedule.day_speed <= 0.0:
        return None
    planted, bare = (
        dead_fan(expected, tent, at_day_speed[0], Air(*_ROOM), with_plants)
        for with_plants in (True, False)
    )
    return None if planted is None or bare is None else DeadFanInLight(planted, bare)


def has_fan_sensor(settings: Settings) -> bool:
    """Whether something other than the air tells that the fan turns."""
    return settings.fan.tachometer is not None or settings.fan.current_switch is not None


def dead_fan_words(settings: Settings, dead: DeadFanInLight | None) -> str:
    """What would be noticed; "" where the fan has a sensor of its own."""
    if has_fan_sensor(settings):
        return ""
    if dead is None:
        return f"If the fan died, nothing would tell. {_what_could(settings)}."
    planted, bare = dead
    if planted.is_seen and bare.is_seen:
        noticed, shown = "you are told within half an hour.", bare
    elif planted.is_seen:
        noticed, shown = "with small or wilted plants you may not be told.", bare
    else:
        noticed, shown = "you may not be told.", planted

    def kelvins(value: float) -> str:
        return display.temperature_difference(value, settings.units)

    without = "Without plants" if shown is bare else "In half an hour"
    return (
        f"If the fan died in the light: {noticed} {without} the tent goes from "
        f"{kelvins(shown.turning_k)} to {kelvins(shown.dead_k)} above its intake air, and an alarm "
        f"comes from {kelvins(shown.called_above_k)} on. In the dark, or with a fan slowed down as "
        f"too dry or too cold, nothing tells; {_REMEDY} tells at any time."
    )


def _what_could(settings: Settings) -> str:
    """What would tell of a dead fan where nothing does, as a clause."""
    from controller.sizing.plan import Plan

    plan = Plan.from_settings(settings)
    if not plan.lit_hours or settings.schedule.day_speed <= 0.0:
        return f"{_REMEDY[0].upper()}{_REMEDY[1:]} would"
    missing = []
    if not any(sensor.role == "intake" for sensor in settings.sensors):
        missing.append("an intake sensor")
    if not plan.rig.has_fan:
        missing.append("`fan.free_flow`")
    return f"In the light {' with '.join(missing)} could; {_REMEDY} at any time"
