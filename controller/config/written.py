"""SI values back as one would write them in a config, to the last digit."""

from __future__ import annotations

from decimal import Decimal

from controller import units

# Per kind the units to try, in order of preference.
_UNITS = {
    "length": ("cm", "m", "in", "ft"),
    "altitude": ("m", "ft"),
    "area": ("m²", "ft²"),
    "volume": ("m³", "ft³"),
    "duration": ("years", "d", "h", "min", "s"),
    "temperature": ("°C", "°F"),
    "temperature_difference": ("K", "°F"),
    "pressure": ("Pa", "inH2O"),
    "flow": ("m³/h", "cfm", "m³/s"),
    "power": ("W",),
    "power_per_kelvin": ("W/K", "W/°F"),
    "power_per_percent": ("W/%",),
    "power_per_pascal": ("W/kPa", "W/Pa"),
    "frequency": ("kHz", "Hz"),
    "speed": ("%",),
    "humidity": ("%",),
    "humidity_difference": ("%",),
    "co2": ("ppm",),
}


def as_written(value: float, kind: str) -> str:
    """The simplest text that `controller.units.parse` reads as exactly this value.

    Parameters
    ----------
    value : float
        In SI, as `parse` returns it.
    kind : str
        A key of `controller.units.KINDS`.

    Raises
    ------
    ValueError
        For a value that `parse` never returns, with more than twelve digits.
    """
    return min(_candidates(value, kind), key=_plainness)


def _plainness(text: str) -> tuple[bool, int]:
    """Whole numbers first, then short ones."""
    number = text.split()[0]
    return "." in number, len(number)


def _candidates(value: float, kind: str) -> list[str]:
    texts: list[str] = []
    for unit in _UNITS[kind]:
        at_zero, at_one = _at(0.0, unit, kind), _at(1.0, unit, kind)
        number = (value - at_zero) / (at_one - at_zero)
        for digits in range(3, 16):
            # Through Decimal, since a float would show small numbers with an exponent.
            text = f"{Decimal(f'{number:.{digits}g}'):f} {unit}"
            if units.parse(text, kind) == value:
                texts.append(text)
                break
    if not texts:
        raise ValueError(f"{value!r} has more digits than a config keeps")
    return texts


def _at(number: float, unit: str, kind: str) -> float:
    return units.parse(f"{number} {unit}", kind)
