"""`lamp`: the light over the plants, its hours and who switches it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from controller.settings.quantities import (
    Flag,
    LocalTime,
    Pin,
    Power,
    Quantity,
    Section,
    section,
)


class Photoperiod(Section):
    """The lit hours, as local clock times; equal times: see `same_means`."""

    lights_on: LocalTime = Field(alias="on", description="Lights-on, local clock time.")
    lights_off: LocalTime = Field(alias="off", description="Lights-off, local clock time.")
    same_means: Literal["always", "never"] = Field(
        "always", description="What equal on and off times mean: 24 h of light, or none."
    )


Wait = Annotated[float, Quantity("duration", 0.0, 86_400.0)]


class Cutout(Section):
    """The lamp interlock: a lamp we switch is cut when the tent stays too hot at full fan speed."""

    above_c: Annotated[float, Quantity("temperature", 20.0, 60.0)] = Field(
        35.0, alias="above", description="Tent temperature above which the lamp is cut."
    )
    delay_s: Wait = Field(300.0, alias="delay", description="How long it must stay that hot.")
    hold_off_s: Wait = Field(
        1800.0, alias="hold_off", description="How long the lamp then stays off at least."
    )


class Lamp(Section):
    """The lamp."""

    power_w: Power = Field(
        100.0,
        alias="power",
        description="Electrical power; all of it becomes heat. The default is a mere guess: "
        "sizing and costs rest on yours.",
    )
    photoperiod: Photoperiod = Field(description="The lit hours, local clock times.")
    switched_by: Literal["own_timer", "relay", "photocell"] = Field(
        "own_timer",
        description="own_timer: a plug timer; relay: lungwort switches it; "
        "photocell: a timer switches it and a photocell reports it.",
    )
    pin: Pin | None = Field(None, description="GPIO of the lamp relay or of the photocell.")
    active_low: Flag = Field(False, description="True when a low level means lit.")
    cutout: Cutout = section(
        description="The lamp interlock; only a lamp that lungwort switches can be cut.",
    )
