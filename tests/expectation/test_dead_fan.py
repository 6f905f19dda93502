"""Whether a dead fan shows in half an hour: said by `check` as the alarm itself would find it."""

from __future__ import annotations

import pytest
from tent_bodies import CONFIG, changed, random_tent

from controller.commands.check_dead_fan import (
    DeadFanInLight,
    dead_fan_in_light,
    dead_fan_words,
)
from controller.config import settings_from_text


def judged(text: str) -> tuple[DeadFanInLight | None, str]:
    settings = settings_from_text(text).settings
    dead = dead_fan_in_light(settings)
    return dead, dead_fan_words(settings, dead)


# Of the 20 tents of tests/benches/less_air.sh, within their doubts and bare some of them, two
# whose fan was not found dead within half an hour although it was commanded to run at day speed.
@pytest.mark.parametrize("seed", [12, 18])
def test_a_tent_whose_dead_fan_the_alarm_did_not_find_is_said_to_hide_it(seed: int) -> None:
    dead, words = judged(random_tent(seed))
    assert dead is not None
    assert not dead.bare.is_seen
    assert "with small or wilted plants you may not be told" in words
    assert "fan.tachometer" in words


# As many of those whose fan was found dead, with leaves of no area.
@pytest.mark.parametrize("seed", [3, 13])
def test_a_tent_whose_dead_fan_the_alarm_found_is_said_to_show_it(seed: int) -> None:
    dead, words = judged(random_tent(seed))
    assert dead is not None
    assert dead.bare.turning_k < dead.bare.called_above_k < dead.bare.dead_k
    assert "you are told within half an hour" in words


def test_a_fan_that_moves_next_to_nothing_is_never_missed() -> None:
    dead, words = judged(
        changed(
            ("free_flow: 190 m³/h", "free_flow: 3 m³/h"),
            ("filter: {pressure_drop: 80 Pa, flow: 190 m³/h}, ", ""),
        )
    )
    assert dead is not None
    assert not dead.planted.is_seen
    assert "light: you may not be told" in words


def test_a_fan_with_a_tachometer_needs_no_words() -> None:
    assert judged(changed(("power: 25 W", "power: 25 W, tachometer: {pin: 22}"))) == (None, "")


def test_without_an_intake_sensor_nothing_tells() -> None:
    dead, words = judged(changed(("  - {name: room, role: intake, driver: dht22, pin: 27}\n", "")))
    assert dead is None
    assert "nothing would tell. In the light an intake sensor could; a `fan.tachometer`" in words


def test_what_a_config_has_is_not_asked_of_it() -> None:
    """Only what is missing would tell; and in a tent that is never lit no air does."""
    bare_fan = ("free_flow: 190 m³/h, max_pressure: 250 Pa, ", "")
    dead, words = judged(changed(bare_fan))
    assert dead is None
    assert "In the light `fan.free_flow` could; a `fan.tachometer`" in words
    never = changed(('off: "22:00"', 'off: "06:00", same_means: never'))
    dead, words = judged(never)
    assert dead is None
    assert words.startswith("If the fan died, nothing would tell. A `fan.tachometer` or ")


def test_json_gives_the_rise_and_the_alarm_s_threshold() -> None:
    dead, _ = judged(CONFIG)
    assert dead is not None
    assert dead.as_json()["bare"] == {
        "rise_k": round(dead.bare.turning_k, 2),
        "rise_after_30_min_k": round(dead.bare.dead_k, 2),
        "called_above_k": round(dead.bare.called_above_k, 2),
        "noticed": dead.bare.is_seen,
    }
