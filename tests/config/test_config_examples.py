"""The shipped configs: right, complete, and about the scenario they say."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_origin

import pytest
from settings_texts import load

from controller.config import Settings, load_settings
from controller.config.lookup import bare, fields
from controller.config.section import Section
from controller.config.yaml_parser import read
from controller.config.yaml_tree import Mapping, Node, Sequence

CONFIG = Path(__file__).parents[2] / "config"
ALL_KEYS = (CONFIG / "all-keys.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize("path", sorted(CONFIG.glob("*.yaml")), ids=lambda path: path.stem)
def test_every_example_loads_without_a_warning(path: Path) -> None:
    assert load_settings(path).warnings == ()


def test_the_readmes_config_loads_without_a_warning() -> None:
    readme = (CONFIG.parent / "README.md").read_text(encoding="utf-8")
    (text,) = re.findall(r"```yaml\n(.*?)```", readme, re.DOTALL)
    assert load(text).warnings == ()


@pytest.mark.parametrize("name", ["chillies", "basil"])
def test_the_tents_are_marked_as_invented(name: str) -> None:
    assert "invented example" in (CONFIG / f"{name}.yaml").read_text(encoding="utf-8")


def test_the_chillies_grow_in_us_units() -> None:
    settings = load_settings(CONFIG / "chillies.yaml").settings
    assert settings.units == "us"
    assert settings.place.timezone == "America/New_York"
    assert settings.tent.volume_m3 == pytest.approx(0.8636**2 * 1.778)
    assert settings.fan.resolved_frequency_hz == 25_000.0
    # NIST SP 811: 1 cfm = 4.719474e-4 m³/s, 1 inH2O = 249.0889 Pa.
    assert settings.fan.free_flow_m3_s == pytest.approx(110 * 4.719474e-4, rel=1e-6)
    assert settings.fan.max_pressure_pa == pytest.approx(1.2 * 249.0889, rel=1e-6)
    assert [sensor.role for sensor in settings.sensors] == ["tent", "intake"]
    assert settings.energy.currency == "USD"


def test_the_basil_grows_across_midnight_in_si() -> None:
    settings = load_settings(CONFIG / "basil.yaml").settings
    assert settings.units == "si"
    photoperiod = settings.lamp.photoperiod
    assert photoperiod.lights_on > photoperiod.lights_off
    assert settings.fan.drive == "relay"
    assert settings.fan.resolved_frequency_hz == 0.0
    assert settings.fan.resolved_min_speed == 1.0


def _minimal() -> Settings:
    return load(
        "tent: {width: 80 cm, depth: 80 cm, height: 160 cm}\n"
        "place: {timezone: Europe/Rome}\n"
        "lamp: {photoperiod: {on: 06:00, off: 22:00}}\n"
        "fan: {pin: 18}\n"
        "sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]\n"
    ).settings


def test_all_keys_shows_the_defaults() -> None:
    shown, default = load(ALL_KEYS).settings, _minimal()
    assert (shown.place.units, default.place.units) == ("si", None)
    assert shown.changed(place=default.place) == default


def _uncommented() -> str:
    return re.sub(r"(?m)^( *)#: ", r"\1", ALL_KEYS)


def test_all_keys_shows_every_key() -> None:
    load(_uncommented())
    assert set(_model_keys(Settings)) - set(_file_keys(read(_uncommented(), "x").root)) == set()


def test_all_keys_says_what_must_be_given() -> None:
    source = read(_uncommented(), "x")
    lines = _uncommented().splitlines()
    for path in _model_keys(Settings, only_required=True):
        index_path: tuple[Any, ...] = tuple(
            part for key in path for part in ((key, 0) if key == "sensors" else (key,))
        )
        assert "must be given" in lines[source.place(index_path, of_key=True)[0] - 1], path


def _model_keys(
    model: type[Section], path: tuple[str, ...] = (), *, only_required: bool = False
) -> Iterator[tuple[str, ...]]:
    for key, info in fields(model).items():
        inner = bare(info.annotation)
        if isinstance(inner, type) and issubclass(inner, Section):
            yield from _model_keys(inner, (*path, key), only_required=only_required)
        elif info.is_required or not only_required:
            yield (*path, key)
        assert get_origin(inner) is not dict


def _file_keys(node: Node, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    yield path
    if isinstance(node, Mapping):
        for key, (_, value) in node.entries.items():
            yield from _file_keys(value, (*path, key))
    elif isinstance(node, Sequence):
        for item in node.items:
            yield from _file_keys(item, path)
