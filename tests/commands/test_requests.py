"""What a person is told of a request to the daemon."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from record_commands import write_config, write_hot_afternoon

from controller.__main__ import main
from controller.commands import now
from controller.commands.requests import send_request
from controller.config import settings_from_text
from controller.config.store import LastGood
from controller.daemon import control_socket


@pytest.mark.parametrize(("recorded", "warned"), [(True, False), (False, True)])
def test_a_request_that_a_restart_would_forget_is_said_so(
    recorded: bool,
    warned: bool,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def answer(path: Path, body: dict[str, Any]) -> dict[str, Any]:
        return {"released": True, "recorded": recorded}

    monkeypatch.setattr(control_socket, "ask", answer)
    assert send_request(Path("tent.sqlite3"), {"command": "release"})["released"]
    said = capsys.readouterr()
    assert ("a restart of the daemon forgets this" in said.err) is warned
    assert said.out == ""


@pytest.mark.parametrize("recorded", [True, False])
def test_now_knows_whether_the_daemon_wrote_what_it_held(
    recorded: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(control_socket, "ask", lambda _path, _body: {"recorded": recorded})
    assert now._had_committed(Path("tent.sqlite3")) is recorded


def test_how_to_end_a_hold_names_the_record_and_fits_the_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    answer = {"speed": 1.0, "until_ms": 0, "recorded": True}
    monkeypatch.setattr(control_socket, "ask", lambda _path, _body: answer)
    monkeypatch.setenv("COLUMNS", "45")
    config = str(Path(__file__).parents[2] / "config" / "basil.yaml")
    asked = ["--speed", "100%", "--for", "10min", "--record", "a.db"]
    assert main(["hold", config, *asked]) == 0
    said = capsys.readouterr().out
    assert "basil.yaml --record a.db' ends it sooner." in " ".join(said.split())
    assert all(len(line) <= 45 or " " not in line for line in said.splitlines())


def test_a_hold_reaches_the_daemon_while_its_config_is_broken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    sound = (Path(__file__).parents[2] / "config" / "basil.yaml").read_text(encoding="utf-8")
    config = tmp_path / "herbs.yaml"
    config.write_text(sound.replace("power: ", "power: a lot, ", 1), encoding="utf-8")
    hold = ["hold", str(config), "--speed", "100%", "--for", "10min"]
    release = ["release", str(config)]
    asked: list[Path] = []

    def answer(path: Path, body: dict[str, Any]) -> dict[str, Any]:
        asked.append(path)
        return {"speed": 1.0, "until_ms": 0, "released": True}

    monkeypatch.setattr(control_socket, "ask", answer)
    assert main(hold) == 2  # nothing tells which daemon is meant
    assert not asked
    LastGood(config).keep(sound)
    capsys.readouterr()
    assert [main(hold), main(release)] == [0, 0]
    record = settings_from_text(sound).settings.record_path
    assert asked == [control_socket.socket_path(record)] * 2
    said = capsys.readouterr()
    assert "a lot" in said.err
    assert "can't be used as it is; this command goes by what last ran" in said.err
    assert "The fan is held at 100 %" in said.out


@pytest.mark.parametrize(("speed", "is_warned"), [(0.0, True), (1.0, False)])
def test_a_fan_held_at_rest_is_said_to_cool_nothing(
    speed: float,
    is_warned: bool,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    reply = {"speed": speed, "until_ms": 0}
    monkeypatch.setattr(control_socket, "ask", lambda path, body: reply)
    config = Path(__file__).parents[2] / "config" / "basil.yaml"
    assert main(["hold", str(config), "--speed", f"{speed:.0%}", "--for", "10min"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert ("Nothing cools the tent meanwhile" in said) is is_warned


@pytest.mark.parametrize("command", ["events", "backup", "review"])
def test_the_record_is_read_while_the_config_is_broken(
    command: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("STATE_DIRECTORY", str(tmp_path))
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    LastGood(config).keep(config.read_text(encoding="utf-8"))
    config.write_text("tent: {nmae: x}\n", encoding="utf-8")
    more = {"events": [], "backup": [str(tmp_path / "copy")], "review": ["--day", "2013-07-18"]}[
        command
    ]
    assert main([command, str(config), *more]) == 0
    said = capsys.readouterr().err
    assert "nmae" in said
    assert "goes by what last ran" in said


@pytest.mark.parametrize(
    ("command", "wrong", "said"),
    [
        ("hold", ["--speed", "150%", "--for", "30min"], "from 0 % to 100 %"),
        ("hold", ["--speed", "50%", "--for", "8d"], "a week at most"),
        ("hold", ["--speed", "50%", "--for", "0s"], "more than nothing"),
        ("events", ["--since", "soon"], "--since: not a date or time: 'soon'"),
        ("events", ["--until", "soon"], "--until: not a date or time: 'soon'"),
        ("events", ["--last", "0h"], "--last: '0h' is no time at all"),
        ("alarms", ["--acknowledge", "heta"], "no alarm called 'heta'; expected heat, perhaps"),
        ("review", ["--day", "soon"], "--day: not a day: 'soon'"),
        ("review", ["--last", "soon"], "--last: not a number of days: 'soon'"),
        ("review", ["--to", "today"], "--to needs --from"),
    ],
)
def test_a_wrong_value_is_told_before_config_daemon_or_record_is_asked(
    command: str, wrong: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, "/nowhere/tent.yaml", *wrong]) == 2
    assert said in capsys.readouterr().err


def test_a_relay_s_hold_at_half_speed_is_refused_without_a_daemon(
    capsys: pytest.CaptureFixture[str],
) -> None:
    config = Path(__file__).parents[2] / "config" / "basil.yaml"
    assert main(["hold", str(config), "--speed", "50%", "--for", "5min"]) == 2
    assert "a fan on a relay knows full speed and rest" in capsys.readouterr().err
