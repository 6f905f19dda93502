"""`fan` and `schedule`: the fan, how it is driven and when it runs."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from controller.settings.quantities import (
    Duration,
    Flow,
    Frequency,
    Pin,
    Power,
    Pressure,
    Section,
    Speed,
)


class Tachometer(Section):
    """The fan's speed signal."""

    pin: Pin = Field(description="GPIO of the tachometer line (open collector, pulled up).")
    pulses_per_turn: int = Field(2, ge=1, le=12, description="Pulses per turn; most fans give 2.")


class Fan(Section):
    """The fan and the wire that drives it."""

    drive: Literal["relay", "pwm", "hardware_pwm"] = Field(
        "relay", description="relay: on or off; pwm: software PWM; hardware_pwm: the 25 kHz kind."
    )
    pin: Pin = Field(description="GPIO that drives the fan.")
    active_low: bool = Field(False, description="True when a low level drives it.")
    contact: Literal["normally_open", "normally_closed"] = Field(
        "normally_open",
        description="Relay contact the fan hangs on; normally_closed: a dead Pi leaves it running.",
    )
    frequency_hz: Frequency | None = Field(
        None, alias="frequency", description="PWM frequency; default 100 Hz, hardware 25 kHz."
    )
    min_on_s: Duration = Field(120.0, alias="min_on", description="Shortest run.")
    min_off_s: Duration = Field(
        120.0, alias="min_off", description="Shortest rest; heat and a failed sensor overrule it."
    )
    min_speed: Speed | None = Field(
        None,
        description="Lowest speed at which the motor turns reliably; default 20 %, a relay 100 %.",
    )
    ramp_s: Duration = Field(
        10.0, alias="ramp", description="Time from standstill to full speed; a relay ignores it."
    )
    free_flow_m3_s: Flow | None = Field(
        None, alias="free_flow", description="Flow with nothing attached (data sheet)."
    )
    max_pressure_pa: Pressure | None = Field(
        None, alias="max_pressure", description="Static pressure at no flow (data sheet)."
    )
    power_w: Power | None = Field(
        None, alias="power", description="Electrical power at full speed."
    )
    tachometer: Tachometer | None = None


class Purge(Section):
    """A timed flush: every so often, for so long; counted from local midnight."""

    every_s: Duration = Field(alias="every", description="From one flush to the next.")
    length_s: Duration = Field(alias="length", description="How long each flush lasts.")
    speed: Speed = Field(1.0, description="Fan speed of the flush.")


class Schedule(Section):
    """When the fan runs: the window, from lights-on minus lead to lights-off plus lag."""

    lead_s: Duration = Field(900.0, alias="lead", description="Fan start before lights-on.")
    lag_s: Duration = Field(900.0, alias="lag", description="Fan stop after lights-off.")
    day_speed: Speed = Field(1.0, description="Fan speed while the window is open.")
    night_speed: Speed = Field(0.0, description="Fan speed while it is shut.")
    purge: Purge | None = None
