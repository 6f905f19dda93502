"""What was assumed of energy, in plain words."""

from __future__ import annotations

from controller import display


def assumed_power_words(power_w: float) -> str:
    """What a fan is taken to draw that the config gives no power of."""
    return (
        f"fan.power isn't given; {display.power(power_w)} at full speed is assumed, by its flow "
        "and pressure"
    )
