"""Quiet hours in `lungwort check`, and what a config may not say about them."""

from __future__ import annotations

import datetime as dt

import pytest
from test_check import CONFIG

from controller.commands.check_quiet import quiet_json
from controller.commands.check_text import as_text
from controller.config import ConfigError, settings_from_text
from controller.timetable import Timetable

QUIET = CONFIG + "quiet: {from: 21:30, to: 06:00, speed: 30 %}\n"


def shown(text: str) -> str:
    settings = settings_from_text(text).settings
    whole = as_text(settings, Timetable.from_settings(settings), dt.date(2031, 7, 18), width=100)
    return " ".join(whole.split())


def test_the_hours_the_cap_its_level_and_what_goes_before_it_are_shown() -> None:
    text = shown(QUIET)
    assert (
        "Quiet from 21:30 to 06:00 the next day: fan at 30 % at most, some 26 dB below full" in text
    )
    assert "(by day: fan at 60 %, some 11 dB below full speed)" in text
    assert "From 25.2 °C on, near the heat warning" in text
    assert "Quiet" not in shown(CONFIG)


def test_the_json_has_speed_and_level() -> None:
    settings = settings_from_text(QUIET).settings
    assert quiet_json(settings) == {"speed": 0.3, "level_db": -26.1, "gives_way_above_c": 25.167}
    assert quiet_json(settings_from_text(CONFIG).settings) is None


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("to: 06:00", "to: 21:30", "quiet hours begin and end at 21:30"),
        ("speed: 30 %}", "speed: 130 %}", "130 %"),
        (", speed: 30 %}", "}", "speed"),
    ],
)
def test_what_cannot_be_is_refused(old: str, new: str, message: str) -> None:
    with pytest.raises(ConfigError, match=message):
        settings_from_text(QUIET.replace(old, new))


def test_a_relay_can_only_rest() -> None:
    relay = QUIET.replace("drive: pwm", "drive: relay").replace("min_speed: 25 %", "min_on: 2 min")
    for speed in ("60 %", "80 %", "90 %"):
        relay = relay.replace(f"speed: {speed}", "speed: 100 %")
    with pytest.raises(ConfigError, match="relay cannot run the fan at 30 %"):
        settings_from_text(relay)
    rests = settings_from_text(relay.replace("speed: 30 %}\n", "speed: 0 %}\n")).settings
    assert quiet_json(rests) == {"speed": 0.0, "level_db": None, "gives_way_above_c": 25.167}


def test_full_speed_is_no_quiet() -> None:
    loaded = settings_from_text(QUIET.replace("speed: 30 %}\n", "speed: 100 %}\n"))
    assert "change nothing" in "\n".join(map(str, loaded.warnings))
