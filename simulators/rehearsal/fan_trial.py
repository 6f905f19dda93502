"""The same days with more air: what a fan could do about a rehearsed tent's trouble."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from simulators.fan import Fan
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import rehearse
from simulators.rehearsal.scene import set_scene
from simulators.rehearsal.troubles import SMALL_SHARE, Trouble, troubles

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather

# A fan is too weak where more air takes away so much of what comes on top of its room's excess, and
# not what limits where it takes away next to nothing (engineering judgement, no source).
_SHARE_BY_FLOW, _NEXT_TO_NOTHING = 0.2, 0.05
# Fans tried, as multiples of the flow of the config's own.
FACTORS = (1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0)


class FanTrial(NamedTuple):
    """The same days with the fan always at full speed: this one, and one that is stronger.

    Attributes
    ----------
    flow_m3_s : float
        What this fan delivers at full speed, through its duct and filter [m³/s].
    full : Outcome
        With this fan.
    factor : float or None
        The least flow tried, as a multiple, that leaves hardly any trouble beyond the intake air's.
    stronger : Outcome
        With a fan of that factor, or of the largest tried.
    """

    flow_m3_s: float
    full: Outcome
    factor: float | None
    stronger: Outcome

    def judgement(self, trouble: Trouble) -> str:
        """Whether the fan is what limits; "" where more air helps, but little."""
        full = trouble.own_excess(self.full)
        taken_away = full - trouble.own_excess(self.stronger)
        if full < trouble.usual_excess or taken_away <= _NEXT_TO_NOTHING * full:
            return "not what limits the tent"
        return "too weak" if taken_away > _SHARE_BY_FLOW * full else ""


def is_enough(trouble: Trouble, outcome: Outcome) -> bool:
    """Whether hardly any trouble is left but what the intake air's own time accounts for."""
    return trouble.again(outcome) <= trouble.both_min + SMALL_SHARE * trouble.total_min


class _StrongerFan(Fan):
    """A fan that moves a multiple of the config's through the same rig, at the same W per m³/h."""

    def __init__(self, settings: Settings, density_kg_m3: float, factor: float) -> None:
        super().__init__(settings, density_kg_m3)
        self._factor = factor

    def flow_m3_s(self, speed: float) -> float:
        return self._factor * super().flow_m3_s(speed)

    def power_w(self, speed: float) -> float:
        return self._factor * super().power_w(speed)


def try_fans(
    settings: Settings,
    weather: Weather,
    outcome: Outcome,
    *,
    seed: int,
    full: Outcome | None = None,
    progress: Callable[[float], None] = lambda _done: None,
) -> FanTrial | None:
    """Rehearse the days of an outcome with more air, where that may help.

    Parameters
    ----------
    settings, weather, seed
        As for the outcome.
    outcome : Outcome
        Of the config.
    full : Outcome or None
        With the fan always at full speed, where that has been rehearsed already.
    progress : callable
        Told what share is done, 0–1.

    Returns
    -------
    FanTrial or None
        None where nothing is wrong that more air might help.
    """
    all_troubles = troubles(outcome)
    if not all_troubles or all_troubles[0].is_of_the_intake or all_troubles[0].side == "below":
        return None
    trouble = all_troubles[0]
    if trouble.quantity == "vpd":
        return None
    done = 0.0

    def run(factor: float) -> Outcome:
        nonlocal done
        scene = set_scene(settings, weather, outcome.start_s)
        fan = _StrongerFan(settings, scene.tent.physics.density_kg_m3, factor)
        tried = rehearse(
            settings,
            scene._replace(fan=fan),
            outcome.start_s,
            outcome.until_s,
            policy="always_on",
            seed=seed,
        )
        done += 0.2
        progress(min(1.0, done))
        return tried

    full = full or run(1.0)
    physics = set_scene(settings, weather, outcome.start_s).tent.physics
    flow = Fan(settings, physics.density_kg_m3).flow_m3_s(1.0)
    if is_enough(trouble, full) and not trouble.is_of_both:
        return FanTrial(flow, full, None, full)
    strongest = run(FACTORS[-1])
    if trouble.is_of_both or not is_enough(trouble, strongest):
        return FanTrial(flow, full, None, strongest)
    factor, best = FACTORS[-1], strongest
    low, high = 0, len(FACTORS) - 1
    while low < high:
        middle = (low + high) // 2
        tried = run(FACTORS[middle])
        if is_enough(trouble, tried):
            high, factor, best = middle, FACTORS[middle], tried
        else:
            low = middle + 1
    return FanTrial(flow, full, factor, best)
