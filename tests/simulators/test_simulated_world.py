"""What `lungwort run --simulate` puts around the daemon, and what it must leave alone."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from controller.config import Settings, settings_from_text
from controller.locks import AlreadyRunning
from simulators.records import simulated_record
from simulators.simulated_world import SimulatedWorld, simulated_world

TENT = """\
tent: {name: world, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: America/New_York}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 17}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""


@pytest.fixture
def settings() -> Settings:
    return settings_from_text(TENT).settings


def world(settings: Settings, record: Path) -> SimulatedWorld:
    return simulated_world(
        settings,
        weather=None,
        first=dt.date(2013, 7, 18),
        until=None,
        pace=float("inf"),
        seed=1,
        record=record,
    )


def test_a_record_that_a_simulation_still_writes_is_not_replaced(
    settings: Settings, tmp_path: Path
) -> None:
    record = tmp_path / "tent.sqlite3"
    with world(settings, record).claim(settings):
        simulated_record(record, 0).close()
        written = record.stat().st_ino
        with pytest.raises(AlreadyRunning, match=r"tent\.sqlite3 is in use by process") as caught:
            world(settings, record)
        assert caught.value.status == 4
        assert record.stat().st_ino == written
    world(settings, record)
    assert not record.exists()


def test_simulations_with_records_of_their_own_run_side_by_side(
    settings: Settings, tmp_path: Path
) -> None:
    one, other = world(settings, tmp_path / "a.sqlite3"), world(settings, tmp_path / "b.sqlite3")
    with one.claim(settings), other.claim(settings):
        pass


def test_only_a_simulation_that_ran_as_a_daemon_leaves_a_lock_file(tmp_path: Path) -> None:
    record = tmp_path / "hot.sqlite3"
    simulated_record(record, 0).close()
    simulated_record(record, 0).close()
    assert [path.name for path in tmp_path.iterdir()] == ["hot.sqlite3"]
