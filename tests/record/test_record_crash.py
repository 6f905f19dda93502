"""What is left of a record after kills, a full disk and a card gone read-only."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from record_builders import START_MS, StillClock, integrity, names, reading
from small_disk import small_disk

from controller.locks import AlreadyRunning, claim, claim_pins
from controller.record import BackgroundRecord

HERE = Path(__file__).parent


def test_no_acknowledged_event_and_at_most_one_reading_is_lost_when_the_writer_is_killed(
    tmp_path: Path,
) -> None:
    result = subprocess.run(
        [sys.executable, str(HERE / "kill_storm.py"), str(tmp_path), "25", "20130718"],
        capture_output=True,
        text=True,
        cwd=HERE.parents[1],
        env={**os.environ, "PYTHONPATH": str(HERE.parents[1])},
        check=False,
    )
    assert result.returncode == 0, result.stderr
    figures = json.loads(result.stdout)
    assert figures["events_acknowledged"] > 100
    assert figures["events_lost"] == 0
    assert figures["readings_begun"] > 50
    assert figures["most_readings_lost_in_one_kill"] <= 1
    assert figures["integrity"] == ["ok"]


class Mount:
    """A small file system of its own."""

    def __init__(self, at: Path) -> None:
        self.at = at

    def change(self, *options: str) -> None:
        subprocess.run(["mount", "-o", ",".join(("remount", *options)), str(self.at)], check=True)


@pytest.fixture
def mount(tmp_path: Path) -> Iterator[Mount]:
    at = tmp_path / "disk"
    with small_disk(at, "200k"):
        yield Mount(at)


def test_a_disk_that_is_really_full_loses_nothing_once_there_is_room(mount: Mount) -> None:
    path = mount.at / "tent.sqlite3"
    record = BackgroundRecord(
        path, clock=StillClock(), emit=lambda *line: None, backoff_s=(3600.0,)
    )
    record.config(START_MS, "tent: {}", "aa")
    posted = 0
    while record.trouble is None and posted < 5000:
        record.event(START_MS + posted, "fan.changed", n=posted, padding="x" * 300)
        posted += 1
        record.flush()
    assert record.trouble == "database or disk is full"
    for _ in range(50):
        record.event(START_MS + posted, "fan.changed", n=posted)
        posted += 1
    record.reading(reading())
    assert not record.flush()
    mount.change("size=8m")
    assert record.flush()
    assert record.flush()
    assert record.trouble is None
    assert record.close()
    assert names(path).count("fan.changed") == posted
    assert names(path)[-1] == "record.recovered"
    assert integrity(path) == "ok"


def test_a_card_that_is_read_only_is_waited_for(mount: Mount) -> None:
    path = mount.at / "tent.sqlite3"
    BackgroundRecord(path).close()
    mount.change("ro")
    record = BackgroundRecord(
        path, clock=StillClock(), emit=lambda *line: None, backoff_s=(3600.0,)
    )
    record.event(START_MS, "daemon.started")
    assert not record.flush()
    assert record.trouble is not None
    mount.change("rw")
    assert record.flush()
    assert record.close()
    assert set(names(path)) == {"daemon.started", "record.failed", "record.recovered"}


def test_a_sick_disk_keeps_no_daemon_from_starting(mount: Mount) -> None:
    path = mount.at / "tent.sqlite3"
    mount.change("ro")
    with claim(path), claim_pins(mount.at, "gpio", [17]):  # no lock files, and none can be made
        pass
    mount.change("rw")
    claim(path).release()
    mount.change("ro")
    with claim(path), pytest.raises(AlreadyRunning):  # the one there is still tells two apart
        claim(path)
