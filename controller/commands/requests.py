"""Asking a running daemon to do something."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any


def send_request(record: Path, body: dict[str, Any]) -> dict[str, Any]:
    """Send a request to the daemon of a record; gives its reply.

    Where a restart of the daemon would forget it, that is said on stderr.

    Raises
    ------
    UserError
        As `controller.daemon.control_socket.ask`.
    """
    from controller.daemon.control_socket import ask, socket_path

    reply = ask(socket_path(record), body)
    if not reply.get("recorded", True):
        print(
            "The record can't be written just now (see 'lungwort now'): until it can, a restart of "
            "the daemon forgets this.",
            file=sys.stderr,
        )
    return reply
