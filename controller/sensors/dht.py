"""DHT22 and DHT11 on a GPIO, read in a child process that can be killed."""

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
FIRST_BACKOFF_S = 2.5
LONGEST_BACKOFF_S = 60.0
_GRACE_S = 0.3
_STDERR_KEPT = 2000


class DhtDriver:
    """Reads one sensor through a child process with a deadline.

    A child that hangs or dies is killed, with every helper it started, and started again after a
    pause that doubles up to a minute.

    Parameters
    ----------
    kind : {"dht22", "dht11"}
        Type of sensor.
    pin : int
        GPIO number.
    command : sequence of str or None
        Program to run instead of `controller.sensors.dht_child`; kind and pin are appended.
    monotonic_s : callable
        The clock for the pauses [s].
    start_within_s, read_within_s : float
        Deadlines for the child's start and for one measurement, in real time [s].
    """

    def __init__(
        self,
        kind: str,
        pin: int,
        *,
        command: Sequence[str] | None = None,
        monotonic_s: Callable[[], float] = time.monotonic,
        start_within_s: float = START_WITHIN_S,
        read_within_s: float = READ_WITHIN_S,
    ) -> None:
        self._command = [*(command or _own_child()), kind, str(pin)]
        self._monotonic_s = monotonic_s
        self._start_within_s = start_within_s
        self._read_within_s = read_within_s
        self._lock = threading.Lock()
        self._child: _Child | None = None
        self._closed = False
        self._backoff_s = FIRST_BACKOFF_S
        self._not_before_s = float("-inf")

    def read(self) -> Measurement:
        """Measure once; see `Driver.read`. Blocks for up to both deadlines."""
        try:
            child = self._running_child()
            reply = child.ask(self._read_within_s)
        except SensorError:
            self._drop_child()
            raise
        self._backoff_s = FIRST_BACKOFF_S
        if "error" in reply:
            raise SensorError(ErrorKind(reply["error"]), reply["message"])
        return Measurement(reply["temperature_c"], reply["humidity_pct"])

    def close(self) -> None:
        """Kill the child and start no other; may be called from another thread."""
        with self._lock:
            self._closed = True
            child, self._child = self._child, None
        if child is not None:
            child.kill()

    def _running_child(self) -> _Child:
        with self._lock:
            if self._closed:
                raise SensorError(ErrorKind.CRASHED, "the driver is closed")
            if self._child is not None:
                return self._child
            wait_s = self._not_before_s - self._monotonic_s()
            if wait_s > 0.0:
                raise SensorError(
                    ErrorKind.CRASHED, f"the reading process is started again in {wait_s:.0f} s"
                )
            self._child = child = _Child(self._command)
        reply = child.hear(self._start_within_s)
        if "error" in reply:
            raise SensorError(ErrorKind(reply["error"]), reply["message"])
        return child

    def _drop_child(self) -> None:
        with self._lock:
            child, self._child = self._child, None
        if child is not None:
            child.kill()
            self._not_before_s = self._monotonic_s() + self._backoff_s
            self._backoff_s = min(2.0 * self._backoff_s, LONGEST_BACKOFF_S)


def _own_child() -> list[str]:
    # Not `-m`, which would look in the working directory first, and lgpio moves that. Appended, so
    # that the child finds this very package whether it is installed or run from a checkout.
    root = str(Path(__file__).resolve().parents[2])
    return [
        sys.executable,
        "-P",
        "-c",
        f"import sys; sys.path.append({root!r}); "
        "from controller.sensors.dht_child import main; sys.exit(main())",
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
        self._heard = b""
        self._complaint = b""
        self._complains = True  # its stderr is still open

    def ask(self, within_s: float) -> dict[str, Any]:
        """Ask for one measurement and wait for the reply."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it has died: hear() says how
            self._process.stdin.write(b"read\n")
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
