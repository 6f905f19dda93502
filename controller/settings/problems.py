"""What is wrong in a config file, and where."""

from __future__ import annotations

from dataclasses import dataclass

from controller.errors import UserError


@dataclass(frozen=True, slots=True, order=True)
class Problem:
    """One error or warning; lines and columns count from 1."""

    file: str
    line: int
    column: int
    message: str
    expected: str = ""

    def __str__(self) -> str:
        """`FILE:LINE:COLUMN: what is wrong; what was expected`."""
        tail = f"; expected {self.expected}" if self.expected else ""
        return f"{self.file}:{self.line}:{self.column}: {self.message}{tail}"


class ConfigError(UserError):
    """A config that cannot be used; names every problem of the file."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        super().__init__("\n".join(map(str, problems)), status=2)
        self.problems = problems
