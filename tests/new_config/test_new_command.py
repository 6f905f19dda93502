"""`lungwort new` at a terminal, in a script, and where a file is there already."""

from __future__ import annotations

import io
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from controller.__main__ import main
from controller.commands import new as command
from controller.config import load_settings
from controller.new_config.questions import QUESTIONS

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0


def test_a_script_gets_a_config_that_passes_check(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "chard.yaml"
    assert (
        main(["new", str(path), "--yes", "--lamp-power", "95 W", "--timezone", "Asia/Tokyo"]) == 0
    )
    settings = load_settings(path).settings
    assert settings.lamp.power_w == 95.0
    assert settings.place.timezone == "Asia/Tokyo"
    assert settings.tent.name == "chard"
    assert f"lungwort check {path}" in capsys.readouterr().out
    assert main(["check", str(path)]) == 0


def test_a_file_that_is_there_is_left_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tent.yaml"
    path.write_text("mine", encoding="utf-8")
    assert main(["new", str(path), "--yes"]) == 1
    assert path.read_text(encoding="utf-8") == "mine"
    assert "is there already" in capsys.readouterr().err


def test_a_link_to_nowhere_is_not_followed(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.symlink_to(tmp_path / "elsewhere.yaml")
    assert main(["new", str(path), "--yes"]) == 1
    assert not (tmp_path / "elsewhere.yaml").exists()


def test_a_file_that_appears_meanwhile_is_left_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "tent.yaml"
    gather = command._gather

    def gather_late(args: object) -> object:
        found = gather(args)  # type: ignore[arg-type]
        path.write_text("mine", encoding="utf-8")
        return found

    monkeypatch.setattr(command, "_gather", gather_late)
    assert main(["new", str(path), "--yes"]) == 1
    assert path.read_text(encoding="utf-8") == "mine"


def test_without_a_terminal_it_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    assert main(["new", str(tmp_path / "tent.yaml")]) == 2
    error = capsys.readouterr().err
    assert "no terminal" in error and "--yes" in error
    assert list(tmp_path.iterdir()) == []


def test_a_bad_flag_is_refused_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path / "tent.yaml"), "--yes", "--size", "70 × 70"]) == 2
    assert capsys.readouterr().err.startswith("--size: '70 × 70' is not a size")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_folder_is_said_before_anything_is_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", str(tmp_path / "no" / "tent.yaml"), "--yes"]) == 1
    assert "no folder" in capsys.readouterr().err


def test_every_question_has_its_flag_with_the_same_choices() -> None:
    assert list(command._FLAGS) == [question.key for question in QUESTIONS]
    for question in QUESTIONS:
        assert tuple(question.choices) == command._CHOICES.get(question.key, ())


@pytest.mark.parametrize(
    ("environment", "units"),
    [
        ({}, "si"),
        ({"LANG": "en_US.UTF-8"}, "us"),
        ({"LANG": "en_US.UTF-8", "LC_MEASUREMENT": "de_DE.UTF-8"}, "si"),
        ({"LANG": "en_GB.UTF-8"}, "si"),
    ],
)
def test_the_units_follow_the_locale(environment: dict[str, str], units: str) -> None:
    assert command.units_of_locale(environment) == units


def test_the_zone_is_the_machines(tmp_path: Path) -> None:
    link = tmp_path / "localtime"
    link.symlink_to("/usr/share/zoneinfo/Europe/Lisbon")
    assert command.machine_zone({}, link) == "Europe/Lisbon"
    assert command.machine_zone({"TZ": ":Asia/Tokyo"}, link) == "Asia/Tokyo"
    assert command.machine_zone({"TZ": "nonsense"}, tmp_path / "nothing") == "UTC"


class Terminal:
    """`lungwort new` with a terminal of its own."""

    def __init__(self, path: Path) -> None:
        self.master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "controller", "new", str(path)],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            cwd=ROOT,
            start_new_session=True,
        )
        os.close(slave)
        self.shown = ""

    def read_until(self, text: str) -> None:
        while text not in self.shown:
            self._await(repr(text))
            self.shown += os.read(self.master, 4096).decode()

    def _await(self, awaited: str) -> None:
        ready, _, _ = select.select([self.master], [], [], PATIENCE_S)
        assert ready, f"waited {PATIENCE_S:.0f} s for {awaited}; shown: {self.shown}"

    def await_reading(self) -> None:
        """Wait until it sleeps in its read; a signal between prompt and read waits for a key."""
        stat = Path(f"/proc/{self.process.pid}/stat")
        give_up_s = time.monotonic() + PATIENCE_S
        while stat.read_text().rpartition(") ")[2][0] != "S":
            assert time.monotonic() < give_up_s, f"it never read a key; shown: {self.shown}"
            os.sched_yield()

    def read_on(self) -> str:
        """What is shown from here to the end."""
        before = len(self.shown)
        while True:
            self._await("its end")
            try:
                data = os.read(self.master, 4096)
            except OSError:  # the other end is closed
                break
            if not data:
                break
            self.shown += data.decode()
        return self.shown[before:]


def test_ctrl_c_ends_it_with_one_line_and_nothing_written(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path / "tent.yaml")
    terminal.read_until("] ")
    terminal.await_reading()
    os.killpg(terminal.process.pid, signal.SIGINT)
    rest = terminal.read_on()
    assert terminal.process.wait(timeout=250) == 130
    assert rest.split() == ["lungwort:", "stopped;", "nothing", "was", "written"]
    assert list(tmp_path.iterdir()) == []


def test_a_person_who_takes_every_default_has_a_config(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path / "tent.yaml")
    terminal.read_until("] ")
    os.write(terminal.master, b"\n" * len(QUESTIONS))
    terminal.read_on()
    assert terminal.process.wait(timeout=250) == 0
    assert "Written: " in terminal.shown
    load_settings(tmp_path / "tent.yaml")


def test_the_end_of_the_input_is_no_answer(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path / "tent.yaml")
    terminal.read_until("] ")
    os.write(terminal.master, b"\x04")
    assert "nothing was written" in terminal.read_on()
    assert terminal.process.wait(timeout=250) == 1
    assert list(tmp_path.iterdir()) == []
