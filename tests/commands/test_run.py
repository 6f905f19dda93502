"""`lungwort run --simulate`: how the command sets the daemon up."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from controller import log
from controller.commands import run as command
from controller.daemon import service
from controller.daemon.loop import End
from controller.errors import UserError
from controller.record import RecordWriter
from simulators.records import simulated_record

TENT = """\
tent: {name: run, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: America/New_York}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 17}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., dict[str, Any]]:
    """Start the command up to where the daemon would run; give what that was given."""

    class Halted:
        def __init__(self, path: Path, loaded: Any, world: Any, **given: Any) -> None:
            seen.update(given, path=path, loaded=loaded, world=world)

        def run(self) -> End:
            return End.FAILED

    seen: dict[str, Any] = {}
    monkeypatch.setattr(service, "Service", Halted)
    config = tmp_path / "tent.yaml"
    config.write_text(TENT)

    def start(*arguments: str) -> dict[str, Any]:
        parser = argparse.ArgumentParser()
        command.add(parser.add_subparsers())
        kind = [] if "--real" in arguments else ["--simulate"]
        given = [argument for argument in arguments if argument != "--real"]
        args = parser.parse_args(["run", str(config), *kind, *given])
        assert command.run(args) == 1
        return {**seen, "config": config}

    return start


def test_a_simulation_takes_an_edited_config_and_keeps_its_record(
    started: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    given = started("--record", str(tmp_path / "tent.sqlite3"))
    given["config"].write_text(TENT.replace("22:00", "20:00"))
    edited = given["load"](given["config"])
    assert edited.sha256 != given["loaded"].sha256
    assert edited.settings.record_path == tmp_path / "tent.sqlite3"


def test_a_simulation_without_record_keeps_the_one_it_began_over_an_edit(
    started: Callable[..., dict[str, Any]],
) -> None:
    given = started()
    edited = given["load"](given["config"])
    assert edited.settings.record_path == given["world"].record_path


def test_a_simulation_logs_in_words_and_a_real_run_as_its_reader_needs(
    started: Callable[..., dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    assert started()["log_as_json"] is False
    log.log_event(0, "purge.started", "info", {})
    assert "1970-01-01 00:00:00  Purge" in capsys.readouterr().err
    started("--real")
    log.log_event(0, "purge.started", "info", {})
    assert capsys.readouterr().err.startswith('{"timestamp": "1970-01-01')


def test_a_simulation_as_fast_as_it_goes_lets_nobody_take_part(
    started: Callable[..., dict[str, Any]],
) -> None:
    given = started("--pace", "max")
    assert given["load"] is None
    assert given["listen"] is False


def test_a_real_run_writes_nothing_into_a_simulations_record(
    started: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    path = tmp_path / "simulated.sqlite3"
    simulated_record(path, 0).close()
    with pytest.raises(UserError, match="holds the record of a simulation"):
        started("--real", "--record", str(path))


def test_a_real_run_takes_a_record_of_its_own_or_none_yet(
    started: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    path = tmp_path / "tent.sqlite3"
    assert started("--real", "--record", str(path))["loaded"].settings.record_path == path
    RecordWriter(path).close()
    assert started("--real", "--record", str(path))["loaded"].settings.record_path == path


def test_a_simulation_writes_nothing_into_a_real_record(
    started: Callable[..., dict[str, Any]], tmp_path: Path
) -> None:
    path = tmp_path / "tent.sqlite3"
    RecordWriter(path).close()
    with pytest.raises(UserError, match="no simulation wrote"):
        started("--record", str(path))
