"""What a daemon on a real machine says about it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.clock import SystemClock
from controller.config import Settings, settings_from_text
from controller.daemon.control_socket import socket_path
from controller.daemon.world import RealWorld
from controller.locks import AlreadyRunning, claim
from controller.record import RecordReader


@pytest.mark.parametrize("why", ["", "/ (tmpfs), which is memory: it is gone at the next boot"])
def test_record_that_the_next_boot_forgets_is_an_event(
    why: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "chillies.sqlite3"
    monkeypatch.setattr("controller.record.volatile.record_volatile", lambda _: why)
    RealWorld(SystemClock()).open_record(path, 60.0).close()
    with RecordReader(path) as reader:
        found = list(reader.events(names=["record.volatile"]))
    assert [(e.level, e.data["why"]) for e in found] == ([("warning", why)] if why else [])


DAC = """\
tent: {name: Test, width: 60 cm, depth: 60 cm, height: 120 cm}
place: {timezone: Europe/Rome}
lamp: {power: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: dac, dac: {device: DEVICE, raw_full: 4095}}
sensors: [{name: canopy, role: tent, driver: hwmon, device: sht4x}]
record: {path: RECORD}
"""


def test_two_tents_that_name_one_sensor_share_it_and_two_on_one_converter_do_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))

    def tent(name: str, device: str) -> Settings:
        text = DAC.replace("DEVICE", device).replace("RECORD", str(tmp_path / name))
        return settings_from_text(text).settings

    world = RealWorld(SystemClock())
    with world.claim(tent("a", "mcp4725")):
        with pytest.raises(AlreadyRunning, match="pin 0 of converter mcp4725 is in use"):
            world.claim(tent("b", "mcp4725"))
        with world.claim(tent("c", "1-0061")):  # the sensor is the same
            pass


def _circle(path: Path) -> None:
    path.symlink_to(path)


@pytest.mark.parametrize("make", [os.mkfifo, Path.mkdir, _circle])
def test_whatever_lies_in_the_records_place_the_tent_is_run(
    make: Callable[[Path], None], tmp_path: Path
) -> None:
    path = tmp_path / "chillies.sqlite3"
    make(path)
    claim(path).release()
    socket_path(path)
    record = RealWorld(SystemClock()).open_record(path, 60.0)
    assert record.trouble
    assert not record.close()
