"""The types of the config: quantities with units, pins, clock times, zones and bands.

Each says how its text is read, and the JSON Schema of what it reads.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Generic, TypeVar

from controller import display, units
from controller.clock_time import EXPECTED, clock_time
from controller.config import value_schemas as schemas

T = TypeVar("T")


class RefusedError(ValueError):
    """A value that is not what its key takes: what is wrong, what was expected."""

    def __init__(self, wrong: str, expected: str) -> None:
        super().__init__(f"{wrong}; expected {expected}")
        self.wrong = wrong
        self.expected = expected


@dataclass(frozen=True)
class QuantityRange:
    """Annotates a float in SI that the config writes with a unit.

    Attributes
    ----------
    kind : str
        A key of `controller.units.KINDS`.
    low, high : float
        Bounds in SI, both allowed.
    """

    kind: str
    low: float = -math.inf
    high: float = math.inf

    def read(self, value: object) -> float:
        """Read a text, in SI."""
        if not isinstance(value, str):
            sort = units.KINDS[self.kind]
            raise RefusedError(f"{describe(value)} is not {sort.noun}", f"e.g. {sort.example}")
        try:
            number = units.parse(value, self.kind, (self.low, self.high))
        except units.NotAQuantityError as error:
            raise RefusedError(error.wrong, error.expected) from None
        if not self.low <= number <= self.high:
            raise self._out_of_range(value, number)
        return number

    @property
    def json_schema(self) -> dict[str, Any]:
        """The kind only; `controller.config.schema` puts the one definition in its place."""
        return {"kind": self.kind, "examples": [self.example]}

    @property
    def example(self) -> str:
        """How to write one."""
        return units.KINDS[self.kind].example

    def _out_of_range(self, value: str, number: float) -> RefusedError:
        system: display.Units = "us" if units.looks_us(value) else "si"
        low, high = (display.quantity(b, self.kind, system) for b in (self.low, self.high))
        size = "low" if self.low > number else "high"
        return RefusedError(f"{value} is too {size}", f"{low} to {high}")


def describe(value: object) -> str:
    """What a value is, in words for a message."""
    if isinstance(value, dict):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    if value is None:
        return "nothing"
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


@dataclass(frozen=True, eq=False)
class Text:
    """Annotates a value that a function reads from a text, or from whatever stands there."""

    read: Callable[[object], Any]
    json_schema: dict[str, Any]


def _read_pin(value: object) -> int:
    expected = "a GPIO number from 0 to 27 (BCM numbering, not the pin of the header), e.g. 18"
    match = isinstance(value, str) and re.fullmatch(
        r"\s*(?:gpio\s*)?([0-9]{1,2})\s*", value, re.IGNORECASE | re.ASCII
    )
    if not match:
        raise RefusedError(f"{describe(value)} is not a pin", expected)
    pin = int(match[1])
    if pin > 27:
        raise RefusedError(f"there is no GPIO {pin}", expected)
    return pin


def _read_time(value: object) -> datetime.time:
    try:
        time = clock_time(value) if isinstance(value, str) else None
    except ValueError as error:
        raise RefusedError(str(error), EXPECTED) from None
    if time is None:
        raise RefusedError(f"{describe(value)} is not a clock time", EXPECTED)
    return time


def _nearest_zone(name: str) -> str | None:
    """The zone that a name most likely stands for, also by its city alone; None for none."""
    import difflib
    import zoneinfo

    # Places only: Etc/GMT+1 is an hour behind, not ahead, and no such name has a summer time.
    places = [zone for zone in zoneinfo.available_timezones() if re.match(r"(?!Etc/).+/", zone)]
    zones = sorted(places, key=lambda zone: (-len(zone), zone))
    by_name = {zone.lower(): zone for zone in zones}
    by_city = {zone.lower().rpartition("/")[2]: zone for zone in zones}
    wanted = re.sub(r"\s+", "_", name.lower())
    city = wanted.rpartition("/")[2]
    if city in by_city:
        return by_city[city]
    for word, known, likeness in ((wanted, by_name, 0.7), (city, by_city, 0.75)):
        near = difflib.get_close_matches(word, known, 1, likeness)
        if near:
            return known[near[0]]
    return None


def _read_zone(value: object) -> str:
    import zoneinfo

    expected = "an IANA zone name, e.g. Europe/Rome or America/New_York"
    if not isinstance(value, str):
        raise RefusedError(f"{describe(value)} is not a time zone", expected)
    name = value.strip()
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        near = _nearest_zone(name)
        if near is not None:
            expected = f"{near}, perhaps, or another IANA zone name"
        raise RefusedError(f"unknown time zone {name!r}", expected) from None
    return name


def _read_price(value: object) -> float:
    expected = "the price of one kilowatt-hour, e.g. 0.31 or 0.31 EUR/kWh"
    match = isinstance(value, str) and re.fullmatch(
        r"\s*([0-9]+(?:\.[0-9]+)?)\s*(?:(?!per)[A-Z]{3})?\s*(?:(?:/|per)\s*kwh)?\s*",
        value,
        re.IGNORECASE | re.ASCII,
    )
    if not match:
        raise RefusedError(f"{describe(value)} is not a price", expected)
    price = float(match[1])
    if price > 1e6:
        raise RefusedError(f"{value} is out of range", expected)
    return price


def _read_currency(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"\s*[A-Za-z]{3}\s*", value, re.ASCII):
        raise RefusedError(
            f"{describe(value)} is not a currency", "a code of three letters, e.g. EUR or USD"
        )
    return value.strip().upper()


def _read_path(value: object) -> Path:
    if not isinstance(value, str) or not value.strip() or "\0" in value or len(value) > 4096:
        raise RefusedError(
            f"{describe(value)} is not a path", "a file name, e.g. /var/lib/x.sqlite3"
        )
    return Path(value.strip())


def _read_flag(value: object) -> bool:
    word = value.lower() if isinstance(value, str) else ""
    if word in ("true", "yes", "on"):
        return True
    if word in ("false", "no", "off"):
        return False
    raise RefusedError(f"{describe(value)} is neither true nor false", "true or false")


Flag = Annotated[bool, Text(_read_flag, schemas.FLAG)]
Area = Annotated[float, QuantityRange("area", 0.0, 10_000.0)]
Altitude = Annotated[float, QuantityRange("altitude", -500.0, 6000.0)]
Pressure = Annotated[float, QuantityRange("pressure", 0.0, 20_000.0)]
Flow = Annotated[float, QuantityRange("flow", 0.0, 10.0)]
Power = Annotated[float, QuantityRange("power", 0.0, 20_000.0)]
Speed = Annotated[float, QuantityRange("speed", 0.0, 1.0)]
Price = Annotated[float, Text(_read_price, schemas.PRICE)]
Currency = Annotated[str, Text(_read_currency, schemas.CURRENCY)]
Pin = Annotated[int, Text(_read_pin, schemas.PIN)]
LocalTime = Annotated[datetime.time, Text(_read_time, schemas.TIME)]
ZoneName = Annotated[str, Text(_read_zone, schemas.ZONE)]
RecordPath = Annotated[Path, Text(_read_path, schemas.PATH)]


class Band(tuple[T, T], Generic[T]):
    """A low and a high limit; written as a list of two."""

    __slots__ = ()

    def __new__(cls, low: T, high: T) -> Band[T]:
        """The band from `low` to `high`."""
        return super().__new__(cls, (low, high))

    def __getnewargs__(self) -> tuple[T, T]:
        """For pickle and copy."""
        return (self[0], self[1])

    def __repr__(self) -> str:
        """`Band(low, high)`."""
        return f"Band({self[0]!r}, {self[1]!r})"

    @property
    def low(self) -> T:
        """The lower limit."""
        return self[0]

    @property
    def high(self) -> T:
        """The upper limit."""
        return self[1]

    @staticmethod
    def check(value: object) -> None:
        """Refuse what is no list of two."""
        if not isinstance(value, list):
            raise RefusedError(
                f"{describe(value)} is not a band",
                "a list of two limits with their units, e.g. [21 °C, 24 °C] or [40 %, 70 %]",
            )
        if len(value) != 2:
            comma = "; decimals have a point, a comma begins the next item" * (len(value) > 2)
            expected = f"two limits, [low, high]{comma}"
            raise RefusedError(f"a list of {len(value)} is not a band", expected)


@dataclass(frozen=True)
class PointOfCurve:
    """Annotates a pair (flow, pressure), written as a list of two."""

    @staticmethod
    def check(value: object) -> None:
        """Refuse what is no list of two."""
        if not isinstance(value, list) or len(value) != 2:
            raise RefusedError(
                f"{describe(value)} is not a point of the curve",
                "[flow, pressure], e.g. [100 m³/h, 80 Pa]",
            )


FlowAndPressure = Annotated[tuple[Flow, Pressure], PointOfCurve()]
