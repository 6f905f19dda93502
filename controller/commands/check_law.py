"""What the modulating law will do with a config: a few lines and a small table, for people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import air, display
from controller.control import Reading, Rules
from controller.control.actuator import motor_speed
from controller.control.forecast import Outlook
from controller.control.modulation import (
    FAR_OVER_K,
    NEAR_WARNING_K,
    HeatStage,
    Modulation,
    SpeedChoice,
    SpeedRange,
)
from controller.control.override_state import HOT
from controller.tables import wrapped

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.display import Units

# What the table shows, in kelvins or in degrees Fahrenheit: too hot by so much, intake so much
# cooler than the tent.
_TOO_HOT_BY = (0.5, 1.0, 2.0)
_INTAKE_COOLER_BY = (1.0, 3.0, 5.0, 7.0)


def law_lines(settings: Settings) -> list[str]:
    """Say in sentences how the speed of an override is chosen; empty for a relay."""
    if settings.fan.drive == "relay":
        return []
    rules, over, units = Rules.from_settings(settings), settings.overrides, settings.units
    if over.law == "fixed":
        return [
            "Speeds are fixed (overrides.law): an override takes its speed, whatever it brings."
        ]
    law = rules.modulation
    if law is None:
        has_intake = any(sensor.role == "intake" for sensor in settings.sensors)
        missing = (
            "without the fan's figures (fan.free_flow) nobody knows what more air"
            if has_intake
            else "without an intake sensor nothing tells what more air"
        )
        return [
            f"Speeds are fixed: {missing} would bring. In the dark, where nothing heats the tent, "
            f"too hot asks for {display.speed(over.dark_speed)} at most (overrides.dark_speed)."
            if not has_intake
            else f"Speeds are fixed: {missing} would bring."
        ]
    warning_c = law.heat_warning_c - NEAR_WARNING_K
    return [
        f"Modulated: while it is too hot or too humid the fan takes, every "
        f"{display.duration(over.every_s)}, the slowest speed that is worth its power, up to the "
        f"override's: {display.power_per_kelvin(over.temperature.worth_w_per_k, units)}, "
        f"{display.power_per_percent(over.humidity.worth_w_per_pct)}, "
        f"{display.power_per_pascal(over.vpd.worth_w_per_pa)} out of band. Above "
        f"{display.temperature(warning_c, units)} power no longer counts, though in the dark "
        f"dry air does; {display.temperature_difference(FAR_OVER_K, units)} over the band an "
        f"intake cooler by {display.temperature_difference(law.clearly_cooler_k, units)}, more "
        "than the sensors may err, means the override's speed. If the intake sensor falls silent, "
        "speeds are fixed.",
    ]


def law_table(settings: Settings, width: int = 80) -> list[str]:
    """Give the speeds chosen in a lit tent by how hot it is and how cool its intake; or nothing."""
    rules = Rules.from_settings(settings)
    law = rules.modulation
    if settings.fan.drive == "relay" or law is None:
        return []
    units = settings.units
    per = 1.8 if units == "us" else 1.0
    scheduled, high = _scheduled_and_high(rules)
    if scheduled >= high:
        return wrapped(
            f"In the fan hours the schedule asks for {display.speed(scheduled)} already, which "
            "leaves too hot nothing to choose; a lower schedule.day_speed would.",
            width,
        )
    coolers = [_difference(cooler, units) for cooler in _INTAKE_COOLER_BY]
    speeds = [
        (
            _difference(over, units),
            [
                display.speed(_chosen(law, rules, over / per, cooler / per))
                for cooler in _INTAKE_COOLER_BY
            ],
        )
        for over in _TOO_HOT_BY
    ]
    head = "  lit and too hot by, with an intake cooler by"
    column = max(map(len, [*coolers, *(cell for _, cells in speeds for cell in cells)])) + 2
    if len(head) + column * len(coolers) <= width:
        return [
            head + "".join(cooler.rjust(column) for cooler in coolers),
            *(
                f"  {over:<{len(head) - 2}}" + "".join(cell.rjust(column) for cell in cells)
                for over, cells in speeds
            ),
        ]
    lines: list[str] = []
    for over, cells in speeds:
        chosen = ", ".join(
            f"{cell} with an intake cooler by {cooler}" if index == 0 else f"{cell} by {cooler}"
            for index, (cooler, cell) in enumerate(zip(coolers, cells, strict=True))
        )
        lines += wrapped(f"lit and too hot by {over}: {chosen}", width, first="  ", rest="    ")
    return lines


def _scheduled_and_high(rules: Rules) -> tuple[float, float]:
    """The motor's speed by the schedule in the fan hours, and the most that too hot may ask for."""
    scheduled = motor_speed(rules.base[1].speed, rules)
    return scheduled, max(scheduled, motor_speed(rules.speeds[HOT], rules))


def _difference(value: float, units: Units) -> str:
    return f"{value:g} °F" if units == "us" else f"{value:g} K"


def _chosen(law: Modulation, rules: Rules, over_k: float, cooler_k: float) -> float:
    """The speed in a tent as humid as the middle of its band, over air as moist as its own."""
    limits = rules.day
    tent_c = limits.hot_c + over_k
    tent = Reading(0.0, tent_c, 0.5 * (limits.dry_pct + limits.humid_pct))
    vapour_pa = air.vapour_pressure_pa(tent_c, tent.humidity_pct)
    # Three quarters of the tent's vapour: plants moisten it.
    intake_c = tent_c - cooler_k
    saturation_pa = air.saturation_vapour_pressure_pa(intake_c)
    intake = Reading(0.0, intake_c, min(100.0, 75.0 * vapour_pa / saturation_pa))
    scheduled, high = _scheduled_and_high(rules)
    between = SpeedRange(scheduled, scheduled, high)
    air_now = Outlook(tent_c, tent.humidity_pct, 0.0)
    # So it has been for as long as it takes to choose anew, at the scheduled speed.
    contents_c = law.tent.settled_contents_c(True, tent_c)
    before = SpeedChoice(
        -law.every_s, scheduled, True, between, HeatStage.NONE, air_now, air_now, 0.0, contents_c
    )
    return law.choose(
        before,
        0.0,
        tent=tent,
        intake=intake,
        lit=True,
        limits=limits,
        between=between,
        is_too_hot=True,
    ).speed
