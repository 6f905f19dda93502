"""The daemon as a process: real loop, clock, disk, socket and signals; only the pins are mocked."""

from __future__ import annotations

import json
import os
import queue
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from controller.__main__ import main
from controller.record import RecordReader

CONFIG = """\
tent: {{name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: Etc/UTC}}
lamp: {{power: 150 W, photoperiod: {{on: 06:00, off: 06:00}}}}
fan: {{drive: relay, pin: 17, min_on: 0 s, min_off: 0 s}}
sensors: [{{name: canopy, role: tent, driver: hwmon, device: no_such_sensor}}]
record: {{path: {record}}}
"""
PATIENCE_S = 60.0


class Daemon:
    """A running daemon, its log and what it tells systemd."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        self.folder = folder
        self.config = folder / "tent.yaml"
        self.record = folder / "tent.sqlite3"
        if not self.config.exists():
            self.config.write_text(CONFIG.format(record=self.record), encoding="utf-8")
        self._notify = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        notify_path = folder / "notify"
        notify_path.unlink(missing_ok=True)
        self._notify.bind(str(notify_path))
        self._notify.settimeout(PATIENCE_S)
        self.environment = os.environ | {
            "GPIOZERO_PIN_FACTORY": "mock",
            "RUNTIME_DIRECTORY": str(folder / "run"),
            "NOTIFY_SOCKET": str(notify_path),
        }
        self.process = self._lungwort("run", str(self.config), *arguments, pipe=True)
        self._lines: queue.Queue[dict[str, Any]] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _lungwort(self, *arguments: str, pipe: bool = False) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-m", "controller", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=self.environment,
        )

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            if line.startswith("{"):
                self._lines.put(json.loads(line))

    def command(self, *arguments: str) -> tuple[int, str]:
        """Run another lungwort command to its end."""
        process = self._lungwort(*arguments)
        out, err = process.communicate(timeout=PATIENCE_S)
        return process.returncode, out + err

    def wait_for(self, event: str) -> dict[str, Any]:
        """The next log line of an event."""
        deadline = time.monotonic() + PATIENCE_S
        while True:
            line = self._lines.get(timeout=max(0.1, deadline - time.monotonic()))
            if line["event"] == event:
                return line

    def heard(self) -> str:
        """The next message to systemd."""
        return self._notify.recv(4096).decode()

    def stop(self, number: int = signal.SIGTERM) -> int:
        """Signal it; gives the exit status."""
        self.process.send_signal(number)
        return self.process.wait(PATIENCE_S)

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(PATIENCE_S)
        self._reader.join(PATIENCE_S)
        assert not self._reader.is_alive(), "somebody still holds the daemon's output"
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                pipe.close()
        self._notify.close()


@pytest.fixture
def daemon(tmp_path: Path) -> Iterator[Daemon]:
    running = Daemon(tmp_path)
    try:
        assert running.heard() == "READY=1"
        yield running
    finally:
        running.close()


def test_a_daemon_runs_holds_reloads_and_stops(daemon: Daemon) -> None:
    """One process for the whole walk, since starting one takes seconds on a busy machine."""
    assert daemon.heard().startswith("WATCHDOG=1\nSTATUS=fan at 100 %")
    config = str(daemon.config)

    # Another one on the same record and pins.
    status, said = daemon.command("run", config)
    assert status == 4
    assert "is in use by process" in said
    assert "Traceback" not in said

    # A hold, seen in the state that `now` shows, and its release.
    status, said = daemon.command("hold", config, "--speed", "0 %", "--for", "30 min")
    assert status == 0
    assert said.startswith("The fan is held at 0 % until ")
    assert daemon.wait_for("hold.set")["speed"] == 0.0
    changed = daemon.wait_for("fan.changed")
    assert (changed["speed"], changed["rule"]) == (0.0, "manual_hold")
    status, said = daemon.command("release", config)
    assert (status, said) == (0, "The hold is released; the daemon chooses the speed again.\n")
    assert daemon.wait_for("hold.released")
    assert daemon.wait_for("fan.changed")["speed"] == 1.0

    # A bad edit is reported with its line and changes nothing; a good one is in force.
    good = daemon.config.read_text(encoding="utf-8")
    daemon.config.write_text(good.replace("150 W", "150 sheep"), encoding="utf-8")
    daemon.process.send_signal(signal.SIGHUP)
    rejected = daemon.wait_for("config.rejected")
    assert (rejected["line"], rejected["column"]) == (3, 15)
    daemon.config.write_text(good + "schedule: {pre_run: 30 min}\n", encoding="utf-8")
    daemon.process.send_signal(signal.SIGHUP)
    assert daemon.wait_for("config.reloaded")

    # SIGTERM: in order, so that its end is in the record.
    assert daemon.stop() == 0
    with RecordReader(daemon.record) as reader:
        names = [event.name for event in reader.events()]
    assert names[0] == "daemon.started"
    assert names[-1] == "daemon.stopped"
    for name in ("hold.set", "hold.released", "config.rejected", "config.reloaded"):
        assert name in names


def test_a_killed_daemon_is_followed_by_one_that_keeps_its_hold(daemon: Daemon) -> None:
    daemon.command("hold", str(daemon.config), "--speed", "0 %", "--for", "2 h")
    daemon.process.kill()  # what was answered is on the disk
    daemon.process.wait(PATIENCE_S)
    daemon.close()
    second = Daemon(daemon.folder)
    try:
        started = second.wait_for("daemon.started")
        assert started["held"] is True
        changed = second.wait_for("fan.changed")
        assert (changed["speed"], changed["rule"]) == (0.0, "manual_hold")
    finally:
        second.close()


def test_a_config_that_is_wrong_ends_with_status_2_and_no_traceback(tmp_path: Path) -> None:
    config = tmp_path / "tent.yaml"
    config.write_text("tent: {widht: 3 m}\n", encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-m", "controller", "run", str(config)],
        capture_output=True,
        text=True,
        check=False,
        timeout=PATIENCE_S,
    )
    assert run.returncode == 2
    assert f"{config}:1:8: " in run.stderr
    assert "width" in run.stderr
    assert "Traceback" not in run.stderr


def test_hold_without_a_daemon_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    config = tmp_path / "tent.yaml"
    config.write_text(CONFIG.format(record=tmp_path / "r.sqlite3"), encoding="utf-8")
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    assert main(["release", str(config)]) == 1
    assert "no daemon runs this config" in capsys.readouterr().err
