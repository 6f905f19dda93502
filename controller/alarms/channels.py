"""The ways to reach a person: a program of the user's, and the notification library Apprise.

Both run in a process of their own with a deadline: a program may hang, and the library brings in
more code than a daemon on a small Pi should carry.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
from pathlib import Path

from controller.alarms.notifications import Message
from controller.child_process import module_command, module_environment

DEADLINE_S = 60.0


class DeliveryError(Exception):
    """A message was not delivered."""


class CommandChannel:
    """Runs a program with the message as JSON on its standard input.

    Parameters
    ----------
    command : pathlib.Path
        The program; it gets no arguments, and no shell is involved.
    deadline_s : float
        How long it may take [s].
    """

    name = "command"

    def __init__(self, command: Path, deadline_s: float = DEADLINE_S) -> None:
        self._command = command
        self._deadline_s = deadline_s

    def send(self, message: Message) -> None:
        """Run it.

        Raises
        ------
        DeliveryError
            It can't be run, takes too long, or ends with another status than 0.
        """
        _run([str(self._command)], _json(message), self._deadline_s)


class UrlsChannel:
    """Sends to the URLs in a file, through Apprise in a child process.

    Parameters
    ----------
    urls_file : pathlib.Path
        One URL a line; never read here, so that no secret enters the daemon or its log.
    """

    name = "urls"

    def __init__(self, urls_file: Path) -> None:
        self._urls_file = urls_file

    def send(self, message: Message) -> None:
        """Send it; see `CommandChannel.send`."""
        command = module_command("controller.alarms.send", str(self._urls_file))
        _run(command, _json(message), DEADLINE_S, module_environment())


def _json(message: Message) -> str:
    return json.dumps(
        {
            "priority": message.priority.value,
            "title": message.title,
            "text": message.text,
            **message.data,
        },
        ensure_ascii=False,
    )


def _run(
    command: list[str], text: str, deadline_s: float, environment: dict[str, str] | None = None
) -> None:
    try:
        process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,  # may hold secrets
            text=True,
            encoding="utf-8",
            cwd="/",
            env=environment,
            start_new_session=True,
        )
    except OSError as error:
        raise DeliveryError(f"cannot be run: {error.strerror}") from None
    with process:
        try:
            process.communicate(text, deadline_s)
        except subprocess.TimeoutExpired:
            # With what it runs: a script's hung program a try would use up the service's tasks.
            os.killpg(process.pid, signal.SIGKILL)
            raise DeliveryError(f"took longer than {deadline_s:.0f} s") from None
        except BaseException:
            process.kill()
            raise
    if process.returncode != 0:
        raise DeliveryError(f"ended with status {process.returncode}")
