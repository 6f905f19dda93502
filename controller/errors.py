"""Errors shown to the user in one line, without a traceback."""

from __future__ import annotations


class UserError(Exception):
    """Something the user can put right.

    Parameters
    ----------
    message : str
        What is wrong and what to do, without the program's name in front.
    status : int
        Exit status of the command: 1 failed, 2 config or usage, 3 hardware, 4 already running.
    """

    def __init__(self, message: str, status: int = 1) -> None:
        super().__init__(message)
        self.message = message
        self.status = status
