"""The header and its pins, against gpiozero's tables of the boards."""

from __future__ import annotations

import pytest
from gpiozero.pins import data as gpiozero_data
from gpiozero.pins.pi import PiBoardInfo

from controller.outputs.failures import PULLED_UP_AT_BOOT
from controller.pwm_pins import PI_0_TO_4
from controller.wiring.fan import pwm_overlay
from controller.wiring.header import BY_GPIO, GROUND, PINS, ROWS, V3_3, V5, Supplies

# Revision codes of a Zero W, 3B+, 4B and 5 (Raspberry Pi documentation, from memory); gpiozero
# says below which boards it takes them for.
BOARDS = {0x9000C1: "Zero W", 0xA020D3: "3B+", 0xC03111: "4B", 0xD04170: "5B"}
NAMES = {V3_3: "3V3", V5: "5V", GROUND: "GND"}


@pytest.mark.parametrize(("revision", "model"), BOARDS.items())
def test_every_pin_is_what_gpiozero_says_it_is(revision: int, model: str) -> None:
    board = PiBoardInfo.from_revision(revision)
    assert board.model == model
    header = board.headers["J8"]
    assert (header.rows, header.columns) == (ROWS, 2)
    ours = {pin.number: NAMES.get(pin.signal, pin.signal.replace(" ", "")) for pin in PINS}
    assert ours == {number: pin.name for number, pin in header.pins.items()}


@pytest.mark.parametrize("revision", BOARDS)
def test_odd_numbers_are_one_column_and_even_ones_the_other(revision: int) -> None:
    for number, pin in PiBoardInfo.from_revision(revision).headers["J8"].pins.items():
        assert (pin.row, pin.col) == ((number - 1) // 2 + 1, 2 - number % 2)


def test_all_28_gpios_are_on_the_header() -> None:
    assert set(BY_GPIO) == set(range(28))
    assert [pin.number for pin in PINS] == list(range(1, 41))


def test_the_pins_with_pulls_on_the_board_are_those_of_the_i2c_bus() -> None:
    header = PiBoardInfo.from_revision(0xC03111).headers["J8"]
    pulled = {pin.name for pin in header.pins.values() if pin.pull == "up"}
    assert pulled == {"GPIO2", "GPIO3"}
    assert {2, 3} <= set(PULLED_UP_AT_BOOT)


def test_the_pwm_pins_are_those_gpiozero_knows() -> None:
    header = gpiozero_data.PLUS_J8[2]
    pwm = {
        int(functions["gpio"].removeprefix("GPIO")): functions["pwm"]
        for functions in header.values()
        if "pwm" in functions and "gpio" in functions
    }
    assert pwm == {gpio: f"PWM0 {pin.channel}" for gpio, pin in PI_0_TO_4.pins.items()}


@pytest.mark.parametrize(
    ("gpio", "line"),
    # The overlay's own README on the Pi (from memory): func 4 for GPIO 12 and 13, 2 for 18 and 19.
    [
        (12, "dtoverlay=pwm,pin=12,func=4"),
        (13, "dtoverlay=pwm,pin=13,func=4"),
        (18, "dtoverlay=pwm,pin=18,func=2"),
        (19, "dtoverlay=pwm,pin=19,func=2"),
    ],
)
def test_the_overlay_has_the_function_of_its_pin(gpio: int, line: str) -> None:
    assert pwm_overlay(gpio) == line


def test_supplies_go_to_the_nearest_free_pin_and_are_shared_when_none_is_left() -> None:
    supplies = Supplies()
    assert supplies.take(GROUND, near=BY_GPIO[18].number).number == 14
    assert supplies.take(GROUND, near=BY_GPIO[18].number).number == 9
    assert [supplies.take(V3_3, near=1).number for _ in range(3)] == [1, 17, 1]
    assert {supplies.take(V5, near=40).number for _ in range(2)} == {2, 4}
