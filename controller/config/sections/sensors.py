"""`sensors`: what is measured, where, and by which driver."""

from __future__ import annotations

from typing import Annotated, Literal

from controller.config.quantities import Pin, QuantityRange
from controller.config.section import Section, key
from controller.kernel_sensors import KERNEL_SENSORS

Driver = Literal["dht22", "dht11", "iio", "hwmon", "w1", "simulated"]
# Many name the part where the way goes by which it is read.
_PARTS = {
    name: f"`driver: {part.driver}` and `device: {name}`, since the kernel reads it"
    for part in KERNEL_SENSORS
    if part.driver != "w1"
    for name in part.names
} | {"ds18b20": "`driver: w1` and the `device: 28-…` that 'lungwort sensors' prints"}
Role = Literal["tent", "intake", "leaf"]


class Sensor(Section):
    """One sensor."""

    name: str = key(
        pattern=r"^[a-z][a-z0-9_]{0,31}$",
        description="Short name: lower-case letters, digits and _, a letter first.",
        examples=["canopy"],
    )
    role: Role = key(
        description="tent: among the plants; intake: in the air drawn in; leaf: the temperature of "
        "leaves, which is recorded and shown and decides nothing."
    )
    driver: Driver = key(
        description="dht22, dht11: on a GPIO; iio, hwmon, w1: through the kernel, by name "
        "('lungwort sensors' lists them).",
        meant=_PARTS,
    )
    pin: Pin | None = key(default=None, description="GPIO of a dht22 or dht11.")
    device: str | None = key(
        default=None,
        min_length=1,
        max_length=64,
        description="What the kernel calls an iio, hwmon or w1 device: its name, label or bus "
        "address.",
        examples=["sht4x"],
    )
    temperature_offset_k: Annotated[float, QuantityRange("temperature_difference", -10.0, 10.0)] = (
        key(
            default=0.0,
            written="temperature_offset",
            description="Added to every temperature read.",
        )
    )
    humidity_offset_pct: Annotated[float, QuantityRange("humidity_difference", -30.0, 30.0)] = key(
        default=0.0, written="humidity_offset", description="Added to every humidity read."
    )
