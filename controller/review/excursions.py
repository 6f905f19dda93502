"""Spells: stretches in which a quantity was out of its band."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from controller.review.causes import Cause
from controller.review.segments import (
    ABOVE,
    BELOW,
    GAP_MS,
    HUMIDITY,
    MISSING,
    TEMPERATURE,
    VPD,
    Run,
)

# A return into the band shorter than this does not end a spell: noise at the edge would make
# a hundred spells of one hot afternoon.
BRIDGED_MS = 5 * 60_000.0

Side = Literal["above", "below"]
Name = Literal["temperature", "humidity", "vpd"]
_BITS: dict[Name, int] = {"temperature": TEMPERATURE, "humidity": HUMIDITY, "vpd": VPD}
_SIDES: dict[int, Side] = {ABOVE: "above", BELOW: "below"}


@dataclass(slots=True)
class Spell:
    """One stretch out of band.

    Attributes
    ----------
    quantity : {"temperature", "humidity", "vpd"}
        What was out of its band.
    side : {"above", "below"}
        Where it was.
    start_ms, end_ms : float
        From the first to the last minute out of band, cut at the period's ends [Unix ms].
    minutes : float
        Out of band in between; returns of less than five minutes are bridged, but not counted.
    extreme : float or None
        The worst value, in the quantity's SI unit.
    extreme_ms : float or None
        When [Unix ms].
    limit : float or None
        The limit it was furthest past.
    causes : list of Cause
        What held meanwhile, the longest first.
    """

    quantity: Name
    side: Side
    start_ms: float
    end_ms: float
    minutes: float
    extreme: float | None = None
    extreme_ms: float | None = None
    limit: float | None = None
    causes: list[Cause] = field(default_factory=list)

    def covers(self, cause: Cause) -> bool:
        """Whether all of the cause lies in the spell; a sensor may be missing beside it."""
        return self.start_ms <= cause.since_ms and cause.until_ms <= self.end_ms


def find_spells(runs: Sequence[Run]) -> list[Spell]:
    """Every spell of the period, in order of its start."""
    found = [spell for name in _BITS for spell in _of_quantity(runs, name)]
    return sorted(found, key=lambda spell: (spell.start_ms, spell.quantity))


def _of_quantity(runs: Sequence[Run], name: Name) -> list[Spell]:
    bits = _BITS[name]
    found: list[Spell] = []
    last: Spell | None = None
    known_since = True  # whether a value was known, and in another place, since the last spell
    for run in runs:
        standing = run.standing(bits)
        side = _SIDES.get(standing)
        if side is None or (last is not None and side != last.side):
            known_since = known_since or standing != MISSING
        if side is None:
            continue
        missing = None
        if last is not None and not known_since and run.start_ms > last.end_ms + GAP_MS:
            missing = Cause("sensor_missing", (run.start_ms - last.end_ms) / 60_000.0,
                            last.end_ms, run.start_ms)  # fmt: skip
        near = last is not None and run.start_ms - last.end_ms <= BRIDGED_MS
        if last is not None and last.side == side and near:
            last.end_ms = run.end_ms
            last.minutes += run.minutes
        else:
            if last is not None and missing is not None:
                last.causes.append(missing)
            last = Spell(name, side, run.start_ms, run.end_ms, run.minutes)
            found.append(last)
        if missing is not None:
            last.causes.append(missing)
        known_since = False
    return found
