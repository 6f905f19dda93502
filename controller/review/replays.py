"""The reviewed days lived through once more: the recorded intake air around a simulated tent.

One replay is of the config that was in force, the others of configs with one setting changed.
They do not depend on one another, so every core takes its share.
"""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Sequence
from functools import partial
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
    """Run several configs, in order; on several cores, to the same result as on one."""
    shares = max(1, min(_cores(), len(configs)))
    others = [
        _started(partial(_replay_some, configs[share::shares], lived)) for share in range(1, shares)
    ]
    found: list[Replayed | None] = [None] * len(configs)
    found[::shares] = _replay_some(configs[::shares], lived)
    for share, other in enumerate(others, 1):
        replayed = other()
        if replayed is None:  # killed, where memory is short
            replayed = _replay_some(configs[share::shares], lived)
        found[share::shares] = replayed
    return [one for one in found if one is not None]


def _replay_some(configs: Sequence[Settings], lived: Lived) -> list[Replayed]:
    return [replay(settings, lived) for settings in configs]


def _cores() -> int:
    """How many cores this process may use; 1 where processes do not fork."""
    if not hasattr(os, "fork"):
        return 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _started(work: Callable[[], list[Replayed]]) -> Callable[[], list[Replayed] | None]:
    """Begin work in a process of its own; what is given back waits for its result.

    A fork has all that the first replay has worked out, and begins at once: the pools of the
    standard library take as long to import and to start as two replays of a day.
    """
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        try:
            with os.fdopen(write_end, "wb") as pipe:
                pickle.dump(work(), pipe)
        finally:
            os._exit(0)  # this process is a copy: what it was about to do, the other one does
    os.close(write_end)

    def result() -> list[Replayed] | None:
        with os.fdopen(read_end, "rb") as pipe:
            answer = pipe.read()
        os.waitpid(pid, 0)
        try:
            replayed: list[Replayed] = pickle.loads(answer)
        except (EOFError, pickle.UnpicklingError):
            return None
        return replayed

    return result
