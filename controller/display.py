"""SI values as people read them, in the units of the tent's owner, and instants as programs do."""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

Units = Literal["si", "us"]

# Exact, NIST SP 811 (2008) appendix B.8: 1 in = 0.0254 m, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg.
_M_PER_IN = 0.0254
_M_PER_FT = 0.3048
_M3_S_PER_CFM = _M_PER_FT**3 / 60.0
_KG_PER_LB = 0.45359237
# Conventional inch of water, NIST SP 811 appendix B.8: 249.0889 Pa (1000 kg/m³, 9.80665 m/s²).
_PA_PER_INH2O = _M_PER_IN * 1000.0 * 9.80665


# The space before a unit, within "K h" and within "GPIO 17"; a currency is three capital letters
# (ISO 4217).
_INSIDE_A_QUANTITY = re.compile(
    r"(?<=[0-9]) (?=(?:°[CF]|%|[kM]?(?:Pa|Ω)|inH2O|k?Wh?|k?Hz|1/min|min|µ?mol|cfm|ppm|m³/h"
    r"|ft[²³]?|in|[cm]?m[²³]?|lb|oz|k?g|m?A|V|[A-Z]{3}|[hsKd])(?![A-Za-z]))"
    r"|(?<=°[CF]| K) (?=h(?![A-Za-z]))|(?<=GPIO) (?=[0-9])"
)


def unbroken(text: str) -> str:
    """`text` with no-break spaces inside its quantities: no line ends between number and unit."""
    return _INSIDE_A_QUANTITY.sub("\N{NO-BREAK SPACE}", text)


def _number(value: float, decimals: int) -> str:
    """`value` with so many decimals, a real minus sign and never a negative zero."""
    if not math.isfinite(value):
        return "–"
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0.0 else "−" + text[1:]
    return text


def temperature(c: float, units: Units = "si") -> str:
    """A temperature [°C] as "24.1 °C" or "75.4 °F"."""
    if units == "us":
        return f"{_number(c * 1.8 + 32.0, 1)} °F"
    return f"{_number(c, 1)} °C"


def temperature_difference(k: float, units: Units = "si") -> str:
    """A difference of temperatures [K] as "1.5 K" or "2.7 °F"."""
    if units == "us":
        return f"{_number(k * 1.8, 1)} °F"
    return f"{_number(k, 1)} K"


def humidity(pct: float) -> str:
    """A relative humidity [%] as "62 %"."""
    return f"{_number(pct, 0)} %"


def vpd(pa: float) -> str:
    """A vapour pressure deficit [Pa] as "1.05 kPa"; growers use kPa everywhere."""
    return f"{_number(pa / 1000.0, 2)} kPa"


def flow(m3_s: float, units: Units = "si") -> str:
    """An air flow [m³/s] as "187 m³/h" or "110 cfm"."""
    value, unit = (m3_s / _M3_S_PER_CFM, "cfm") if units == "us" else (m3_s * 3600.0, "m³/h")
    return f"{_number(value, 0 if abs(value) >= 10 else 1)} {unit}"


def pressure(pa: float, units: Units = "si") -> str:
    """A static pressure [Pa] as "150 Pa" or "0.60 inH2O"."""
    if units == "us":
        return f"{_number(pa / _PA_PER_INH2O, 2)} inH2O"
    return f"{_number(pa, 0 if abs(pa) >= 10 else 1)} Pa"


def length(m: float, units: Units = "si") -> str:
    """A length [m] as "80 cm", "2.50 m", "32 in" or "8 ft 2 in"."""
    if units == "us":
        inches = round(m / _M_PER_IN, 1)
        if abs(inches) < 96 or not math.isfinite(inches):
            return f"{_trimmed(inches, 1)} in"
        feet, rest = divmod(round(abs(m) / _M_PER_IN), 12)
        sign = "−" if inches < 0 else ""
        return f"{sign}{feet} ft" + (f" {rest} in" if rest else "")
    if abs(m) < 2.0:
        return f"{_trimmed(m * 100.0, 1)} cm"
    return f"{_trimmed(m, 2)} m"


def area(m2: float, units: Units = "si") -> str:
    """An area [m²] as "0.64 m²" or "6.9 ft²"."""
    if units == "us":
        return f"{_number(m2 / _M_PER_FT**2, 1)} ft²"
    return f"{_number(m2, 2)} m²"


def volume(m3: float, units: Units = "si") -> str:
    """A volume [m³] as "1.06 m³" or "37.3 ft³"."""
    if units == "us":
        return f"{_number(m3 / _M_PER_FT**3, 1)} ft³"
    return f"{_number(m3, 2)} m³"


def speed(fraction: float) -> str:
    """A fan speed (0–1) as "40 %"."""
    return f"{_number(fraction * 100.0, 0)} %"


def fan(fraction: float) -> str:
    """What a fan does at a speed (0–1): "fan at 40 %" or "fan off"."""
    return f"fan at {speed(fraction)}" if fraction else "fan off"


def power(w: float) -> str:
    """A power [W] as "150 W", "8.5 W" or "1.20 kW"."""
    if abs(w) >= 1000.0:
        return f"{_number(w / 1000.0, 2)} kW"
    return f"{_trimmed(w, 0 if abs(w) >= 10 else 1)} W"


def power_per_kelvin(w_per_k: float, units: Units = "si") -> str:
    """What a kelvin is worth [W/K] as "60 W/K" or "33 W/°F"."""
    if units == "us":
        return f"{_trimmed(w_per_k / 1.8, 1)} W/°F"
    return f"{_trimmed(w_per_k, 1)} W/K"


def power_per_percent(w_per_pct: float) -> str:
    """What a percent is worth [W/%] as "6 W/%"."""
    return f"{_trimmed(w_per_pct, 1)} W/%"


def power_per_pascal(w_per_pa: float) -> str:
    """What a VPD is worth [W/Pa] as "180 W/kPa"."""
    return f"{_trimmed(1000.0 * w_per_pa, 0)} W/kPa"


def energy(kwh: float) -> str:
    """An energy [kWh] to three digits: "4.56 kWh", "20.2 kWh", "876 kWh"."""
    return f"{_number(kwh, 2 if abs(kwh) < 9.995 else 1 if abs(kwh) < 99.95 else 0)} kWh"


def money(amount: float, currency: str) -> str:
    """An amount as "1.42 EUR"; smaller than a hundredth shows more digits."""
    decimals = 2 if amount == 0.0 or abs(amount) >= 0.1 else 3
    return f"{_number(amount, decimals)} {currency}"


def duration(s: float) -> str:
    """A duration [s] as "45 s", "1 h 30 min" or "3 d 4 h": two units at most.

    Time that is counted up over days reads better by `hours_and_minutes`.
    """
    if not math.isfinite(s):
        return "–"
    sign = "−" if round(s) < 0 else ""
    left = abs(s)
    if left < 10 and abs(left - round(left)) >= 0.05:
        return f"{sign}{left:.1f} s"
    # Two units: nobody counts seconds of hours, nor minutes of days.
    step = 3600 if left >= 86400 else 60 if left >= 3600 else 1
    left = round(left / step) * step
    parts: list[str] = []
    for size, name in ((86400, "d"), (3600, "h"), (60, "min"), (1, "s")):
        count, left = divmod(left, size)
        if count:
            parts.append(f"{count} {name}")
        elif parts:
            break
        if len(parts) == 2:
            break
    return sign + (" ".join(parts) or "0 s")


def hours_and_minutes(minutes: float) -> str:
    """A length [min] that is never told in days: "45 min", "54 h 10 min", from 100 h on "812 h".

    For time counted up, such as the hours out of band of a week, where `duration` is for waits.
    """
    whole = round(minutes)
    if whole < 1:
        return "0 min" if minutes <= 0.0 else "under 1 min"
    if whole < 60:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest and hours < 100 else f"{hours + (rest >= 30)} h"


def rfc3339(at_s: float, zone: ZoneInfo) -> str:
    """An instant [Unix s] as RFC 3339 with the zone's offset, to the nearest second."""
    return dt.datetime.fromtimestamp(round(at_s), zone).isoformat()


def days(first_s: float, until_s: float, zone: ZoneInfo) -> str:
    """The days between two instants [Unix s]: "5 to 12 July 2013"."""
    first, last = (dt.datetime.fromtimestamp(at_s, zone) for at_s in (first_s, until_s - 1.0))
    if first.year != last.year:
        return f"{first:%-d %B %Y} to {last:%-d %B %Y}"
    if first.month != last.month:
        return f"{first:%-d %B} to {last:%-d %B %Y}"
    return f"{first:%-d} to {last:%-d %B %Y}"


def local_span(first: dt.datetime, last: dt.datetime, day: str = "%A") -> str:
    """From one local time to another, the day said again only where it is another.

    Such as "Monday 14:00 to 15:20"; `day` is how a day is written, as `strftime` takes it.
    """
    until = "%H:%M" if first.date() == last.date() else f"{day} %H:%M"
    return f"{first:{day} %H:%M} to {last:{until}}"


def mass(kg: float, units: Units = "si") -> str:
    """A mass [kg], always an estimate, to two digits: "850 g", "1.2 kg", "12 oz" or "3.1 lb"."""
    if units == "us":
        pounds = kg / _KG_PER_LB
        value, unit = (pounds, "lb") if abs(pounds) >= 1 else (16.0 * pounds, "oz")
    else:
        value, unit = (kg, "kg") if abs(kg) >= 1.0 else (1000.0 * kg, "g")
    rounded = float(f"{value:.2g}")
    return f"{_number(rounded, 1 if unit in ('kg', 'lb') and abs(rounded) < 10 else 0)} {unit}"


def quantity(value: float, kind: str, units: Units = "si") -> str:
    """A value of a kind of `controller.units.KINDS`, in its usual form."""
    if kind in _WITH_UNITS:
        return _WITH_UNITS[kind](value, units)
    return _PLAIN[kind](value)


def frequency(hz: float) -> str:
    """A frequency [Hz] as "100 Hz" or "25 kHz"."""
    return f"{_trimmed(hz / 1000.0, 1)} kHz" if abs(hz) >= 1000.0 else f"{_trimmed(hz, 1)} Hz"


def co2(ppm: float) -> str:
    """A CO2 concentration [ppm] as "850 ppm"."""
    return f"{_number(ppm, 0)} ppm"


def altitude(m: float, units: Units = "si") -> str:
    """A height above sea level [m] as "250 m" or "820 ft"."""
    return f"{_number(m / _M_PER_FT, 0)} ft" if units == "us" else f"{_number(m, 0)} m"


def _trimmed(value: float, decimals: int) -> str:
    """Like `_number`, without trailing zeros."""
    text = _number(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


_WITH_UNITS: dict[str, Callable[[float, Units], str]] = {
    "length": length,
    "altitude": altitude,
    "area": area,
    "volume": volume,
    "temperature": temperature,
    "temperature_difference": temperature_difference,
    "pressure": pressure,
    "flow": flow,
    "power_per_kelvin": power_per_kelvin,
}
_PLAIN: dict[str, Callable[[float], str]] = {
    "duration": duration,
    "humidity": humidity,
    "humidity_difference": humidity,
    "power": power,
    "power_per_percent": power_per_percent,
    "power_per_pascal": power_per_pascal,
    "frequency": frequency,
    "speed": speed,
    "co2": co2,
}
