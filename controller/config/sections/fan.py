"""`fan` and `schedule`: the fan, how it is driven and when it runs."""

from __future__ import annotations

from typing import Annotated, Literal

from controller.config.quantities import (
    Flag,
    Flow,
    FlowAndPressure,
    LocalTime,
    Pin,
    Power,
    Pressure,
    QuantityRange,
    Speed,
)
from controller.config.section import Section, key

SOFTWARE_PWM_HZ = 100.0
HARDWARE_PWM_HZ = 25_000.0  # what four-wire fans ask for

# One an hour: a relay good for 100,000 lasts eleven years (common practice, no source).
RELAY_STARTS_A_DAY = 24

Rest = Annotated[float, QuantityRange("duration", 0.0, 3600.0)]


class TachometerConfig(Section):
    """The fan's speed signal."""

    pin: Pin = key(description="GPIO of the tachometer line (open collector, pulled up to 3.3 V).")
    pulses_per_turn: int = key(
        default=2, ge=1, le=12, description="Pulses per turn; most fans give 2."
    )


class CurrentSwitchConfig(Section):
    """A switch that closes while the fan draws current, for a fan without a tachometer."""

    pin: Pin = key(description="GPIO of its contact, which is isolated from the fan's supply.")
    active_low: Flag = key(
        default=True,
        description="True when a low level means current: a contact to ground, pulled up here.",
    )


class DacConfig(Section):
    """The digital-to-analogue converter of a fan with a 0-10 V input."""

    device: str = key(
        description="The kernel's name of it, such as mcp4725, or its bus address, such as 1-0060."
    )
    channel: int = key(default=0, ge=0, le=63, description="Which of its outputs.")
    raw_off: int = key(
        default=0, ge=0, le=1_048_575, description="The converter's value while the fan is off."
    )
    raw_full: int = key(
        ge=0,
        le=1_048_575,
        description="Its value at full speed, such as 4095 with 12 bits. Below raw_off behind a "
        "stage that inverts: no voltage is then full speed.",
    )

    @property
    def runs_at_no_voltage(self) -> bool:
        """Whether the stage behind it makes no voltage full speed."""
        return self.raw_full < self.raw_off


class FanConfig(Section):
    """The fan and the wire that drives it."""

    drive: Literal["relay", "pwm", "hardware_pwm", "dac"] = key(
        reopens=True,
        default="relay",
        description="relay: on or off; pwm: software PWM up to 10 kHz; hardware_pwm: the 25 kHz "
        "that four-wire fans want; dac: the 0-10 V that EC fans want.",
    )
    pin: Pin | None = key(
        reopens=True, default=None, description="GPIO that drives the fan; none with dac."
    )
    dac: DacConfig | None = key(
        reopens=True, default=None, description="The converter that drives it, with drive: dac."
    )
    active_low: Flag = key(
        reopens=True,
        default=False,
        description="True when a low level drives it; so a four-wire fan behind a transistor, "
        "which runs at full speed while nothing drives the pin.",
    )
    contact: Literal["normally_open", "normally_closed"] = key(
        reopens=True,
        default="normally_open",
        description="Relay contact the fan hangs on; normally_closed: a dead Pi leaves it running.",
    )
    frequency_hz: Annotated[float, QuantityRange("frequency", 1.0, 100_000.0)] | None = key(
        reopens=True,
        default=None,
        written="frequency",
        description="PWM frequency. Default: 100 Hz for pwm, 25 kHz for hardware_pwm.",
    )
    min_on_s: Rest = key(
        default=120.0, written="min_on", description="Shortest run; spares motor and relay."
    )
    min_off_s: Rest = key(
        default=120.0,
        written="min_off",
        description="Shortest rest; heat and a failed sensor overrule it.",
    )
    most_starts: int | None = key(
        default=None,
        ge=1,
        le=1440,
        description="Starts a day at most, evenly spread: until the next may come the fan runs on, "
        "or rests. Heat and a failed sensor start it all the same. Default: 24 for a relay, "
        "else no limit.",
    )
    min_speed: Speed | None = key(
        default=None,
        description="Lowest speed at which the motor turns reliably; a slower command but 0 is "
        "raised to it. Default: 20 %, for a relay 100 %.",
    )
    ramp_s: Annotated[float, QuantityRange("duration", 0.0, 600.0)] = key(
        default=10.0,
        written="ramp",
        description="Time from standstill to full speed; a relay ignores it.",
    )
    free_flow_m3_s: Flow | None = key(
        default=None, written="free_flow", description="Flow with nothing attached (data sheet)."
    )
    max_pressure_pa: Pressure | None = key(
        default=None, written="max_pressure", description="Static pressure at no flow (data sheet)."
    )
    curve: tuple[FlowAndPressure, ...] | None = key(
        default=None,
        min_length=2,
        max_length=200,
        description="Points [flow, static pressure] of the data sheet's curve, by rising flow; "
        "better than its two ends alone.",
    )
    power_w: Power | None = key(
        default=None, written="power", description="Electrical power at full speed."
    )
    tachometer: TachometerConfig | None = key(
        reopens=True,
        default=None,
        description="The fan's speed signal; without it a stalled fan goes unnoticed.",
    )
    current_switch: CurrentSwitchConfig | None = key(
        reopens=True,
        default=None,
        description="Whether the fan draws current, where it has no tachometer: a tripped fuse, a "
        "pulled plug or a welded relay is noticed, a blocked rotor is not.",
    )

    @property
    def gpio(self) -> int:
        """GPIO that drives the fan; a checked config has one unless `drive` is dac."""
        if self.pin is None:
            raise ValueError("a fan on a converter is driven by no GPIO")
        return self.pin

    @property
    def resolved_min_speed(self) -> float:
        """Lowest speed at which the motor turns reliably (0–1)."""
        if self.min_speed is not None:
            return self.min_speed
        return 1.0 if self.drive == "relay" else 0.2

    @property
    def resolved_most_starts(self) -> int | None:
        """Starts a day at most; None without a limit."""
        if self.most_starts is None and self.drive == "relay":
            return RELAY_STARTS_A_DAY
        return self.most_starts

    @property
    def resolved_frequency_hz(self) -> float:
        """PWM frequency [Hz]; 0 for a relay and a converter."""
        if self.drive in ("relay", "dac"):
            return 0.0
        if self.frequency_hz is not None:
            return self.frequency_hz
        return SOFTWARE_PWM_HZ if self.drive == "pwm" else HARDWARE_PWM_HZ


class Purge(Section):
    """A purge: every so often, for so long; counted from local midnight."""

    every_s: Annotated[float, QuantityRange("duration", 60.0, 86_400.0)] = key(
        written="every", description="From the start of one purge to the next, from local midnight."
    )
    length_s: Annotated[float, QuantityRange("duration", 1.0, 86_400.0)] = key(
        written="length", description="How long each purge lasts."
    )
    speed: Speed = key(default=1.0, description="Fan speed of the purge.")


class Quiet(Section):
    """Hours in which the fan turns slowly, unless a harm is near; local times, across midnight."""

    begins: LocalTime = key(written="from", description="When quiet begins, local clock time.")
    ends: LocalTime = key(written="to", description="When it ends, local clock time.")
    speed: Speed = key(
        description="The most that schedule, purges and overrides get; heat near the heat warning, "
        "a surface near the dew point, a hold and the failsafe go before it."
    )


Margin = Annotated[float, QuantityRange("duration", 0.0, 86_400.0)]


class Schedule(Section):
    """When the fan runs: from `pre_run` before lights-on to `run_on` after lights-off."""

    pre_run_s: Margin = key(
        default=900.0, written="pre_run", description="How long before lights-on it starts."
    )
    run_on_s: Margin = key(
        default=900.0, written="run_on", description="How long after lights-off it runs on."
    )
    day_speed: Speed = key(default=1.0, description="Fan speed in the fan hours.")
    night_speed: Speed = key(default=0.0, description="Fan speed outside the fan hours.")
    purge: Purge | None = key(default=None, description="A purge, day and night; default none.")
