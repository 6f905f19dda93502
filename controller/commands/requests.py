"""Asking a running daemon to do something."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from controller.config import Settings


def settings_in_force(config: Path) -> Settings:
    """What a daemon goes by: the file, or, while that is wrong, the copy of what last ran.

    Who needs air now has no time to look for a wrong line first; which one it is, is said on
    stderr.

    Raises
    ------
    ConfigError
        If the file can't be used, and no copy of it can either.
    """
    from controller.config import ConfigError, load_settings
    from controller.config.store import LastGood

    try:
        return load_settings(config).settings
    except ConfigError as error:
        last_good = LastGood(config)
        loaded = last_good.load(load_settings)
        if loaded is None:
            raise
        print(
            f"{error.message}\n{config} can't be used as it is; this command goes by what last "
            f"ran, {last_good.path}, as the daemon does.",
            file=sys.stderr,
        )
        return loaded.settings


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
