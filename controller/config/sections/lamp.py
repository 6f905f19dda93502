"""`lamp`: the light over the plants, its hours and who switches it."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from controller.config.quantities import Flag, LocalTime, Pin, Power, QuantityRange
from controller.config.section import Section, key


class Photoperiod(Section):
    """The lit hours, as local clock times; equal times: see `same_means`."""

    lights_on: LocalTime = key(written="on", description="Lights-on, local clock time.")
    lights_off: LocalTime = key(written="off", description="Lights-off, local clock time.")
    same_means: Literal["always", "never"] = key(
        default="always", description="What equal on and off times mean: 24 h of light, or none."
    )

    @property
    def hours(self) -> float:
        """Hours of light a day by the clock, 0–24 [h]."""
        if self.lights_on == self.lights_off:
            return 24.0 if self.same_means == "always" else 0.0
        day = dt.date(2000, 1, 1)
        lit = dt.datetime.combine(day, self.lights_off) - dt.datetime.combine(day, self.lights_on)
        return (lit.total_seconds() / 3600.0) % 24.0


Wait = Annotated[float, QuantityRange("duration", 0.0, 86_400.0)]


class Cutout(Section):
    """The lamp interlock: a lamp we switch is cut when the tent stays too hot at full fan speed."""

    above_c: Annotated[float, QuantityRange("temperature", 20.0, 60.0)] = key(
        default=35.0, written="above", description="Tent temperature above which the lamp is cut."
    )
    delay_s: Wait = key(
        default=300.0, written="delay", description="How long it must stay that hot."
    )
    hold_off_s: Wait = key(
        default=1800.0, written="hold_off", description="How long the lamp then stays off at least."
    )


class Lamp(Section):
    """The lamp."""

    power_w: Power = key(
        default=100.0,
        written="power",
        description="Electrical power; all of it becomes heat in the tent, but for a driver's "
        "tenth or so where that hangs outside. The default is a mere guess: sizing and costs rest "
        "on yours.",
    )
    photoperiod: Photoperiod = key(description="The lit hours, local clock times.")
    switched_by: Literal["own_timer", "relay", "photocell"] = key(
        reopens=True,
        default="own_timer",
        description="own_timer: a plug timer; relay: lungwort switches it; "
        "photocell: a timer switches it and a photocell reports it.",
    )
    pin: Pin | None = key(
        reopens=True, default=None, description="GPIO of the lamp relay or of the photocell."
    )
    active_low: Flag = key(
        reopens=True, default=False, description="True when a low level means lit."
    )
    cutout: Cutout = key(
        default_factory=Cutout,
        description="The lamp interlock; only a lamp that lungwort switches can be cut.",
    )
