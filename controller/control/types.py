"""The values that go into and come out of a decision."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Rule(StrEnum):
    """The rows that can set the speed, highest priority first."""

    MANUAL_HOLD = "manual_hold"
    SENSOR_FAILSAFE = "sensor_failsafe"
    QUIET = "quiet"
    TOO_HOT = "too_hot"
    TOO_HUMID = "too_humid"
    TOO_STALE = "too_stale"
    TOO_COLD = "too_cold"
    TOO_DRY = "too_dry"
    PURGE = "purge"
    SCHEDULE = "schedule"


class Quantity(StrEnum):
    """What an override compares."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    VPD = "vpd"
    DEW_POINT = "dew_point"
    CO2 = "co2"


class ReasonStatus(StrEnum):
    """The part that a reason has in the command."""

    DECIDING = "deciding"  # set the speed
    ENGAGED = "engaged"  # asks, but a higher row asks for as much or more
    DELAYED = "delayed"  # past its limit, not yet for as long as its delay
    LOCKED_OUT = "locked_out"  # asks, but outside air can't help
    IGNORED = "ignored"  # asks for less air, while heat asks for more
    LIMITING = "limiting"  # the minimum on or off time delays the command
    RESTING = "resting"  # a duty in the dark has the fan rest
    OVERRULED = "overruled"  # quiet hours, before which a harm goes


class Now(NamedTuple):
    """The instant of a decision, already looked up in the schedule.

    Attributes
    ----------
    monotonic_s : float
        Monotonic time [s].
    lamp_on : bool
        Whether the lamp is lit: as sensed where it is sensed, else as scheduled.
    in_fan_hours : bool
        Whether it is in the fan hours.
    purge_on : bool
        Whether a purge is due now.
    is_quiet : bool
        Whether it is in the quiet hours.
    """

    monotonic_s: float
    lamp_on: bool
    in_fan_hours: bool
    purge_on: bool = False
    is_quiet: bool = False


class Reading(NamedTuple):
    """A trusted measurement: past plausibility, offset applied.

    Attributes
    ----------
    monotonic_s : float
        When it was taken, on the monotonic clock [s].
    temperature_c : float
        Dry-bulb temperature [°C].
    humidity_pct : float
        Relative humidity [%], 0–100.
    co2_ppm : float or None
        Carbon dioxide [ppm by volume]; None where it is not measured.
    """

    monotonic_s: float
    temperature_c: float
    humidity_pct: float
    co2_ppm: float | None = None


class SensorReading(NamedTuple):
    """What one sensor alone shows, past plausibility, offsets applied.

    Attributes
    ----------
    monotonic_s : float
        When it was taken, on the monotonic clock [s].
    temperature_c : float
        Temperature [°C].
    humidity_pct : float or None
        Relative humidity [%], 0–100; None from a lone thermometer.
    co2_ppm : float or None
        Carbon dioxide [ppm by volume]; None where it is not measured.
    """

    monotonic_s: float
    temperature_c: float
    humidity_pct: float | None
    co2_ppm: float | None = None


class Readings(NamedTuple):
    """The trusted readings; None where there is none."""

    tent: Reading | None
    intake: Reading | None = None


class Hold(NamedTuple):
    """A person's command with an expiry."""

    speed: float
    until_s: float


class Worsening(NamedTuple):
    """What more air would drive further out of its band: rule, quantity, forecast, limit, unit."""

    rule: Rule
    quantity: Quantity
    value: float
    limit: float
    unit: str

    def as_dict(self) -> dict[str, object]:
        """Give the JSON form."""
        return {
            "rule": self.rule.value,
            "quantity": self.quantity.value,
            "value": round(self.value, 4),
            "limit": self.limit,
            "unit": self.unit,
        }


class SpeedForecast(NamedTuple):
    """What a modulated speed is forecast to bring within half an hour.

    Attributes
    ----------
    speed, fastest : float
        The speed chosen, and the fastest that could have been, 0–1.
    value, value_at_fastest : float
        What the quantity will be at each, in its unit.
    saved_w : float
        What the fan draws less than at the fastest [W].
    worsens : Worsening or None
        What outweighs, at the fastest, all that it gains; then it isn't power that holds the fan.
    """

    speed: float
    fastest: float
    value: float
    value_at_fastest: float
    saved_w: float
    worsens: Worsening | None = None

    def as_dict(self) -> dict[str, object]:
        """Give the JSON form."""
        row: dict[str, object] = {
            name: round(getattr(self, name), 4)
            for name in ("speed", "fastest", "value", "value_at_fastest", "saved_w")
        }
        return row if self.worsens is None else row | {"worsens": self.worsens.as_dict()}


class Reason(NamedTuple):
    """One row of the answer to "why this speed?".

    Attributes
    ----------
    rule : Rule
        The row of the priority list.
    status : ReasonStatus
        Whether it decides, asks, waits, is locked out or ignored.
    quantity : Quantity or None
        The quantity that left its band; None for rules without one.
    value : float or None
        The value compared, in `unit`.
    limit : float or None
        The limit it is compared with, in `unit`.
    unit : str
        "°C", "%", "Pa", "K", "s" or "" (speed fraction).
    until_s : float or None
        Monotonic time at which this reason ends by itself [s], if known.
    intake, inside : float or None
        Of a locked out override: the state of the intake air and of the tent's that were
        compared; temperatures [°C] when `quantity` is the temperature, carbon dioxide [ppm]
        when it is that, else humidity ratios [g/kg].
    forecast : SpeedForecast or None
        Of a modulated override: what the speed was chosen by.
    """

    rule: Rule
    status: ReasonStatus
    quantity: Quantity | None = None
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    until_s: float | None = None
    intake: float | None = None
    inside: float | None = None
    forecast: SpeedForecast | None = None

    def as_dict(self) -> dict[str, object]:
        """Give the JSON form; with both airs compared if locked out, the forecast if modulated."""
        row: dict[str, object] = {
            "rule": self.rule.value,
            "status": self.status.value,
            "quantity": None if self.quantity is None else self.quantity.value,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
        }
        if self.intake is not None:
            row["intake"] = self.intake
            row["inside"] = self.inside
            units = {Quantity.TEMPERATURE: "°C", Quantity.CO2: "ppm"}
            row["intake_unit"] = units.get(self.quantity, "g/kg") if self.quantity else "g/kg"
        if self.forecast is not None:
            row["forecast"] = self.forecast.as_dict()
        return row
