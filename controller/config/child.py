"""Loads a config in a short-lived child process, so that a running daemon stays small and alive.

Parsing brings in YAML and every check, memory that Python never gives back, and the file may be
anything while somebody is editing it. The child answers within a deadline.
"""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

from controller.child_process import last_line, module_command, module_environment
from controller.config import Loaded
from controller.config.problems import ConfigError, Problem

# Enough for the imports and for the largest file that is read; address space, not memory.
ADDRESS_SPACE_BYTES = 768 * 1024 * 1024


def load_in_child(path: str | Path, timeout_s: float = 60.0) -> Loaded:
    """Load a config like `controller.config.load_settings`, without its imports.

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
    command = module_command("controller.config", os.path.abspath(path), str(path))  # noqa: PTH100
    try:
        run = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=timeout_s,
            env=module_environment(),
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise _failed(path, f"not read within {timeout_s:g} s") from None
    except OSError as error:
        raise _failed(path, f"not read, since no process could be started: {error}") from None
    try:
        return parse_answer(run.stdout)
    except (ValueError, KeyError, TypeError):
        why = last_line(run.stderr) or f"exit status {run.returncode}"
        raise _failed(path, f"not read, the reading process failed: {why[:200]}") from None


def answer(path: Path, name: str) -> str:
    """What the child prints: a config's texts once all is found right, or the problems; JSON."""
    from controller.config import load as loader
    from controller.config import yaml_parser as source
    from controller.config.validate import plain_data

    try:
        loaded = loader.load(path, name)
    except ConfigError as error:
        return json.dumps({"problems": error.problems, "warnings": error.warnings})
    data = plain_data(source.read(loaded.text, name))
    return json.dumps({**loaded._asdict(), "settings": data})


def parse_answer(text: str | bytes) -> Loaded:
    """The other end of `answer`: reads the texts into settings once more, by the same code."""
    from controller.config.validate import settings_from_plain

    data = json.loads(text)
    warnings = tuple(Problem(*row) for row in data["warnings"])
    if "problems" in data:
        raise ConfigError(tuple(Problem(*row) for row in data["problems"]), warnings)
    settings = settings_from_plain(data["settings"])
    return Loaded(settings, warnings, data["text"], data["sha256"])


def _failed(path: str | Path, message: str) -> ConfigError:
    return ConfigError((Problem(str(path), 0, 0, message, "a config that loads quickly"),))
