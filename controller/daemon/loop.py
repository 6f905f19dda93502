"""The loop: a tick every period of the monotonic clock, and what comes in between."""

from __future__ import annotations

import threading
from collections.abc import Callable
from enum import Enum
from typing import TYPE_CHECKING, Any

from controller import display
from controller.clock import Clock
from controller.config import Loaded, Problem
from controller.config.section import reopening_values
from controller.control.actuator import motor_speed
from controller.daemon.config_watch import ConfigWatch, Outcome
from controller.daemon.control_socket import ControlSocket, Request, check_hold
from controller.daemon.jobs import Calendar
from controller.daemon.systemd import Notifier
from controller.daemon.tick import Controller
from controller.errors import UserError

if TYPE_CHECKING:
    from controller.record import Record

TICK_S = 2.0
# After so many failed ticks in a row the process is restarted.
_MOST_FAILURES = 5


class End(Enum):
    """How the loop ended."""

    STOPPED = "stopped"  # asked to, by a signal
    FINISHED = "finished"  # a simulated run reached its end
    REOPEN = "reopen"  # the new config wants other sensors, pins or files
    FAILED = "failed"  # tick after tick failed


class Loop:
    """Runs a controller until it is stopped.

    Parameters
    ----------
    controller : Controller
        Does each tick.
    record : Record
        For events of the loop itself.
    clock : Clock
        Gives the time and waits.
    notifier : Notifier
        Notified of each completed tick.
    calendar : Calendar
        The calendar jobs.
    config_watch : ConfigWatch or None
        Notices an edited config; None where nothing is reloaded.
    control : ControlSocket or None
        Requests of `lungwort hold` and the like; None without a socket.
    wake : threading.Event
        Set to have a tick at once.
    until_s : float
        Wall time at which to finish [s].
    on_proven : callable or None
        Called with a config once a tick with it was completed; must not block.
    """

    def __init__(
        self,
        controller: Controller,
        record: Record,
        clock: Clock,
        *,
        notifier: Notifier,
        calendar: Calendar,
        wake: threading.Event,
        config_watch: ConfigWatch | None = None,
        control: ControlSocket | None = None,
        until_s: float = float("inf"),
        on_proven: Callable[[Loaded], None] | None = None,
    ) -> None:
        self._controller = controller
        self._record = record
        self._clock = clock
        self._notifier = notifier
        self._calendar = calendar
        self._config_watch = config_watch
        self._control = control
        self._wake = wake
        self._until_s = until_s
        self._on_proven = on_proven
        self._proven: Loaded | None = None
        self._stop = False
        self._failures = 0
        self.next_loaded: Loaded | None = None
        self.ticks = 0

    def stop(self) -> None:
        """Ask the loop to end; safe in a signal handler."""
        self._stop = True
        self._wake.set()

    def reload(self) -> None:
        """Ask for the config to be read again; safe in a signal handler."""
        if self._config_watch is not None:
            self._config_watch.ask()
        self._wake.set()

    def run(self) -> End:
        """Tick until the end."""
        clock = self._clock
        due_s = clock.monotonic_s()
        is_ready = False
        while True:
            self._wake.clear()
            if self._stop:  # checked after the clearing, so that no request to stop is missed
                return End.STOPPED
            end = self._between_ticks()
            if end is not None:
                return end
            if self._tick():
                if not is_ready:
                    is_ready = True
                    self._notifier.ready()
                self._notifier.alive(self._status())
            elif self._failures >= _MOST_FAILURES:
                return End.FAILED
            if self._controller.wall_s >= self._until_s:
                return End.FINISHED
            now_s = clock.monotonic_s()
            due_s += TICK_S
            if due_s <= now_s:  # late: skip the missed ticks, keep the rhythm
                due_s = now_s + TICK_S - (now_s - due_s) % TICK_S
            clock.wait(due_s - now_s, self._wake)
            if self._wake.is_set():
                due_s = clock.monotonic_s()  # woken early: the rhythm starts here

    def _tick(self) -> bool:
        try:
            wall = self._controller.tick()
        except Exception as error:
            # A bug. The outputs keep their last command, the watchdog is not notified, and the next
            # tick starts from the clock and the readings again.
            self._failures += 1
            self._event("tick.failed", "error", error=repr(error), failures=self._failures)
            return False
        self._failures = 0
        self.ticks += 1
        try:
            if wall.stepped_by_s:
                self._calendar.rearm()
            self._calendar.step(self._controller.wall_s)
        except Exception as error:  # air matters more than summaries and backups
            self._event("job.failed", "warning", job="calendar", error=repr(error))
        loaded = self._controller.loaded
        if loaded is not self._proven:
            self._proven = loaded
            if self._on_proven is not None:
                self._on_proven(loaded)
        return True

    def _between_ticks(self) -> End | None:
        if self._control is not None:
            for request in self._control.requests():
                try:
                    self._serve(request)
                except Exception as error:  # a bug here must not stop the control
                    self._event("request.failed", "error", error=repr(error))
                    request.answer(error="the daemon failed to do it; see its log")
        if self._config_watch is not None:
            outcome = self._config_watch.look()
            if outcome is not None:
                return self._use(outcome)
        return None

    def _use(self, outcome: Outcome) -> End | None:
        if not isinstance(outcome, Loaded):
            reject(self._controller, self._record, self._now_ms(), outcome.problems)
            return None
        for warning in outcome.warnings:
            self._event("config.questioned", "warning", problem=str(warning))
        before, after = self._controller.loaded.settings, outcome.settings
        if reopening_values(before) != reopening_values(after):
            self.next_loaded = outcome
            return End.REOPEN
        # First, since it records the interval so far, which belongs to the old config.
        self._controller.use(outcome)
        at_ms = self._now_ms()
        with self._record.together():
            self._record.config(at_ms, outcome.text, outcome.sha256)
            self._event("config.reloaded", "info", sha256=outcome.sha256)
        return None

    def _serve(self, request: Request) -> None:
        body = request.body
        command = body.get("command")
        if command == "hold":
            self._serve_hold(request, body)
        elif command == "release":
            self._answer_when_recorded(request, released=self._controller.release())
        elif command == "commit":
            self._answer_when_recorded(request)
        elif command == "acknowledge":
            name = body.get("alarm")
            count = self._controller.acknowledge(None if name is None else str(name))
            self._answer_when_recorded(request, acknowledged=count)
        elif command == "filter_changed":
            self._controller.filter_changed()
            self._answer_when_recorded(request)
        else:
            request.answer(error=f"unknown command {command!r}")

    def _serve_hold(self, request: Request, body: dict[str, Any]) -> None:
        speed, for_s = body.get("speed"), body.get("for_s")
        is_relay = self._controller.loaded.settings.fan.drive == "relay"
        try:
            speed, for_s = check_hold(speed, for_s, is_relay=is_relay)
        except UserError as error:
            request.answer(error=error.message)
            return
        speed = motor_speed(speed, self._controller.rules)
        until_ms = self._now_ms() + round(for_s * 1000)
        with self._record.together():
            self._controller.hold(speed, for_s)
            self._event("hold.set", "info", speed=speed, for_s=for_s, until_ms=until_ms)
        self._answer_when_recorded(request, speed=speed, until_ms=until_ms)

    def _answer_when_recorded(self, request: Request, **reply: Any) -> None:
        """Answer once the record has what was asked for, or can't be written."""
        request.answer_if_late(**reply, recorded=False)  # the disk hangs

        def done() -> None:
            request.answer(**reply, recorded=self._record.trouble is None)

        if self._record.trouble is None:
            self._record.commit(done)
        else:
            done()  # the next attempt may be a minute away

    def _status(self) -> str:
        decision = self._controller.decision
        assert decision is not None
        trouble = self._record.trouble
        rule = decision.rule.value.replace("_", " ")
        note = f"; record: {trouble}" if trouble else ""
        return f"{display.fan(decision.speed)}, {rule}{note}"

    def _event(self, name: str, level: str, **data: object) -> None:
        self._record.event(self._now_ms(), name, level, **data)

    def _now_ms(self) -> int:
        return round((self._controller.wall_s or self._clock.wall_s()) * 1000)


def reject(
    controller: Controller, record: Record, at_ms: int, problems: tuple[Problem, ...]
) -> None:
    """Record that the file's config is rejected, and why."""
    for problem in problems:
        record.event(
            at_ms,
            "config.rejected",
            "error",
            file=problem.file,
            line=problem.line,
            column=problem.column,
            problem=str(problem),
        )
    controller.config_rejected = True
