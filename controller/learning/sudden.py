"""A change within hours, and what explains it: the last hours beside the tent as learned. Pure.

The model of the days before is run through the last day and a half. Where the tent's sensor is far
from it over two lit hours, what may have happened is supposed, one cause after the other, each with
the one figure that explains the readings best: plants that give off less water (or more), an open
door or a loose duct, a lamp that gives less, a fan that moves less, a sensor that reads otherwise.
Only causes that explain the readings about as well as a usual day's are named; where causes with
other consequences do so too, or none does, nothing is said. A sensor that reads otherwise can show
the same as something in the tent: then both are named, the tent first, which can't wait.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal, NamedTuple

from controller import air
from controller.air.constants import DRY_AIR_J_PER_KG_K, LATENT_J_PER_KG
from controller.learning.course import BLOCK_S, SETTLING_S, Block, course
from controller.learning.learned import utc_instant
from controller.learning.model import Fixed, Simulated
from controller.learning.supposed import ComparedHours, Supposed, suppose

if TYPE_CHECKING:
    from controller.learning.learned import Learned
    from controller.record.rows import ReadingRow

LOOK_BACK_S = 24 * 3600.0 + SETTLING_S
"""How much of the record is needed [s]: contents remember the day before."""

LOOKED_AT_S, SETTLES_S = 2 * 3600.0, 3600.0
"""Over so long the readings are compared [s], the lamp lit; and so long the air of a tent is given
before, to follow what has happened to it."""

ChangeKind = Literal["reduced_transpiration", "little_rise", "less_air", "sensor_drift"]

# Standard deviation of one five-minute mean about the model, at least, whatever the learning's own
# misfit [K], [%] (engineering judgement: rooms and leaves differ from day to day).
_LEAST_K, _LEAST_PCT = 0.1, 0.7
# Mean square distance from the model, in these deviations and both quantities together, from which
# on something has changed: three of each. A usual day has 2 at most (`tests/benches/sudden.py`).
_CHANGED = 18.0
# A cause explains the readings if they are as near as this, or if a tenth of the distance is left.
_EXPLAINED, _LEFT = 4.0, 0.1
# What a sensor reads too much is the same all the time: it explains more of it, or it is no sensor
# (a dead fan in a bare tent looked like one).
_LEFT_BY_SENSOR = 0.03
# Others that come within this factor of the best one can't be ruled out.
_AS_GOOD = 2.0
# The smallest changes that are told: share of water, rise and air, and of the sensor [K], [%].
_LEAST_WATER, _LEAST_RISE, _LEAST_AIR, _LEAST_K_OFF, _LEAST_PCT_OFF = 0.6, 0.75, 0.7, 1.0, 5.0
# Doubt of what is expected, in standard deviations.
_DOUBT = 3.0


class Rise(NamedTuple):
    """Temperature [K] and humidity ratio [kg/kg] of the tent over its intake's."""

    k: float
    ratio: float

    @property
    def j_per_kg(self) -> float:
        """Heat and moisture together [J/kg], so that it is no matter how much water took up."""
        return DRY_AIR_J_PER_KG_K * self.k + LATENT_J_PER_KG * self.ratio

    def share_of(self, expected: Rise) -> float:
        """How much there is of an expected rise, by temperature or by heat: the lesser, 0 to 1.

        Leaves may cool a lit tent below its intake air, and a door then shows by their moisture.
        """
        pairs = ((self.k, expected.k), (self.j_per_kg, expected.j_per_kg))
        shares = [seen / usual for seen, usual in pairs if usual > 0.0]
        return max(0.0, min(1.0, *shares)) if shares else 1.0


class SuddenChange(NamedTuple):
    """What is not as it was.

    Attributes
    ----------
    kind : str
        What it is.
    since_s : float
        Not later than about then [Unix s].
    observed, expected, doubt : Rise
        Means of the last hours, and how far the expected one may be off to either side.
    share : float
        Water given off, rise, or the fan's air over what was to be expected; 1 where it is the
        sensor.
    or_sensor : bool
        Whether a sensor that reads otherwise than it did would show the same.
    off_k, off_pct : float
        What the tent's sensor reads more than it did, if it is the sensor [K], [%].
    learned_from_s, learned_until_s : float
        The days that tell what is expected [Unix s].
    """

    kind: ChangeKind
    since_s: float
    observed: Rise
    expected: Rise
    doubt: Rise
    share: float
    off_k: float
    off_pct: float
    or_sensor: bool
    learned_from_s: float
    learned_until_s: float

    def as_json(self) -> dict[str, object]:
        """One object, units in the keys."""
        return {
            "kind": self.kind,
            "since": utc_instant(self.since_s),
            "observed_k": round(self.observed.k, 3),
            "expected_k": round(self.expected.k, 3),
            "doubt_k": round(self.doubt.k, 3),
            "observed_g_kg": round(1000.0 * self.observed.ratio, 3),
            "expected_g_kg": round(1000.0 * self.expected.ratio, 3),
            "doubt_g_kg": round(1000.0 * self.doubt.ratio, 3),
            "share": round(self.share, 3),
            "off_k": round(self.off_k, 3),
            "off_pct": round(self.off_pct, 3),
            "or_sensor": self.or_sensor,
            "compared_with": "/".join(
                utc_instant(at_s) for at_s in (self.learned_from_s, self.learned_until_s)
            ),
        }


def sudden_change(
    fixed: Fixed, learned: Learned, rows: Iterable[ReadingRow], since_s: float | None = None
) -> SuddenChange | Literal["unknown"] | None:
    """Look at the newest hours.

    Parameters
    ----------
    fixed : Fixed
        What is not learned.
    learned : Learned
        From days before the change.
    rows : iterable of ReadingRow
        The last `LOOK_BACK_S` in order of time.
    since_s : float or None
        Since when a change stands that was found before [Unix s]; None without.

    Returns
    -------
    SuddenChange, None or "unknown"
        None where all is as it was, or nothing explains what is not; "unknown" where the newest
        hours are not lit throughout, or have gaps.
    """
    rows = list(rows)
    if not rows:
        return "unknown"
    until_s = rows[-1].at_ms / 1000.0
    compared_from_s = until_s - LOOKED_AT_S
    onset_s = compared_from_s - SETTLES_S
    newest = [row for row in rows if row.at_ms / 1000.0 > onset_s]
    if any(row.lamp_on_s < 0.99 * row.interval_s for row in newest):
        return "unknown"
    recorded = course(rows, fixed.physics)
    counted = sum(block.counts for block in recorded.blocks() if block.at_s > compared_from_s)
    if counted < 0.8 * LOOKED_AT_S / BLOCK_S:
        return "unknown"
    since_s = onset_s if since_s is None else min(since_s, onset_s)
    hours = ComparedHours(
        fixed,
        recorded,
        learned.fitted,
        compared_from_s,
        since_s,
        max(_LEAST_K, learned.misfit.rms_k),
        max(_LEAST_PCT, learned.misfit.rms_pct),
    )
    pairs = hours.simulated(recorded)
    distance = hours.distance(pairs)
    if distance < _CHANGED:
        return None
    return _explained(hours, pairs, distance, learned)


def _explained(
    hours: ComparedHours,
    pairs: list[tuple[Block, Simulated]],
    distance: float,
    learned: Learned,
) -> SuddenChange | None:
    """The change that explains the readings; None where none does, or several do."""
    supposed = suppose(hours, pairs)
    observed, expected = _rises(hours, pairs)
    named = _named(supposed, distance, observed.share_of(expected))
    if named is None:
        return None
    return SuddenChange(
        named.kind,
        hours.since_s,
        observed,
        expected,
        _doubt(hours, pairs),
        named.share,
        named.off_k,
        named.off_pct,
        named.or_sensor,
        learned.from_s,
        learned.until_s,
    )


class _Named(NamedTuple):
    """What is named; see `SuddenChange`."""

    kind: ChangeKind
    share: float
    or_sensor: bool = False
    off_k: float = 0.0
    off_pct: float = 0.0


def _named(supposed: Supposed, distance: float, rise: float) -> _Named | None:
    """The one kind of change that the likely causes have in common, if it is large enough.

    Parameters
    ----------
    supposed : Supposed
        How near each comes.
    distance : float
        Of the readings from the tent as learned.
    rise : float
        Share of the expected rise that was observed.
    """
    best = min(supposed.distances.values())
    if best > max(_EXPLAINED, _LEFT * distance):
        return None
    # Where even the best explains them only in the main, the model itself is off by as much.
    reach = max(_EXPLAINED, _AS_GOOD * (best if best <= _EXPLAINED else _LEFT * distance))
    likely = {cause for cause, by in supposed.distances.items() if by <= reach}
    # A sensor shows the same as what happens in the tent, at times: then both may be.
    in_tent = likely - {"sensor_k", "sensor_pct"}
    or_sensor = bool(in_tent) and in_tent != likely
    if likely <= {"water", "sensor_pct"} and in_tent and supposed.water <= _LEAST_WATER:
        return _Named("reduced_transpiration", supposed.water, or_sensor)
    if likely <= {"opened", "lamp", "sensor_k"} and in_tent and rise <= _LEAST_RISE:
        return _Named("little_rise", rise, or_sensor)
    if likely <= {"fan", "sensor_k"} and in_tent and supposed.air <= _LEAST_AIR:
        return _Named("less_air", supposed.air, or_sensor)
    if best > max(_EXPLAINED, _LEFT_BY_SENSOR * distance):
        return None
    if likely == {"sensor_k"} and abs(supposed.off_k) >= _LEAST_K_OFF:
        return _Named("sensor_drift", 1.0, off_k=supposed.off_k)
    if likely == {"sensor_pct"} and abs(supposed.off_pct) >= _LEAST_PCT_OFF:
        return _Named("sensor_drift", 1.0, off_pct=supposed.off_pct)
    return None


def _rises(hours: ComparedHours, pairs: list[tuple[Block, Simulated]]) -> tuple[Rise, Rise]:
    """Observed and expected, by sensors that agree."""
    fitted = hours.fitted
    pressure_pa = hours.fixed.physics.pressure_pa
    sums = [0.0] * 4
    for block, modelled in pairs:
        length_s = sum(step.length_s for step in block.steps)
        intake_c = sum(step.length_s * step.intake_c for step in block.steps) / length_s
        intake_ratio = sum(step.length_s * step.intake_ratio for step in block.steps) / length_s
        for i, seen in enumerate((Simulated(block.tent_c, block.tent_pct), modelled)):
            tent_c, pct = seen.tent_c - fitted.difference_k, seen.tent_pct - fitted.difference_pct
            ratio = air.humidity_ratio(tent_c, min(99.9, max(0.1, pct)), pressure_pa)
            sums[2 * i] += tent_c - intake_c
            sums[2 * i + 1] += ratio - intake_ratio
    means = [value / len(pairs) for value in sums]
    return Rise(means[0], means[1]), Rise(means[2], means[3])


def _doubt(hours: ComparedHours, pairs: list[tuple[Block, Simulated]]) -> Rise:
    """How far the expected rise may be off."""
    tent_c = sum(modelled.tent_c for _, modelled in pairs) / len(pairs)
    full = air.humidity_ratio(tent_c, 100.0, hours.fixed.physics.pressure_pa)
    half_k, half_pct = _DOUBT * hours.deviation_k, _DOUBT * hours.deviation_pct
    per_k = 0.06 * full * 0.5  # saturation rises by 6 % a kelvin; the air is about half full
    return Rise(half_k, math.hypot(0.01 * half_pct * full, half_k * per_k))
