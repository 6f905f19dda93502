"""The bands that hold in a config, and which of them are its own."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from controller import display
from controller.tables import table_lines, wrapped
from controller.wording import default_bands_words

if TYPE_CHECKING:
    from controller.config import Settings

Given = frozenset[tuple[str, ...]]

_PHASES = (("day", "lit"), ("night", "dark"))
_QUANTITIES = {"temperature": "temperature_c", "humidity": "humidity_pct", "vpd": "vpd_pa"}
_ALL = frozenset((phase, quantity) for phase, _ in _PHASES for quantity in _QUANTITIES)


def given_bands(text: str) -> Given:
    """The (phase, quantity) of each band that a config's text gives; needs a text that loads."""
    from controller.config.yaml_parser import read
    from controller.config.yaml_tree import plain

    root = plain(read(text, "config").root)
    targets = root.get("targets") or {}
    return frozenset(
        (phase, quantity)
        for phase, quantity in _ALL
        if (targets.get(phase) or {}).get(quantity) is not None
    )


def bands_words(settings: Settings, given: Given, width: int = 80) -> list[str]:
    """The bands, a row a phase; a star marks what the config gives where some are defaults."""
    is_mixed = bool(given) and given != _ALL
    rows = [
        [f"  {phase}", *(_cell(settings, phase, name, is_mixed, given) for name in _QUANTITIES)]
        for phase, _ in _PHASES
    ]
    if given == _ALL:
        head = "Bands, all given in the config"
    else:
        head = f"Bands, {default_bands_words(settings)}"
        head += "; a star: given in the config" if is_mixed else ""
    return [*wrapped(head, width), *table_lines([""] * 4, rows, width, align="<<<<")]


def bands_json(settings: Settings, given: Given) -> dict[str, Any]:
    """The bands in SI by phase and quantity, each with whether the config gives it."""
    targets = settings.targets
    return {
        phase: {
            name: {
                "low": getattr(getattr(targets, phase), name).low,
                "high": getattr(getattr(targets, phase), name).high,
                "given": (phase, quantity) in given,
            }
            for quantity, name in _QUANTITIES.items()
        }
        for phase, _ in _PHASES
    }


def _cell(settings: Settings, phase: str, quantity: str, is_mixed: bool, given: Given) -> str:
    low, high = getattr(getattr(settings.targets, phase), _QUANTITIES[quantity])
    star = "*" if is_mixed and (phase, quantity) in given else ""
    if quantity == "temperature":
        return f"{_span(*(display.temperature(c, settings.units) for c in (low, high)))}{star}"
    if quantity == "humidity":
        return f"{_span(display.humidity(low), display.humidity(high))}{star}"
    return f"VPD {_span(display.vpd(low), display.vpd(high))}{star}"


def _span(low: str, high: str) -> str:
    """Such as "20.0 to 24.0 °C"."""
    return f"{low.rpartition(' ')[0]} to {high}"
