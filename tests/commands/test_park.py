"""`lungwort park`, on gpiozero's mock pins."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import gpiozero
import pytest
from gpiozero.pins.mock import MockFactory

from controller.commands import park
from controller.errors import UserError
from controller.locks import claim_pins
from controller.outputs import parking

CONFIG = """\
tent: {name: Test, width: 60 cm, depth: 60 cm, height: 120 cm}
place: {timezone: Europe/Rome}
lamp:
  power: 100 W
  photoperiod: {on: "06:00", off: "22:00"}
  switched_by: relay
  pin: 27
fan: {pin: 17}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""


@pytest.fixture
def pins(monkeypatch: pytest.MonkeyPatch) -> Iterator[MockFactory]:
    factory = MockFactory()
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "mock")
    monkeypatch.setattr(gpiozero.Device, "pin_factory", factory)
    # The command closes the factory of its process, which forgets the pins: keep them.
    monkeypatch.setattr(factory, "close", lambda: None)
    yield factory


@pytest.fixture
def config(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    monkeypatch.setenv(parking.PLAN_VARIABLE, str(tmp_path / "plan.json"))
    monkeypatch.delenv("SERVICE_RESULT", raising=False)
    path = tmp_path / "config.yaml"
    path.write_text(CONFIG)
    return path


def run(*arguments: str | Path) -> int:
    parser = argparse.ArgumentParser()
    park.add(parser.add_subparsers())
    args = parser.parse_args(["park", *map(str, arguments)])
    status: int = args.run(args)
    return status


@pytest.mark.parametrize(
    ("result", "arguments", "fan_level"),
    [
        (None, [], 0),
        ("success", [], 0),
        ("signal", [], 1),
        ("watchdog", [], 1),
        ("exit-code", [], 1),
        ("success", ["--after", "fault"], 1),
        ("signal", ["--after", "stop"], 0),
        ("signal", ["--off"], 0),
    ],
)
def test_fan_is_left_as_the_end_of_the_service_asks(
    pins: MockFactory,
    config: Path,
    monkeypatch: pytest.MonkeyPatch,
    result: str | None,
    arguments: list[str],
    fan_level: int,
) -> None:
    if result is not None:
        monkeypatch.setenv("SERVICE_RESULT", result)
    assert run(config, *arguments) == 0
    assert int(pins.pin(17).state) == fan_level
    assert int(pins.pin(27).state) == 0


def test_wires_last_driven_are_parked_when_the_config_is_broken(
    pins: MockFactory, config: Path
) -> None:
    plan = parking.ParkingPlan(
        parking.FanWiring("relay", 23, False, False, 0.0),
        lamp=None,
        speed_after_stop=1.0,
        speed_after_fault=1.0,
    )
    parking.save(plan)
    config.write_text("fan: [")
    assert run(config) == 0
    assert int(pins.pin(23).state) == 1
    assert parking.saved() is None


def test_broken_config_and_nothing_kept_is_reported(pins: MockFactory, config: Path) -> None:
    config.write_text("fan: [")
    with pytest.raises(UserError) as caught:
        run(config)
    assert caught.value.status == 2


def test_pins_of_a_running_daemon_are_left_alone(pins: MockFactory, config: Path) -> None:
    with claim_pins(config.parent, "gpio", [17]), pytest.raises(UserError) as caught:
        run(config, "--after", "fault")
    assert caught.value.status == 4
    assert pins.pins == {}


def test_says_in_words_what_it_left(
    pins: MockFactory, config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(config, "--after", "fault")
    assert capsys.readouterr().out == "The fan is left at 100 %, lamp off.\n"
    run(config)
    assert capsys.readouterr().out == "The fan is off, lamp off.\n"


def test_a_fan_switched_off_under_a_lamp_on_its_own_timer_comes_with_a_caution(
    pins: MockFactory, config: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = config.read_text("utf-8")
    config.write_text(text.replace("switched_by: relay", "switched_by: own_timer"), "utf-8")
    run(config, "--off")
    assert "goes on heating" in capsys.readouterr().out
