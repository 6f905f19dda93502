"""Quantities, lengths of time and counts in plain words and the user's units."""

from __future__ import annotations

from controller import display
from controller.display import Units, hours_and_minutes
from controller.review.excursions import Kind

NAMES = {"temperature": "Temperature", "humidity": "Humidity", "vpd": "VPD"}
# What is too little to be worth a word.
_LEAST_MIN = 1.0
_LEAST_HOURS = {"temperature": 0.05, "humidity": 0.5, "vpd": 5.0}
_TOO: dict[Kind, str] = {
    ("temperature", "above"): "too hot",
    ("temperature", "below"): "too cold",
    ("humidity", "above"): "too humid",
    ("humidity", "below"): "too dry",
    ("vpd", "above"): "VPD too high",
    ("vpd", "below"): "VPD too low",
}


def value_words(quantity: str, value: float | None, units: Units) -> str:
    """A temperature, humidity or VPD in the user's units; a dash for none."""
    if value is None:
        return "–"
    if quantity == "temperature":
        return display.temperature(value, units)
    if quantity == "co2":
        return display.co2(value)
    return display.humidity(value) if quantity == "humidity" else display.vpd(value)


def counted(number: int, noun: str) -> str:
    """Such as "1 start" and "2 starts"."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def degree_hours_words(k_h: float, units: Units) -> str:
    """Degree-hours in the user's degrees; of hundreds no tenths, which no model knows."""
    value, unit = (k_h * 1.8, "°F h") if units == "us" else (k_h, "K h")
    return f"{value:.{0 if value >= 99.95 else 1}f} {unit}"


def excess_parts(quantity: str, hours: float, units: Units) -> tuple[str, str]:
    """Distance from the band times time [K·h, %·h or Pa·h] as a number and its unit."""
    if quantity == "temperature":
        number, _, unit = degree_hours_words(hours, units).partition(" ")
        return number, unit
    if quantity == "humidity":
        return f"{hours:.{0 if hours >= 10.0 else 1}f}", "% h"
    return f"{hours / 1000.0:.{1 if hours >= 10_000.0 else 2}f}", "kPa h"


def excess_words(quantity: str, hours: float, units: Units) -> str:
    """Such as "1.2 K h", "12 % h" or "0.45 kPa h"."""
    return " ".join(excess_parts(quantity, hours, units))


def amount_words(kind: Kind, minutes: float, hours: float, units: Units) -> str:
    """Such as "50 min and 1.2 K h"; only what there is any of."""
    parts = []
    if minutes >= _LEAST_MIN:
        parts.append(hours_and_minutes(minutes))
    if hours >= _LEAST_HOURS[kind[0]]:
        parts.append(excess_words(kind[0], hours, units))
    return " and ".join(parts)


def too_words(quantity: str, side: str) -> str:
    """Such as "too hot"."""
    return _TOO[quantity, side]
