"""What is wrong in a config file, and where."""

from __future__ import annotations

from typing import NamedTuple

from controller.errors import UserError


class Problem(NamedTuple):
    """One error or warning.

    Attributes
    ----------
    file : str
        The file as it was named.
    line, column : int
        Counted from 1; 0 where the file as a whole is meant.
    message, expected : str
        What is wrong; what was expected.
    """

    file: str
    line: int
    column: int
    message: str
    expected: str = ""

    def __str__(self) -> str:
        """`FILE:LINE:COLUMN: what is wrong; what was expected`."""
        place = f"{self.file}:{self.line}:{self.column}" if self.line else self.file
        tail = f"; expected {self.expected}" if self.expected else ""
        return f"{place}: {self.message}{tail}"


def printable(text: str, most: int = 40) -> str:
    """A key, tag or alias of the file as it can stand in a message of one line."""
    shown = text if len(text) <= most else f"{text[:most]}…"
    return shown if shown.isprintable() else repr(shown)[1:-1]


class ConfigError(UserError):
    """A config that cannot be used.

    Parameters
    ----------
    problems : tuple of Problem
        Everything that must be put right, by line.
    warnings : tuple of Problem
        What else was noticed.
    """

    def __init__(self, problems: tuple[Problem, ...], warnings: tuple[Problem, ...] = ()) -> None:
        super().__init__("\n".join(map(str, problems)), status=2)
        self.problems = problems
        self.warnings = warnings
