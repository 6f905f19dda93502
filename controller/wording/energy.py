"""What was assumed of energy, in plain words."""

from __future__ import annotations

from controller import display

FAN_LAWS = (
    "The fan's energy is by the fan laws, its speed cubed: motor and electronics take a watt or "
    "more besides, however slowly it turns."
)
"""What the energy of a fan that can turn slowly leaves out."""


def assumed_power_words(power_w: float) -> str:
    """What a fan is taken to draw that the config gives no power of."""
    return (
        f"fan.power isn't given; {display.power(power_w)} at full speed is assumed, by its flow "
        "and pressure"
    )
