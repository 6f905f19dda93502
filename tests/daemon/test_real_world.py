"""What a daemon on a real machine says about it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from controller.clock import SystemClock
from controller.daemon.control_socket import socket_path
from controller.daemon.world import RealWorld
from controller.locks import claim
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
