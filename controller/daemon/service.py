"""The daemon: opens sensors, outputs and record, runs the loop, and closes all in order."""

from __future__ import annotations

import contextlib
import os
import signal
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller import __version__, log
from controller.alarms.watch import STATE_KEY as ALARMS_KEY
from controller.alarms.watch import AlarmWatch, open_outboxes
from controller.clock import Clock
from controller.config import Problem
from controller.config.store import LastGood
from controller.control import Memory
from controller.daemon.calendar import calendar_jobs
from controller.daemon.config_watch import ConfigWatch
from controller.daemon.control_socket import ControlSocket, socket_path
from controller.daemon.jobs import Calendar
from controller.daemon.learning_process import LearningProcess
from controller.daemon.loop import End, Loop, reject
from controller.daemon.signals import signals_to
from controller.daemon.systemd import Notifier
from controller.daemon.tick import MEMORY_KEY, Controller
from controller.daemon.world import World
from controller.errors import UserError
from controller.locks import AlreadyRunning
from controller.record.status import KEY as STATUS_KEY

if TYPE_CHECKING:
    from controller.config import Loaded
    from controller.record import Record


@dataclass
class Service:
    """A daemon for one config file.

    Attributes
    ----------
    path : pathlib.Path
        The config file, watched for edits.
    loaded : Loaded
        What it said at the start.
    world : World
        Where it runs.
    load : callable
        Reads the file again, aside; None: never.
    listen : bool
        Whether to open the control socket.
    notifier : Notifier
        Who hears that all is well.
    log_level : str
        The least grave events that are logged; all of them are recorded.
    log_as_json : bool or None
        Whether the log is JSON; None: unless it goes to a terminal.
    last_good : LastGood or None
        Where a config that has proved to run is kept, and is looked for when `loaded` can't be
        run; None: nowhere.
    refused : tuple of Problem
        Why `loaded` is not what the file says now; empty when it is.
    learning : LearningProcess or None
        Learns the tent every night; None: nothing is learned.
    was_interrupted : bool
        Whether it was Ctrl-C that stopped it.
    """

    path: Path
    loaded: Loaded
    world: World
    load: Callable[[Path], Loaded] | None = None
    listen: bool = True
    notifier: Notifier | None = None
    log_level: str = "info"
    log_as_json: bool | None = None
    last_good: LastGood | None = None
    refused: tuple[Problem, ...] = ()
    learning: LearningProcess | None = None
    was_interrupted: bool = field(default=False, init=False)
    _is_open: bool = field(default=False, init=False, repr=False)
    _is_stopping: bool = field(default=False, init=False, repr=False)
    _loop: Loop | None = field(default=None, init=False, repr=False)
    _in_force: dict[str, Any] = field(default_factory=dict, init=False, repr=False)

    def run(self) -> End:
        """Run until a signal, the end of a simulation, or a fault that a fresh process may mend.

        A config whose pins or files can't be had gives way to the one that ran before.

        Raises
        ------
        UserError
            The hardware can't be had (status 3) or another daemon has it (status 4).
        """
        with _signals(self._stop, self._interrupt, self._reload):
            try:
                return self._run()
            finally:
                if self.learning is not None:
                    self.learning.close()

    def _interrupt(self) -> None:
        self.was_interrupted = True
        self._stop()

    def _stop(self) -> None:
        """Stop now, or, during a start, as soon as everything is open and can be parked."""
        self._is_stopping = True
        if self._loop is not None:
            self._loop.stop()

    def _reload(self) -> None:
        """Read the config again; at a start it has only just been read."""
        if self._loop is not None:
            self._loop.reload()

    def _run(self) -> End:
        end, before = End.REOPEN, None
        while end is End.REOPEN:
            tried, self._is_open = self.loaded, False
            try:
                end = self._run_once()
            except UserError as error:
                instead = before if before is not None else self._last_good_config(error)
                if self._is_open or instead is None or instead.sha256 == tried.sha256:
                    raise
                self.refused = (Problem(str(self.path), 0, 0, error.message),)
                self.loaded, before = instead, None
            else:
                before = tried
        return end

    def _last_good_config(self, error: UserError) -> Loaded | None:
        """The config that last ran, unless another daemon is what keeps this one from running."""
        if self.last_good is None or self.load is None or isinstance(error, AlreadyRunning):
            return None
        return self.last_good.load(self.load)

    def _run_once(self) -> End:
        settings, clock = self.loaded.settings, self.world.clock
        notifier = self.notifier or Notifier()
        wake = threading.Event()
        with contextlib.ExitStack() as stack:
            stack.enter_context(self.world.claim(settings))
            record = self.world.open_record(settings.record_path, settings.record.commit_every_s)
            stack.callback(record.close)
            log.set_up(
                level=self.log_level,
                as_json=self.log_as_json,
                units=settings.units,
                zone=settings.place.timezone,
            )
            _hand_over(self._in_force, record)
            memory, not_before_s = restore(record, clock)
            # Closed last to first: the fan before what may wait for the network or a request.
            alarms = self._open_alarms(record, not_before_s)
            stack.callback(alarms.close)
            control = None
            if self.listen:
                control = _open_control(settings.record_path, wake.set, record, clock)
                if control is not None:
                    stack.callback(control.close)
            edges = self.world.open_edges(settings)
            stack.callback(edges.close)
            controller = Controller(
                self.loaded,
                edges,
                record,
                clock,
                alarms=alarms,
                memory=memory,
                not_before_s=not_before_s,
                clock_was_set=self.world.clock_was_set,
            )
            self._record_start(record, memory, not_before_s)
            if self.refused:
                at_ms = round(max(clock.wall_s(), not_before_s) * 1000)
                reject(controller, record, at_ms, self.refused)
            calendar = self._start_calendar(controller, record, alarms)
            stack.callback(calendar.close)
            loop = Loop(
                controller,
                record,
                clock,
                notifier=notifier,
                calendar=calendar,
                wake=wake,
                config_watch=self._watch_config(wake),
                control=control,
                until_s=self.world.until_s,
                on_proven=self._store_proven,
            )
            self._is_open, self._loop = True, loop
            if self._is_stopping:
                loop.stop()
            end = loop.run()
            if end is not End.REOPEN:
                notifier.stopping()
            self._finish(loop, controller, record, end)
            return end

    def _watch_config(self, wake: threading.Event) -> ConfigWatch | None:
        if self.load is None:
            return None
        return ConfigWatch(self.path, self.loaded.sha256, self.load, wake.set, bool(self.refused))

    def _start_calendar(
        self, controller: Controller, record: Record, alarms: AlarmWatch
    ) -> Calendar:
        jobs = calendar_jobs(
            lambda: controller.loaded.settings,
            record,
            is_settled=lambda: controller.clock_is_settled,
            is_trusted=lambda: controller.clock_is_trusted,
            zone=lambda: controller.timetable.zone,
            renew_zone=controller.renew_timetable,
            learn=self.learning,
            find_change=None if self.learning is None else self.learning.change,
            alarms=alarms,
        )
        return self.world.make_calendar(jobs, self.loaded.settings)

    def _finish(self, loop: Loop, controller: Controller, record: Record, end: End) -> None:
        """Record the rest of the interval and the stop, and take the next config, if any."""
        controller.finish()
        self._in_force = {key: record.load_state(key) for key in (MEMORY_KEY, ALARMS_KEY)}
        record.event(
            round((controller.wall_s or self.world.clock.wall_s()) * 1000),
            "daemon.stopped",
            "error" if end is End.FAILED else "info",
            why=end.value,
            ticks=loop.ticks,
        )
        if loop.next_loaded is not None:
            self.loaded, self.refused = loop.next_loaded, ()

    def _store_proven(self, loaded: Loaded) -> None:
        if self.last_good is not None:
            self.last_good.keep_aside(loaded.text)

    def _open_alarms(self, record: Record, not_before_s: float) -> AlarmWatch:
        settings, clock = self.loaded.settings, self.world.clock

        def report(channel: str, why: str) -> None:
            at_ms = round(clock.wall_s() * 1000)
            record.event(at_ms, "notification.failed", "warning", channel=channel, why=why)

        # A simulated tent sends no messages.
        outboxes = open_outboxes(settings, clock, report) if self.world.tells_people else []
        alarms = AlarmWatch(settings, outboxes)
        restore_alarms(alarms, record, clock, not_before_s)
        return alarms

    def _record_start(self, record: Record, memory: Memory, not_before_s: float) -> None:
        at_s = max(self.world.clock.wall_s(), not_before_s)
        at_ms = round(at_s * 1000)
        with record.together():
            record.config(at_ms, self.loaded.text, self.loaded.sha256)
            record.event(
                at_ms,
                "daemon.started",
                "info",
                version=__version__,
                pid=os.getpid(),
                config=str(self.path),
                away_s=round(at_s - not_before_s) if not_before_s else None,
                held=memory.hold is not None,
            )
            for warning in self.loaded.warnings:
                record.event(at_ms, "config.questioned", "warning", problem=str(warning))


def _hand_over(in_force: dict[str, Any], record: Record) -> None:
    """Save in a record what was in force, such as a hold, when another one was in use."""
    for key, saved in in_force.items():
        if _at_ms(saved) > _at_ms(record.load_state(key)):
            record.save_state(key, _at_ms(saved), saved)


def restore(record: Record, clock: Clock) -> tuple[Memory, float]:
    """Restore the decision memory of the last daemon.

    Returns
    -------
    tuple of (Memory, float)
        The decision memory, and the newest instant in the record [s since the epoch].
    """
    newest_ms = max(_at_ms(record.load_state(key)) for key in (MEMORY_KEY, STATUS_KEY))
    saved = record.load_state(MEMORY_KEY)
    if not isinstance(saved, dict):
        return Memory(), newest_ms / 1000
    away_s = max(0.0, clock.wall_s() - _at_ms(saved) / 1000)
    with contextlib.suppress(ValueError):
        return Memory.restore(saved, clock.monotonic_s(), away_s), newest_ms / 1000
    return Memory(), newest_ms / 1000


def _at_ms(saved: Any) -> int:
    at_ms = saved.get("at_ms") if isinstance(saved, dict) else None
    return at_ms if isinstance(at_ms, int) else 0


def _open_control(
    record_path: Path, wake: Callable[[], None], record: Record, clock: Clock
) -> ControlSocket | None:
    """Open the control socket; the daemon runs without it if that fails."""
    try:
        return ControlSocket(socket_path(record_path), wake)
    except UserError as error:
        at_ms = round(clock.wall_s() * 1000)
        record.event(at_ms, "control.failed", "warning", error=error.message)
        return None


@contextlib.contextmanager
def _signals(
    stop: Callable[[], None], interrupt: Callable[[], None], reload: Callable[[], None]
) -> Any:
    if threading.current_thread() is not threading.main_thread():
        yield  # the thread of a test receives no signals
        return
    with signals_to({signal.SIGTERM: stop, signal.SIGINT: interrupt, signal.SIGHUP: reload}):
        yield


def restore_alarms(alarms: AlarmWatch, record: Record, clock: Clock, not_before_s: float) -> None:
    """Restore the alarms that the last daemon left; the record ended at `not_before_s` [Unix s]."""
    away_s = max(0.0, clock.wall_s() - not_before_s)
    alarms.restore(record.load_state(ALARMS_KEY), clock.monotonic_s(), away_s)
