"""Step one: does every sensor answer, and do those in the same air agree?"""

from __future__ import annotations

import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from controller import display
from controller.air.constants import OUTDOOR_CO2_PPM
from controller.commissioning.comparison import (
    LEAST_READINGS,
    Agreement,
    PairedSample,
    Quantity,
    compare,
    sample_of,
)
from controller.commissioning.findings import TrialFinding
from controller.commissioning.watch import RigSnapshot
from controller.config import Settings
from controller.config.sections.sensors import Sensor
from controller.display import Units
from controller.kernel_sensors import is_one_wire_dht
from controller.sensors.array import SensorState
from controller.sensors.data_sheets import profile_of

# An SCD40 in outdoor air: 50 ppm and 5 % of the value (Sensirion SCD4x, 1.4, 2023, from memory).
CO2_ERROR_PPM = 71.0
# A DHT loses some of its readings always; half of them lost is the wiring's fault.
MOST_FAILURES = 0.5
# Differences so many times the allowed one are no matter of an offset (common practice).
FAR = 2.0
# The greatest offsets that a config takes [K], [%].
GREATEST_OFFSET: dict[Quantity, float] = {"temperature": 10.0, "humidity": 30.0}


@dataclass(slots=True)
class Heard:
    """Readings of one sensor so far: trusted values only, and how often it failed."""

    name: str
    role: str
    driver: str
    temperatures_c: list[float] = field(default_factory=list)
    humidities_pct: list[float] = field(default_factory=list)
    co2s_ppm: list[float] = field(default_factory=list)
    failures: int = 0
    message: str = ""
    _last_s: float | None = None

    def take(self, state: SensorState) -> None:
        """Add what is new."""
        self.failures = state.failures
        self.message = state.message
        reading = state.reading
        if reading is not None and reading.monotonic_s != self._last_s:
            self._last_s = reading.monotonic_s
            self.temperatures_c.append(reading.temperature_c)
            if reading.humidity_pct is not None:
                self.humidities_pct.append(reading.humidity_pct)
            if reading.co2_ppm is not None:
                self.co2s_ppm.append(reading.co2_ppm)


@dataclass(frozen=True, slots=True)
class SensorsResult:
    """Results of the sensors side by side.

    Attributes
    ----------
    heard : tuple of Heard
        Every sensor.
    samples : dict
        Means by quantity.
    verdicts : dict
        Comparisons by quantity; empty where nothing could be compared.
    together : bool
        Whether all hung in the same air, those at the intake too.
    thermometer_c, hygrometer_pct : float or None
        The hand instruments [°C], [%].
    findings : tuple of TrialFinding
        What follows.
    """

    heard: tuple[Heard, ...]
    samples: dict[Quantity, list[PairedSample]]
    verdicts: dict[Quantity, list[Agreement]]
    together: bool
    thermometer_c: float | None
    hygrometer_pct: float | None
    findings: tuple[TrialFinding, ...]


def listen(looks: Iterable[RigSnapshot], settings: Settings) -> tuple[Heard, ...]:
    """Gather every sensor's readings while the looks last."""
    heard = {s.name: Heard(s.name, s.role, s.driver) for s in settings.sensors}
    for look in looks:
        for state in look.sensors:
            heard[state.name].take(state)
    return tuple(heard.values())


def judge_sensors(
    heard: tuple[Heard, ...],
    settings: Settings,
    *,
    together: bool,
    thermometer_c: float | None = None,
    hygrometer_pct: float | None = None,
) -> SensorsResult:
    """Compare what was heard.

    Parameters
    ----------
    heard : tuple of Heard
        From `listen`.
    settings : Settings
        The tent, for accuracies and offsets.
    together : bool
        Whether every sensor hung in the same air. If not, only those in the tent are compared.
    thermometer_c, hygrometer_pct : float or None
        Hand instruments beside them [°C], [%].
    """
    units = settings.units
    findings: list[TrialFinding] = []
    for answer, sensor in zip(heard, settings.sensors, strict=True):
        findings += _answers(answer, sensor)
        findings += _co2(answer)
    samples = _samples(heard, settings)
    verdicts: dict[Quantity, list[Agreement]] = {}
    by_name = {answer.name: answer for answer in heard}
    hands: dict[Quantity, float | None] = {
        "temperature": thermometer_c,
        "humidity": hygrometer_pct,
    }
    for quantity, hand in hands.items():
        alike = [s for s in samples[quantity] if together or by_name[s.sensor].role == "tent"]
        verdicts[quantity] = compare(quantity, alike, hand)
        findings += [_verdict(quantity, v, units) for v in verdicts[quantity]]
    answering = [answer for answer in heard if len(answer.temperatures_c) >= LEAST_READINGS]
    if answering and not any(verdicts.values()):
        findings.append(
            TrialFinding(
                "advice",
                "No sensor was compared with another one: a thermometer and a hygrometer you "
                "trust, or sensors that hang side by side, would show a wrong one.",
            )
        )
    return SensorsResult(
        heard, samples, verdicts, together, thermometer_c, hygrometer_pct, tuple(findings)
    )


def _co2(answer: Heard) -> list[TrialFinding]:
    """What a sensor of CO2 shows, beside outdoor air."""
    if not answer.co2s_ppm:
        return []
    ppm = statistics.median(answer.co2s_ppm)
    text = f"CO2 of {answer.name}: {display.co2(ppm)}"
    if ppm >= OUTDOOR_CO2_PPM - CO2_ERROR_PPM:
        return [TrialFinding("fine", f"{text}.")]
    outdoors = display.co2(OUTDOOR_CO2_PPM)
    return [
        TrialFinding(
            "advice",
            f"{text}, less than outdoor air has (about {outdoors}): unless leaves just took it up "
            "in the light, its calibration is off. Hold it into outdoor air and look.",
        )
    ]


def _wire_to_check(sensor: Sensor) -> str:
    """What may be wrong with a wire over which readings get lost, in words."""
    if sensor.driver == "w1":
        return "shorten its cable, check its supply and the bus's one resistor of 4.7 kΩ"
    if sensor.driver in ("dht22", "dht11") or is_one_wire_dht(sensor.device):
        return "shorten its cable, check its supply and the pull-up resistor on its data line"
    return "shorten its cable, a metre or so at most, and check all four wires of the I²C bus"


def _answers(answer: Heard, sensor: Sensor) -> list[TrialFinding]:
    count = len(answer.temperatures_c)
    if count < LEAST_READINGS:
        why = answer.message or "too few readings came in the time"
        return [
            TrialFinding(
                "fault",
                f"Sensor {answer.name} gave {count} usable readings: {why}.",
            )
        ]
    if answer.failures > MOST_FAILURES * (answer.failures + count):
        return [
            TrialFinding(
                "advice",
                f"Sensor {answer.name} failed {answer.failures} times beside {count} readings: "
                f"{_wire_to_check(sensor)}.",
            )
        ]
    return [TrialFinding("fine", f"Sensor {answer.name} answers ({count} readings).")]


def _samples(heard: tuple[Heard, ...], settings: Settings) -> dict[Quantity, list[PairedSample]]:
    samples: dict[Quantity, list[PairedSample]] = {"temperature": [], "humidity": []}
    for answer, sensor in zip(heard, settings.sensors, strict=True):
        profile = profile_of(sensor)
        temperature = sample_of(
            answer.name, answer.temperatures_c, profile.accuracy_k, sensor.temperature_offset_k
        )
        humidity = sample_of(
            answer.name, answer.humidities_pct, profile.accuracy_pct, sensor.humidity_offset_pct
        )
        if temperature is not None:
            samples["temperature"].append(temperature)
        if humidity is not None:
            samples["humidity"].append(humidity)
    return samples


def _verdict(quantity: Quantity, verdict: Agreement, units: Units) -> TrialFinding:
    say: Callable[[float], str]
    if quantity == "temperature":

        def say(value: float) -> str:
            return display.temperature_difference(value, units)
    else:

        def say(value: float) -> str:
            return f"{value:.1f} %".replace("-", "−")

    more = "more" if verdict.difference >= 0.0 else "less"
    difference = (
        f"{quantity.capitalize()} of {verdict.sensor}: {say(abs(verdict.difference))} {more} than "
        f"{verdict.against}"
    )
    if verdict.suggested_offset is not None:
        return TrialFinding("advice", f"{difference}{_remedy(quantity, verdict, say)}")
    if verdict.agrees:
        return TrialFinding("fine", f"{difference}; data sheets allow {say(verdict.allowed)}.")
    return TrialFinding(
        "advice",
        f"{difference}, though data sheets allow only {say(verdict.allowed)}: one of the two is "
        "off, and which one only a thermometer or hygrometer you trust can tell.",
    )


def _remedy(quantity: Quantity, verdict: Agreement, say: Callable[[float], str]) -> str:
    """An offset where one may help; more than that only another sensor does."""
    offset = verdict.suggested_offset or 0.0
    setting = f"set its {quantity}_offset to {say(offset)}"
    if abs(verdict.difference) <= FAR * verdict.allowed:
        return f"; {setting}."
    far = (
        ", far more than its data sheet admits. Make sure first that both hang in the same air, "
        "for a quarter of an hour"
    )
    if abs(offset) > GREATEST_OFFSET[quantity]:
        return f"{far}. If it stays so, no offset helps: put in another sensor."
    return f"{far}. If it stays so, {setting} for now, and put in another sensor."
