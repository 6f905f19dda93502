"""Excursions: stretches in which a quantity was out of its band."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from controller.review.segments import (
    ABOVE,
    BELOW,
    GAP_MS,
    HUMIDITY,
    MISSING,
    TEMPERATURE,
    VPD,
    Segment,
)

# A return into the band shorter than this does not end an excursion: noise at the edge would make
# a hundred excursions of one hot afternoon.
BRIDGED_MS = 5 * 60_000.0

Side = Literal["above", "below"]
Name = Literal["temperature", "humidity", "vpd"]
_BITS: dict[Name, int] = {"temperature": TEMPERATURE, "humidity": HUMIDITY, "vpd": VPD}
_SIDES: dict[int, Side] = {ABOVE: "above", BELOW: "below"}

# A quantity and a side of its band.
Kind = tuple[str, str]
KINDS: tuple[Kind, ...] = (
    ("temperature", "above"),
    ("temperature", "below"),
    ("humidity", "above"),
    ("humidity", "below"),
    ("vpd", "above"),
    ("vpd", "below"),
)


class Cause(NamedTuple):
    """Something that held during an excursion.

    Attributes
    ----------
    code : str
        One of `controller.review.cause_conditions.CODES`.
    minutes : float
        How long it held in the excursion [min].
    since_ms, until_ms : float
        From the first to the last moment it held [Unix ms].
    value : float or None
        A number to go with it: the intake's extreme, the delay, the rise; see there.
    intake_c : float or None
        Mean of the intake air while the lamp's heat was the cause [°C].
    expected_k : tuple of (float, float) or None
        Of a rise that was not as expected: what was to be expected at least and at most [K].
    """

    code: str
    minutes: float
    since_ms: float
    until_ms: float
    value: float | None = None
    intake_c: float | None = None
    expected_k: tuple[float, float] | None = None


@dataclass(slots=True)
class Excursion:
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
        The limit that was in force then.
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
        """Whether all of the cause lies in the excursion; a sensor may be missing beside it."""
        return self.start_ms <= cause.since_ms and cause.until_ms <= self.end_ms


def find_excursions(segments: Sequence[Segment]) -> list[Excursion]:
    """Every excursion of the period, in order of its start."""
    excursions = [excursion for name in _BITS for excursion in _of_quantity(segments, name)]
    return sorted(excursions, key=lambda excursion: (excursion.start_ms, excursion.quantity))


def furthest(excursions: Iterable[Excursion], kind: Kind) -> Excursion | None:
    """The excursion of a kind with the worst value; None where there is none.

    The extreme of the whole time may lie in another phase, and there in band.
    """
    chosen = [e for e in excursions if (e.quantity, e.side) == kind and e.extreme is not None]
    worst = max if kind[1] == "above" else min
    return worst(chosen, key=lambda excursion: excursion.extreme or 0.0, default=None)


def _of_quantity(segments: Sequence[Segment], name: Name) -> list[Excursion]:
    bits = _BITS[name]
    excursions: list[Excursion] = []
    last: Excursion | None = None
    known_since = True  # whether a value was known, and in another place, since the last excursion
    for segment in segments:
        position = segment.position(bits)
        side = _SIDES.get(position)
        if side is None or (last is not None and side != last.side):
            known_since = known_since or position != MISSING
        if side is None:
            continue
        missing = None
        if last is not None and not known_since and segment.start_ms > last.end_ms + GAP_MS:
            missing = Cause("sensor_missing", (segment.start_ms - last.end_ms) / 60_000.0,
                            last.end_ms, segment.start_ms)  # fmt: skip
        near = last is not None and segment.start_ms - last.end_ms <= BRIDGED_MS
        if last is not None and last.side == side and near:
            last.end_ms = segment.end_ms
            last.minutes += segment.minutes
        else:
            if last is not None and missing is not None:
                last.causes.append(missing)
            last = Excursion(name, side, segment.start_ms, segment.end_ms, segment.minutes)
            excursions.append(last)
        if missing is not None:
            last.causes.append(missing)
        known_since = False
    return excursions
