"""Which row sets a speed that the modulating law chose."""

from __future__ import annotations

import pytest

from controller.control import OVERRIDES
from controller.control.decide import Wish, wished
from controller.control.forecast import Outlook
from controller.control.modulation import HeatStage, SpeedChoice, SpeedRange
from controller.control.override_state import OverrideState, OverrideStates
from controller.control.types import Rule

BASE = Wish(0.5, Rule.SCHEDULE)
SPEEDS = (1.0,) * len(OVERRIDES)
AIR = Outlook(25.0, 60.0, 1200.0)


def choice(speed: float) -> SpeedChoice:
    between = SpeedRange(0.2, 0.5, 1.0)
    return SpeedChoice(0.0, speed, True, between, HeatStage.NONE, AIR, AIR, 0.0)


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
        (engaged(Rule.TOO_HUMID, locked_out=True), 0.8, Rule.SCHEDULE),
    ],
)
def test_a_chosen_speed_is_set_by_the_highest_row_that_moves_it_that_way(
    overrides: OverrideStates, speed: float, rule: Rule
) -> None:
    assert wished(BASE, overrides, SPEEDS, choice(speed)) == Wish(speed, rule)


def test_without_a_choice_speeds_are_fixed() -> None:
    assert wished(BASE, engaged(Rule.TOO_HUMID), SPEEDS, None) == Wish(1.0, Rule.TOO_HUMID)
