"""Imports run one way: commands → daemon → edges → decision → pure core; simulators on top."""

from __future__ import annotations

import ast
import functools
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# What each part may import of `controller` when it is imported, besides itself. A part not named
# here is free to import anything in `controller`.
ALLOWED = {
    "errors": set(),
    "child_process": set(),
    "clock": set(),
    "clock_time": set(),
    "display": set(),
    "measurement": set(),
    "air": set(),
    "plants": {"air"},
    "envelope": {"air"},
    "airflow": {"air"},
    "control": {"air", "measurement"},
    "local_time": set(),
    "timetable": {"local_time"},
    "pwm_pins": set(),
    "pages": {"display"},
    "tables": {"display"},
    "kernel_sensors": set(),
    "config": {
        *("air", "child_process", "clock_time", "display", "errors", "kernel_sensors"),
        *("pwm_pins", "units"),
    },
    "locks": {"errors"},
    "sensors": {"air", "clock", "control", "errors", "kernel_sensors", "measurement"},
    "outputs": {"config", "errors", "pwm_pins"},
    "wiring": {
        *("config", "display", "kernel_sensors", "outputs", "pages", "pwm_pins", "tables"),
    },
    "new_config": {
        *(
            "config",
            "display",
            "errors",
            "kernel_sensors",
            "plants",
            "pwm_pins",
            "units",
            "wording",
        ),
    },
}
FORBIDDEN_TO_ALL_BUT_COMMANDS = {"commands"}


@functools.cache
def imports_at_import_time(path: Path) -> tuple[str, ...]:
    """Modules that a file imports when it is imported: not in functions, not for types only."""

    def walk(body: list[ast.stmt]) -> Iterator[str]:
        for node in body:
            if isinstance(node, ast.Import):
                yield from (alias.name for alias in node.names)
            elif isinstance(node, ast.ImportFrom):
                assert node.level == 0, f"{path}: relative import"
                module = node.module or ""
                yield module
                yield from (f"{module}.{alias.name}" for alias in node.names)
            elif isinstance(node, ast.If):
                if "TYPE_CHECKING" not in ast.dump(node.test):
                    yield from walk(node.body)
                yield from walk(node.orelse)
            elif isinstance(node, ast.Try):
                yield from walk(node.body)
                for handler in node.handlers:
                    yield from walk(handler.body)
            elif isinstance(node, ast.ClassDef | ast.With):
                yield from walk(node.body)

    return tuple(walk(ast.parse(path.read_text(encoding="utf-8")).body))


def part_of(path: Path) -> str:
    relative = path.relative_to(ROOT / "controller")
    return relative.parts[0].removesuffix(".py")


SOURCES = sorted((ROOT / "controller").rglob("*.py"))


def test_there_is_something_to_check() -> None:
    assert len(SOURCES) > 50
    assert {part_of(path) for path in SOURCES} >= set(ALLOWED)


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_part_imports_what_lies_above_it(path: Path) -> None:
    part = part_of(path)
    for module in imports_at_import_time(path):
        top, _, rest = module.partition(".")
        assert top != "simulators", f"{path} imports {module} at import time"
        if top != "controller" or not rest:
            continue
        imported = rest.partition(".")[0]
        if imported.startswith("_") or imported == part:
            continue
        if part not in ("commands", "__main__"):
            assert imported != "commands", f"{path} imports {module}"
        if part in ALLOWED:
            assert imported in ALLOWED[part], f"{path} imports {module}"


HEAVY = (
    "pint",
    "numpy",
    "matplotlib",
    "yaml",
    "adafruit_dht",
    "board",
    "pandas",
    "scipy",
)


@pytest.mark.parametrize(
    "module", ["controller.daemon.service", "controller.__main__", "controller.outputs"]
)
def test_the_daemon_imports_nothing_heavy(module: str) -> None:
    code = (
        f"import sys, {module}\n"
        "from controller.__main__ import build_parser\nbuild_parser()\n"
        f"print([m for m in {HEAVY!r} if m in sys.modules])"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert run.stdout.strip() == "[]"
