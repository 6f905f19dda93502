"""The daemon's local socket: a person's hold and release, one JSON line each way.

Unix domain, no network; who may connect is a matter of the file's mode and its directory.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import queue
import socket
import stat
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeGuard

from controller.errors import UserError

_LONGEST_LINE = 4096
_PATIENCE_S = 5.0
# How often it is looked whether somebody deleted the socket.
_LOOK_EVERY_S = 60.0
_STOPPING = "the daemon is stopping"
_LONGEST_HOLD_S = 7 * 86400.0
# A Unix socket's path has 108 bytes, its end mark included (unix(7)).
_LONGEST_PATH = 107


def check_hold(speed: object, for_s: object, *, is_relay: bool = False) -> tuple[float, float]:
    """Refuse a hold that makes no sense: by the command, and by the daemon for other callers.

    Parameters
    ----------
    speed : object
        0 to 1; on a relay one of both.
    for_s : object
        How long, above 0 and a week at most [s].
    is_relay : bool
        Whether the fan hangs on a relay.

    Returns
    -------
    tuple of float
        Both, as they came.

    Raises
    ------
    UserError
        Saying what a hold may be.
    """
    if not _is_number(speed) or not 0.0 <= speed <= 1.0:
        raise UserError("a hold needs a speed from 0 % to 100 %", status=2)
    if not _is_number(for_s) or not 0.0 < for_s <= _LONGEST_HOLD_S:
        raise UserError("a hold lasts more than nothing and a week at most", status=2)
    if is_relay and speed not in (0.0, 1.0):
        raise UserError("a fan on a relay knows full speed and rest; hold 0 % or 100 %", status=2)
    return float(speed), float(for_s)


def _is_number(value: object) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def runtime_directory() -> Path:
    """Where sockets and pin locks live: systemd's, else the one of this machine or user."""
    from_systemd = os.environ.get("RUNTIME_DIRECTORY", "").split(":")[0]
    if from_systemd:
        return Path(from_systemd)
    system = Path("/run/lungwort")
    if system.is_dir():
        return system
    base = os.environ.get("XDG_RUNTIME_DIR", "")
    if base.startswith("/") and Path(base).is_dir():
        return Path(base) / "lungwort"
    return Path(f"/tmp/lungwort-{os.getuid()}")


def socket_path(record_path: Path) -> Path:
    """Name the socket of the daemon that writes a record.

    The plain name is kept for records in the state directory. A record elsewhere, such as a
    simulation's, may be called the same, and a hold meant for it must never reach a real fan.
    """
    from controller.config.model import state_directory  # not for parking, which must be quick

    record = Path(os.path.realpath(record_path))  # even where links go in circles
    name = record.stem
    if record.parent != state_directory().resolve():
        name += "-" + hashlib.sha256(os.fsencode(record)).hexdigest()[:8]
    return runtime_directory() / f"{name}.sock"


class Request:
    """One request, answered by the next tick."""

    def __init__(self, body: dict[str, Any]) -> None:
        self.body = body
        self._answer: dict[str, Any] = {"error": "the daemon did not answer in time; see its log"}
        self._answered = threading.Event()

    def answer_if_late(self, **reply: Any) -> None:
        """Give the reply for the case that `answer` is not called in time."""
        self._answer = reply

    def answer(self, **reply: Any) -> None:
        """Give the reply."""
        self._answer = reply
        self._answered.set()

    def wait(self, seconds: float) -> dict[str, Any]:
        """Wait for the reply; an error reply when none comes, unless one was given for that."""
        self._answered.wait(seconds)
        return self._answer


class ControlSocket:
    """Listens, and queues requests for the tick; a socket that is deleted is made again.

    Parameters
    ----------
    path : pathlib.Path
        Where to listen; a socket left there by a dead daemon is replaced.
    wake : callable
        Called when a request is waiting, so that the tick comes at once.
    look_every_s : float
        How often to look whether the socket is still there [s].

    Raises
    ------
    UserError
        The socket can't be made.
    """

    def __init__(
        self, path: Path, wake: Callable[[], None], look_every_s: float = _LOOK_EVERY_S
    ) -> None:
        self.path = path
        self._wake = wake
        self._look_every_s = look_every_s
        self._requests: queue.Queue[Request] = queue.Queue(maxsize=16)
        self._is_closing = False
        self._socket = self._listen()
        self._thread = threading.Thread(target=self._serve, name="control-socket", daemon=True)
        self._thread.start()

    def _listen(self) -> socket.socket:
        path = self.path
        if len(os.fsencode(path)) > _LONGEST_PATH:
            raise UserError(f"the socket's path {path} is longer than {_LONGEST_PATH} bytes")
        listening = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
        try:
            _make_private_directory(path.parent)
            path.unlink(missing_ok=True)
            listening.bind(str(path))
            path.chmod(0o660)
            listening.listen(4)
            listening.settimeout(self._look_every_s)
        except BaseException as error:
            listening.close()
            if not isinstance(error, OSError):
                raise
            raise UserError(f"cannot make the socket {path}: {error.strerror}") from error
        return listening

    def requests(self) -> list[Request]:
        """Take the waiting requests; never blocks."""
        waiting = []
        with contextlib.suppress(queue.Empty):
            while True:
                waiting.append(self._requests.get_nowait())
        return waiting

    def close(self) -> None:
        """Stop listening, remove the socket, and answer waiting requests with an error."""
        self._is_closing = True
        for request in self.requests():
            request.answer(error=_STOPPING)
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
        with contextlib.suppress(OSError):
            self.path.unlink()
        self._thread.join(timeout=1.0)

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._socket.accept()
            except TimeoutError:
                if not self.path.exists():
                    self._listen_again()
                continue
            except OSError:
                if self._is_closing:
                    return
                time.sleep(1.0)  # out of file descriptors, for example: try again later
                continue
            with connection, contextlib.suppress(OSError):
                connection.settimeout(_PATIENCE_S)
                connection.sendall(_line(self._reply(_read_line(connection))))

    def _listen_again(self) -> None:
        with contextlib.suppress(UserError):  # the next look may find the directory back
            deleted, self._socket = self._socket, self._listen()
            deleted.close()
        if self._is_closing:  # meanwhile
            self._socket.close()
            self.path.unlink(missing_ok=True)

    def _reply(self, line: bytes) -> dict[str, Any]:
        try:
            body = json.loads(line)
        except (ValueError, RecursionError):  # the latter: brackets nested without end
            return {"error": "expected one line of JSON"}
        if not isinstance(body, dict):
            return {"error": "expected a JSON object"}
        request = Request(body)
        try:
            self._requests.put_nowait(request)
        except queue.Full:
            return {"error": "too many requests are waiting"}
        if self._is_closing:
            return {"error": _STOPPING}
        self._wake()
        return request.wait(_PATIENCE_S)


def ask(path: Path, body: dict[str, Any]) -> dict[str, Any]:
    """Send a request to a running daemon.

    Parameters
    ----------
    path : pathlib.Path
        The daemon's socket.
    body : dict
        The request.

    Returns
    -------
    dict
        The reply.

    Raises
    ------
    UserError
        No daemon listens there, it may not be reached, or it answers with an error.
    """
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.settimeout(2.0 * _PATIENCE_S)
        try:
            connection.connect(str(path))
            connection.sendall(_line(body))
            reply = json.loads(_read_line(connection) or b"{}")
        except (FileNotFoundError, ConnectionRefusedError) as error:
            raise UserError(
                f"no daemon runs this config (nothing listens at {path}); "
                "start it with 'lungwort run CONFIG'"
            ) from error
        except PermissionError as error:
            raise UserError(
                f"not allowed to talk to the daemon at {path}; "
                "use sudo, or join the group lungwort and log in again"
            ) from error
        except (OSError, ValueError) as error:
            raise UserError(f"the daemon at {path} did not answer: {error}") from error
    if "error" in reply:
        raise UserError(str(reply["error"]))
    return dict(reply)


def _make_private_directory(directory: Path) -> None:
    """Make the directory if missing; refuse one in a shared place that somebody else owns."""
    directory.mkdir(mode=0o750, parents=True, exist_ok=True)
    status = directory.lstat()
    if not stat.S_ISDIR(status.st_mode) or status.st_uid not in (os.getuid(), 0):
        raise UserError(f"{directory} belongs to another user; remove it or set RUNTIME_DIRECTORY")


def _line(body: dict[str, Any]) -> bytes:
    return json.dumps(body).encode() + b"\n"


def _read_line(connection: socket.socket) -> bytes:
    """Read a line within the timeout, however slowly it is sent."""
    line = b""
    until_s = time.monotonic() + (connection.gettimeout() or _PATIENCE_S)
    while not line.endswith(b"\n") and len(line) < _LONGEST_LINE:
        connection.settimeout(max(0.001, until_s - time.monotonic()))
        part = connection.recv(_LONGEST_LINE)
        if not part:
            break
        line += part
    return line
