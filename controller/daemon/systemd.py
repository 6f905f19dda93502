"""Notify systemd of readiness, status and watchdog (sd_notify(3))."""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping


class Notifier:
    """Sends state to the socket that systemd gives; does nothing without one.

    Parameters
    ----------
    environment : mapping of str to str, optional
        Where ``NOTIFY_SOCKET`` is looked up; default: this process's environment.
    """

    def __init__(self, environment: Mapping[str, str] | None = None) -> None:
        environment = os.environ if environment is None else environment
        address = environment.get("NOTIFY_SOCKET", "")
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._socket: socket.socket | None = None
        self._status = ""

    def ready(self) -> None:
        """Notify that the daemon is up: the first tick has set the fan."""
        self._send("READY=1")

    def stopping(self) -> None:
        """Notify that the daemon is stopping."""
        self._send("STOPPING=1")

    def alive(self, status: str) -> None:
        """Notify the watchdog, and update the status line when it changed."""
        message = "WATCHDOG=1"
        if status != self._status:
            self._status = status
            message += f"\nSTATUS={status}"
        self._send(message)

    def close(self) -> None:
        """Close the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _send(self, message: str) -> None:
        if not self._address:
            return
        try:
            if self._socket is None:
                self._socket = socket.socket(
                    socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC | socket.SOCK_NONBLOCK
                )
            self._socket.sendto(message.encode(), self._address)
        except OSError:
            # Without notifications systemd restarts the daemon; a tick must not fail for it.
            self.close()
