"""The failure policy as its page states it: one row for each fault."""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "systemd" / "UNATTENDED.md"
COLUMNS = (
    "What happens",
    "What the controller does",
    "Within",
    "The log says",
    "What you should do",
    "Tests",
)
_UNITS_S = {"s": 1.0, "min": 60.0, "h": 3600.0, "d": 86_400.0}


@dataclass(frozen=True)
class Row:
    """One row of the page.

    Attributes
    ----------
    fault, does, do : str
        What happens, what the controller does, what a person should do.
    within_s : float or None
        How soon the controller does it at the latest [s]; None where the row gives no time.
    events, alarms : frozenset of str
        What the log says.
    tests : tuple of str
        The names of its tests.
    """

    fault: str
    does: str
    within_s: float | None
    events: frozenset[str]
    alarms: frozenset[str]
    do: str
    tests: tuple[str, ...]


@functools.cache
def rows() -> tuple[Row, ...]:
    """Every row of the page's first table."""
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    start = lines.index(f"| {' | '.join(COLUMNS)} |")
    found = []
    for line in lines[start + 2 :]:
        if not line.startswith("|"):
            break
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        assert len(cells) == len(COLUMNS), f"not {len(COLUMNS)} cells: {line}"
        fault, does, within, says, do, tests = cells
        names = re.findall(r"`([a-z_.]+)`", says)
        found.append(
            Row(
                fault,
                does,
                seconds_of(within),
                frozenset(name for name in names if "." in name),
                frozenset(name for name in names if "." not in name),
                do,
                tuple(re.findall(r"`(test_\w+)`", tests)),
            )
        )
    return tuple(found)


def seconds_of(text: str) -> float | None:
    """The time a cell begins with, such as "2 h 3 min"; None without one."""
    match = re.match(r"(?:\d+ (?:s|min|h|d)\b ?)+", text)
    if match is None:
        return None
    return sum(
        int(number) * _UNITS_S[unit]
        for number, unit in re.findall(r"(\d+) (s|min|h|d)\b", match.group())
    )


def row_of(test: str) -> Row:
    """The row that names a test."""
    found = [row for row in rows() if test in row.tests]
    assert len(found) == 1, f"{test} is named by {len(found)} rows of {PAGE.name}"
    return found[0]


@functools.cache
def known_tests() -> dict[str, Path]:
    """Every test function of the repository, and its file."""
    found: dict[str, Path] = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        found.update(dict.fromkeys(re.findall(r"^def (test_\w+)", text, re.MULTILINE), path))
    return found
