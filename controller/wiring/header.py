"""The 40-pin header of every Raspberry Pi since the B+ of 2014, and which pin to take next.

Order of the pins: from memory, held by a test against gpiozero's `gpiozero.pins.data`.
"""

from __future__ import annotations

from typing import NamedTuple

V3_3, V5, GROUND = "3.3 V", "5 V", "ground"

_GPIOS = {
    3: 2, 5: 3, 7: 4, 8: 14, 10: 15, 11: 17, 12: 18, 13: 27, 15: 22, 16: 23, 18: 24, 19: 10, 21: 9,
    22: 25, 23: 11, 24: 8, 26: 7, 27: 0, 28: 1, 29: 5, 31: 6, 32: 12, 33: 13, 35: 19, 36: 16,
    37: 26, 38: 20, 40: 21,
}  # fmt: skip
_SUPPLIES = {
    V3_3: (1, 17),
    V5: (2, 4),
    GROUND: (6, 9, 14, 20, 25, 30, 34, 39),
}

I2C_SDA, I2C_SCL = 2, 3
ROWS = 20


class HeaderPin(NamedTuple):
    """One pin of the header.

    Attributes
    ----------
    number : int
        1 to 40: odd numbers in one column, even ones in the other, 1 beside 2.
    gpio : int or None
        BCM number; None for a supply.
    signal : str
        "GPIO 18", "3.3 V", "5 V" or "ground".
    """

    number: int
    gpio: int | None
    signal: str


def _pins() -> tuple[HeaderPin, ...]:
    supplies = {number: name for name, numbers in _SUPPLIES.items() for number in numbers}
    return tuple(
        HeaderPin(number, None, supplies[number])
        if number in supplies
        else HeaderPin(number, _GPIOS[number], f"GPIO {_GPIOS[number]}")
        for number in range(1, 2 * ROWS + 1)
    )


PINS: tuple[HeaderPin, ...] = _pins()
BY_GPIO = {pin.gpio: pin for pin in PINS if pin.gpio is not None}


class Supplies:
    """Hands out supply pins: the nearest that is free, or a shared one when all are taken."""

    def __init__(self) -> None:
        self._taken: set[int] = set()

    def take(self, signal: str, near: int) -> HeaderPin:
        """A pin of 3.3 V, 5 V or ground.

        Parameters
        ----------
        signal : str
            `V3_3`, `V5` or `GROUND`.
        near : int
            Number of the header pin that it should be near.
        """
        numbers = _SUPPLIES[signal]
        free = [number for number in numbers if number not in self._taken]
        number = min(free or numbers, key=lambda other: (_distance(other, near), other))
        self._taken.add(number)
        return PINS[number - 1]


def _distance(number: int, other: int) -> int:
    """Rows between two pins, and one for the other column."""
    return abs((number - 1) // 2 - (other - 1) // 2) + (number % 2 != other % 2)
