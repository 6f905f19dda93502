"""Loads a config in a short-lived child process, so that a running daemon stays small and alive.

Parsing brings in pydantic and YAML, some 20 MB that Python never gives back, and the file may be
anything while somebody is editing it. The child answers in JSON, in SI, within a deadline.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from controller.settings import Loaded, Settings
from controller.settings.problems import ConfigError, Problem
from controller.settings.restore import restored

# Enough for importing pint and for the largest file that is read; address space, not memory.
ADDRESS_SPACE_BYTES = 768 * 1024 * 1024


def load_in_child(path: str | Path, timeout_s: float = 60.0) -> Loaded:
    """Load a config like `controller.settings.load_settings`, without its imports.

    Parameters
    ----------
    path : str or Path
        The config file.
    timeout_s : float
        How long the child may take [s]; a small Pi needs several seconds for the imports alone.

    Raises
    ------
    ConfigError
        With every problem of the file, or saying that it could not be read in time.
    """
    # Absolute, since importing a pin library may have changed the working directory; the name in
    # the messages stays as it was given.
    command = [sys.executable, "-P", "-m", "controller.settings", os.path.abspath(path), str(path)]  # noqa: PTH100
    home = str(Path(__file__).resolve().parents[2])
    search = os.pathsep.join(filter(None, (home, os.environ.get("PYTHONPATH"))))
    try:
        run = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=timeout_s,
            env={**os.environ, "PYTHONPATH": search, "PYTHONIOENCODING": "utf-8"},
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _failed(path, f"not read within {timeout_s:g} s") from None
    except OSError as error:
        raise _failed(path, f"not read, since no process could be started: {error}") from None
    try:
        return parse_answer(run.stdout.decode("utf-8"))
    except (ValueError, KeyError, TypeError):
        last = run.stderr.decode("utf-8", "replace").strip().rpartition("\n")[2]
        why = last or f"exit status {run.returncode}"
        raise _failed(path, f"not read, the reading process failed: {why[:200]}") from None


def answer(path: Path, name: str) -> str:
    """What the child prints: the settings in SI, or the problems; one line of JSON."""
    from controller.settings import loader
    from controller.settings.validate import adapter

    try:
        loaded = loader.load(path, name)
    except ConfigError as error:
        return json.dumps({"problems": _rows(error.problems), "warnings": _rows(error.warnings)})
    return json.dumps(
        {
            "settings": adapter().dump_python(loaded.settings, mode="json"),
            "warnings": _rows(loaded.warnings),
            "text": loaded.text,
            "sha256": loaded.sha256,
        }
    )


def parse_answer(text: str) -> Loaded:
    """The other end of `answer`."""
    data = json.loads(text)
    warnings = tuple(Problem(*row) for row in data["warnings"])
    if "problems" in data:
        raise ConfigError(tuple(Problem(*row) for row in data["problems"]), warnings)
    settings = restored(Settings, data["settings"])
    return Loaded(settings, warnings, data["text"], data["sha256"])


def _rows(problems: tuple[Problem, ...]) -> list[list[str | int]]:
    return [[p.file, p.line, p.column, p.message, p.expected] for p in problems]


def _failed(path: str | Path, message: str) -> ConfigError:
    return ConfigError((Problem(str(path), 0, 0, message, "a config that loads quickly"),))
