"""Which row sets a speed that the modulating law chose."""

from __future__ import annotations

import pytest

from controller.config import settings_from_text
from controller.control import OVERRIDES, Rules
from controller.control.forecast import Outlook
from controller.control.modulation import HeatStage, SpeedChoice, SpeedRange
from controller.control.override_state import CALM, OverrideState, OverrideStates
from controller.control.thresholds import Wish
from controller.control.types import Rule
from controller.control.wish import speed_range, wished

BASE = Wish(0.5, Rule.SCHEDULE)
SPEEDS = (1.0,) * len(OVERRIDES)
AIR = Outlook(25.0, 60.0, 1200.0)


def choice(speed: float) -> SpeedChoice:
    between = SpeedRange(0.2, 0.5, 1.0)
    return SpeedChoice(0.0, speed, True, between, HeatStage.NONE, AIR, AIR, 0.0, 25.0)


def engaged(*rules: Rule, locked_out: bool = False) -> OverrideStates:
    return tuple(
        OverrideState(0.0, engaged=True, locked_out=locked_out) if kind.rule in rules else None
        for kind in OVERRIDES
    )


@pytest.mark.parametrize(
    ("overrides", "speed", "rule"),
    [
        (engaged(Rule.TOO_HOT), 0.8, Rule.TOO_HOT),
        (engaged(Rule.TOO_HUMID), 0.8, Rule.TOO_HUMID),
        (engaged(Rule.TOO_HOT, Rule.TOO_HUMID), 0.8, Rule.TOO_HOT),
        (engaged(Rule.TOO_HUMID, Rule.TOO_COLD), 0.8, Rule.TOO_HUMID),
        (engaged(Rule.TOO_HUMID, Rule.TOO_COLD), 0.3, Rule.TOO_COLD),
        (engaged(Rule.TOO_HOT, Rule.TOO_DRY), 0.3, Rule.SCHEDULE),  # hot air is dry: ignored
        (engaged(Rule.TOO_HOT), 0.5, Rule.SCHEDULE),  # just what the schedule asks for
        (engaged(Rule.TOO_HOT, Rule.TOO_COLD), 0.5, Rule.SCHEDULE),
        (engaged(Rule.TOO_HUMID, locked_out=True), 0.8, Rule.SCHEDULE),
    ],
)
def test_a_chosen_speed_is_set_by_the_highest_row_that_moves_it_that_way(
    overrides: OverrideStates, speed: float, rule: Rule
) -> None:
    assert wished(BASE, overrides, SPEEDS, choice(speed)) == Wish(speed, rule)


def test_without_a_choice_speeds_are_fixed() -> None:
    assert wished(BASE, engaged(Rule.TOO_HUMID), SPEEDS, None) == Wish(1.0, Rule.TOO_HUMID)


def test_a_schedule_that_asks_for_just_the_cap_of_quiet_hours_sets_the_speed() -> None:
    assert wished(BASE, CALM, SPEEDS, None, cap=BASE.speed) == BASE


CONFIG = """\
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Etc/UTC}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, min_speed: 10 %}
sensors: [{name: canopy, role: tent, driver: hwmon, device: sht4x}]
"""
HOT, HUMID, LOW_VPD, DEW_POINT, COLD, DRY, HIGH_VPD, STALE = range(8)


def asked(*indexes: int) -> OverrideStates:
    return tuple(OverrideState(0.0, engaged=True) if i in indexes else None for i in range(8))


@pytest.mark.parametrize(
    ("indexes", "expected"),
    [
        ((HUMID,), (0.5, 0.5, 0.7)),
        ((HOT,), (0.5, 0.5, 1.0)),
        ((HUMID, DRY), (0.3, 0.5, 0.7)),
        ((HUMID, LOW_VPD, HIGH_VPD), (0.4, 0.5, 0.8)),
        ((HUMID, COLD), (0.2, 0.5, 0.5)),  # a cold tent gets no more than scheduled,
        ((DEW_POINT, COLD), (0.2, 0.5, 0.9)),  # unless water threatens to stand on its walls
        ((HOT, COLD), (0.5, 0.5, 0.5)),  # heat is never answered by less than scheduled
        ((COLD,), None),
        ((), None),
    ],
)
def test_what_the_law_may_choose_from(
    indexes: tuple[int, ...], expected: tuple[float, float, float] | None
) -> None:
    rules = Rules.from_settings(settings_from_text(CONFIG).settings)
    rules = rules._replace(speeds=(1.0, 0.7, 0.8, 0.9, 0.2, 0.3, 0.4))
    assert speed_range(BASE, asked(*indexes), rules) == expected
