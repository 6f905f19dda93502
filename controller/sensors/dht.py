"""DHT22 and DHT11 on GPIOs, read in a child process that can be killed."""

from __future__ import annotations

import contextlib
import json
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from controller.sensors.driver import ErrorKind, Measurement, SensorError

# A Pi Zero needs many seconds to import Blinka.
START_WITHIN_S = 30.0
# Waiting for the sensor to be ready (2.5 s) and listening to it (0.35 s), with room for a busy Pi.
READ_WITHIN_S = 6.0
# Waiting while others are read. With the two above less than after what a poller gives a read up.
TURN_WITHIN_S = 20.0
FIRST_BACKOFF_S = 2.5
LONGEST_BACKOFF_S = 60.0
_GRACE_S = 0.3
_STDERR_KEPT = 2000


class DhtProcess:
    """The child process that reads every DHT of a tent, one at a time.

    One for all of them, since the library takes 20 MB whoever asks.  A child that hangs or dies is
    killed, with every helper it started; the next to ask starts another.

    Parameters
    ----------
    command : sequence of str or None
        Program to run instead of `controller.sensors.dht_child`.
    start_within_s, read_within_s : float
        Deadlines for the child's start and for one measurement, in real time [s].
    """

    def __init__(
        self,
        command: Sequence[str] | None = None,
        *,
        start_within_s: float = START_WITHIN_S,
        read_within_s: float = READ_WITHIN_S,
    ) -> None:
        self._command = [*(command or _own_child())]
        self._start_within_s = start_within_s
        self._read_within_s = read_within_s
        self._turn = threading.Lock()  # held while one sensor is read
        self._lock = threading.Lock()  # of what follows
        self._child: _Child | None = None
        self._users: set[DhtDriver] = set()
        self._served: DhtDriver | None = None

    def join(self, driver: DhtDriver) -> None:
        """Serve this driver from now on."""
        with self._lock:
            self._users.add(driver)

    def leave(self, driver: DhtDriver) -> None:
        """Serve it no longer: ends its read, if it is at it, and with the last one the child."""
        with self._lock:
            self._users.discard(driver)
            if self._users and self._served is not driver:
                return
            child, self._child = self._child, None
        if child is not None:
            child.kill()

    def ask(self, driver: DhtDriver, request: str) -> dict[str, Any]:
        """Wait for the turn, ask for one measurement, and wait for the reply.

        Raises
        ------
        SensorError
            The child hangs, has died, or can't be started; it is killed then.
        """
        if not self._turn.acquire(timeout=TURN_WITHIN_S):
            raise SensorError(ErrorKind.HUNG, "the reading process is busy with other sensors")
        try:
            child = self._running_child(driver)
            try:
                if not child.is_ready:
                    child.hear(self._start_within_s)
                    child.is_ready = True
                return child.ask(request, self._read_within_s)
            except SensorError:
                self._drop(child)
                raise
            finally:
                self._served = None
        finally:
            self._turn.release()

    def _running_child(self, driver: DhtDriver) -> _Child:
        with self._lock:
            if driver not in self._users:
                raise SensorError(ErrorKind.CRASHED, "the driver is closed")
            if self._child is None:
                self._child = _Child(self._command)
            self._served = driver
            return self._child

    def _drop(self, child: _Child) -> None:
        with self._lock:
            if self._child is child:
                self._child = None
        child.kill()


class DhtDriver:
    """Reads one sensor through a child process with a deadline.

    After a failure of the child while it read this sensor there is a pause that doubles up to a
    minute; the other sensors of the child are read on meanwhile, by a fresh one.

    Parameters
    ----------
    kind : {"dht22", "dht11"}
        Type of sensor.
    pin : int
        GPIO number.
    process : DhtProcess or None
        Who reads it; None: a process of its own.
    monotonic_s : callable
        The clock for the pauses [s].
    """

    def __init__(
        self,
        kind: str,
        pin: int,
        *,
        process: DhtProcess | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._request = f"{kind} {pin}"
        self._process = process or DhtProcess()
        self._process.join(self)
        self._monotonic_s = monotonic_s
        self._backoff_s = FIRST_BACKOFF_S
        self._not_before_s = float("-inf")

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`. Blocks for up to all three deadlines."""
        wait_s = self._not_before_s - self._monotonic_s()
        if wait_s > 0.0:
            raise SensorError(ErrorKind.CRASHED, f"the sensor is asked again in {wait_s:.0f} s")
        try:
            reply = self._process.ask(self, self._request)
            if reply.get("is_opened") is False:
                raise _error_of(reply)
        except SensorError:
            self._not_before_s = self._monotonic_s() + self._backoff_s
            self._backoff_s = min(2.0 * self._backoff_s, LONGEST_BACKOFF_S)
            raise
        self._backoff_s = FIRST_BACKOFF_S
        if "error" in reply:
            raise _error_of(reply)
        return Measurement(reply["temperature_c"], reply["humidity_pct"])

    def close(self) -> None:
        """End the child, if no other sensor needs it; may be called from another thread."""
        self._process.leave(self)


def _error_of(reply: dict[str, Any]) -> SensorError:
    return SensorError(ErrorKind(reply["error"]), reply["message"])


def _own_child() -> list[str]:
    # Not `-m`, which would look in the working directory first, and lgpio moves that. Appended, so
    # that the child finds this very package whether it is installed or run from a checkout.
    root = str(Path(__file__).resolve().parents[2])
    return [
        sys.executable,
        "-P",
        "-c",
        f"import sys; sys.path.append({root!r}); "
        "from controller.sensors.dht_child import main; main()",
    ]


class _Child:
    """The running process and its pipes."""

    def __init__(self, command: Sequence[str]) -> None:
        # A new program, not a fork of this one: a fork would keep the GPIO lines of lgpio busy.
        # A session of its own, so that Ctrl-C passes it by and its helpers can be killed with it.
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                bufsize=0,
                start_new_session=True,
                env={**os.environ, "BLINKA_SKIP_DEPENDENCY_CHECK": "1"},
            )
        except OSError as error:
            raise SensorError(
                ErrorKind.CRASHED, f"the reading process cannot be started ({error.strerror})"
            ) from None
        self.is_ready = False  # it has said so
        self._heard = b""
        self._complaint = b""
        self._complains = True  # its stderr is still open

    def ask(self, request: str, within_s: float) -> dict[str, Any]:
        """Ask for one measurement and wait for the reply."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it has died: hear() says how
            self._process.stdin.write(f"{request}\n".encode("ascii"))
        return self.hear(within_s)

    def hear(self, within_s: float) -> dict[str, Any]:
        """Wait for one line.

        Raises
        ------
        SensorError
            HUNG past the deadline, CRASHED when the process has ended or talks nonsense.
        """
        deadline_s = time.monotonic() + within_s
        while b"\n" not in self._heard:
            remaining_s = deadline_s - time.monotonic()
            if remaining_s <= 0.0 or not self._take(remaining_s):
                raise SensorError(
                    ErrorKind.HUNG, f"the reading process did not answer within {within_s:g} s"
                )
        line, self._heard = self._heard.split(b"\n", 1)
        try:
            reply = json.loads(line)
        except ValueError:
            reply = None
        if not isinstance(reply, dict):
            raise SensorError(ErrorKind.CRASHED, "the reading process did not make sense")
        return reply

    def _take(self, within_s: float) -> bool:
        """Read from either pipe; False when nothing came in time."""
        assert self._process.stdout is not None
        assert self._process.stderr is not None
        try:
            out, err = self._process.stdout.fileno(), self._process.stderr.fileno()
            ready, _, _ = select.select([out, err] if self._complains else [out], [], [], within_s)
            received = {fd: os.read(fd, 4096) for fd in ready}
        except (OSError, ValueError):  # closed by another thread
            raise SensorError(ErrorKind.CRASHED, "the reading process was stopped") from None
        if not received:
            return False
        # Read always, else a library that prints much fills the pipe and blocks.
        self._complaint = (self._complaint + received.get(err, b""))[-_STDERR_KEPT:]
        self._heard += received.get(out, b"")
        if received.get(out) == b"":
            raise SensorError(ErrorKind.CRASHED, self._exit_reason())
        self._complains = self._complains and received.get(err) != b""
        return True

    def _exit_reason(self) -> str:
        status = None
        with contextlib.suppress(subprocess.TimeoutExpired):
            status = self._process.wait(_GRACE_S)
        how = "" if status is None else f" with status {status}"
        if status is not None and status < 0:
            how = f" by signal {-status}"
        lines = self._complaint.decode("utf-8", "replace").strip().splitlines()
        return f"the reading process ended{how}" + (f" ({lines[-1]})" if lines else "")

    def kill(self) -> None:
        """End the process and its helpers: SIGTERM, so that Blinka can clean up, then SIGKILL."""
        # The group, even when its leader has already gone: a helper left behind keeps the pin.
        for signum in (signal.SIGTERM, signal.SIGKILL):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self._process.pid, signum)
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(_GRACE_S)
        for pipe in (self._process.stdin, self._process.stdout, self._process.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
