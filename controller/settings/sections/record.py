"""`record` and `energy`: what is kept, and what power costs."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from controller.settings.quantities import Currency, Price, Quantity, RecordPath, Section

_DAY_S = 86_400.0
_YEAR_S = 365.25 * _DAY_S


class Energy(Section):
    """The price of power."""

    price_per_kwh: Price | None = Field(
        None,
        alias="price",
        description="Price of one kilowatt-hour; default none, and no costs are shown.",
    )
    currency: Currency = Field(
        "EUR", description="ISO 4217 code of the price; default the one written with the price."
    )


class Record(Section):
    """The database of one tent."""

    path: RecordPath | None = Field(
        None,
        description="The file; a relative path lies in the state directory. "
        "Default: the tent's name with .sqlite3.",
    )
    interval_s: Annotated[float, Quantity("duration", 1.0, 3600.0)] = Field(
        60.0, alias="interval", description="One reading is kept for each interval."
    )
    keep_s: Annotated[float, Quantity("duration", _DAY_S, 100 * _YEAR_S)] = Field(
        2 * _YEAR_S, alias="keep", description="How long readings and events are kept."
    )
    backup_to: RecordPath | None = Field(
        None,
        description="Where a copy of the record is put once a week, best on another disk; "
        "a relative path lies in the state directory. Default: none.",
    )
