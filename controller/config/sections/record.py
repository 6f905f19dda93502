"""`record` and `energy`: what is kept, and what power costs."""

from __future__ import annotations

from typing import Annotated

from controller.config.quantities import Currency, Price, QuantityRange, RecordPath
from controller.config.section import Section, key

_DAY_S = 86_400.0
_YEAR_S = 365.25 * _DAY_S


class EnergyConfig(Section):
    """The price of power."""

    price_per_kwh: Price | None = key(
        default=None,
        written="price",
        description="Price of one kilowatt-hour; default none, and no costs are shown.",
    )
    currency: Currency = key(
        default="EUR",
        description="ISO 4217 code of the price; default the one written with the price.",
    )


class RecordConfig(Section):
    """The database of one tent."""

    path: RecordPath | None = key(
        reopens=True,
        default=None,
        description="The file; a relative path lies in the state directory. "
        "Default: the tent's name with .sqlite3.",
    )
    interval_s: Annotated[float, QuantityRange("duration", 1.0, 3600.0)] = key(
        default=60.0, written="interval", description="One reading is kept for each interval."
    )
    commit_every_s: Annotated[float, QuantityRange("duration", 1.0, 3600.0)] = key(
        default=300.0,
        written="commit_every",
        reopens=True,
        description="How long readings may wait in memory before they are written, which spares a "
        "memory card; a power cut takes so much of them. Events are written at once.",
    )
    keep_s: Annotated[float, QuantityRange("duration", _DAY_S, 100 * _YEAR_S)] = key(
        default=2 * _YEAR_S, written="keep", description="How long readings and events are kept."
    )
    backup_to: RecordPath | None = key(
        default=None,
        description="Where a copy of the record is put once a week, best on another disk; "
        "a relative path lies in the state directory. Default: none.",
    )
