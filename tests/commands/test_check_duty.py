"""A duty in the dark as `lungwort check` tells it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
from test_check import CONFIG

from controller.commands.check_brief import brief_text
from controller.commands.check_duty import duty_json, duty_words
from controller.commands.check_text import as_text
from controller.config import settings_from_text
from controller.timetable import Timetable

TENT = """\
tent: {width: 66 cm, depth: 84 cm, height: 132 cm}
place: {timezone: Europe/Rome}
lamp: {power: 120 W, photoperiod: {on: 20:00, off: 12:00}}
fan: {drive: relay, pin: 17, min_on: 5 min, min_off: 5 min}
schedule: {day_speed: 100 %, night_speed: 0 %}
sensors: [{name: leaves, role: tent, driver: hwmon, device: sht4x}]
targets: {heat_warning: 30 °C}
overrides: {dark_duty: {every: 30 min, length: 10 min}}
"""


@pytest.mark.parametrize("page", [as_text, brief_text])
def test_runs_rests_starts_and_what_goes_before_them_are_shown(page: Callable[..., str]) -> None:
    settings = settings_from_text(TENT).settings
    text = page(settings, Timetable.from_settings(settings), dt.date(2031, 7, 18), width=200)
    assert (
        "Dark duty too hot or too humid in the dark the fan runs 10 min and rests 20 min in turn, "
        "16 starts a day at most; from 28.5 °C on"
    ) in " ".join(text.replace("duty:", "duty").split())


def test_a_fan_that_runs_all_night_by_schedule_is_not_said_to_rest() -> None:
    settings = settings_from_text(TENT.replace("night_speed: 0 %", "night_speed: 100 %")).settings
    assert duty_words(settings).startswith("never rests the fan")


def test_the_json_has_it_in_seconds() -> None:
    settings = settings_from_text(TENT).settings
    assert duty_json(settings) == {"run_s": 600.0, "rest_s": 1200.0, "most_starts_per_day": 16}
    assert duty_json(settings_from_text(CONFIG).settings) is None
    assert duty_words(settings_from_text(CONFIG).settings) == ""
