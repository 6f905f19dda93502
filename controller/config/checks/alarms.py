"""Alarm limits against the bands they lie beyond and against one another."""

from __future__ import annotations

from collections.abc import Iterator

from controller import display
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath

_SEVERE_HEAT: KeyPath = ("alarms", "severe_heat")
_COLD: KeyPath = ("alarms", "cold")
_HIGH_HUMIDITY: KeyPath = ("alarms", "high_humidity")
_SEVERE_HUMIDITY: KeyPath = ("alarms", "severe_humidity")


def _severe_is_more(view: CheckedConfig) -> Iterator[Objection]:
    """A severe limit lies beyond the plain one."""
    alarms, units = view.settings.alarms, view.settings.units
    warning_c = view.settings.targets.heat_warning_c
    warning: KeyPath = ("targets", "heat_warning")
    if alarms.severe_heat_c <= warning_c:
        yield Objection(
            view.written(_SEVERE_HEAT, warning),
            f"severe heat from {display.temperature(alarms.severe_heat_c, units)} does not lie "
            f"above the heat warning at {display.temperature(warning_c, units)}",
            "`alarms.severe_heat` above `targets.heat_warning`",
            (_SEVERE_HEAT, warning),
        )
    if alarms.severe_humidity_pct <= alarms.high_humidity_pct:
        yield Objection(
            view.written(_SEVERE_HUMIDITY, _HIGH_HUMIDITY),
            f"severe humidity from {display.humidity(alarms.severe_humidity_pct)} does not lie "
            f"above high humidity from {display.humidity(alarms.high_humidity_pct)}",
            "`alarms.severe_humidity` above `alarms.high_humidity`",
            (_SEVERE_HUMIDITY, _HIGH_HUMIDITY),
        )


def _beyond_the_bands(view: CheckedConfig) -> Iterator[Objection]:
    """An alarm inside a band is raised while all is well."""
    alarms, units = view.settings.alarms, view.settings.units
    for phase in ("day", "night"):
        targets = getattr(view.settings.targets, phase)
        temperature: KeyPath = ("targets", phase, "temperature")
        humidity: KeyPath = ("targets", phase, "humidity")
        if alarms.cold_c >= targets.temperature_c.low:
            yield Objection(
                view.written(_COLD, temperature),
                f"the cold alarm at {display.temperature(alarms.cold_c, units)} lies inside the "
                f"{phase} band",
                f"`alarms.cold` below {display.temperature(targets.temperature_c.low, units)}",
                (_COLD, temperature),
                is_warning=True,
            )
        if alarms.high_humidity_pct < targets.humidity_pct.high:
            yield Objection(
                view.written(_HIGH_HUMIDITY, humidity),
                f"the humidity alarm at {display.humidity(alarms.high_humidity_pct)} lies inside "
                f"the {phase} band",
                f"`alarms.high_humidity` of at least {display.humidity(targets.humidity_pct.high)}",
                (_HIGH_HUMIDITY, humidity),
                is_warning=True,
            )


def _letter_to_somebody(view: CheckedConfig) -> Iterator[Objection]:
    """A letter that goes nowhere."""
    notify = view.settings.notify
    if notify.letter is not None and notify.command is None and notify.urls_file is None:
        yield Objection(
            ("notify", "letter"),
            "the letter goes to nobody",
            "`notify.command` or `notify.urls_file` beside it",
            (("notify", "command"), ("notify", "urls_file")),
            is_warning=True,
        )


RULES = (_severe_is_more, _beyond_the_bands, _letter_to_somebody)
