"""The reviewed days lived through once more: the recorded intake air around a simulated tent.

One replay is of the config that was in force, the others of configs with one setting changed.
They do not depend on one another, so every core takes its share.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from controller.review.conditions import KINDS, Kind

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkProcess

    from controller.review.source import Row, Source
    from controller.settings import Settings
    from simulators.fan import Fan
    from simulators.rehearsal.recorded import Knot
    from simulators.tent_physics import TentPhysics

# The intake air is brought to means over this long, as fine as a room changes.
_STEP_S = 600
# The share of the period whose intake air has to be known.
_KNOWN_SHARE = 0.9

_INTAKE = """
SELECT avg(at_ms / 1000.0 - 0.5 * interval_s), avg(intake_temperature_c), avg(intake_humidity_pct),
    avg(tent_temperature_c), avg(tent_humidity_pct), sum(interval_s)
FROM readings
WHERE at_ms > ?1 AND at_ms <= ?2
    AND intake_temperature_c IS NOT NULL AND intake_humidity_pct IS NOT NULL
GROUP BY (at_ms - 1 - ?1) / ?3 ORDER BY 1
"""
_NEWEST_CONFIG = """
SELECT config_id FROM readings WHERE at_ms > ? AND at_ms <= ? ORDER BY at_ms DESC LIMIT 1
"""


class Days(NamedTuple):
    """What is lived through: the settings in force at the end, the air recorded, from, until [s].

    The air comes in steps, as the fields of a `Knot`; there is none where too much is missing.
    """

    settings: Settings
    air: Sequence[Row]
    span_s: tuple[float, float]


class Backdrop(NamedTuple):
    """What is the same in every replay: tent and fan, the air around, from and until [s]."""

    physics: TentPhysics
    fan: Fan
    air: Sequence[Knot]
    span_s: tuple[float, float]


class Replayed(NamedTuple):
    """What a config would have done; plain numbers, so that who is told needs no simulator.

    Attributes
    ----------
    out_min : dict
        How long each quantity would have been out of its band, by `conditions.KINDS` [min].
    fan_kwh : float
        What the fan would have taken [kWh].
    error_k, error_pct : float
        How far the model was from the record, root mean square [K, %].
    """

    out_min: dict[Kind, float]
    fan_kwh: float
    error_k: float
    error_pct: float


def read_days(source: Source) -> Days:
    """What the record has of the period."""
    period = source.period
    newest = [row[0] for row in source.rows(_NEWEST_CONFIG, period.start_ms, period.end_ms)]
    settings = source.terms.of(newest[0] if newest else None).settings
    rows = list(source.rows(_INTAKE, period.start_ms, period.end_ms, _STEP_S * 1000))
    known_s = sum(row[5] for row in rows)
    if known_s < _KNOWN_SHARE * (period.end_ms - period.start_ms) / 1000.0:
        rows = []
    span_s = period.start_ms / 1000.0, period.end_ms / 1000.0
    return Days(settings, [row[:5] for row in rows], span_s)


def backdrop_of(days: Days) -> Backdrop:
    """The tent and the fan in the recorded air."""
    from simulators.fan import Fan
    from simulators.rehearsal.recorded import Knot
    from simulators.tent_physics import TentPhysics

    physics = TentPhysics.from_settings(days.settings)
    fan = Fan(days.settings, physics.density_kg_m3)
    return Backdrop(physics, fan, [Knot(*row) for row in days.air], days.span_s)


def replay(settings: Settings, backdrop: Backdrop) -> Replayed:
    """Run a config in the recorded intake air."""
    from simulators.rehearsal import rehearse, scene_in
    from simulators.rehearsal.recorded import RecordedAir

    intake = RecordedAir(iter(backdrop.air), backdrop.physics.pressure_pa)
    scene = scene_in(settings, backdrop.physics, intake, (), backdrop.fan)
    intake.tent = scene.tent
    outcome = rehearse(settings, scene, *backdrop.span_s)
    out_min = {(what, side): getattr(outcome.minutes(what), side) for what, side in KINDS}
    return Replayed(out_min, outcome.fan.energy_kwh, intake.fit.rms_k, intake.fit.rms_pct)


def replay_each(configs: Sequence[Settings], backdrop: Backdrop) -> list[Replayed]:
    """Run several configs, in order; on several cores, to the same result as on one."""

    def some(share: int) -> list[Replayed]:
        return [replay(settings, backdrop) for settings in configs[share::shares]]

    shares = max(1, min(cores(), len(configs)))
    others = [
        begin(lambda pipe, share=share: pipe.send(some(share)))  # type: ignore[misc]
        for share in range(1, shares)
    ]
    found: list[Replayed | None] = [None] * len(configs)
    try:
        found[::shares] = some(0)
        for share, other in enumerate(others, 1):
            replayed = None if other is None else other.answer()
            # None is of one that could not begin or was killed, where memory is short.
            found[share::shares] = some(share) if replayed is None else replayed
    finally:
        for other in others:
            if other is not None:
                other.end()
    return [one for one in found if one is not None]


def cores() -> int:
    """How many cores this process may use; 1 where processes do not fork."""
    if not hasattr(os, "fork"):
        return 1
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class Helper:
    """A process that works for this one, and the pipe to it."""

    def __init__(self, process: ForkProcess, pipe: Connection) -> None:
        self.process = process
        self._pipe = pipe

    def ask(self, question: object) -> None:
        """Tell it what to do; `answer` has what came of it, or of its end."""
        with contextlib.suppress(OSError):
            self._pipe.send(question)

    def answer(self) -> Any:
        """What it has to say next; None if it is gone."""
        try:
            return self._pipe.recv()
        except (EOFError, OSError):
            return None

    def end(self) -> None:
        """Let it go, whatever it does: it owns nothing, and what helps it ends with its share."""
        self._pipe.close()
        self.process.kill()
        self.process.join()
        self.process.close()


def begin(work: Callable[[Connection], None]) -> Helper | None:
    """Begin work in a process of its own, which tells by a pipe what came of it.

    A fork has all that was imported and worked out so far. A pool of such processes would take as
    long to start as two replays of a day. None where no process can be had.
    """
    from multiprocessing import get_context

    context = get_context("fork")
    try:
        here, there = context.Pipe()
    except OSError:
        return None

    def child() -> None:
        here.close()  # so that an end is seen there when this process dies, and here likewise
        _stand_back()
        try:
            work(there)
        except (Exception, KeyboardInterrupt):
            return  # then it is done over there, where what is wrong can be said

    process = context.Process(target=child)
    try:
        process.start()
    except OSError:
        here.close()
        return None
    finally:
        there.close()
    return Helper(process, here)


def _stand_back() -> None:
    """Let whatever runs the tent go first; say nothing, and hold nobody up who reads our output."""
    os.nice(10)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
