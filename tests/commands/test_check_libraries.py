"""A sensor that this installation has no library for is a warning of `check`, with its place."""

from __future__ import annotations

from pathlib import Path

from controller.commands.check_libraries import dht_library_warning
from controller.config import load_settings

CONFIG = Path(__file__).parents[2] / "config"


def test_a_dht22_without_its_library_is_warned_of_with_what_reads_it_instead() -> None:
    loaded = load_settings(CONFIG / "all-keys.yaml")
    warning = dht_library_warning(loaded, "tent.yaml", has_library=False)
    assert warning is not None
    line = loaded.text.splitlines()[warning.line - 1]
    assert "driver: dht22" in line
    assert line[warning.column - 1 :].startswith("dht22")
    assert "driver: dht22" in warning.message
    assert "dtoverlay=dht11,gpiopin=" in str(warning)


def test_nothing_is_warned_of_where_the_library_is_or_nobody_needs_it() -> None:
    needing = load_settings(CONFIG / "all-keys.yaml")
    assert dht_library_warning(needing, "tent.yaml", has_library=True) is None
    other = load_settings(CONFIG / "basil.yaml")
    assert not any(sensor.driver.startswith("dht") for sensor in other.settings.sensors)
    assert dht_library_warning(other, "tent.yaml", has_library=False) is None
