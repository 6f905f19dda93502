"""Quantities as people write them ("75 °F", "2 ft 3 in", "110 cfm") into SI floats.

The spellings are listed here, so that the loader, the error messages and the JSON Schema of the
config agree. The factors are in `controller.unit_factors`; tests hold them against the library
pint, whose names for the units are used here.
"""

from __future__ import annotations

import functools
import itertools
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from controller.unit_factors import FACTORS

MAX_LENGTH = 64
NUMBER = r"[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,2})?"
_SIGN = r"[+\-−]?"


class NotAQuantityError(ValueError):
    """A text that does not read as the quantity asked for: what is wrong, and what was expected."""

    def __init__(self, wrong: str, expected: str) -> None:
        super().__init__(f"{wrong}; expected {expected}")
        self.wrong = wrong
        self.expected = expected


@dataclass(frozen=True)
class Kind:
    """One kind of quantity.

    Attributes
    ----------
    noun : str
        What to call it in an error message.
    si : str
        pint's name of the unit of the result.
    spellings : Mapping[str, str]
        How people write its units, each with pint's name; letter case does not matter.
    example : str
        How to write one.
    compound : bool
        Whether parts add up, as in "2 ft 3 in".
    zero_is_plain : bool
        Whether 0 means the same in every unit, so that a bare 0 is clear.
    """

    noun: str
    si: str
    spellings: Mapping[str, str] = field(repr=False)
    example: str
    compound: bool = False
    zero_is_plain: bool = True


def _spell(**units: str) -> dict[str, str]:
    """{spelling: pint name} of {pint name: "spelling spelling"}; `_` in a spelling is a gap."""
    return {
        spelling.replace("_", " "): unit
        for unit, spellings in units.items()
        for spelling in spellings.split()
    }


_LENGTH = _spell(
    millimeter="mm millimetre millimetres millimeter millimeters",
    centimeter="cm centimetre centimetres centimeter centimeters",
    meter="m metre metres meter meters",
    inch='in in. inch inches " ″ ”',
    foot="ft ft. foot feet ' ′ ’",
)
_AREA = {
    "cm²": "cm**2", "cm2": "cm**2", "cm^2": "cm**2", "sq cm": "cm**2",
    "m²": "m**2", "m2": "m**2", "m^2": "m**2", "sq m": "m**2",
    "in²": "inch**2", "in2": "inch**2", "in^2": "inch**2", "sq in": "inch**2",
    "ft²": "foot**2", "ft2": "foot**2", "ft^2": "foot**2", "sq ft": "foot**2",
}  # fmt: skip
_VOLUME = {
    "m³": "m**3", "m3": "m**3", "m^3": "m**3", "l": "liter", "litre": "liter", "litres": "liter",
    "liter": "liter", "liters": "liter", "ft³": "foot**3", "ft3": "foot**3", "ft^3": "foot**3",
    "cu ft": "foot**3", "gal": "gallon", "gallon": "gallon", "gallons": "gallon",
}  # fmt: skip
_DURATION = _spell(
    millisecond="ms",
    second="s sec secs second seconds",
    minute="m min mins minute minutes",  # as in 1h30m; a length has its own "m"
    hour="h hr hrs hour hours",
    day="d day days",
    week="week weeks",
    month="month months",
    year="year years",
)
_TEMPERATURE = _spell(
    degC="°c ºc ℃ c degc deg_c °_c celsius",
    degF="°f ºf ℉ f degf deg_f °_f fahrenheit",
    kelvin="k kelvin",
)
_DIFFERENCE = {
    spelling: {"degC": "delta_degC", "degF": "delta_degF"}.get(unit, unit)
    for spelling, unit in _TEMPERATURE.items()
}
_PERCENT = _spell(percent="% percent pct")
_HUMIDITY = _PERCENT | _spell(percent="%_rh %rh rh% percent_rh")
_PRESSURE = _spell(
    Pa="pa",
    hPa="hpa",
    kPa="kpa",
    mbar="mbar",
    mmH2O="mmh2o mm_h2o mmwc mm_wc mmwg mm_wg",
    inH2O="inh2o in_h2o in._h2o inh₂o in_h₂o inch_h2o inches_h2o inwc in_wc in._wc inches_wc "
    "in._w.c. in_w.c. inwg in_wg in._wg inches_wg in._w.g. in_w.g.",
)
_FLOW = {
    "m³/h": "m**3/hour", "m3/h": "m**3/hour", "m^3/h": "m**3/hour", "m³/hr": "m**3/hour",
    "m3/hr": "m**3/hour", "cmh": "m**3/hour",
    "m³/min": "m**3/minute", "m3/min": "m**3/minute",
    "m³/s": "m**3/second", "m3/s": "m**3/second", "m^3/s": "m**3/second",
    "l/s": "liter/second", "l/min": "liter/minute",
    # Not pint's "cfm", which is a centi-femto-metre.
    "cfm": "foot**3/minute", "ft³/min": "foot**3/minute", "ft3/min": "foot**3/minute",
    "cu ft/min": "foot**3/minute",
}  # fmt: skip

# What straying from a band is worth, in fan power.
_POWER_PER_KELVIN = {
    "w/k": "watt/delta_degC", "w/°c": "watt/delta_degC", "w/ºc": "watt/delta_degC",
    "w/℃": "watt/delta_degC", "w/degc": "watt/delta_degC",
    "w/°f": "watt/delta_degF", "w/ºf": "watt/delta_degF", "w/℉": "watt/delta_degF",
    "w/degf": "watt/delta_degF",
}  # fmt: skip
_POWER_PER_PERCENT = {"w/%": "watt/percent", "w/percent": "watt/percent"}
_POWER_PER_PASCAL = {"w/pa": "watt/Pa", "w/hpa": "watt/hPa", "w/kpa": "watt/kPa"}

KINDS: Mapping[str, Kind] = {
    "length": Kind("a length", "meter", _LENGTH, "80 cm", compound=True),
    "altitude": Kind("a height above sea level", "meter", _LENGTH, "250 m", compound=True),
    "area": Kind("an area", "meter**2", _AREA, "0.5 m²"),
    "volume": Kind("a volume", "meter**3", _VOLUME, "1.2 m³"),
    "duration": Kind("a duration", "second", _DURATION, "15 min", compound=True),
    "temperature": Kind("a temperature", "degC", _TEMPERATURE, "24 °C", zero_is_plain=False),
    "temperature_difference": Kind(
        "a difference of temperatures", "delta_degC", _DIFFERENCE, "1.5 K"
    ),
    "humidity": Kind("a relative humidity", "percent", _HUMIDITY, "60 %"),
    "humidity_difference": Kind("a difference of humidities", "percent", _HUMIDITY, "4 %"),
    "pressure": Kind("a pressure", "Pa", _PRESSURE, "150 Pa"),
    "flow": Kind("an air flow", "m**3/second", _FLOW, "187 m³/h"),
    "power": Kind("a power", "watt", _spell(watt="w watt watts", kilowatt="kw"), "150 W"),
    "power_per_kelvin": Kind(
        "a power for each kelvin or degree", "watt/delta_degC", _POWER_PER_KELVIN, "60 W/K"
    ),
    "power_per_percent": Kind(
        "a power for each percent", "watt/percent", _POWER_PER_PERCENT, "6 W/%"
    ),
    "power_per_pascal": Kind(
        "a power for each unit of pressure", "watt/Pa", _POWER_PER_PASCAL, "180 W/kPa"
    ),
    "frequency": Kind("a frequency", "hertz", _spell(hertz="hz", kilohertz="khz"), "25 kHz"),
    "speed": Kind("a fan speed", "dimensionless", _PERCENT, "40 %"),
    "co2": Kind("a CO2 concentration", "ppm", _spell(ppm="ppm ppmv"), "1000 ppm"),
}

_HOURS = "h|hrs?|hours?"
_MINUTES = "m|mins?|minutes?"
# "1:30 h", "2:15 min", and "1h30", whose last number counts minutes.
_CLOCK = re.compile(rf"([0-9]+):([0-5][0-9]) *({_HOURS}|{_MINUTES})", re.IGNORECASE | re.ASCII)
_HOURS_AND_BARE = re.compile(
    rf"(?<![0-9.e+\-])([0-9]+ *(?:{_HOURS})) *([0-5]?[0-9])$", re.IGNORECASE | re.ASCII
)
_NUMBER_AND_GAP = re.compile(rf" *({NUMBER}) *", re.ASCII)
_GOES_ON = re.compile(r"[a-z²³^/]")
_LOWER = str.maketrans("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "abcdefghijklmnopqrstuvwxyz")
_DECIMAL_COMMA = re.compile(r"[0-9],[0-9]")
_BARE = re.compile(rf"{_SIGN} *(?:{NUMBER}|\.[0-9]+|\.?inf|\.?nan)", re.IGNORECASE | re.ASCII)
# Spaces that come along when a data sheet is copied: no-break, thin, narrow no-break.
ODD_GAPS = "\u00a0\u2009\u202f"
_GAPS = re.compile(f"[{ODD_GAPS}\t]")


@functools.cache
def _spellings(kind: str) -> tuple[str, ...]:
    """The spellings of a kind's units, the longest first."""
    return tuple(sorted(KINDS[kind].spellings, key=len, reverse=True))


_ANY = (-math.inf, math.inf)


def parse(text: str, kind: str, sensible: tuple[float, float] = _ANY) -> float:
    """Read a quantity.

    Parameters
    ----------
    text : str
        What the user wrote, at most 64 characters.
    kind : str
        A key of `KINDS`.
    sensible : (float, float)
        Between which values in SI a message may suggest one; what is read may lie outside.

    Returns
    -------
    float
        The value in SI: m, m², m³, s, °C, K, %, Pa, m³/s, W, W/K, W/%, W/Pa, Hz; a speed as a
        fraction; CO2 in ppm.

    Raises
    ------
    NotAQuantityError
        A ValueError, "what is wrong; expected what"; only finite numbers ever come back.
    """
    sort = KINDS[kind]
    if len(text) > MAX_LENGTH:
        raise NotAQuantityError(f"{text[:20]!r}… is too long", f"{sort.noun}, e.g. {sort.example}")
    stripped = _GAPS.sub(" ", text).strip()
    if _BARE.fullmatch(stripped):
        return _bare(stripped, kind, sensible)
    if _DECIMAL_COMMA.search(stripped):
        point = stripped.replace(",", ".", 1)
        raise NotAQuantityError(
            f"{text!r} has a comma in its number, which could mean two things",
            f"a decimal point and no thousands separator, e.g. {point}",
        )
    sign = -1.0 if stripped[:1] in ("-", "−") else 1.0
    body = stripped[1:].lstrip() if stripped[:1] in ("+", "-", "−") else stripped
    parts = _parts(_spelled_out(body) if kind == "duration" else body, kind)
    if not parts:
        raise NotAQuantityError(f"{text!r} is not {sort.noun}", _expected(kind, body, sensible))
    # Twelve digits: what people wrote, without the dust of binary fractions of a foot.
    value = sum(_convert(sign * number, unit, sort.si) for number, unit in parts)
    value = float(f"{value:.12g}") + 0.0
    if not math.isfinite(value):
        raise NotAQuantityError(f"{text!r} is out of all bounds", f"e.g. {sort.example}")
    return value


_US_UNITS = re.compile(
    r"(?<![a-z])(?:[°º]?\s*F|℉|fahrenheit|in(?:\W.*|h2o|w[cg])?|inch(?:es)?|ft\W?.*|feet|foot|cfm|"
    r"gal|gallons?|[\"'″′”’])$",
    re.IGNORECASE,
)


def looks_us(text: str) -> bool:
    """Whether a quantity is written in US units."""
    return bool(_US_UNITS.search(text.strip()))


_FAHRENHEIT = re.compile(
    rf"{_SIGN}\s*{NUMBER}\s*(?:[°º]\s*|deg[\s_]*)?(?:F|℉|fahrenheit)", re.IGNORECASE | re.ASCII
)


def is_fahrenheit(text: str) -> bool:
    """Whether a text is a temperature in °F, which makes every screen use US units."""
    return bool(_FAHRENHEIT.fullmatch(_GAPS.sub(" ", text).strip()))


def json_schema(kind: str) -> dict[str, Any]:
    """A JSON Schema of what `parse` takes for a kind, in regular expressions every editor knows."""
    gap = f"[ \\t{ODD_GAPS}]*"
    spellings = "|".join(map(_any_case, KINDS[kind].spellings))
    part = f"{NUMBER}{gap}(?:{spellings}){gap}"
    body = f"(?:{part})+" if KINDS[kind].compound else part
    if kind == "duration":
        hours, minutes = (
            "|".join(_any_case(name) for name, unit in _DURATION.items() if unit == wanted)
            for wanted in ("hour", "minute")
        )
        body = (
            f"(?:{body}|(?:{part})*[0-9]+{gap}(?:{hours}){gap}[0-5]?[0-9]{gap}"
            f"|[0-9]+:[0-5][0-9]{gap}(?:{hours}|{minutes}){gap})"
        )
    if KINDS[kind].zero_is_plain:
        body = f"(?:{body}|0+(?:\\.0+)?{gap})"
    text: dict[str, Any] = {
        "type": "string",
        "pattern": f"^{gap}{_SIGN}{gap}{body}$",
        "maxLength": MAX_LENGTH,
    }
    noun = KINDS[kind].noun
    schema = {"anyOf": [text, {"const": 0}]} if KINDS[kind].zero_is_plain else text
    return {"title": noun[0].upper() + noun[1:]} | schema


def _any_case(spelling: str) -> str:
    """A pattern for a spelling in either case; JSON Schema has no flag for that."""
    return "".join(
        f"[{sign.upper()}{sign.lower()}]"
        if sign.isascii() and sign.isalpha()
        else f"\\{sign}"
        if sign in "^.%$/|*+?()[]{}\\" and sign != "%"
        else sign
        for sign in spelling
    )


def _bare(text: str, kind: str, sensible: tuple[float, float]) -> float:
    """A number without a unit: an error unless it is a 0 that means the same in every unit."""
    sort = KINDS[kind]
    try:
        value = float(text.replace("−", "-").replace(" ", ""))
    except ValueError:  # ".inf", ".nan" as YAML writes them
        value = math.nan
    if not math.isfinite(value):
        raise NotAQuantityError(f"{text!r} is not a number to work with", f"e.g. {sort.example}")
    if value == 0.0 and sort.zero_is_plain:
        return 0.0
    if kind in ("speed", "humidity") and 0 < value <= 1:  # a share, as like as not
        shown = f"{value * 100:g} % or {value:g} %"
        raise NotAQuantityError(f"{text} has no unit", f"{sort.noun}: write {shown}")
    shown = _hints(text, kind, sensible)
    raise NotAQuantityError(f"{text} has no unit", f"{sort.noun}: write {shown}")


def _hints(number: str, kind: str, sensible: tuple[float, float]) -> str:
    """The same number with the units it could have meant, three at most."""
    units = {
        "length": ("cm", "in", "m", "ft", "mm"),
        "altitude": ("m", "ft"),
        "area": ("m²", "ft²"),
        "volume": ("m³", "ft³"),
        "duration": ("min", "s"),
        "temperature": ("°C", "°F"),
        "temperature_difference": ("K", "°F"),
        "pressure": ("Pa", "kPa", "inH2O"),
        "flow": ("m³/h", "cfm"),
        "power": ("W",),
        "power_per_kelvin": ("W/K", "W/°F"),
        "power_per_percent": ("W/%",),
        "power_per_pascal": ("W/kPa",),
        "frequency": ("Hz", "kHz"),
        "co2": ("ppm",),
    }.get(kind, ("%",))
    low, high = sensible
    value, sort = float(number.replace("−", "-").replace(" ", "")), KINDS[kind]
    fitting = [
        unit
        for unit in units
        if low <= _convert(value, sort.spellings[unit.translate(_LOWER)], sort.si) <= high
    ]
    return " or ".join(f"{number} {unit}" for unit in (fitting or units)[:3])


def _expected(kind: str, body: str, sensible: tuple[float, float]) -> str:
    """What to write instead of `body`."""
    sort = KINDS[kind]
    clock = re.match(r"([0-9]{1,4}):([0-5][0-9])$", body, re.ASCII)
    if kind == "duration" and clock:
        large, small = int(clock[1]), int(clock[2])
        meant = (
            f"{large} {unit}" + (f" {small} {part}" if small else "")
            for unit, part in (("h", "min"), ("min", "s"))
        )
        return f"{sort.noun} with its units: {', or '.join(meant)}"
    if sort.compound and re.search(r"[0-9][^0-9.]+[0-9]", body, re.ASCII):
        whole = "1 h 30 min" if kind == "duration" else "2 ft 3 in"
        return f"{sort.noun}, each number with its unit, the larger unit first, e.g. {whole}"
    number = re.match(rf"{NUMBER}(?![0-9]|[eE][0-9+-])", body)
    # Of several, as in "2 × 90 W", none by itself is what was meant.
    if number is None or re.search(r"(?<![A-Za-z0-9.])[0-9]", body[number.end() :]):
        return f"{sort.noun}, e.g. {sort.example}"
    return f"{sort.noun} with its unit, e.g. {_hints(number[0], kind, sensible)}"


def _spelled_out(body: str) -> str:
    """A duration such as "1h30" or "1:30 h" with a unit behind each number."""
    clock = _CLOCK.fullmatch(body)
    if clock:
        large, small = ("h", "min") if clock[3][0] in "hH" else ("min", "s")
        return f"{clock[1]} {large} {clock[2]} {small}"
    return _HOURS_AND_BARE.sub(r"\1 \2 min", body)


def _parts(body: str, kind: str) -> list[tuple[float, str]]:
    """[(number, pint unit)] of the whole text, or [] when it does not read as the kind."""
    sort = KINDS[kind]
    lower = body.translate(_LOWER)
    parts: list[tuple[float, str]] = []
    at = 0
    while at < len(body):
        number = _NUMBER_AND_GAP.match(body, at)
        unit = None if number is None else _unit_at(lower, number.end(), kind)
        if number is None or unit is None or (parts and not sort.compound):
            return []
        parts.append((float(number[1]), sort.spellings[unit]))
        at = number.end() + len(unit)
        at += len(body[at:]) - len(body[at:].lstrip(" "))
    if len(parts) > 1:
        sizes = [_convert(1.0, unit, sort.si) for _, unit in parts]
        if any(b >= a for a, b in itertools.pairwise(sizes)):
            return []  # "3 in 2 ft", "2 m 2 m": parts go from the larger unit to the smaller
    return parts


def _unit_at(text: str, at: int, kind: str) -> str | None:
    """The longest spelling of a unit at a place that is not the beginning of a longer word."""
    for spelling in _spellings(kind):
        end = at + len(spelling)
        if text.startswith(spelling, at) and not _GOES_ON.match(text, end):
            return spelling
    return None


def _convert(number: float, unit: str, si: str) -> float:
    """`number` of a unit in the unit `si`, both by pint's names."""
    factor, offset = FACTORS[unit, si]
    return number * factor + offset
