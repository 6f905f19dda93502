"""What follows from several settings, or from the machine."""

from __future__ import annotations

import copy
import pickle
import re
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest
from settings_texts import GOOD, good, load

from controller.config import model, state_directory
from controller.config.model import file_stem
from controller.config.quantities import Band
from controller.config.sections.fan import DacConfig, FanConfig


@pytest.mark.parametrize(
    ("fan", "frequency_hz", "min_speed"),
    [
        ("{pin: 18}", 0.0, 1.0),
        ("{pin: 18, drive: pwm}", 100.0, 0.2),
        ("{pin: 18, drive: pwm, frequency: 1 kHz, min_speed: 35 %}", 1000.0, 0.35),
        ("{pin: 18, drive: hardware_pwm}", 25_000.0, 0.2),
    ],
)
def test_a_fans_frequency_and_lowest_speed_follow_its_drive(
    fan: str, frequency_hz: float, min_speed: float
) -> None:
    settings = load(good(fan=fan)).settings
    assert settings.fan.resolved_frequency_hz == frequency_hz
    assert settings.fan.resolved_min_speed == min_speed


@pytest.mark.parametrize(
    ("environment", "directory"),
    [
        ({"STATE_DIRECTORY": "/var/lib/lungwort"}, "/var/lib/lungwort"),
        ({"STATE_DIRECTORY": "/var/lib/lungwort:/var/lib/other"}, "/var/lib/lungwort"),
        ({"XDG_STATE_HOME": "/data/state"}, "/data/state/lungwort"),
        ({"XDG_STATE_HOME": "relative"}, "/home/grower/.local/state/lungwort"),  # XDG: ignore it
        ({}, "/home/grower/.local/state/lungwort"),
    ],
)
def test_the_record_lies_in_the_state_directory(
    environment: dict[str, str], directory: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(model, "_SYSTEM_STATE", tmp_path / "not-installed")
    for name in ("STATE_DIRECTORY", "XDG_STATE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", "/home/grower")
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    assert state_directory() == Path(directory)
    settings = load(GOOD).settings
    assert settings.record_path == Path(directory, "tent.sqlite3")
    assert load(good(record="{path: a/b.db}")).settings.record_path == Path(directory, "a/b.db")
    assert load(good(record="{path: /srv/b.db}")).settings.record_path == Path("/srv/b.db")
    assert load(good(record="{path: ~/b.db}")).settings.record_path == Path("/home/grower/b.db")


def test_a_shell_finds_the_record_of_the_installed_service(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(model, "_SYSTEM_STATE", tmp_path)
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    assert load(GOOD).settings.record_path == tmp_path / "tent.sqlite3"
    assert load(GOOD).settings.backup_path is None
    assert load(good(record="{backup_to: b.db}")).settings.backup_path == tmp_path / "b.db"


@pytest.mark.parametrize(
    ("name", "stem"),
    [("Chillies, 2nd shelf", "chillies-2nd-shelf"), ("../../x", "x"), ("🌶", "tent"), ("é 2", "2")],
)
def test_a_tents_name_makes_a_harmless_file_name(name: str, stem: str) -> None:
    assert file_stem(name) == stem


def test_tents_named_in_other_letters_have_a_file_each() -> None:
    stems = {file_stem(name) for name in ("тент", "茄子", "番茄", "é", "tent")}
    assert len(stems) == 5
    assert all(re.fullmatch(r"tent(-[0-9a-f]{8})?", stem) for stem in stems)


def test_settings_are_frozen() -> None:
    settings = load(GOOD).settings
    with pytest.raises(FrozenInstanceError, match="pin"):
        settings.fan.pin = 4  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match="pin"):
        del settings.fan.pin


def test_settings_made_in_code_take_si_numbers_by_name() -> None:
    fan = FanConfig(pin=18, drive="pwm", min_on_s=30, free_flow_m3_s=0.05)
    assert (fan.min_on_s, fan.free_flow_m3_s) == (30.0, 0.05)
    assert fan.changed(pin=4) == FanConfig(pin=4, drive="pwm", min_on_s=30, free_flow_m3_s=0.05)
    assert fan.changed(pin=4) != fan and hash(fan.changed()) == hash(fan)
    assert "pin=18" in repr(fan)
    with pytest.raises(TypeError, match="needs 'device'"):
        DacConfig(raw_full=4095)  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="has no 'pni'"):
        FanConfig(pin=18, pni=4)  # type: ignore[call-arg]


def test_the_text_and_its_digest_come_along() -> None:
    loaded = load(GOOD)
    assert loaded.text == GOOD
    assert len(loaded.sha256) == 64
    assert load(GOOD + "# x\n").sha256 != loaded.sha256


def test_settings_survive_pickle_and_copy() -> None:
    settings = load(GOOD).settings
    assert pickle.loads(pickle.dumps(settings)) == settings
    assert copy.deepcopy(settings) == settings


def test_a_band_is_a_pair_with_names() -> None:
    band = Band(1.0, 2.0)
    assert (band.low, band.high, band[0], band[1], *band) == (1.0, 2.0, 1.0, 2.0, 1.0, 2.0)
    assert band == Band(1.0, 2.0) and hash(band) == hash(Band(1.0, 2.0))
    assert repr(band) == "Band(1.0, 2.0)"
