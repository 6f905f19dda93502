"""Configs rehearsed on the same days, on every core; no worker outlives the command."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, Any, NamedTuple

from controller.errors import UserError
from controller.interruption import interrupts_held
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import rehearse
from simulators.rehearsal.scene import set_scene

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather

# How often the parent looks how far its workers are [s].
_LOOK_S = 0.2


class SharedDays(NamedTuple):
    """What all configs are rehearsed on: weather, bounds [Unix s] and the sensors' seed."""

    weather: Weather
    start_s: float
    until_s: float
    seed: int = 1


def rehearse_all(
    configs: Sequence[Settings],
    days: SharedDays,
    *,
    progress: Callable[[float], None] | None = None,
) -> list[Outcome]:
    """Rehearse configs side by side.

    Parameters
    ----------
    configs : sequence of Settings
        What to rehearse.
    days : SharedDays
        The days, the same for all.
    progress : callable or None
        Told how much time was simulated, over all configs [s].

    Returns
    -------
    list of Outcome
        In the order of the configs; the same whatever the number of processes.

    Raises
    ------
    UserError
        The system killed a worker.
    """
    tell = progress or (lambda _done_s: None)
    processes = min(os.cpu_count() or 1, len(configs))
    if processes > 1:
        return _rehearse_in_workers(configs, days, processes, tell)
    length_s = days.until_s - days.start_s
    outcomes = []
    for number, settings in enumerate(configs):

        def report(at_s: float, number: int = number) -> None:
            tell(number * length_s + at_s - days.start_s)

        outcomes.append(_rehearse(settings, days, report))
    return outcomes


def _rehearse(
    settings: Settings,
    days: SharedDays,
    progress: Callable[[float], None],
) -> Outcome:
    return rehearse(
        settings,
        set_scene(settings, days.weather, days.start_s),
        days.start_s,
        days.until_s,
        seed=days.seed,
        progress=progress,
    )


def _rehearse_in_workers(
    configs: Sequence[Settings],
    days: SharedDays,
    processes: int,
    tell: Callable[[float], None],
) -> list[Outcome]:
    simulated_s = multiprocessing.Value("d", 0.0)
    initial = (days, simulated_s)
    with _ended(ProcessPoolExecutor(processes, initializer=_begin, initargs=initial)) as pool:
        with interrupts_held():
            runs = [pool.submit(_work, settings) for settings in configs]
        waiting: set[Future[Outcome]] = set(runs)
        while waiting:
            with interrupts_held():
                _, waiting = wait(waiting, _LOOK_S, FIRST_COMPLETED)
                done_s = simulated_s.value
            tell(done_s)
        try:
            with interrupts_held():
                return [run.result() for run in runs]
        except BrokenProcessPool:
            raise UserError(
                "the system ended a process that was rehearsing, perhaps for want of memory; "
                "try fewer days, or one config at a time"
            ) from None


@contextlib.contextmanager
def _ended(pool: ProcessPoolExecutor) -> Iterator[ProcessPoolExecutor]:
    """A pool whose workers are killed when its work is broken off: they hold nothing."""
    before = set(multiprocessing.active_children())
    try:
        yield pool
    except BaseException:
        with interrupts_held():
            for worker in set(multiprocessing.active_children()) - before:
                worker.kill()
        raise
    finally:
        with interrupts_held():
            pool.shutdown(cancel_futures=True)


# What a worker knows, set once in each.
_known: dict[str, Any] = {}


def _begin(days: SharedDays, simulated_s: Any) -> None:
    """Begin a worker: Ctrl-C is its parent's affair, and it leaves when that has gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    threading.Thread(target=_leave_with_parent, daemon=True).start()
    _known.update(days=days, simulated_s=simulated_s)


def _leave_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(settings: Settings) -> Outcome:
    days: SharedDays = _known["days"]
    simulated_s = _known["simulated_s"]
    reported_s = days.start_s

    def tell(at_s: float) -> None:
        nonlocal reported_s
        with simulated_s.get_lock():
            simulated_s.value += at_s - reported_s
        reported_s = at_s

    outcome = _rehearse(settings, days, tell)
    tell(days.until_s)
    return outcome
