"""`forecast`: the weather to come, for `lungwort tomorrow`."""

from __future__ import annotations

from typing import Annotated

from controller.config.quantities import QuantityRange, RecordPath
from controller.config.section import Section, key


class ForecastConfig(Section):
    """A file of outdoor weather that a program of the user's keeps fresh."""

    file: RecordPath | None = key(
        default=None,
        description="Hourly outdoor temperature with dew point or humidity, the last days and the "
        "next two, as CSV or JSON; a relative path lies in the state directory. Default: none.",
    )
    stale_after_s: Annotated[float, QuantityRange("duration", 3600.0, 7 * 86_400.0)] = key(
        default=12 * 3600.0,
        written="stale_after",
        description="A file that was written longer ago is not used.",
    )
