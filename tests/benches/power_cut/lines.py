"""What the kernel's own trace says of the levels that GPIO lines were given."""

from __future__ import annotations

import re
from typing import NamedTuple

from machine import Machine, MachineError

_EVENT = re.compile(r"\s(\d+\.\d+): gpio_(value|direction): (\d+) +(\S+) \(?(-?\d+)\)?")
_TRACE = (
    "mountpoint -q /sys/kernel/tracing || mount -t tracefs none /sys/kernel/tracing; "
    "mountpoint -q /sys/kernel/debug || mount -t debugfs none /sys/kernel/debug; "
    "grep -h '^gpiochip' /sys/kernel/debug/gpio; cat /sys/kernel/tracing/trace"
)


class Level(NamedTuple):
    """A level that a line was given.

    Attributes
    ----------
    at_s : float
        On the kernel's monotonic clock, which starts at its own start [s].
    level : int or None
        0 or 1; None: the line was made an input, so that its resistor decides.
    """

    at_s: float
    level: int | None


def levels(machine: Machine, *lines: int) -> tuple[list[Level], ...]:
    """Every level that each of these lines was given since power-on."""
    text = machine.tell(_TRACE)
    found = re.search(r"GPIOs (\d+)-\d+, parent: platform/gpio-sim", text)
    if found is None:
        raise MachineError(f"no simulated GPIO chip:\n{text[:500]}")
    first = int(found[1])
    given: dict[int, list[Level]] = {line: [] for line in lines}
    for event in _EVENT.finditer(text):
        at, kind, number, what, value = event.groups()
        levels_of = given.get(int(number) - first)
        if levels_of is None:
            continue
        if kind == "value" and what == "set":
            levels_of.append(Level(float(at), int(value)))
        elif kind == "direction" and what == "in":
            levels_of.append(Level(float(at), None))
    return tuple(given[line] for line in lines)


def changes(given: list[Level]) -> list[int | None]:
    """The levels in their order, each named once while it lasts."""
    row: list[int | None] = []
    for event in given:
        if not row or event.level != row[-1]:
            row.append(event.level)
    return row


def changes_since(before: list[Level], after: list[Level]) -> list[int | None]:
    """The changes from a first look to a later one; a level merely given again is none."""
    row = changes(after[len(before) :])
    return row[1:] if before and row[:1] == [before[-1].level] else row


def driven(given: list[Level]) -> list[int | None]:
    """As `changes`, without the input that a line is until it is first driven."""
    row = changes(given)
    return row[1:] if row and row[0] is None else row


def now(machine: Machine, line: int) -> int:
    """The level of a line, as sysfs shows it."""
    return int(machine.tell(f"cat /run/board/sim_gpio{line}/value"))
