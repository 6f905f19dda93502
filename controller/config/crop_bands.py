"""The bands that hold where the config gives none, by `crop.kind` and `crop.stage`.

Every line has its source beside it, or says "common practice, no source". Values are written as a
config writes them; they take the place of what the file leaves out.
"""

from __future__ import annotations

from typing import Any, NamedTuple

Limits = tuple[str, str]

FRUITING_CROPS = frozenset({"pepper", "tomato"})
"""Kinds of `crop.kind` that are grown for what comes of their flowers."""

LEAF_CROPS = frozenset({"lettuce", "basil", "herbs"})
"""Kinds that are picked before they flower."""


class Temperatures(NamedTuple):
    """The bands of the air's temperature, and where heat is warned of."""

    day: Limits
    night: Limits
    heat_warning: str


class Moisture(NamedTuple):
    """The bands of relative humidity and of the VPD of the air."""

    day_humidity: Limits
    day_vpd: Limits
    night_humidity: Limits
    night_vpd: Limits


# Common practice for fruiting crops, no source: above the warning flowers begin to drop. Fruit set
# of tomatoes falls off between daily means of 25 °C and 29 °C (Sato, Peet & Thomas 2000, Plant Cell
# Environ. 23:719, from memory), and the warning lies between.
_FRUITING = Temperatures(("70 °F", "75 °F"), ("60 °F", "75 °F"), "80 °F")

_TEMPERATURES = {
    "pepper": _FRUITING,
    "tomato": _FRUITING,
    "other": _FRUITING,
    # Grown at 24 °C by day and 19 °C by night in Cornell's lettuce handbook (Brechner & Both, from
    # memory); the lower limits and the warning, where it bolts: common practice, no source.
    "lettuce": Temperatures(("16 °C", "24 °C"), ("12 °C", "20 °C"), "27 °C"),
    # Its leaves are chilled below 10 to 12 °C, and growth is fastest near 30 °C (Walters & Currey
    # 2019, HortScience 54:1915, both from memory); the bands: common practice, no source.
    "basil": Temperatures(("20 °C", "27 °C"), ("18 °C", "24 °C"), "30 °C"),
    # Parsley, mint, thyme and the like together: common practice, no source.
    "herbs": Temperatures(("18 °C", "24 °C"), ("14 °C", "21 °C"), "27 °C"),
}

# Young roots can't follow a dry air; above 80 % they damp off: common practice, no source.
_SEEDLING = Moisture(
    ("55 %", "80 %"), ("0.4 kPa", "1.2 kPa"), ("55 %", "80 %"), ("0.3 kPa", "1.2 kPa")
)
# A VPD of 0.2 to 1 kPa makes little difference to growth (Grange & Hand 1987, J. Hort. Sci. 62:125,
# from memory); the bands around it: common practice, no source.
_VEGETATIVE = Moisture(
    ("45 %", "75 %"), ("0.5 kPa", "1.4 kPa"), ("45 %", "80 %"), ("0.3 kPa", "1.4 kPa")
)
# Drier against mould in flowers and fruit: common practice, no source.
_FLOWERING = Moisture(
    ("40 %", "70 %"), ("0.6 kPa", "1.6 kPa"), ("40 %", "80 %"), ("0.3 kPa", "1.6 kPa")
)
# 50 to 70 % in the handbook above, from memory; by night and as VPD: common practice, no source.
_LETTUCE = Moisture(
    ("50 %", "70 %"), ("0.5 kPa", "1.4 kPa"), ("50 %", "80 %"), ("0.3 kPa", "1.4 kPa")
)


def temperatures(kind: str) -> Temperatures:
    """The temperatures of a `crop.kind`; those of fruiting crops for a kind that is not known."""
    return _TEMPERATURES.get(kind, _FRUITING)


def moisture(kind: str, stage: str | None) -> Moisture:
    """The humidity and VPD of a `crop.kind` at a `crop.stage`; None where that is not given."""
    if stage == "seedling":
        return _SEEDLING
    if kind == "lettuce":
        return _LETTUCE
    return _VEGETATIVE if stage == "vegetative" or kind in LEAF_CROPS else _FLOWERING


def fill_in(data: dict[str, Any]) -> None:
    """Put the crop's bands into a config's plain data wherever `targets` gives none.

    What is not a section there stays as it is, for the reader to object to.
    """
    crop = data.get("crop")
    if not isinstance(crop, dict):
        return
    kind, stage = (
        word if isinstance(word, str) else None for word in map(crop.get, ("kind", "stage"))
    )
    degrees, air = temperatures(kind or "other"), moisture(kind or "other", stage)
    targets = _section_in(data, "targets")
    _give(_section_in(targets, "day"), degrees.day, air.day_humidity, air.day_vpd)
    _give(_section_in(targets, "night"), degrees.night, air.night_humidity, air.night_vpd)
    if targets is not None and targets.get("heat_warning") is None:
        targets["heat_warning"] = degrees.heat_warning


def _section_in(data: dict[str, Any] | None, key: str) -> dict[str, Any] | None:
    """A section, made where there is none; None where something else stands in its place."""
    if data is None:
        return None
    if data.get(key) is None:
        data[key] = {}
    section = data[key]
    return section if isinstance(section, dict) else None


def _give(section: dict[str, Any] | None, *bands: Limits) -> None:
    if section is None:
        return
    for key, band in zip(("temperature", "humidity", "vpd"), bands, strict=True):
        if section.get(key) is None:
            section[key] = list(band)
