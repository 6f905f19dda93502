"""The types of the config: quantities with units, pins, clock times, zones and bands.

Each says to pydantic how its text is read; a number is SI as it is. pydantic is imported by whoever
lets it read.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Generic, TypeVar, get_args

from controller import display, units
from controller.settings import schemas

if TYPE_CHECKING:
    from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
    from pydantic_core import CoreSchema, PydanticCustomError

T = TypeVar("T")


def refused(wrong: str, expected: str) -> PydanticCustomError:
    """The error of a value that is not what its key takes: what is wrong, what was expected."""
    from pydantic_core import PydanticCustomError

    return PydanticCustomError("refused", "{wrong}", {"wrong": wrong, "expected": expected})


@dataclass(frozen=True)
class Quantity:
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

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate with `_validate`; a float when dumped."""
        from pydantic_core import core_schema

        return core_schema.no_info_plain_validator_function(self._validate)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The kind only; `json_schema` puts the one definition of it in its place."""
        return {"kind": self.kind, "examples": [self.example]}

    def _validate(self, value: object) -> float:
        if isinstance(value, str):
            try:
                number = units.parse(value, self.kind)
            except units.NotAQuantityError as error:
                raise refused(error.wrong, error.expected) from None
        elif isinstance(value, int | float) and not isinstance(value, bool):
            number = float(value)
        else:
            sort = units.KINDS[self.kind]
            raise refused(f"{describe(value)} is not {sort.noun}", f"e.g. {sort.example}")
        if not self.low <= number <= self.high:  # also refuses NaN
            raise self._out_of_range(value, number)
        return number

    @property
    def example(self) -> str:
        """How to write one."""
        return units.KINDS[self.kind].example

    def _out_of_range(self, value: str | float, number: float) -> PydanticCustomError:
        system: display.Units = "us" if isinstance(value, str) and units.looks_us(value) else "si"
        low, high = (display.quantity(b, self.kind, system) for b in (self.low, self.high))
        size = "low" if self.low > number else "high"
        return refused(f"{value} is too {size}", f"{low} to {high}")


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
    """Annotates a value that a function reads from text or takes as it is."""

    read: Callable[[object], Any]
    json_schema: dict[str, Any]
    serialise: Callable[[Any], Any] | None = None

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Validate with `read`."""
        from pydantic_core import core_schema

        serialization = (
            core_schema.plain_serializer_function_ser_schema(self.serialise)
            if self.serialise
            else None
        )
        return core_schema.no_info_plain_validator_function(self.read, serialization=serialization)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """The schema given."""
        return dict(self.json_schema)


def _read_pin(value: object) -> int:
    expected = "a GPIO number from 0 to 27 (BCM numbering, not the pin of the header), e.g. 18"
    if isinstance(value, str):
        match = re.fullmatch(r"\s*(?:gpio\s*)?([0-9]{1,2})\s*", value, re.IGNORECASE | re.ASCII)
        value = int(match[1]) if match else value
    if not isinstance(value, int) or isinstance(value, bool):
        raise refused(f"{describe(value)} is not a pin", expected)
    if not 0 <= value <= 27:
        raise refused(f"there is no GPIO {value}", expected)
    return value


def _read_time(value: object) -> datetime.time:
    expected = "a local clock time, e.g. 06:00, 22:30 or 10:30 pm"
    if isinstance(value, datetime.time) and value.tzinfo is None:
        return value
    match = isinstance(value, str) and re.fullmatch(
        r"\s*([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?\s*(?:([ap])\.?m\.?)?\s*",
        value,
        re.IGNORECASE | re.ASCII,
    )
    if not match:
        raise refused(f"{describe(value)} is not a clock time", expected)
    hour, minute, second = int(match[1]), int(match[2]), int(match[3] or 0)
    if match[4]:
        if not 1 <= hour <= 12:
            raise refused(f"{value!r} is not a clock time", expected)
        hour = hour % 12 + (12 if match[4].lower() == "p" else 0)
    if (hour, minute, second) == (24, 0, 0):
        hour = 0
    if hour > 23 or minute > 59 or second > 59:
        raise refused(f"there is no clock time {value!r}", expected)
    return datetime.time(hour, minute, second)


def _read_zone(value: object) -> str:
    import zoneinfo

    expected = "an IANA zone name, e.g. Europe/Rome or America/New_York"
    if not isinstance(value, str):
        raise refused(f"{describe(value)} is not a time zone", expected)
    name = value.strip()
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        import difflib

        by_lower = {zone.lower(): zone for zone in zoneinfo.available_timezones()}
        near = difflib.get_close_matches(name.lower().replace(" ", "_"), by_lower, 1, 0.7)
        if near:
            expected = f"{by_lower[near[0]]}, perhaps, or another IANA zone name"
        raise refused(f"unknown time zone {name!r}", expected) from None
    return name


def _read_price(value: object) -> float:
    expected = "the price of one kilowatt-hour, e.g. 0.31 or 0.31 EUR/kWh"
    number: object = value
    if isinstance(value, str):
        match = re.fullmatch(
            r"\s*([0-9]+(?:\.[0-9]+)?)\s*(?:(?!per)[A-Z]{3})?\s*(?:(?:/|per)\s*kwh)?\s*",
            value,
            re.IGNORECASE | re.ASCII,
        )
        number = float(match[1]) if match else None
    if not isinstance(number, int | float) or isinstance(number, bool):
        raise refused(f"{describe(value)} is not a price", expected)
    if not 0.0 <= number <= 1e6:
        raise refused(f"{value} is out of range", expected)
    return float(number)


def _read_currency(value: object) -> str:
    if not isinstance(value, str) or not re.fullmatch(r"\s*[A-Za-z]{3}\s*", value, re.ASCII):
        raise refused(
            f"{describe(value)} is not a currency", "a code of three letters, e.g. EUR or USD"
        )
    return value.strip().upper()


def _read_path(value: object) -> Path:
    if isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or "\0" in value or len(value) > 4096:
        raise refused(f"{describe(value)} is not a path", "a file name, e.g. /var/lib/x.sqlite3")
    return Path(value.strip())


def _read_flag(value: object) -> bool:
    if isinstance(value, bool):
        return value
    word = value.lower() if isinstance(value, str) else ""
    if word in ("true", "yes", "on"):
        return True
    if word in ("false", "no", "off"):
        return False
    raise refused(f"{describe(value)} is neither true nor false", "true or false")


Flag = Annotated[bool, Text(_read_flag, schemas.FLAG)]
Area = Annotated[float, Quantity("area", 0.0, 10_000.0)]
Altitude = Annotated[float, Quantity("altitude", -500.0, 6000.0)]
Pressure = Annotated[float, Quantity("pressure", 0.0, 20_000.0)]
Flow = Annotated[float, Quantity("flow", 0.0, 10.0)]
Power = Annotated[float, Quantity("power", 0.0, 20_000.0)]
Speed = Annotated[float, Quantity("speed", 0.0, 1.0)]
Price = Annotated[float, Text(_read_price, schemas.PRICE)]
Currency = Annotated[str, Text(_read_currency, schemas.CURRENCY)]
Pin = Annotated[int, Text(_read_pin, schemas.PIN)]
LocalTime = Annotated[datetime.time, Text(_read_time, schemas.TIME, lambda time: time.isoformat())]
ZoneName = Annotated[str, Text(_read_zone, schemas.ZONE)]
RecordPath = Annotated[Path, Text(_read_path, schemas.PATH, str)]


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

    @classmethod
    def __get_pydantic_core_schema__(
        cls, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """A list of two items of the type in brackets, or a Band."""
        from pydantic_core import core_schema

        (item,) = get_args(source) or (float,)
        return core_schema.no_info_before_validator_function(
            cls._as_list,
            core_schema.no_info_after_validator_function(
                lambda pair: cls(*pair),
                core_schema.tuple_schema([handler.generate_schema(item)] * 2),
            ),
            serialization=core_schema.plain_serializer_function_ser_schema(list),
        )

    @staticmethod
    def _as_list(value: object) -> object:
        if not isinstance(value, list | tuple):
            raise refused(f"{describe(value)} is not a band", "a list of two limits, [low, high]")
        if len(value) != 2:
            raise refused(f"a list of {len(value)} is not a band", "two limits, [low, high]")
        return value


@dataclass(frozen=True)
class _PointOfCurve:
    """Annotates a pair (flow, pressure), written as a list of two."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """A list of two quantities."""
        from pydantic_core import core_schema

        return core_schema.no_info_before_validator_function(
            self._check_length,
            core_schema.tuple_schema(
                [handler.generate_schema(Flow), handler.generate_schema(Pressure)]
            ),
        )

    @staticmethod
    def _check_length(value: object) -> object:
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise refused(
                f"{describe(value)} is not a point of the curve",
                "[flow, pressure], e.g. [100 m³/h, 80 Pa]",
            )
        return value


FlowAndPressure = Annotated[tuple[float, float], _PointOfCurve()]
