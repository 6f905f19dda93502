"""A fan on a converter: trees as Documentation/ABI/testing/sysfs-bus-iio has them (from memory)."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory

from controller.config import Settings, settings_from_text
from controller.errors import UserError
from controller.outputs import open_outputs, park, parking
from controller.outputs.iio_dac import DacFan, DacWiring, converter_name, find_dac

STRAIGHT = DacWiring("mcp4725", 0, 0, 4095)
INVERTING = DacWiring("mcp4725", 0, 4095, 0)


class DacTree:
    """A /sys/bus/iio/devices, whose entries lead into the bus's devices."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "iio"
        self.root.mkdir()

    def add(self, number: int, name: str, address: str, *attributes: str) -> Path:
        device = self.root.parent / "devices" / address / f"iio:device{number}"
        device.mkdir(parents=True)
        (device / "name").write_text(f"{name}\n")
        for attribute in attributes:
            (device / attribute).write_text("7\n")
        (self.root / device.name).symlink_to(device)
        return device


@pytest.fixture
def tree(tmp_path: Path) -> DacTree:
    return DacTree(tmp_path)


def value(device: Path, channel: int = 0) -> int:
    return int((device / f"out_voltage{channel}_raw").read_text())


@pytest.mark.parametrize(
    ("wiring", "expected"), [(STRAIGHT, [0, 1024, 4095]), (INVERTING, [4095, 3071, 0])]
)
def test_speed_is_a_share_of_the_way_from_off_to_full(
    tree: DacTree, wiring: DacWiring, expected: list[int]
) -> None:
    device = tree.add(3, "mcp4725", "1-0060", "out_voltage0_raw")
    fan = DacFan(wiring, speed=1.0, root=tree.root)
    assert value(device) == expected[-1]
    seen = []
    for speed in (0.0, 0.25, 1.0):
        fan.apply(speed)
        seen.append(value(device))
    assert seen == expected
    fan.close()
    assert value(device) == expected[-1], "it keeps its voltage"
    fan.release()
    assert value(device) == 0, "0 V, as without power"


def test_value_is_written_again_when_something_else_changed_it(tree: DacTree) -> None:
    device = tree.add(0, "mcp4725", "1-0060", "out_voltage0_raw")
    fan = DacFan(STRAIGHT, speed=1.0, root=tree.root)
    (device / "out_voltage0_raw").write_text("12")
    fan.apply(1.0)
    assert value(device) == 4095


@pytest.mark.parametrize("speed", [-0.1, 1.1, math.nan])
def test_speed_out_of_range_is_refused(tree: DacTree, speed: float) -> None:
    tree.add(0, "mcp4725", "1-0060", "out_voltage0_raw")
    with pytest.raises(ValueError, match="must lie in 0 to 1"):
        DacFan(STRAIGHT, speed=speed, root=tree.root)


def test_converter_is_found_by_name_or_address_whatever_its_number(tree: DacTree) -> None:
    tree.add(0, "sht4x", "1-0044", "in_temp_raw")
    first = tree.add(1, "mcp4728", "1-0060", "out_voltage0_raw", "out_voltage3_raw")
    tree.add(2, "mcp4725", "1-0061", "out_voltage0_raw")
    tree.add(5, "mcp4725", "1-0062", "out_voltage0_raw")
    assert find_dac("mcp4728", 3, tree.root).resolve() == first / "out_voltage3_raw"
    assert find_dac("1-0062", 0, tree.root).resolve().parent.name == "iio:device5"
    with pytest.raises(UserError, match=r"2 devices are called 'mcp4725'.*1-0060"):
        find_dac("mcp4725", 0, tree.root)
    with pytest.raises(UserError, match=r"no output 1 .*out_voltage0_raw, out_voltage3_raw"):
        find_dac("mcp4728", 1, tree.root)
    with pytest.raises(UserError, match=r"no converter called 'ad5593r' \(there: .*sht4x"):
        find_dac("ad5593r", 0, tree.root)


def test_converter_has_one_name_for_its_lock(tree: DacTree) -> None:
    tree.add(1, "mcp4725", "1-0060", "out_voltage0_raw")
    names = {converter_name(device, 0, tree.root) for device in ("mcp4725", "1-0060")}
    assert names == {"converter 1-0060"}
    assert converter_name("mcp4728", 0, tree.root) == "converter mcp4728"


def test_converter_that_went_and_came_back_under_another_number_is_found_again(
    tree: DacTree,
) -> None:
    gone = tree.add(0, "mcp4725", "1-0060", "out_voltage0_raw")
    fan = DacFan(STRAIGHT, speed=1.0, root=tree.root)
    (tree.root / gone.name).unlink()
    with pytest.raises(UserError, match="no converter called 'mcp4725'") as caught:
        fan.apply(0.5)
    assert caught.value.status == 3
    back = tree.add(4, "mcp4725", "1-0061", "out_voltage0_raw")
    fan.apply(1.0)
    assert value(back) == 4095


TEXT = """\
tent: {name: Test, width: 60 cm, depth: 60 cm, height: 120 cm}
place: {timezone: Europe/Rome}
lamp: {power: 100 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: dac, dac: {device: mcp4725, raw_full: 4095}}
failsafe: {speed: 60 %}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""


def settings() -> Settings:
    return settings_from_text(TEXT).settings


def test_fan_on_a_converter_is_opened_driven_and_parked(
    tree: DacTree, mock_pins: MockFactory
) -> None:
    device = tree.add(0, "mcp4725", "1-0060", "out_voltage0_raw")
    outputs = open_outputs(settings(), pin_factory=mock_pins, iio_root=tree.root)
    assert value(device) == 2457
    outputs.fan.apply(0.25)
    outputs.close()
    assert value(device) == 2457
    plan = parking.ParkingPlan.from_settings(settings())
    assert parking.ParkingPlan.from_json(plan.to_json()) == plan
    assert plan.pins == ()
    park(plan, 1.0, pin_factory=mock_pins, iio_root=tree.root)
    assert value(device) == 4095
