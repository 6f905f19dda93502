"""Learning a tent: from its config and its readings to what they tell, or to why they can't."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from controller.errors import UserError
from controller.learning.course import BLOCK_S, Course, course
from controller.learning.flow import FanFlow
from controller.learning.identify import Identified, identify
from controller.learning.learned import Learned, Parameter, SpeedFlow
from controller.learning.model import Fixed
from controller.learning.parameters import NAMES, TentParameters

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record.rows import ReadingRow

LEAST_DAYS = 3
"""Fewer days tell nothing about their own spread."""

# Of these 24 h stretches so much must be there: the first one loses its half to settling.
_LEAST_BLOCKS = int((LEAST_DAYS - 1) * 86_400.0 / BLOCK_S)

# An interval wider than this share of what was believed beforehand tells nothing new.
_WIDEST_SHARE = 0.7

# A model that fits follows simulated tents within 0.05 K and 0.7 %, also of another structure
# within 0.25 K and 2 %: beyond, something acts on the tent that the config doesn't know
# (engineering judgement from `tests/benches/learning.py`).
_WORST_K, _WORST_PCT = 0.4, 3.5

# Sum of squares of eleven standard normal variables that is passed once in a thousand
# (chi-square tables).
_LARGEST_STRAIN = 31.3

# The least change of the air change, over its mean, that shows what the fan moves.
_LEAST_VARIATION = 0.1

_EXERCISE = (
    "let the fan run for an hour at each of two speeds while the lamp is lit and for an hour while "
    "it is dark (lungwort hold)"
)


class CannotLearnError(UserError):
    """What the record can't tell; the message says why and what to do."""


def learn(settings: Settings, rows: Iterable[ReadingRow]) -> Learned:
    """Learn a tent.

    Parameters
    ----------
    settings : Settings
        The config in force while the readings were taken, in all that the model knows.
    rows : iterable of ReadingRow
        In order of time.

    Raises
    ------
    CannotLearnError
        The readings don't tell, or the tent isn't like the model.
    """
    fixed = fixed_of(settings)
    lived = course(rows, fixed.physics)
    _refuse_too_little(lived)
    found = identify(fixed, lived)
    _refuse_another_tent(found, settings)
    return _learned(settings, fixed, lived, found)


def fixed_of(settings: Settings) -> Fixed:
    """What a config says and is not learned.

    Raises
    ------
    CannotLearnError
        The config leaves out what everything else is learned against.
    """
    from controller.sensors.data_sheets import figures_for
    from controller.sizing.plan import Plan
    from controller.tent_physics import TentPhysics

    roles = {sensor.role: sensor for sensor in settings.sensors}
    if "intake" not in roles:
        raise CannotLearnError(
            "the config has no sensor with role: intake, and a tent can only be learned against "
            "the air that it draws in; hang one where the air goes in"
        )
    if settings.lamp.power_w <= 0.0:
        raise CannotLearnError(
            "lamp.power is 0 W, and heat can only be learned against the lamp's; give what it draws"
        )
    physics, plan = TentPhysics.from_settings(settings), Plan.from_settings(settings)
    if not plan.rig.has_fan:
        raise CannotLearnError(
            "fan.free_flow and fan.curve aren't given, and flow is learned as a share of what the "
            "data sheet promises; give the flow with nothing attached"
        )
    errors = figures_for(roles["tent"].driver, roles["tent"].device)
    return Fixed(
        physics,
        FanFlow.from_settings(settings, physics.density_kg_m3),
        lambda speed: plan.fan_heat_in_tent_w(speed, "best"),
        errors.lag_temperature_s,
        errors.lag_humidity_s,
    )


def _refuse_too_little(lived: Course) -> None:
    if lived.counted < _LEAST_BLOCKS:
        days = lived.counted * BLOCK_S / 86_400.0
        raise CannotLearnError(
            f"{days:.1f} days of readings can be used, and it takes {LEAST_DAYS - 1} beyond the "
            "first half-day, with tent and intake sensor in order and no pause of half an hour; "
            "ask again when the record is longer, or for more of it with --days"
        )
    if _lit_share(lived) < 0.02:
        raise CannotLearnError(
            "the lamp was never lit in this time, and its heat is what everything else is learned "
            "against; ask again after some lit days"
        )


def _refuse_another_tent(found: Identified, settings: Settings) -> None:
    from controller import display

    units = settings.units
    misfit = found.learned
    if misfit.rms_k > _WORST_K or misfit.rms_pct > _WORST_PCT:
        raise CannotLearnError(
            "no tent of this config explains the readings: the closest is off by "
            f"{display.temperature_difference(misfit.rms_k, units)} and "
            f"{misfit.rms_pct:.1f} % (root mean square), where a sensor's noise would leave a tenth "
            "of it. Something heats, cools, moistens or airs the tent that the config doesn't "
            "know: another lamp, a heater, a humidifier, a door left open, a lamp with other "
            "hours. Put it into the config, or take it out of the tent for a week"
        )
    if found.strain > _LARGEST_STRAIN:
        raise CannotLearnError(
            "the readings could only come from a tent very unlike the config: "
            f"{_furthest(found)}. Check lamp.power (a second lamp?), the tent's "
            "measures and the fan's figures first; a plug meter tells what the lamp draws"
        )


def _furthest(found: Identified) -> str:
    from controller.learning.words import TITLES

    def times(name: str) -> float:
        estimate = found.estimates[name]
        return estimate.value / estimate.configured if estimate.configured else 1.0

    factors = {name: times(name) for name in NAMES if name in TITLES}
    worst = max(factors, key=lambda name: abs(_log(factors[name])))
    title = TITLES[worst]
    return f"{title[0].lower()}{title[1:]} would be {factors[worst]:.2g} times what is configured"


def _log(value: float) -> float:
    import math

    return math.log(max(value, 1e-6))


def _lit_share(lived: Course) -> float:
    lit = sum(step.lit * step.length_s for block in lived.blocks() for step in block.steps)
    whole = sum(step.length_s for block in lived.blocks() for step in block.steps)
    return lit / whole


def _air_varies(fixed: Fixed, lived: Course) -> bool:
    """Whether the air change varied enough, from hour to hour, to tell what the fan moves."""
    flows = [
        sum(step.on * step.length_s * fixed.fan.at(step.speed_step, 1.0) for step in block.steps)
        / sum(step.length_s for step in block.steps)
        for block in lived.blocks()
    ]
    hours = [sum(flows[i : i + 12]) / 12.0 for i in range(0, len(flows) - 11, 12)]
    mean = sum(hours) / len(hours)
    if mean <= 0.0:
        return False
    spread = (sum((flow - mean) ** 2 for flow in hours) / len(hours)) ** 0.5
    return bool(spread > _LEAST_VARIATION * mean)


def _withheld(fixed: Fixed, lived: Course, found: Identified) -> dict[str, str]:
    """What is not told, by name, with what to do."""
    withheld = {}
    if not _air_varies(fixed, lived):
        for name in ("wall_w_per_k", "flow_share", "leakage_m3_s"):
            withheld[name] = f"the fan never changed its speed for long: {_EXERCISE}"
    if _lit_share(lived) > 0.98:
        for name in ("lamp_to_contents", "contents_j_per_k", "transpiration_dark"):
            withheld[name] = "the lamp was never dark: give it some dark hours"
    for name, estimate in found.estimates.items():
        if estimate.prior_share > _WIDEST_SHARE and name not in withheld:
            withheld[name] = _ADVICE.get(name, "more days, of different weather, may tell")
    return withheld


_ADVICE = {
    "wall_w_per_k": f"air and fabric can't be told apart: {_EXERCISE}",
    "flow_share": f"air and fabric can't be told apart: {_EXERCISE}",
    "leakage_m3_s": "the fan hardly rested: let it rest for an hour while the lamp is dark",
    "transpiration_dark": "hardly anything evaporates in the dark hours",
}


def _learned(settings: Settings, fixed: Fixed, lived: Course, found: Identified) -> Learned:
    withheld = _withheld(fixed, lived, found)
    parameters = {
        name: Parameter(
            estimate.value,
            estimate.low,
            estimate.high,
            estimate.configured,
            withheld.get(name),
        )
        for name, estimate in found.estimates.items()
        if name != "air_j_per_k"
    }
    blocks = list(lived.blocks())
    first = blocks[0]
    return Learned(
        from_s=first.at_s - sum(step.length_s for step in first.steps),
        until_s=blocks[-1].at_s,
        days=found.days,
        means=lived.counted,
        lamp_w=settings.lamp.power_w,
        fitted=found.parameters,
        parameters=parameters,
        misfit=found.learned,
        misfit_as_configured=found.as_configured,
        resistance=fixed.fan.resistance(found.parameters.flow_share),
        flow=_flows(settings, fixed, found.parameters, parameters["flow_share"]),
    )


def _flows(
    settings: Settings, fixed: Fixed, fitted: TentParameters, share: Parameter
) -> tuple[SpeedFlow, ...]:
    """Flow at the speeds of the schedule and at full speed."""
    schedule = settings.schedule
    speeds = {1.0, schedule.day_speed, schedule.night_speed}
    if schedule.purge is not None:
        speeds.add(schedule.purge.speed)
    return tuple(
        SpeedFlow(
            speed,
            fixed.fan.at(round(200.0 * speed), fitted.flow_share),
            fixed.fan.at(round(200.0 * speed), share.low),
            fixed.fan.at(round(200.0 * speed), share.high),
            fixed.fan.at(round(200.0 * speed), 1.0),
        )
        for speed in sorted(speeds)
        if speed > 0.0
    )
