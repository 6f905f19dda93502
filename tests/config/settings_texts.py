"""A small good config, and texts with a mark where a problem is expected."""

from __future__ import annotations

from controller.config import ConfigError, Loaded, Problem, settings_from_text

GOOD = """\
tent: {width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp:
  power: 150 W
  photoperiod: {on: 06:00, off: 22:00}
fan:
  drive: pwm
  pin: 18
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
"""

MARK = "▸"


def load(text: str) -> Loaded:
    return settings_from_text(text, "tent.yaml")


def with_lines(text: str, **sections: str) -> str:
    """GOOD with whole sections replaced or added; each value is what follows the key's colon."""
    kept: list[str] = []
    skipping = False
    for line in text.splitlines(keepends=True):
        if not line.startswith(" "):
            skipping = line.split(":")[0] in sections
        if not skipping:
            kept.append(line)
    return "".join(kept) + "".join(f"{key}: {value}\n" for key, value in sections.items())


def good(**sections: str) -> str:
    return with_lines(GOOD, **sections)


def errors(text: str) -> tuple[Problem, ...]:
    """The problems of a text that must not load."""
    try:
        load(text)
    except ConfigError as error:
        return error.problems
    raise AssertionError("the config loaded, but should not have")


def marked(text: str) -> tuple[str, list[tuple[int, int]]]:
    """The text without its marks, and the line and column of each."""
    places: list[tuple[int, int]] = []
    lines = []
    for number, line in enumerate(text.split("\n"), 1):
        while MARK in line:
            places.append((number, line.index(MARK) + 1))
            line = line.replace(MARK, "", 1)
        lines.append(line)
    return "\n".join(lines), places


def places(problems: tuple[Problem, ...]) -> list[tuple[int, int]]:
    return [(problem.line, problem.column) for problem in problems]
