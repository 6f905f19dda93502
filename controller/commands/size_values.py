"""The values of the options of `lungwort size`, read from text into SI."""

from __future__ import annotations

import re
from typing import Any

from controller.commands.arguments import option_quantity
from controller.errors import UserError

# Mass is no quantity of the config; per SI and NIST SP 811.
_KG = {"kg": 1.0, "g": 1e-3, "lb": 0.45359237, "lbs": 0.45359237, "oz": 0.45359237 / 16.0}


_LIMITS = {
    "temperature": (-40.0, 60.0, "−40 to 60 °C"),
    "altitude": (-500.0, 6000.0, "−500 to 6000 m"),
    "humidity": (0.0, 100.0, "0 to 100 %"),
    "speed": (0.0, 1.0, "0 to 100 %"),
    "power": (0.0, 1e5, "0 to 100 kW"),
    "length": (0.0, 1e3, "0 to 1000 m"),
    "area": (0.0, 1e4, "0 to 10 000 m²"),
    "flow": (0.0, 100.0, "0 to 360 000 m³/h"),
    "pressure": (0.0, 1e4, "0 to 10 kPa"),
    "co2": (0.0, 1e5, "0 to 100 000 ppm"),
    "duration": (0.0, 86_400.0, "0 to 24 h"),
}


def read(text: str, kind: str | None, option: str) -> float:
    """One quantity of an option, in SI; UserError names the option."""
    if kind == "mass":
        match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([a-z]+)\s*", text, re.IGNORECASE)
        if not match or match[2].lower() not in _KG:
            raise UserError(f"{option}: {text!r} is not a mass; expected e.g. 2 kg or 4.4 lb", 2)
        return float(match[1]) * _KG[match[2].lower()]
    if kind is None:
        match = re.fullmatch(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(?:[µμu]mol\b.*)?", text)
        if not match or float(match[1]) > 3000.0:
            raise UserError(
                f"{option}: {text!r}; expected µmol/m²s, a number from 0 to 3000", status=2
            )
        return float(match[1])
    value = option_quantity(text, kind, option)
    low, high, shown = _LIMITS[kind]
    if not low <= value <= high:
        raise UserError(f"{option}: {text!r} is out of range; expected {shown}", status=2)
    return value


def count(text: str, option: str, most: int) -> int:
    """A whole number from 0 to `most`."""
    if not re.fullmatch(r"[0-9]{1,6}", text.strip(), re.ASCII) or int(text) > most:
        raise UserError(f"{option}: {text!r}; expected a whole number from 0 to {most}", status=2)
    return int(text)


def pair(text: str, option: str) -> tuple[float, float]:
    """A flow [m³/s] and a pressure [Pa], as '100 m³/h, 220 Pa'."""
    flow, pressure = _pair(text, option, "100 m³/h, 220 Pa")
    return read(flow, "flow", option), read(pressure, "pressure", option)


def drop(text: str) -> tuple[float, float]:
    """A pressure [Pa] at a flow [m³/s], as '60 Pa at 187 m³/h'."""
    option = "--filter-drop"
    first, second = _pair(text, option, "60 Pa at 187 m³/h")
    drop_pa, flow_m3_s = read(first, "pressure", option), read(second, "flow", option)
    if flow_m3_s <= 0.0:
        raise UserError(f"{option}: the flow must be more than nothing", status=2)
    return drop_pa, flow_m3_s


def _pair(text: str, option: str, example: str) -> list[str]:
    parts = re.split(r"\s*(?:,|;|@|\bat\b)\s*", text.strip())
    if len(parts) != 2:
        raise UserError(f"{option}: {text!r}; expected e.g. '{example}'", status=2)
    return parts


def price(text: str, currency: str) -> dict[str, Any]:
    """A price and its currency, as '0.31 EUR', by the names of their fields in a plan."""
    match = re.fullmatch(
        r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]{3})?\s*(?:(?:/|per)\s*kwh)?\s*", text
    )
    if not match:
        raise UserError(f"--price: {text!r}; expected e.g. '0.31 EUR'", status=2)
    return {"price_per_kwh": float(match[1]), "currency": (match[2] or currency).upper()}
