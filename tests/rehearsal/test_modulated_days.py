"""Days rehearsed under the modulating law: against fixed speeds, and with a tent known wrongly."""

from __future__ import annotations

import functools

import pytest
from rehearsal_builders import CHILLIES, span

from controller.config import Settings, settings_from_text
from controller.control.modulation import Modulation
from simulators.rehearsal.counts import QUANTITIES
from simulators.rehearsal.loop import RehearsalLoop, tick_rules
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.scene import set_scene

MODULATED = settings_from_text(CHILLIES).settings
FIXED = settings_from_text(CHILLIES + "overrides: {law: fixed}\n").settings
DAYS = 6
SEEDS = (1, 2, 3, 4, 5, 6)


def rehearsed(settings: Settings, seed: int, flow: float = 1.0, clogged: float = 1.0) -> Outcome:
    weather, start_s, until_s = span("coastal-city-2013-07", "2013-07-08", DAYS)
    scene, outcome = set_scene(settings, weather, start_s), Outcome(start_s, until_s)
    scene.fan.clog(clogged)
    rules = tick_rules(settings, 60.0)
    law = rules.modulation
    if isinstance(law, Modulation):
        drives = tuple(d._replace(flow_m3_s=flow * d.flow_m3_s) for d in law.drives)
        rules = rules._replace(modulation=law._replace(drives=drives))
    RehearsalLoop(
        settings, rules, scene, outcome, tick_s=60.0, seed=seed, targets=settings.targets
    ).run()
    return outcome


@functools.cache
def draws(settings: Settings) -> tuple[Outcome, ...]:
    return tuple(rehearsed(settings, seed) for seed in SEEDS)


def harm(outcome: Outcome) -> float:
    """K·h + 0.1 × %·h + 3 × kPa·h out of band."""
    strayed = [outcome.minutes(name) for name in QUANTITIES]
    weights = (1.0, 0.1, 0.003)
    return sum(w * (m.hours_below + m.hours_above) for w, m in zip(weights, strayed, strict=True))


def mean(values: list[float]) -> float:
    return sum(values) / len(values)


def test_a_hot_week_takes_less_power_for_hardly_more_harm_than_fixed_speeds() -> None:
    """In the hottest week there is; over a year it is less (tests/benches/laws.sh)."""
    modulated, fixed = draws(MODULATED), draws(FIXED)
    kwh = [mean([o.fan.energy_kwh for o in outcomes]) for outcomes in (modulated, fixed)]
    assert kwh[0] < 0.75 * kwh[1]
    assert mean([*map(harm, modulated)]) <= 1.02 * mean([*map(harm, fixed)])


def test_the_luck_of_the_sensors_hardly_decides_what_the_fan_draws() -> None:
    """Each draw within 15 % of their mean, and nearer to it by half than with fixed speeds."""

    def stray(outcomes: tuple[Outcome, ...]) -> float:
        kwh = [o.fan.energy_kwh for o in outcomes]
        return max(abs(value / mean(kwh) - 1.0) for value in kwh)

    assert stray(draws(MODULATED)) < 0.15
    assert stray(draws(FIXED)) > 2.0 * stray(draws(MODULATED))


@pytest.mark.parametrize("flow", [0.7, 1.3])
@pytest.mark.parametrize("clogged", [1.0, 4.0])
def test_a_fan_known_wrongly_or_a_clogged_filter_makes_no_limit_cycle(
    flow: float, clogged: float
) -> None:
    outcome = rehearsed(MODULATED, 1, flow, clogged)
    # Once a quarter of an hour at the very most; lamp, fan hours and stages of heat come on top.
    assert outcome.speed_changes / DAYS <= 30


def test_how_far_out_of_band_for_how_long_is_given_beside_the_minutes() -> None:
    outcome = draws(MODULATED)[0]
    made = outcome.to_json(None)
    above = made["excess"]["temperature"]["above_k_h"]
    assert above == pytest.approx(outcome.minutes("temperature").hours_above)
    assert made["excess"]["vpd"]["below_kpa_h"] == pytest.approx(
        outcome.minutes("vpd").hours_below / 1000.0
    )
    assert set(made["excess"]["humidity"]) == {"above_pct_h", "below_pct_h"}
    assert made["speed_changes"] == outcome.speed_changes > 0
