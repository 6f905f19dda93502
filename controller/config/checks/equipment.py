"""Fan data sheet, duct, crop and price: figures that must agree with one another."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from controller import display
from controller.config import messages as wording
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath, Scalar

_AGREES_WITHIN = 0.05  # data sheets round


def _curve(view: CheckedConfig) -> Iterator[Objection]:
    """A fan curve falls from left to right, and its ends are the two single figures."""
    fan = view.settings.fan
    path: KeyPath = ("fan", "curve")
    if fan.curve is None:
        return
    for index, ((flow, pressure), (next_flow, next_pressure)) in enumerate(pairwise(fan.curve)):
        if next_flow <= flow:
            yield Objection(
                (*path, index + 1),
                "the curve's flows do not rise",
                "points by rising flow",
                (path,),
            )
        elif next_pressure > pressure:
            yield Objection(
                (*path, index + 1),
                "the curve's pressure rises with the flow",
                "points whose pressure falls",
                (path,),
            )
    ends = (
        ("free_flow", fan.free_flow_m3_s, fan.curve[-1][0], fan.curve[-1][1], "flow"),
        ("max_pressure", fan.max_pressure_pa, fan.curve[0][1], fan.curve[0][0], "pressure"),
    )
    for key, given, end, other_axis, kind in ends:
        if given and other_axis == 0.0 and abs(given - end) > _AGREES_WITHIN * given:
            yield Objection(
                ("fan", key),
                f"`fan.{key}` and the end of the curve, "
                f"{display.quantity(end, kind, view.settings.units)}, do not agree",
                "the same figure, or the curve alone",
                (path,),
                is_warning=True,
            )


def _opening(view: CheckedConfig) -> Iterator[Objection]:
    """An intake opening is round or has an area."""
    duct = view.settings.duct
    if duct is None or duct.intake is None:
        return
    path: KeyPath = ("duct", "intake")
    both = duct.intake.diameter_m is not None and duct.intake.area_m2 is not None
    neither = duct.intake.diameter_m is None and duct.intake.area_m2 is None
    if both or neither:
        yield Objection(
            (*path, "area") if both else path,
            f"the intake has {'both diameter and area' if both else 'neither diameter nor area'}",
            "one of `diameter` and `area`",
            (path,),
        )


def _crop(view: CheckedConfig) -> Iterator[Objection]:
    """Leaves by their area, or by plants and stage."""
    crop = view.settings.crop
    if crop is None:
        return
    path: KeyPath = ("crop",)
    expected = "`leaf_area`, or `plants` and `stage`"
    counted = crop.plants is not None, crop.stage is not None
    if crop.leaf_area_m2 is not None and crop.plants is not None:
        yield Objection(
            (*path, "plants"), "leaf area and number of plants both given", expected, (path,)
        )
    elif crop.leaf_area_m2 is None and counted != (True, True):
        has = "plants without a stage" if counted[0] else "no number of plants"
        why = ": how much moisture its leaves give off hangs on it"
        yield Objection(path, f"the crop has {has}{why}", expected, (path,))


def _currency(view: CheckedConfig) -> Iterator[Objection]:
    """A price written with its currency agrees with `energy.currency`."""
    path: KeyPath = ("energy", "price")
    node = view.source.find(path)
    written = wording.currency_of(node.text) if isinstance(node, Scalar) else None
    if written is not None and written != view.settings.energy.currency:
        yield Objection(
            path,
            f"the price is in {written}, `energy.currency` is {view.settings.energy.currency}",
            "one currency",
            (("energy", "currency"),),
        )


def _lamp_power(view: CheckedConfig) -> Iterator[Objection]:
    """Sizing, rehearsals, learning and the alarm of a dead fan do not rest on a guess."""
    path: KeyPath = ("lamp", "power")
    if not view.is_written(path):
        yield Objection(
            path,
            f"the lamp's power is not given; {display.power(view.settings.lamp.power_w)} is "
            "assumed",
            "`lamp.power`, best by a plug meter: every figure of heat and air rests on it",
            is_warning=True,
        )


RULES = (_curve, _opening, _crop, _currency, _lamp_power)
