"""From a file's bytes to settings, or to all of its problems."""

from __future__ import annotations

import hashlib
from pathlib import Path

from controller.config import Loaded
from controller.config import checks as crosschecks
from controller.config.problems import ConfigError, Problem
from controller.config.validate import Path as KeyPath
from controller.config.validate import validate
from controller.config.yaml_parser import MAX_BYTES, decode, read
from controller.config.yaml_tree import YamlSource


def load(path: Path, name: str | None = None) -> Loaded:
    """Read and check a file; `controller.config.load_settings` has the contract."""
    name = str(path) if name is None else name
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        why = error.strerror if isinstance(error, OSError) else str(error)
        problem = Problem(name, 0, 0, f"cannot be read: {why}", "a config file")
        raise ConfigError((problem,)) from None
    return load_text(decode(data, name), name)


def load_text(text: str, name: str) -> Loaded:
    """Check a text; `controller.config.settings_from_text` has the contract."""
    source = read(text, name)
    validated = validate(source)
    errors = [*source.problems]
    for finding in validated.findings:
        errors.append(
            _problem(source, finding.path, finding.message, finding.expected, finding.of_key)
        )
    warnings: list[Problem] = []
    for objection in crosschecks.check(crosschecks.CheckedConfig(validated, source)):
        problem = _problem(source, objection.path, objection.message, objection.expected)
        (warnings if objection.is_warning else errors).append(problem)
    if errors:
        raise ConfigError(tuple(sorted(set(errors))), tuple(sorted(set(warnings))))
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Loaded(validated.settings, tuple(sorted(set(warnings))), text, digest)


def _problem(
    source: YamlSource, path: KeyPath, message: str, expected: str, of_key: bool = False
) -> Problem:
    line, column = source.place(path, of_key=of_key)
    return Problem(source.name, line, column, message, expected)
