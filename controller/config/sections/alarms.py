"""`alarms` and `notify`: what is worth a person's attention, and how he hears of it."""

from __future__ import annotations

from typing import Annotated, Literal

from controller import units
from controller.config.quantities import LocalTime, QuantityRange, RecordPath
from controller.config.section import Section, key
from controller.config.sections.targets import AirHumidity, AirTemperature


class Alarms(Section):
    """Limits beyond the bands. Heat is `targets.heat_warning`, condensation the dew point."""

    severe_heat_c: AirTemperature = key(
        default=units.parse("90 °F", "temperature"),
        written="severe_heat",
        description="Above this pollination of fruiting crops fails (common practice, no source).",
    )
    cold_c: AirTemperature = key(
        default=10.0, written="cold", description="Below this crops of warm countries are chilled."
    )
    high_humidity_pct: AirHumidity = key(
        default=85.0,
        written="high_humidity",
        description="Above this leaf mould can grow (Rutgers).",
    )
    severe_humidity_pct: AirHumidity = key(
        default=90.0,
        written="severe_humidity",
        description="Above this grey mould germinates within hours.",
    )
    high_co2_ppm: Annotated[float, QuantityRange("co2", 1000.0, 30_000.0)] = key(
        default=5000.0,
        written="high_co2",
        description="Above this people must not stay: limit value for eight hours of work "
        "(Directive 2006/15/EC; 29 CFR 1910.1000, table Z-1; from memory). Needs a sensor of CO2.",
    )


class Notify(Section):
    """Who is told of an alarm. Nobody, by default; the log and `lungwort alarms` always are."""

    command: RecordPath | None = key(
        default=None,
        description="A program of yours, run for each message with the message as JSON on its "
        "standard input; a relative path lies in the state directory. Default: none.",
    )
    urls_file: RecordPath | None = key(
        default=None,
        description="A file with one notification URL a line for the library Apprise (extra "
        "notify, see systemd/INSTALL.md); it holds secrets, so only the daemon's user may read it. "
        "Default: none.",
    )
    least: Literal["low", "medium", "high"] = key(
        default="medium", description="The least priority that is told."
    )
    letter: LocalTime | None = key(
        default=None,
        description="When a letter of the day is sent, local clock time: yesterday, the alarms "
        "that stand, and tomorrow with what helps tonight. Default: none is sent.",
    )
    most_per_hour: int = key(
        default=12, ge=1, le=120, description="More messages than this in an hour are told as one."
    )
