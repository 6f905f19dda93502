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

from controller.settings import Loaded, reader
from controller.settings.problems import ConfigError, Problem
from controller.settings.restore import loaded_from_json

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
    from controller.settings.restore import loaded_as_json

    try:
        loaded = reader().load(path, name)
    except ConfigError as error:
        return json.dumps({"problems": error.problems, "warnings": error.warnings})
    return loaded_as_json(loaded)


def parse_answer(text: str) -> Loaded:
    """The other end of `answer`."""
    if not text.startswith('{"problems"'):
        return loaded_from_json(text)
    data = json.loads(text)
    problems, warnings = (
        tuple(Problem(*row) for row in data[what]) for what in ("problems", "warnings")
    )
    raise ConfigError(problems, warnings)


def _failed(path: str | Path, message: str) -> ConfigError:
    return ConfigError((Problem(str(path), 0, 0, message, "a config that loads quickly"),))
