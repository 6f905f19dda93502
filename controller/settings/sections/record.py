"""`record` and `energy`: what is kept, and what power costs."""

from __future__ import annotations

from pydantic import Field

from controller.settings.quantities import Currency, Duration, Price, RecordPath, Section


class Energy(Section):
    """The price of power."""

    price_per_kwh: Price | None = Field(
        None, alias="price", description="Price of one kilowatt-hour, e.g. 0.31 or '0.31 per kWh'."
    )
    currency: Currency = Field("EUR", description="ISO 4217 code of the price.")


class Record(Section):
    """The database of one tent."""

    path: RecordPath | None = Field(
        None, description="The file; default: TENT-NAME.sqlite3 in the state directory."
    )
    interval_s: Duration = Field(
        60.0, alias="interval", description="One reading kept per interval."
    )
    keep_s: Duration = Field(
        2 * 365.25 * 86400.0, alias="keep", description="How long readings and events are kept."
    )
