"""What modulated speeds brought while an override was engaged, and what they cost, by the record.

What the readings show is what came of the speeds that were run; what would have come of others can
only be simulated. So the tent runs through the override three times, in the recorded intake air:
at the speeds that were run, at the scheduled ones and at the override's own. The first is held
against what was observed, and where the two don't agree nothing is said.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple

from controller import air
from controller.control import Now, Rules
from controller.control.actuator import motor_speed
from controller.control.quiet import base_wish, most_speed, step_near_warning
from controller.quiet_hours import QuietHours
from controller.review.overrides import Override
from controller.review.source import RecordSource

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.control.modulation import Modulation
    from controller.tent_physics import TentPhysics
    from simulators.fan import Fan
    from simulators.learned_tent import ModelledTent
    from simulators.tent import Tent

# Longer periods take longer than a reader waits for.
_LONGEST_DAYS = 14
_STEP_S = 300
# A run begins so long before the override, for what the tent's contents keep of the hours before.
_BEFORE_S = 3 * 3600
# A mean speed by so much above the quiet one was not held to it.
_ABOVE_QUIET = 0.01
# Shorter overrides are over before their speeds show, and longer gaps leave too much open [steps].
_LEAST_STEPS, _MOST_MISSING = 6, 3
# A simulation that is off by more, on average, does not fit the tent [K, %, Pa] (engineering
# judgement, no source); for temperature no less than what the sensors may err by.
_FITS = {"temperature": 0.5, "humidity": 5.0, "vpd": 150.0}

_COLUMNS = {
    "at_ms": "max(at_ms)",
    "known_s": "sum(interval_s)",
    "tent_c": "avg(tent_temperature_c)",
    "tent_pct": "avg(tent_humidity_pct)",
    "tent_vpd_pa": "avg(tent_vpd_pa)",
    "intake_c": "avg(intake_temperature_c)",
    "intake_pct": "avg(intake_humidity_pct)",
    "speed": "avg(fan_speed)",
    "lit_s": "sum(lamp_on_s)",
    "in_fan_hours": "max(in_fan_hours)",
    "deciding": "avg(rule IN (?4, 'quiet'))",
}
_MEANS = """
FROM readings
WHERE at_ms > ?1 AND at_ms <= ?2
GROUP BY (at_ms - 1 - ?1) / ?3 ORDER BY 1
"""


class SpeedEffect(NamedTuple):
    """What an override's modulated speeds brought, beside the scheduled speed and its own.

    Attributes
    ----------
    energy_kwh, scheduled_kwh, fastest_kwh : float
        What the fan drew while the override set its speed, and would have at the scheduled speed
        and at the fastest that the override allows [kWh].
    fastest : float
        That speed, 0–1.
    modelled, observed : float
        The quantity at the speeds that were run, as simulated and as observed; means over the time
        in which the override set the speed, in the quantity's unit.
    at_scheduled, at_fastest : float
        As simulated likewise at the other two.
    """

    energy_kwh: float
    scheduled_kwh: float
    fastest_kwh: float
    fastest: float
    modelled: float
    observed: float
    at_scheduled: float
    at_fastest: float


class _Mean(NamedTuple):
    """Means over five minutes; see `_COLUMNS`."""

    at_ms: int
    known_s: float
    tent_c: float | None
    tent_pct: float | None
    tent_vpd_pa: float | None
    intake_c: float | None
    intake_pct: float | None
    speed: float
    lit_s: float
    in_fan_hours: int
    deciding: float

    @property
    def is_whole(self) -> bool:
        """Whether nothing of it is missing."""
        known = (self.tent_c, self.tent_pct, self.tent_vpd_pa, self.intake_c, self.intake_pct)
        return None not in known

    @property
    def is_lit(self) -> bool:
        """Whether the lamp was lit for most of it."""
        return self.lit_s > 0.5 * self.known_s

    def observed(self, quantity: str) -> float:
        """What the sensors read."""
        values = {"temperature": self.tent_c, "humidity": self.tent_pct, "vpd": self.tent_vpd_pa}
        value = values[quantity]
        assert value is not None, "a whole mean"
        return value


class _Law(NamedTuple):
    """A config's modulating law, with its rules and the tent that it is of."""

    modulation: Modulation
    rules: Rules
    settings: Settings
    quiet_hours: QuietHours
    physics: TentPhysics
    fan: Fan

    @classmethod
    def of_settings(cls, settings: Settings, model: ModelledTent) -> _Law | None:
        """None where speeds are fixed."""
        rules = Rules.from_settings(settings)
        if rules.modulation is None:
            return None
        quiet_hours = QuietHours.from_settings(settings)
        return cls(rules.modulation, rules, settings, quiet_hours, *model.build(settings))

    def now(self, mean: _Mean) -> Now:
        """Its middle, purges left out."""
        at_s = mean.at_ms / 1000.0 - 0.5 * _STEP_S
        is_quiet = self.quiet_hours.state(at_s).is_quiet
        return Now(at_s, mean.is_lit, bool(mean.in_fan_hours), is_quiet=is_quiet)

    def most(self, mean: _Mean) -> float:
        """The most that quiet hours allowed; heat near the warning goes before them."""
        now = self.now(mean)
        was_above = mean.speed > most_speed(now, self.rules, is_overruled=False) + _ABOVE_QUIET
        assert mean.tent_c is not None, "a whole mean"
        is_overruled = step_near_warning(was_above, mean.tent_c, self.rules)
        return most_speed(now, self.rules, is_overruled=is_overruled)

    def chooses(self, mean: _Mean) -> bool:
        """Whether the law, within what quiet hours allowed, chose the speed for most of it."""
        return mean.deciding > 0.5 and mean.speed <= self.most(mean) + _ABOVE_QUIET

    def scheduled(self, mean: _Mean) -> float:
        """The scheduled speed, purges left out; what the law did not choose stays."""
        if not self.chooses(mean):
            return mean.speed
        wish = base_wish(self.now(mean), self.rules, self.most(mean))
        return motor_speed(wish.speed, self.rules)

    def fastest(self, mean: _Mean, quantity: str) -> float:
        """The speed of the override on a quantity."""
        if not self.chooses(mean):
            return mean.speed
        own = getattr(self.settings.overrides, quantity).speed
        return max(self.scheduled(mean), motor_speed(min(own, self.most(mean)), self.rules))


def with_speed_effects(source: RecordSource, overrides: Sequence[Override]) -> list[Override]:
    """The overrides with what their speeds brought, where the record tells."""
    if len(source.period.days) > _LONGEST_DAYS:
        return list(overrides)
    laws: dict[int | None, _Law | None] = {}
    return [
        override._replace(speed_effect=_effect(source, override, laws)) for override in overrides
    ]


def _effect(
    source: RecordSource, override: Override, laws: dict[int | None, _Law | None]
) -> SpeedEffect | None:
    if override.rule not in ("too_hot", "too_humid") or override.quantity not in _FITS:
        return None
    if (override.deciding_minutes + override.quiet_minutes) * 60.0 < _LEAST_STEPS * _STEP_S:
        return None
    law = _law_of(source, override, laws)
    if law is None:
        return None
    start_ms = round(override.start_ms) - 1000 * _BEFORE_S
    span = (start_ms, round(override.end_ms), 1000 * _STEP_S, override.rule)
    rows = (_Mean(**row) for row in source.select(_COLUMNS, _MEANS, *span))
    means = [mean for mean in rows if mean.is_whole]
    decided = [mean for mean in means if mean.at_ms > override.start_ms and law.chooses(mean)]
    steps = (span[1] - start_ms) // (1000 * _STEP_S)
    if len(decided) < _LEAST_STEPS or steps - len(means) > _MOST_MISSING:
        return None
    quantity, count = override.quantity, len(decided)
    modelled = _run(law, means, override, lambda mean: mean.speed)
    observed = sum(mean.observed(quantity) for mean in decided) / count
    fits = _FITS[quantity]
    if quantity == "temperature":
        fits = max(fits, law.modulation.doubt_k)
    if abs(modelled - observed) > fits:
        return None

    def kwh(speed: Callable[[_Mean], float]) -> float:
        return sum(law.fan.power_w(speed(mean)) * mean.known_s for mean in decided) / 3.6e6

    def fastest(mean: _Mean) -> float:
        return law.fastest(mean, quantity)

    return SpeedEffect(
        kwh(lambda mean: mean.speed),
        kwh(law.scheduled),
        kwh(fastest),
        max(map(fastest, decided)),
        modelled,
        observed,
        _run(law, means, override, law.scheduled),
        _run(law, means, override, fastest),
    )


def _law_of(
    source: RecordSource, override: Override, laws: dict[int | None, _Law | None]
) -> _Law | None:
    from simulators.learned_tent import recorded_model

    ((first, last),) = source.rows(
        "SELECT min(config_id), max(config_id) FROM readings WHERE at_ms > ? AND at_ms <= ?",
        round(override.start_ms),
        round(override.end_ms),
    )
    if first != last:
        return None
    if last not in laws:
        settings = source.terms.in_force(last).settings
        model = recorded_model(source.reader, settings, source.period.end_ms)
        laws[last] = _Law.of_settings(settings, model)
    return laws[last]


def _run(
    law: _Law, means: Sequence[_Mean], override: Override, speed: Callable[[_Mean], float]
) -> float:
    """Simulate the override at some speeds, and give its quantity's mean.

    Until it engages the fan runs as it ran.
    """
    from simulators.tent import Tent

    first = means[0]
    assert first.tent_c is not None and first.tent_pct is not None
    pressure_pa = law.physics.pressure_pa
    ratio = air.humidity_ratio(first.tent_c, first.tent_pct, pressure_pa)
    tent = Tent(law.physics, first.tent_c, ratio)
    total, count = 0.0, 0
    for mean in means:
        is_engaged = mean.at_ms > override.start_ms
        at = speed(mean) if is_engaged else mean.speed
        intake_c, intake_pct = mean.intake_c, mean.intake_pct
        assert intake_c is not None and intake_pct is not None
        intake_ratio = air.humidity_ratio(intake_c, intake_pct, pressure_pa)
        drive = law.fan.flow_m3_s(at), mean.is_lit
        tent.advance(*drive, _STEP_S, intake_c, intake_c, intake_ratio, law.fan.heat_w(at))
        if is_engaged and law.chooses(mean):
            total += _value(tent, override.quantity)
            count += 1
    return total / count


def _value(tent: Tent, quantity: str) -> float:
    if quantity == "temperature":
        return tent.air_c
    return tent.humidity_pct if quantity == "humidity" else tent.saturation_pa - tent.vapour_pa
