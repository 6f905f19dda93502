"""Which GPIOs of which Pi can be driven by PWM hardware: the one list of them.

Data sheets "BCM2835 ARM Peripherals" table 6-31 and "RP1 Peripherals" table 4 (from memory).
"""

from __future__ import annotations

from typing import NamedTuple


class PwmPin(NamedTuple):
    """The PWM chip and channel of a GPIO.

    Attributes
    ----------
    channel : int
        Channel of the PWM block.
    function : int
        Number of the pin's alternate function, as the device tree overlay `pwm` takes it.
    """

    channel: int
    function: int


class PwmBlock(NamedTuple):
    """The PWM hardware of a kind of Pi.

    Attributes
    ----------
    device : str
        Pattern of the last part of the chip's `device` link: address and driver in the device
        tree. Chip numbers say nothing, they move from kernel to kernel.
    example : str
        One that it matches.
    pins : dict
        By GPIO.
    """

    device: str
    example: str
    pins: dict[int, PwmPin]


# Pi 0 to 4: 2020c000.pwm, 3f20c000.pwm, fe20c000.pwm, as the bus is mapped.
PI_0_TO_4 = PwmBlock(
    r"(?:20|3f|fe)?20c000\.pwm",
    "fe20c000.pwm",
    {12: PwmPin(0, 4), 13: PwmPin(1, 4), 18: PwmPin(0, 2), 19: PwmPin(1, 2)},
)
# The first PWM block of the RP1.
PI_5 = PwmBlock(
    r"1f00098000\.pwm",
    "1f00098000.pwm",
    {
        12: PwmPin(0, 4),
        13: PwmPin(1, 4),
        14: PwmPin(2, 4),
        15: PwmPin(3, 4),
        18: PwmPin(2, 2),
        19: PwmPin(3, 2),
    },
)
BLOCKS = (PI_0_TO_4, PI_5)

ANY_PI = tuple(sorted(PI_0_TO_4.pins.keys() & PI_5.pins.keys()))
ONLY_PI_5 = tuple(sorted(PI_5.pins.keys() - PI_0_TO_4.pins.keys()))


def _one_of(pins: tuple[int, ...]) -> str:
    *most, last = map(str, pins)
    return f"{', '.join(most)} or {last}"


ON_ANY_PI = _one_of(ANY_PI)
CHOICE = f"{ON_ANY_PI}, on a Pi 5 also {_one_of(ONLY_PI_5)}"
