"""What is learned of simulated tents, and what is refused."""

from __future__ import annotations

import json
from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest
from learning_records import CONFIG, TRUE, lived, off_the_config, usual, usually_learned
from tent_bodies import changed

from controller.config import Settings, settings_from_text
from controller.learning.course import course
from controller.learning.learn import CannotLearnError, UnlikelySensorsError, learn
from controller.learning.learned import learned_from_json
from controller.learning.learned_words import (
    as_text,
    headline,
    sentences,
    three_digits,
    unknown_words,
)
from controller.record import ReadingRow
from controller.tent_physics import TentPhysics

ROME = ZoneInfo("Europe/Rome")
# Of minutes: enough to learn from, and less to fit than all five.
THREE_DAYS = 3 * 1440


def test_a_tent_off_its_config_is_found_within_its_intervals() -> None:
    settings, _ = usual()
    learned = usually_learned()
    physics = TentPhysics.from_settings(settings)
    true = off_the_config(physics)
    expected = {
        "wall_w_per_k": true.wall_w_per_k,
        "contents_j_per_k": true.contents_capacity_j_k,
        "flow_share": 1.0,
        "transpiration_lit": TRUE["leaf_area_m2"],
    }
    for name, value in expected.items():
        parameter = learned.parameters[name]
        assert parameter.is_learned
        assert parameter.low <= value <= parameter.high
        assert parameter.value == pytest.approx(value, rel=0.15)
    assert learned.misfit.rms_k < 0.3 * learned.misfit_as_configured.rms_k
    assert learned.misfit.rms_pct < 0.3 * learned.misfit_as_configured.rms_pct


def test_what_was_learned_survives_json() -> None:
    learned = usually_learned()
    again = learned_from_json(json.loads(json.dumps(learned.as_json())))
    assert again is not None
    assert again.fitted == pytest.approx(learned.fitted, rel=1e-5)
    assert again.parameters["flow_share"].is_learned
    assert sentences(again, ROME, "si") == sentences(learned, ROME, "si")


@pytest.mark.parametrize("data", [None, [], {}, {"fit": 1}, {"from": "x", "fit": {}}])
def test_json_of_another_version_is_nothing_learned(data: object) -> None:
    assert learned_from_json(data) is None


def test_too_few_days_are_refused() -> None:
    settings, rows = usual()
    with pytest.raises(CannotLearnError, match=r"0\.5 days of readings can be used.*2 beyond"):
        learn(settings, rows[: 24 * 60])


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("  - {name: room, role: intake, driver: dht22, pin: 27}\n", "", "role: intake"),
        ("power: 150 W", "power: 0 W", r"lamp\.power is 0 W"),
        ("free_flow: 190 m³/h, max_pressure: 250 Pa, ", "", r"fan\.free_flow"),
    ],
)
def test_a_config_without_what_all_is_learned_against_is_refused(
    old: str, new: str, why: str
) -> None:
    _, rows = usual()
    settings = settings_from_text(changed((old, new), text=CONFIG)).settings
    with pytest.raises(CannotLearnError, match=why):
        learn(settings, rows)


def test_a_fan_that_never_changes_leaves_its_flow_unknown_and_says_what_to_do() -> None:
    always = changed(
        ("purge: {every: 2 h, length: 5 min, speed: 100 %}, night_speed: 0 %", "night_speed: 50 %"),
        text=CONFIG,
    )
    settings, rows = lived(always, days=3.0)
    assert len({row.fan_speed for row in rows[60:]}) == 1
    learned = learn(settings, rows)
    for name in ("flow_share", "wall_w_per_k", "leakage_m3_s"):
        assert not learned.parameters[name].is_learned
    assert "an hour at each of two speeds" in " ".join(unknown_words(learned))
    assert not any("The fan moves" in sentence for sentence in sentences(learned, ROME, "si"))


def test_a_lamp_that_is_never_dark_leaves_the_dark_hours_unknown() -> None:
    settings, rows = lived(changed(('off: "22:00"', 'off: "06:00"'), text=CONFIG), days=3.0)
    learned = learn(settings, rows)
    assert not learned.parameters["transpiration_dark"].is_learned
    assert "dark" in " ".join(unknown_words(learned))


def test_a_lamp_that_is_never_lit_is_refused() -> None:
    dark = changed(('off: "22:00"', 'off: "06:00", same_means: never'), text=CONFIG)
    settings, rows = lived(dark, days=4.0)
    with pytest.raises(CannotLearnError, match="never lit"):
        learn(settings, rows)


def cold_and_leafy(day_speed: str) -> str:
    """A big tent full of tomatoes whose fan moves little air while the lamp is lit."""
    return changed(
        ("day_speed: 50 %, purge: {every: 2 h, length: 5 min, speed: 100 %}, night_speed: 0 %",
         f"day_speed: {day_speed}, night_speed: 60 %"),
        ("pepper, plants: 4, stage: flowering", "tomato, plants: 12, stage: fruiting"),
        ("80 cm, depth: 80", "120 cm, depth: 120"),
        ("power: 150 W", "power: 400 W"),
        text=CONFIG,
    )  # fmt: skip


def test_days_with_water_on_the_fabric_are_not_blamed_on_anything() -> None:
    settings, rows = lived(cold_and_leafy("20 %"), days=4.0, room_c=4.0)
    assert max(row.tent_humidity_pct or 0.0 for row in rows) < 95.0  # the air is far from mist
    with pytest.raises(CannotLearnError, match="Water stood on the fabric for"):
        learn(settings, rows)


def test_a_tent_that_is_wet_now_and_then_is_learned_from_the_rest() -> None:
    settings, rows = lived(cold_and_leafy("40 %"), days=4.0, room_c=4.0)
    assert course(rows, TentPhysics.from_settings(settings)).wet > 200
    learned = learn(settings, rows)
    assert learned.misfit.rms_pct < 0.5
    for parameter in learned.parameters.values():
        assert parameter.low <= parameter.configured <= parameter.high


def test_a_second_lamp_with_other_hours_is_refused() -> None:
    settings, rows = lived(
        days=3.0, source=lambda hour, lit, pct: (70.0 if 10 <= hour < 15 else 0.0, 0.0)
    )
    with pytest.raises(
        CannotLearnError, match="no tent that the model knows explains the readings"
    ):
        learn(settings, rows)


def test_a_second_lamp_with_the_same_hours_is_refused_with_the_likelier_reason() -> None:
    settings, rows = lived(days=3.0, source=lambda hour, lit, pct: (100.0 * lit, 0.0))
    with pytest.raises(CannotLearnError, match=r"times the heat of lamp\.power"):
        learn(settings, rows)


def test_a_humidifier_with_a_humidistat_gives_wide_intervals_or_a_refusal() -> None:
    def humidifier(hour: float, lit: bool, pct: float) -> tuple[float, float]:
        return (-73.0, 3e-5) if pct < 60.0 else (0.0, 0.0)  # it takes its heat from the air

    settings, rows = lived(days=3.0, source=humidifier)
    _is_no_confident_lie(settings, rows)


def test_a_humidifier_that_runs_with_the_lamp_gives_wide_intervals_or_a_refusal() -> None:
    settings, rows = lived(days=3.0, source=lambda hour, lit, pct: (-49.0 * lit, 2e-5 * lit))
    _is_no_confident_lie(settings, rows)


def _is_no_confident_lie(settings: Settings, rows: list[ReadingRow]) -> None:
    """Of a tent that is as its config says but for what stands in it."""
    try:
        learned = learn(settings, rows)
    except CannotLearnError:
        return
    for name in ("flow_share", "wall_w_per_k", "contents_j_per_k", "leakage_m3_s"):
        parameter = learned.parameters[name]
        assert not parameter.is_learned or parameter.low <= parameter.configured <= parameter.high


def test_readings_shifted_by_a_sensor_are_blamed_on_the_sensor() -> None:
    settings, rows = usual()
    shifted = [
        replace(row, tent_temperature_c=row.tent_temperature_c + 0.4)
        for row in rows[-THREE_DAYS:]
        if row.tent_temperature_c is not None
    ]
    before, after = usually_learned(), learn(settings, shifted)
    more_k = after.fitted.difference_k - before.fitted.difference_k
    assert more_k == pytest.approx(0.4, abs=0.1)
    assert after.fitted.wall_w_per_k == pytest.approx(before.fitted.wall_w_per_k, rel=0.1)


def test_a_sensor_further_off_than_it_may_is_refused_with_the_tent_that_it_would_be() -> None:
    settings, rows = usual()
    with pytest.raises(UnlikelySensorsError, match="beyond what their data sheets admit") as error:
        learn(
            settings,
            [replace(row, tent_temperature_c=shifted_c(row)) for row in rows[-THREE_DAYS:]],
        )
    before = usually_learned().fitted.difference_k
    assert error.value.learned.fitted.difference_k - before == pytest.approx(1.5, abs=0.2)


def shifted_c(row: ReadingRow) -> float | None:
    return None if row.tent_temperature_c is None else row.tent_temperature_c + 1.5


def test_us_units_are_kept_throughout() -> None:
    shown = "\n".join(as_text(usually_learned(), ROME, "us", 100))
    assert "W/°F" in shown
    assert "kJ/°F" in shown
    assert "cfm" in shown
    assert "/K" not in shown


def test_the_first_line_names_what_is_not_as_configured_and_nothing_else() -> None:
    learned = usually_learned()
    assert headline(learned).startswith("Not as in the config: heat loss of the fabric")
    alike = {name: one._replace(configured=one.value) for name, one in learned.parameters.items()}
    assert headline(learned._replace(parameters=alike)).startswith("As in the config, as far as")
    drifted = {
        name: one._replace(configured=one.high + 1.0 if "difference" in name else one.value)
        for name, one in learned.parameters.items()
    }
    both = learned._replace(parameters=drifted)
    assert headline(both) == "Not as in the config: the sensors, which differ."
    sensors = [line for line in sentences(both, ROME, "si") if "In the same air" in line]
    assert len(sensors) == 1
    assert " K " in sensors[0]
    assert "of relative humidity" in sensors[0]


@pytest.mark.parametrize(
    ("value", "shown"), [(1.183, "1.18"), (98.64, "98.6"), (999.7, "1000"), (1184.0, "1180")]
)
def test_what_a_large_tent_holds_is_written_without_a_power_of_ten(
    value: float, shown: str
) -> None:
    assert three_digits(value) == shown
