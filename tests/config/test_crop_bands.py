"""The bands that hold where a config gives none: those of its crop, at its stage."""

from __future__ import annotations

import json
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from settings_texts import GOOD, good, load

from controller.commands.check_bands import bands_json, bands_words, given_bands
from controller.config import ConfigError, Settings, child, crop_bands
from controller.config.load import load as load_file
from controller.config.sections.room import Crop, Stage
from controller.wording import heat_effect

KINDS = get_args(get_type_hints(Crop)["kind"])
STAGES = (*get_args(Stage), None)


def settings(**sections: str) -> Settings:
    return load(good(**sections)).settings


def grown(kind: str, stage: str | None) -> Settings:
    return settings(crop=f"{{leaf_area: 1 m², kind: {kind}, stage: {stage or 'none'}}}")


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("stage", STAGES)
def test_every_crop_has_bands_that_pass_the_checks_without_a_warning(
    kind: str, stage: str | None
) -> None:
    assert (
        load(good(crop=f"{{leaf_area: 1 m², kind: {kind}, stage: {stage or 'none'}}}")).warnings
        == ()
    )


def test_every_kind_of_crop_is_in_the_table() -> None:
    assert set(crop_bands._TEMPERATURES) == set(KINDS)
    assert crop_bands.FRUITING_CROPS | crop_bands.LEAF_CROPS | {"other"} == set(KINDS)
    assert not crop_bands.FRUITING_CROPS & crop_bands.LEAF_CROPS


def test_a_lettuce_is_kept_as_cornells_handbook_has_it() -> None:
    # Brechner & Both, Hydroponic Lettuce Handbook, Cornell CEA (from memory): 24 °C by day, 19 °C
    # by night, 50 to 70 % relative humidity.
    day, night = (
        grown("lettuce", "vegetative").targets.day,
        settings(crop="{leaf_area: 1 m², kind: lettuce}").targets.night,
    )
    assert day.temperature_c.high == 24.0
    assert tuple(day.humidity_pct) == (50.0, 70.0)
    assert night.temperature_c.low < 19.0 < night.temperature_c.high


def test_basil_is_kept_warm() -> None:
    # Chilled below 10 to 12 °C, fastest near 30 °C (Walters & Currey 2019, from memory).
    targets = grown("basil", None).targets
    assert targets.night.temperature_c.low > 12.0
    assert targets.day.temperature_c.high < targets.heat_warning_c <= 30.0


def test_seedlings_are_kept_moister_than_plants_in_flower() -> None:
    young, old = grown("pepper", "seedling").targets.day, grown("pepper", "flowering").targets.day
    assert young.humidity_pct.low > old.humidity_pct.low
    assert young.vpd_pa.high < old.vpd_pa.high
    assert young.temperature_c == old.temperature_c


@pytest.mark.parametrize(
    "crop", ["none", "{leaf_area: 1 m²}", "{plants: 4, kind: pepper, stage: fruiting}"]
)
def test_without_a_crop_that_is_known_the_bands_are_those_of_fruiting_crops(crop: str) -> None:
    assert settings(crop=crop).targets == load(GOOD).settings.targets


def test_what_the_config_gives_is_kept() -> None:
    targets = settings(
        crop="{leaf_area: 1 m², kind: basil, stage: seedling}",
        targets="{day: {temperature: [19 °C, 23 °C]}, heat_warning: 28 °C}",
    ).targets
    assert tuple(targets.day.temperature_c) == (19.0, 23.0)
    assert targets.heat_warning_c == 28.0
    assert targets.day.humidity_pct == grown("basil", "seedling").targets.day.humidity_pct
    assert targets.night == grown("basil", "seedling").targets.night
    assert targets.dew_point_margin_k == 1.0


def test_a_fahrenheit_band_of_the_table_does_not_choose_the_units_shown() -> None:
    assert settings(crop="{leaf_area: 1 m², kind: pepper}").units == "si"


@pytest.mark.parametrize(
    ("crop", "targets", "place"),
    [
        ("{leaf_area: 1 m², kind: peper}", "{}", "`crop.kind`"),
        ("{leaf_area: 1 m², kind: [basil]}", "{}", "`crop.kind`"),
        ("{leaf_area: 1 m², kind: basil, stage: {}}", "{}", "`crop.stage`"),
        ("{leaf_area: 1 m², kind: basil}", "[]", "`targets`"),
        ("{leaf_area: 1 m², kind: basil}", "{day: warm}", "`targets.day`"),
        ("basil", "{}", "`crop`"),
    ],
)
def test_a_mistake_in_crop_or_targets_is_reported_at_its_place(
    crop: str, targets: str, place: str
) -> None:
    with pytest.raises(ConfigError) as caught:
        load(good(crop=crop, targets=targets))
    assert [problem.message.partition(":")[0] for problem in caught.value.problems] == [place]


def test_the_daemon_gets_the_same_bands_from_its_child(tmp_path: Path) -> None:
    path = tmp_path / "basil.yaml"
    path.write_text(good(crop="{leaf_area: 1 m², kind: basil, stage: seedling}"), encoding="utf-8")
    answered = child.parse_answer(child.answer(path, "basil.yaml"))
    assert answered.settings == load_file(path).settings
    assert answered.settings.targets.day.temperature_c.high == 27.0


def words(text: str) -> list[str]:
    return bands_words(load(text).settings, given_bands(text))


def test_check_says_that_all_bands_are_the_crops() -> None:
    assert words(good(crop="{leaf_area: 1 m², kind: basil, stage: seedling}")) == [
        "Bands, the default of basil, seedling",
        "  day    20.0 to 27.0 °C  55 to 80 %  VPD 0.40 to 1.20 kPa",
        "  night  18.0 to 24.0 °C  55 to 80 %  VPD 0.30 to 1.20 kPa",
    ]


def test_check_marks_the_bands_that_are_given() -> None:
    text = good(
        crop="{leaf_area: 1 m², kind: herbs}",
        targets="{night: {humidity: [50 %, 75 %], vpd: none}}",
    )
    assert words(text) == [
        "Bands, the default of herbs; a star: given in the config",
        "  day    18.0 to 24.0 °C  45 to 75 %   VPD 0.50 to 1.40 kPa",
        "  night  14.0 to 21.0 °C  50 to 75 %*  VPD 0.30 to 1.40 kPa",
    ]


def test_check_says_when_every_band_is_given() -> None:
    bands = "{temperature: [20 °C, 24 °C], humidity: [50 %, 70 %], vpd: [0.6 kPa, 1.4 kPa]}"
    text = good(crop="{leaf_area: 1 m², kind: basil}", targets=f"{{day: {bands}, night: {bands}}}")
    assert words(text)[0] == "Bands, all given in the config"


@pytest.mark.parametrize(
    ("crop", "head"),
    [
        ("none", "Bands, the default of fruiting crops, as no crop is named"),
        (
            "{leaf_area: 1 m², stage: seedling}",
            "Bands, the default of a crop that is not known, seedling",
        ),
    ],
)
def test_check_says_where_no_crop_is_named(crop: str, head: str) -> None:
    assert words(good(crop=crop))[0] == head


def test_the_json_form_gives_si_and_who_gave_it() -> None:
    text = good(crop="{leaf_area: 1 m², kind: basil}", targets="{day: {vpd: [0.6 kPa, 1.2 kPa]}}")
    made = json.loads(json.dumps(bands_json(load(text).settings, given_bands(text))))
    assert made["day"]["vpd_pa"] == {"low": 600.0, "high": 1200.0, "given": True}
    assert made["night"]["temperature_c"] == {"low": 18.0, "high": 24.0, "given": False}


@pytest.mark.parametrize(
    ("kind", "stage", "effect"),
    [
        *((kind, stage, "") for kind in sorted(crop_bands.LEAF_CROPS) for stage in STAGES),
        *((kind, stage, "") for kind in KINDS for stage in ("seedling", "vegetative")),
        ("pepper", "fruiting", "flowers begin to drop"),
        ("tomato", None, "flowers begin to drop"),
        ("other", "flowering", "a fruiting crop begins to drop its flowers"),
    ],
)
def test_flowers_are_said_to_drop_of_crops_in_flower_alone(
    kind: str, stage: str | None, effect: str
) -> None:
    assert heat_effect(grown(kind, stage)) == effect
    assert heat_effect(grown(kind, stage), 31.0) == effect


def test_in_severe_heat_flowers_do_not_only_begin_to_drop() -> None:
    assert heat_effect(grown("pepper", "fruiting"), 44.7) == "flowers drop and pollination fails"
    assert heat_effect(grown("basil", None), 44.7) == ""


def test_heat_that_can_start_a_fire_is_no_matter_of_flowers() -> None:
    assert "catch fire" in heat_effect(grown("pepper", "fruiting"), 61.0)
    assert "catch fire" in heat_effect(grown("basil", None), 61.0)


def test_no_flower_is_said_to_drop_below_the_temperature_at_which_they_do() -> None:
    made = settings(crop="{leaf_area: 1 m², kind: pepper}", targets="{heat_warning: 79 °F}")
    assert heat_effect(made) == ""
