"""`sensors`: what is measured, where, and by which driver."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from controller.settings.quantities import HumidityOffset, Pin, Section, TemperatureDifference

Driver = Literal["dht22", "dht11", "iio", "hwmon", "simulated"]
Role = Literal["tent", "intake"]


class Sensor(Section):
    """One sensor."""

    name: str = Field(pattern=r"^[a-z][a-z0-9_]{0,31}$", description="Short name, lower case.")
    role: Role = Field(description="tent: among the plants; intake: in the air drawn in.")
    driver: Driver = Field(description="How it is read.")
    pin: Pin | None = Field(None, description="GPIO of a dht22 or dht11.")
    device: str | None = Field(
        None, max_length=64, description="Kernel name of an iio or hwmon device, e.g. sht4x."
    )
    temperature_offset_k: TemperatureDifference = Field(
        0.0, alias="temperature_offset", description="Added to every temperature read."
    )
    humidity_offset_pct: HumidityOffset = Field(
        0.0, alias="humidity_offset", description="Added to every humidity read."
    )
