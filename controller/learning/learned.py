"""What was learned of a tent, as values and as the JSON that the record keeps."""

from __future__ import annotations

import datetime as dt
from typing import Any, NamedTuple

from controller.learning.drift import SensorDrift
from controller.learning.flow_fall import FlowFall
from controller.learning.identify import Misfit
from controller.learning.parameters import TentParameters


class Parameter(NamedTuple):
    """One parameter as it is said.

    Attributes
    ----------
    value, low, high : float
        Best estimate and 90 % interval, SI.
    configured : float
        What the config stands for.
    why_not : str or None
        Why the readings don't tell it, and what to do; None where they do.
    """

    value: float
    low: float
    high: float
    configured: float
    why_not: str | None

    @property
    def is_learned(self) -> bool:
        """Whether the readings tell it."""
        return self.why_not is None

    @property
    def differs(self) -> bool:
        """Whether the config's value lies outside its interval."""
        return self.is_learned and not self.low <= self.configured <= self.high


class SpeedFlow(NamedTuple):
    """Flow at a speed: as learned with its interval, and as configured [m³/s]."""

    speed: float
    m3_s: float
    low_m3_s: float
    high_m3_s: float
    configured_m3_s: float


class Week(NamedTuple):
    """Some days, from and until [Unix s]."""

    from_s: float
    until_s: float


class Learned(NamedTuple):
    """A tent as it was learned.

    Attributes
    ----------
    from_s, until_s : float
        The readings it rests on [Unix s].
    days, means : int
        24-hour stretches with readings, and five-minute means held against the model.
    lamp_w : float
        Power of the lamp that all of it is scaled by [W].
    fitted : TentParameters
        All parameters together, those that are why_not as well: for simulations.
    parameters : dict of str to Parameter
        What is said of each.
    misfit, misfit_as_configured : Misfit
        How far the model is from the readings.
    resistance : float
        Times the configured resistance of the filter, or of the whole run without one.
    flow : tuple of SpeedFlow
        At the speeds of the schedule.
    reference : Week or None
        The week that tells the usual flow; None while there is none.
    fall : FlowFall or None
        A fall of the flow below that of the reference week.
    drift : SensorDrift or None
        A change of the sensors' difference since then.
    """

    from_s: float
    until_s: float
    days: int
    means: int
    lamp_w: float
    fitted: TentParameters
    parameters: dict[str, Parameter]
    misfit: Misfit
    misfit_as_configured: Misfit
    resistance: float
    flow: tuple[SpeedFlow, ...]
    reference: Week | None = None
    fall: FlowFall | None = None
    drift: SensorDrift | None = None

    def as_json(self) -> dict[str, Any]:
        """One object, SI units in the keys."""
        return {
            "from": utc_instant(self.from_s),
            "to": utc_instant(self.until_s),
            "days": self.days,
            "means": self.means,
            "lamp_w": self.lamp_w,
            "fit": {
                "temperature_rms_k": _rounded(self.misfit.rms_k),
                "humidity_rms_pct": _rounded(self.misfit.rms_pct),
                "temperature_rms_k_as_configured": _rounded(self.misfit_as_configured.rms_k),
                "humidity_rms_pct_as_configured": _rounded(self.misfit_as_configured.rms_pct),
            },
            "parameters": {
                name: {
                    "value": _rounded(parameter.value),
                    "low": _rounded(parameter.low),
                    "high": _rounded(parameter.high),
                    "configured": _rounded(parameter.configured),
                    "learned": parameter.is_learned,
                    "why_not": parameter.why_not,
                }
                for name, parameter in self.parameters.items()
            },
            "resistance": _rounded(self.resistance),
            "flow": [
                {
                    "speed": row.speed,
                    "m3_per_h": _rounded(3600.0 * row.m3_s),
                    "low": _rounded(3600.0 * row.low_m3_s),
                    "high": _rounded(3600.0 * row.high_m3_s),
                    "configured_m3_per_h": _rounded(3600.0 * row.configured_m3_s),
                }
                for row in self.flow
            ],
            "reference": None
            if self.reference is None
            else {
                "from": utc_instant(self.reference.from_s),
                "to": utc_instant(self.reference.until_s),
            },
            "fall": None
            if self.fall is None
            else {
                "since": utc_instant(self.fall.since_s),
                "usual": _rounded(self.fall.usual),
                "now": _rounded(self.fall.now),
            },
            "drift": None if self.drift is None else self.drift.as_json(),
            "fitted": {name: _rounded(value) for name, value in self.fitted._asdict().items()},
        }


def learned_from_json(data: Any) -> Learned | None:
    """The other end of `Learned.as_json`; None where it is of another version or damaged."""
    try:
        fit = data["fit"]
        return Learned(
            dt.datetime.fromisoformat(data["from"]).timestamp(),
            dt.datetime.fromisoformat(data["to"]).timestamp(),
            int(data["days"]),
            int(data["means"]),
            float(data["lamp_w"]),
            TentParameters(**{name: float(value) for name, value in data["fitted"].items()}),
            {
                name: Parameter(
                    float(row["value"]),
                    float(row["low"]),
                    float(row["high"]),
                    float(row["configured"]),
                    None if row["why_not"] is None else str(row["why_not"]),
                )
                for name, row in data["parameters"].items()
            },
            Misfit(float(fit["temperature_rms_k"]), float(fit["humidity_rms_pct"])),
            Misfit(
                float(fit["temperature_rms_k_as_configured"]),
                float(fit["humidity_rms_pct_as_configured"]),
            ),
            float(data["resistance"]),
            tuple(
                SpeedFlow(
                    float(row["speed"]),
                    *(
                        float(row[key]) / 3600.0
                        for key in ("m3_per_h", "low", "high", "configured_m3_per_h")
                    ),
                )
                for row in data["flow"]
            ),
            _week(data.get("reference")),
            _fall(data.get("fall")),
            _drift(data.get("drift")),
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError):
        return None


def _week(data: Any) -> Week | None:
    if data is None:
        return None
    return Week(*(dt.datetime.fromisoformat(data[key]).timestamp() for key in ("from", "to")))


def _fall(data: Any) -> FlowFall | None:
    if data is None:
        return None
    since_s = dt.datetime.fromisoformat(data["since"]).timestamp()
    return FlowFall(since_s, float(data["usual"]), float(data["now"]))


def _drift(data: Any) -> SensorDrift | None:
    if data is None:
        return None
    return SensorDrift(*(float(data[name]) for name in SensorDrift._fields))


def utc_instant(at_s: float) -> str:
    """An instant [Unix s] as RFC 3339 in UTC, to the second that has begun."""
    return dt.datetime.fromtimestamp(at_s, dt.UTC).isoformat(timespec="seconds")


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")
