"""Learning a tent: from its config and its readings to what they tell, or to why they can't."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING

from controller.errors import UserError
from controller.learning.course import BLOCK_S, Course, course
from controller.learning.fan_flow import SPEED_STEPS, FanFlow
from controller.learning.identify import Estimate, Identified, identify
from controller.learning.learned import Learned, Parameter, SpeedFlow
from controller.learning.learned_words import TITLES
from controller.learning.model import Fixed
from controller.learning.parameters import NAMES, SCALES, TentParameters

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

# Sum of squares of thirteen standard normal variables that is passed once in a thousand
# (chi-square tables).
_LARGEST_STRAIN = 34.5

# Only ratios to the lamp's heat are seen. Five figures that are off by the same factor, alike to
# within the second number (on the logarithmic scale), are one that is off: the lamp's.
_SCALED_BY_LAMP = (
    "wall_w_per_k",
    "contents_j_per_k",
    "contents_w_per_k",
    "flow_share",
    "transpiration_lit",
)
_COMMON, _ALIKE = 0.2, 0.15

# The least change of the air change, over its mean, that shows what the fan moves.
_LEAST_VARIATION = 0.1

_EXERCISE = (
    "let the fan run for an hour at each of two speeds while the lamp is lit and for an hour while "
    "it is dark (lungwort hold)"
)


class CannotLearnError(UserError):
    """What the record can't tell; the message says why and what to do."""


class UnlikelySensorsError(CannotLearnError):
    """A tent like the model, if its sensors differ by more than their data sheets admit.

    Nothing goes by such a tent; but where the sensors agreed before, one of them may have drifted.

    Attributes
    ----------
    learned : Learned
        That tent.
    """

    def __init__(self, message: str, learned: Learned) -> None:
        super().__init__(message)
        self.learned = learned


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
    UnlikelySensorsError
        The tent is like the model only if its sensors are off.
    CannotLearnError
        The readings don't tell, or the tent isn't like the model.
    """
    fixed = fixed_of(settings)
    recorded = course(rows, fixed.physics)
    _refuse_too_little(recorded)
    fit = identify(fixed, recorded)
    _refuse_a_misfit(fit, settings)
    learned = _learned(settings, fixed, recorded, fit)
    _refuse_unlikely_sensors(fit, settings, learned)
    _refuse_another_tent(fit, settings)
    return learned


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


def _refuse_too_little(recorded: Course) -> None:
    if recorded.counted < _LEAST_BLOCKS:
        days = recorded.counted * BLOCK_S / 86_400.0
        wet_days = recorded.wet * BLOCK_S / 86_400.0
        wet = (
            f" Water stood on the fabric for {wet_days:.1f} days, as the readings have it, and the "
            "model knows nothing of that: drier air, or a warmer room, helps."
            if wet_days > 0.5 * days
            else ""
        )
        raise CannotLearnError(
            f"{days:.1f} days of readings can be used, and it takes {LEAST_DAYS - 1} beyond the "
            "first half-day, with tent and intake sensor in order, no pause of half an hour and a "
            "tent that is not dangerously hot; "
            f"ask again when the record is longer, or for more of it with --days.{wet}"
        )
    if _lit_share(recorded) < 0.02:
        raise CannotLearnError(
            "the lamp was never lit in this time, and its heat is what everything else is learned "
            "against; ask again after some lit days"
        )


def _refuse_a_misfit(fit: Identified, settings: Settings) -> None:
    from controller import display

    units = settings.units
    misfit = fit.learned
    if misfit.rms_k > _WORST_K or misfit.rms_pct > _WORST_PCT:
        raise CannotLearnError(
            "no tent that the model knows explains the readings: the closest is off by "
            f"{display.temperature_difference(misfit.rms_k, units)} and "
            f"{misfit.rms_pct:.1f} % (root mean square), where a sensor's noise would leave a "
            "tenth of it. Most often something heats, cools, moistens or airs the tent that the "
            "config does not know: another lamp, a heater, a humidifier, a door left open, a lamp "
            "with other hours. Put it into the config, or take it out of the tent for a week. "
            "Water that stands in the tent, or a fan that changes its air within seconds, is "
            "beyond the model as well"
        )


def _refuse_another_tent(fit: Identified, settings: Settings) -> None:
    times = _common_factor(fit)
    if times is not None:
        raise CannotLearnError(
            f"heat loss, contents, flow and plants all come out about {times:.2f} times as "
            "configured, and one wrong figure is likelier than so many: the lamp, with whatever "
            f"else is lit with it, gives about {1.0 / times:.2f} times the heat of lamp.power. "
            "Measure it with a plug meter, and give what it shows"
        )
    if fit.strain > _LARGEST_STRAIN:
        raise CannotLearnError(
            "the readings could only come from a tent very unlike the config: "
            f"{_furthest(fit, settings)}. Check lamp.power (a second lamp?), the tent's "
            "measures and the fan's figures first; a plug meter tells what the lamp draws"
        )


def _refuse_unlikely_sensors(fit: Identified, settings: Settings, learned: Learned) -> None:
    from controller import display
    from controller.sensors.data_sheets import profile_of

    profiles = [profile_of(sensor) for sensor in settings.sensors]
    allowed_k = math.hypot(*_accuracies([p.accuracy_k for p in profiles]))
    allowed_pct = math.hypot(*_accuracies([p.accuracy_pct for p in profiles]))
    off_k, off_pct = fit.parameters.difference_k, fit.parameters.difference_pct
    surely_k, surely_pct = (
        _least_magnitude(fit.estimates[name]) for name in ("difference_k", "difference_pct")
    )
    if surely_k <= allowed_k and surely_pct <= allowed_pct:
        return
    why = (
        "the readings could only come from a tent of this config if its sensor read "
        f"{display.temperature_difference(off_k, settings.units)} and {off_pct:.1f} % more than "
        "the intake's in the same air, beyond what their data sheets admit. Hang both side by "
        "side for an hour; if they agree, something heats, cools, moistens or dries the tent that "
        "the config doesn't know"
    )
    of_sensors = sum(
        (off / SCALES[name].spread) ** 2
        for name, off in (("difference_k", off_k), ("difference_pct", off_pct))
    )
    if _common_factor(fit) is not None or fit.strain - of_sensors > _LARGEST_STRAIN:
        raise CannotLearnError(why)  # the tent isn't like the model in other things, too
    raise UnlikelySensorsError(why, learned)


def _least_magnitude(estimate: Estimate) -> float:
    """How far from nothing it is at least, by its interval."""
    if estimate.low <= 0.0 <= estimate.high:
        return 0.0
    return min(abs(estimate.low), abs(estimate.high))


def _accuracies(of_sensors: list[float]) -> tuple[float, float]:
    """Those of the two places, as if each hung there alone: the worst."""
    return max(of_sensors), max(of_sensors)


def _common_factor(fit: Identified) -> float | None:
    """The factor by which all that is scaled by the lamp's heat is off, if it is the same one."""
    logs = [
        math.log(fit.estimates[name].value / fit.estimates[name].configured)
        for name in _SCALED_BY_LAMP
        if fit.estimates[name].configured > 0.0
    ]
    mean = sum(logs) / len(logs)
    spread = math.sqrt(sum((log - mean) ** 2 for log in logs) / len(logs))
    return math.exp(mean) if abs(mean) > _COMMON and spread < _ALIKE else None


def _furthest(fit: Identified, settings: Settings) -> str:
    from controller import display

    def times(name: str) -> float:
        estimate = fit.estimates[name]
        return estimate.value / estimate.configured if estimate.configured else 1.0

    factors = {name: times(name) for name in NAMES if name in TITLES}
    worst = max(factors, key=lambda name: abs(_log(factors[name]) / SCALES[name].spread))
    walls_k = fit.parameters.walls_k
    if abs(walls_k) / SCALES["walls_k"].spread > abs(_log(factors[worst]) / SCALES[worst].spread):
        way = "warmer" if walls_k > 0.0 else "colder"
        off = display.temperature_difference(abs(walls_k), settings.units)
        return f"what surrounds it would be {off} {way} than the air that it draws in"
    title = TITLES[worst]
    return f"{title[0].lower()}{title[1:]} would be {factors[worst]:.2g} times what is configured"


def _log(value: float) -> float:
    return math.log(max(value, 1e-6))


def _lit_share(recorded: Course) -> float:
    lit = sum(step.lit * step.length_s for block in recorded.blocks() for step in block.steps)
    whole = sum(step.length_s for block in recorded.blocks() for step in block.steps)
    return lit / whole


def _air_varies(fixed: Fixed, recorded: Course) -> bool:
    """Whether the air change varied enough, from hour to hour, to tell what the fan moves."""
    flows = [
        sum(step.on * step.length_s * fixed.fan.at(step.speed_step, 1.0) for step in block.steps)
        / sum(step.length_s for step in block.steps)
        for block in recorded.blocks()
    ]
    hours = [sum(flows[i : i + 12]) / 12.0 for i in range(0, len(flows) - 11, 12)]
    mean = sum(hours) / len(hours)
    if mean <= 0.0:
        return False
    spread = (sum((flow - mean) ** 2 for flow in hours) / len(hours)) ** 0.5
    return bool(spread > _LEAST_VARIATION * mean)


def _unknown(fixed: Fixed, recorded: Course, fit: Identified) -> dict[str, str]:
    """What is not told, by name, with what to do."""
    why_not = {}
    if not _air_varies(fixed, recorded):
        for name in ("wall_w_per_k", "flow_share", "leakage_m3_s"):
            why_not[name] = f"the fan never changed its speed for long: {_EXERCISE}"
    if _lit_share(recorded) > 0.98:
        for name in ("lamp_to_contents", "contents_j_per_k", "transpiration_dark"):
            why_not[name] = "the lamp was never dark: give it some dark hours"
    for name, estimate in fit.estimates.items():
        if estimate.prior_share > _WIDEST_SHARE and name not in why_not:
            why_not[name] = _ADVICE.get(name, "more days, of different weather, may tell")
    return why_not


_ADVICE = {
    "wall_w_per_k": f"air and fabric can't be separated: {_EXERCISE}",
    "flow_share": f"air and fabric can't be separated: {_EXERCISE}",
    "leakage_m3_s": "the fan hardly rested: let it rest for an hour while the lamp is dark",
    "transpiration_dark": "hardly anything evaporates in the dark hours",
}


def _learned(settings: Settings, fixed: Fixed, recorded: Course, fit: Identified) -> Learned:
    why_not = _unknown(fixed, recorded, fit)
    parameters = {
        name: Parameter(
            estimate.value,
            estimate.low,
            estimate.high,
            estimate.configured,
            why_not.get(name),
        )
        for name, estimate in fit.estimates.items()
        if name in TITLES
    }
    blocks = list(recorded.blocks())
    first = blocks[0]
    return Learned(
        from_s=first.at_s - sum(step.length_s for step in first.steps),
        until_s=blocks[-1].at_s,
        days=fit.days,
        means=recorded.counted,
        lamp_w=settings.lamp.power_w,
        fitted=fit.parameters,
        parameters=parameters,
        misfit=fit.learned,
        misfit_as_configured=fit.as_configured,
        resistance=fixed.fan.resistance(fit.parameters.flow_share),
        flow=_flows(settings, fixed, fit.parameters, parameters["flow_share"]),
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
            fixed.fan.at(round(SPEED_STEPS * speed), fitted.flow_share),
            fixed.fan.at(round(SPEED_STEPS * speed), share.low),
            fixed.fan.at(round(SPEED_STEPS * speed), share.high),
            fixed.fan.at(round(SPEED_STEPS * speed), 1.0),
        )
        for speed in sorted(speeds)
        if speed > 0.0
    )
