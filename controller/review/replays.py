"""The reviewed days lived through once more: the recorded intake air around a simulated tent.

One replay is of the config that was in force, the others of configs with one setting changed.
They do not depend on one another, so every core takes its share.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from controller.review.period import Period
    from controller.review.source import Source
    from controller.settings import Settings
    from simulators.fan import Fan
    from simulators.rehearsal import Outcome
    from simulators.rehearsal.recorded import Knot
    from simulators.tent_physics import TentPhysics

# The intake air is brought to means over this long: a replay costs by the number of changes.
_KNOT_S = 600
# The share of the period whose intake air has to be known.
_KNOWN_SHARE = 0.9
# So many replayed days are done sooner than other processes have started.
_FEW_DAYS = 5.5

_KNOTS = """
SELECT avg(at_ms / 1000.0 - 0.5 * interval_s), avg(intake_temperature_c), avg(intake_humidity_pct),
    avg(tent_temperature_c), avg(tent_humidity_pct), sum(interval_s)
FROM readings
WHERE at_ms > ?1 AND at_ms <= ?2
    AND intake_temperature_c IS NOT NULL AND intake_humidity_pct IS NOT NULL
GROUP BY (at_ms - 1 - ?1) / ?3 ORDER BY 1
"""


class Replayed(NamedTuple):
    """What a config would have done, and how far the model was from the record (rms)."""

    outcome: Outcome
    error_k: float
    error_pct: float


class Lived(NamedTuple):
    """What is the same in every replay: tent and fan, the air around, from and until [s]."""

    physics: TentPhysics
    fan: Fan
    air: Sequence[Knot]
    span_s: tuple[float, float]


def intake_air(source: Source) -> list[Knot]:
    """The recorded intake air in steps; nothing where too much of it is missing."""
    from simulators.rehearsal.recorded import Knot

    period = source.period
    rows = list(source.rows(_KNOTS, period.start_ms, period.end_ms, _KNOT_S * 1000))
    known_s = sum(row[5] for row in rows)
    if known_s < _KNOWN_SHARE * (period.end_ms - period.start_ms) / 1000.0:
        return []
    return [Knot(*row[:5]) for row in rows]


def as_lived(settings: Settings, period: Period, air: Sequence[Knot]) -> Lived:
    """The tent and the fan of a config in the recorded air."""
    from simulators.fan import Fan
    from simulators.tent_physics import TentPhysics

    span_s = period.start_ms / 1000.0, period.end_ms / 1000.0
    physics = TentPhysics.from_settings(settings)
    return Lived(physics, Fan(settings, physics.density_kg_m3), air, span_s)


def replay(settings: Settings, lived: Lived) -> Replayed:
    """Run a config in the recorded intake air."""
    from simulators.rehearsal import rehearse, scene_in
    from simulators.rehearsal.recorded import RecordedAir

    intake = RecordedAir(iter(lived.air), lived.physics.pressure_pa)
    scene = scene_in(settings, lived.physics, intake, (), lived.fan)
    intake.tent = scene.tent
    outcome = rehearse(settings, scene, *lived.span_s)
    return Replayed(outcome, intake.fit.rms_k, intake.fit.rms_pct)


def replay_each(configs: Sequence[Settings], lived: Lived) -> list[Replayed]:
    """Run several configs, in order; on several cores where that is sooner, to the same result."""
    start_s, until_s = lived.span_s
    processes = min(_cores(), len(configs))
    if processes < 2 or len(configs) * (until_s - start_s) / 86_400.0 < _FEW_DAYS:
        return [replay(settings, lived) for settings in configs]
    from multiprocessing import get_context

    # Forked, the others have all that the first replay has worked out.
    with get_context("fork").Pool(processes, _share, (configs, lived)) as pool:
        return pool.map(_replay_one, range(len(configs)), chunksize=1)


def _cores() -> int:
    """How many cores this process may use; 1 where processes do not fork."""
    if not hasattr(os, "fork"):
        return 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


# What each process of a pool knows: set once in each.
_SHARED: list[tuple[Sequence[Settings], Lived]] = []


def _share(configs: Sequence[Settings], lived: Lived) -> None:
    _SHARED[:] = [(configs, lived)]


def _replay_one(number: int) -> Replayed:
    configs, lived = _SHARED[0]
    return replay(configs[number], lived)
