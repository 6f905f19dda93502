"""Ctrl-C, SIGTERM and a killed parent: a real signal to a real process group, on a real terminal.

The terminal is read to its end, which comes only once the last process of the group has let go
of it: so a worker that outlives its command fails the test by its time limit.
"""

from __future__ import annotations

import contextlib
import os
import pty
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

import pytest
from rehearsal_commands import CONFIG, config_file

from controller.__main__ import main

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0
YEAR = ("--weather", "airfield-2013", "--from", "2013-01-01", "--days", "360")
HOT = ("--from", "2013-07-18")

RELAY = """\
tent: {name: bench, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Etc/UTC}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 17}
sensors: [{name: canopy, role: tent, driver: hwmon, device: no_such_sensor}]
"""

# The bar comes with the first progress, and a command waits where it opens its config.
EAGER = """\
from controller.commands import progress
progress._PATIENCE_S = progress._EVERY_S = 0.0
from controller.__main__ import process
process()
"""
WAITING = """\
import os, sys
def wait(event, arguments):
    if event == "open" and str(arguments[0]).endswith("basil.yaml"):
        os.write(2, b"opening")
        while True:
            os.sched_yield()
sys.addaudithook(wait)
from controller.__main__ import process
process()
"""
# SIGTERM comes while the command holds the lock of the first future that it is to wait for.
LOCKING = """\
import os, signal, sys
locked = 0
def trace(frame, event, argument):
    global locked
    if frame.f_code.co_qualname != "_AcquireFutures.__enter__":
        return None
    locked += event == "line"
    if locked == 3:
        os.kill(os.getpid(), signal.SIGTERM)
    return trace
sys.settrace(trace)
from controller.__main__ import process
process()
"""


class Terminal:
    """A command with a terminal and a process group of its own."""

    def __init__(
        self, runtime: Path, *argv: str | Path, code: str = EAGER, stdout_shown: bool = False
    ) -> None:
        self.master, slave = pty.openpty()
        environment = {**os.environ, "TERM": "xterm", "COLUMNS": "80", "PYTHONPATH": str(ROOT)}
        # The locks of pins live in the runtime directory: another test's daemon is in no one's way.
        environment |= {"GPIOZERO_PIN_FACTORY": "mock", "RUNTIME_DIRECTORY": str(runtime)}
        self.process = subprocess.Popen(
            [sys.executable, "-c", code, *map(str, argv)],
            cwd=ROOT,
            stdin=slave,
            stdout=slave if stdout_shown else subprocess.PIPE,
            stderr=slave,
            start_new_session=True,
            env=environment,
        )
        os.close(slave)
        self.shown = ""

    def read_until(self, text: str) -> None:
        """Read what is shown until there is a text."""
        while text not in self.shown:
            assert self._read(repr(text)), f"ended without {text!r}: {self.shown}"

    def read_on(self) -> list[str]:
        """The lines that come until nobody holds the terminal any more, bars drawn over."""
        before = len(self.shown)
        while self._read("the end of all who hold the terminal"):
            pass
        lines = self.shown[before:].replace("\r\n", "\n").split("\n")
        last = [line.rstrip("\r").rpartition("\r")[2].strip() for line in lines]
        return [line for line in last if line]

    def first_line(self) -> str:
        """The first line on the standard output, which is a pipe."""
        assert self.process.stdout is not None
        self._await(self.process.stdout, "a line on the standard output")
        return self.process.stdout.readline().decode()

    def _await(self, source: int | IO[bytes], awaited: str) -> None:
        ready, _, _ = select.select([source], [], [], PATIENCE_S)
        assert ready, f"waited {PATIENCE_S:.0f} s for {awaited}; shown: {self.shown}"

    def _read(self, awaited: str) -> bool:
        self._await(self.master, awaited)
        try:
            data = os.read(self.master, 4096)
        except OSError:  # nobody holds the other end
            return False
        self.shown += data.decode("utf-8", "replace")
        return bool(data)

    def await_reading(self) -> None:
        """Wait until it sleeps in its read; a signal between prompt and read waits for a key."""
        stat = Path(f"/proc/{self.process.pid}/stat")
        give_up_s = time.monotonic() + PATIENCE_S
        while stat.read_text().rpartition(") ")[2][0] != "S":
            assert time.monotonic() < give_up_s, f"it never read a key; shown: {self.shown}"
            os.sched_yield()

    def signal_group(self, number: signal.Signals) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(self.process.pid, number)

    def close(self) -> None:
        self.signal_group(signal.SIGKILL)
        self.process.wait(PATIENCE_S)
        if self.process.stdout is not None:
            self.process.stdout.close()
        os.close(self.master)


Start = Callable[..., Terminal]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    terminals: list[Terminal] = []

    def begin(*argv: str | Path, code: str = EAGER, stdout_shown: bool = False) -> Terminal:
        terminals.append(Terminal(tmp_path, *argv, code=code, stdout_shown=stdout_shown))
        return terminals[-1]

    yield begin
    for terminal in terminals:
        terminal.close()


@pytest.fixture(scope="module")
def tent(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A config and the record of a day."""
    folder = tmp_path_factory.mktemp("interruption")
    record = folder / "lived.sqlite3"
    config = config_file(folder, CONFIG + f"record: {{path: {record}}}\n")
    rehearsed = folder / "rehearsed.sqlite3"
    argv = ["rehearse", str(config), *HOT, "--days", "1", "--record", str(rehearsed)]
    assert main(argv) == 0
    return config, rehearsed


@pytest.mark.parametrize(
    "command",
    [
        ("rehearse", "CONFIG", *YEAR),
        ("sweep", "CONFIG", *YEAR),
        ("compare", "CONFIG", "CONFIG", *YEAR),
        ("replay", "RECORD", "--config", "CONFIG"),
        ("run", "CONFIG", "--simulate", "--pace", "max", "--until", "2013-07-30"),
    ],
    ids=lambda command: command[0],
)
def test_ctrl_c_ends_long_work_with_one_line_and_its_workers(
    start: Start, tent: tuple[Path, Path], command: tuple[str, ...]
) -> None:
    config, record = tent
    places: dict[str, str | Path] = {"CONFIG": config, "RECORD": record}
    terminal = start(*(places.get(word, word) for word in command))
    terminal.read_until("%")
    terminal.signal_group(signal.SIGINT)
    terminal.signal_group(signal.SIGINT)
    lines = terminal.read_on()
    assert terminal.process.wait(PATIENCE_S) == 130
    assert lines[-1] == "lungwort: interrupted"
    assert "Traceback" not in terminal.shown
    if command[0] != "run":  # a daemon's log goes on to its end
        assert len(lines) == 1


@pytest.mark.parametrize("command", ["check", "size", "now", "events", "rehearse", "wiring"])
def test_ctrl_c_ends_quick_work_with_one_line(
    start: Start, tent: tuple[Path, Path], command: str
) -> None:
    terminal = start(command, tent[0], code=WAITING)
    terminal.read_until("opening")
    terminal.signal_group(signal.SIGINT)
    assert terminal.read_on() == ["lungwort: interrupted"]
    assert terminal.process.wait(PATIENCE_S) == 130


def test_ctrl_c_ends_a_review_while_its_advice_is_worked_out(
    start: Start, tent: tuple[Path, Path]
) -> None:
    terminal = start("review", tent[0], "--record", tent[1])
    assert terminal.first_line()
    terminal.signal_group(signal.SIGINT)
    assert terminal.read_on() == ["lungwort: interrupted"]
    assert terminal.process.wait(PATIENCE_S) == 130


def test_ctrl_c_ends_following(start: Start, tent: tuple[Path, Path]) -> None:
    terminal = start("events", tent[0], "--record", tent[1], "--follow")
    assert terminal.first_line()
    terminal.signal_group(signal.SIGINT)
    assert terminal.read_on() == ["lungwort: interrupted"]
    assert terminal.process.wait(PATIENCE_S) == 130


def test_ctrl_c_at_a_question_ends_commissioning(start: Start, tent: tuple[Path, Path]) -> None:
    terminal = start("commission", tent[0], "--simulate", stdout_shown=True)
    terminal.read_until("[yes/no] ")
    terminal.await_reading()
    terminal.signal_group(signal.SIGINT)
    assert terminal.read_on()[-1] == "lungwort: interrupted"
    assert terminal.process.wait(PATIENCE_S) == 130
    assert "Traceback" not in terminal.shown


@pytest.mark.parametrize(("number", "status"), [(signal.SIGINT, 130), (signal.SIGTERM, 0)])
def test_a_daemon_that_is_stopped_parks_and_says_by_its_status_how(
    start: Start, tmp_path: Path, number: signal.Signals, status: int
) -> None:
    config = config_file(tmp_path, RELAY)
    terminal = start("run", config, "--record", tmp_path / "r.sqlite3")
    terminal.read_until("Fan ")
    terminal.signal_group(number)
    lines = terminal.read_on()
    assert terminal.process.wait(PATIENCE_S) == status
    assert (lines[-1] == "lungwort: interrupted") is (number == signal.SIGINT)
    assert "Traceback" not in terminal.shown


def test_sigterm_leaves_no_worker_behind(start: Start, tent: tuple[Path, Path]) -> None:
    terminal = start("sweep", tent[0], *YEAR)
    terminal.read_until("%")
    os.kill(terminal.process.pid, signal.SIGTERM)
    assert terminal.read_on() == ["lungwort: terminated"]
    assert terminal.process.wait(PATIENCE_S) == 143


def test_sigterm_while_a_lock_is_held_leaves_no_worker_behind(
    start: Start, tent: tuple[Path, Path]
) -> None:
    terminal = start("sweep", tent[0], *YEAR, code=LOCKING)
    assert terminal.read_on() == ["lungwort: terminated"]
    assert terminal.process.wait(PATIENCE_S) == 143


@pytest.mark.parametrize("command", ["sweep", "review"])
def test_a_command_that_is_killed_leaves_nobody_behind(
    start: Start, tent: tuple[Path, Path], command: str
) -> None:
    days = YEAR if command == "sweep" else ("--record", tent[1])
    terminal = start(command, tent[0], *days)
    if command == "sweep":
        terminal.read_until("%")
    else:
        assert terminal.first_line()
    os.kill(terminal.process.pid, signal.SIGKILL)
    terminal.read_on()
    assert terminal.process.wait(PATIENCE_S) == -signal.SIGKILL


def test_a_review_for_a_reader_who_has_gone_ends_quietly(
    start: Start, tent: tuple[Path, Path]
) -> None:
    terminal = start("review", tent[0], "--record", tent[1])
    assert terminal.first_line()
    assert terminal.process.stdout is not None
    terminal.process.stdout.close()
    assert terminal.read_on() == []
    assert terminal.process.wait(PATIENCE_S) == 0
