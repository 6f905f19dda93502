"""What is particular about a GPIO: its pull while the Pi starts, and what else it is used for."""

from __future__ import annotations

from controller.outputs.failures import PULLED_UP_AT_BOOT, PULLED_UP_BY_BOARD
from controller.wiring.header import BY_GPIO, GROUND, V3_3, V5, HeaderPin, Supplies
from controller.wiring.sheet import Wire

# Data sheet "BCM2835 ARM Peripherals" and the Raspberry Pi documentation, from memory.
_ALSO_USED = {
    0: "GPIO 0 and 1 read the identity of add-on boards while the Pi starts: driven then.",
    2: "GPIO 2 and 3 are the I²C bus, pulled up to 3.3 V by 1.8 kΩ on the board.",
    14: "GPIO 14 and 15 are the serial console until `raspi-config` turns it off: what the Pi says "
    "while it starts would drive this wire.",
}
_ALSO_USED[1], _ALSO_USED[3], _ALSO_USED[15] = _ALSO_USED[0], _ALSO_USED[2], _ALSO_USED[14]


def pin_notes(gpio: int) -> tuple[str, ...]:
    """What else a GPIO is used for, if anything."""
    return (_ALSO_USED[gpio],) if gpio in _ALSO_USED else ()


def is_pulled_up(gpio: int) -> bool:
    """Whether the Pi pulls a GPIO up until something sets it up; else it pulls it down."""
    return gpio in PULLED_UP_AT_BOOT


def gpio_wire(gpio: int, goes_to: str, short: str) -> Wire:
    """The wire of a GPIO."""
    return Wire(BY_GPIO[gpio], goes_to, short)


def supply_wire(
    supplies: Supplies, signal: str, near: HeaderPin, goes_to: str, short: str = ""
) -> Wire:
    """A wire of 3.3 V, 5 V or ground."""
    shorts = {V3_3: "3.3 V", V5: "5 V", GROUND: "ground"}
    return Wire(supplies.take(signal, near.number), goes_to, short or shorts[signal])


def resting_pull(gpio: int, rests_high: bool) -> str:
    """The resistor that rests an output while nothing drives it.

    Parameters
    ----------
    gpio : int
        The pin.
    rests_high : bool
        Whether a high level is the resting one.
    """
    if gpio in PULLED_UP_BY_BOARD:
        if rests_high:
            return f"None to add: 1.8 kΩ on the board pull GPIO {gpio} up, but not without power."
        return (
            f"None will do: 1.8 kΩ on the board pull GPIO {gpio} up to 3.3 V and drive the input "
            "until lungwort starts. Use a GPIO from 9 up."
        )
    own = "up" if is_pulled_up(gpio) else "down"
    resistor = "10 kΩ from the input to 3.3 V" if rests_high else "10 kΩ from the input to ground"
    if is_pulled_up(gpio) is rests_high:
        return (
            f"{resistor} holds it at rest; until it is driven the Pi pulls GPIO {gpio} {own} too "
            "(about 50 kΩ), but not without power."
        )
    return (
        f"{resistor} is needed: until it is driven the Pi pulls GPIO {gpio} {own} (about 50 kΩ), "
        "which may drive it."
    )
