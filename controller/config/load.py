"""From a file's bytes to settings, or to all of its problems."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from pathlib import Path

from controller.config import Loaded
from controller.config import checks as crosschecks
from controller.config.lookup import is_default_at
from controller.config.messages import dotted
from controller.config.problems import ConfigError, Problem
from controller.config.validate import validate
from controller.config.yaml_parser import MAX_BYTES, decode, read
from controller.config.yaml_tree import KeyPath, YamlSource

# Inputs that a shell hands over: `lungwort check /dev/stdin`, `lungwort check <(…)`.
_OWN_INPUTS = ("/dev/stdin", "/dev/fd/", "/proc/self/fd/")


def load(path: Path, name: str | None = None) -> Loaded:
    """Read and check a file; `controller.config.load_settings` has the contract."""
    name = str(path) if name is None else name
    try:
        data = _read(path)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        why = error.strerror if isinstance(error, OSError) else str(error)
        problem = Problem(name, 0, 0, f"cannot be read: {why}", "a config file")
        raise ConfigError((problem,)) from None
    return load_text(decode(data, name), name)


def _read(path: Path) -> bytes:
    """The beginning of a file, as much as a config may have.

    Raises
    ------
    OSError
        If it can't be read, or if reading it could wait for ever.
    """
    # Without O_NONBLOCK, opening a pipe would wait for somebody to write it.
    with os.fdopen(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
        kind = os.fstat(file.fileno()).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        if not stat.S_ISREG(kind):
            if not str(path).startswith(_OWN_INPUTS):
                raise OSError(errno.EINVAL, "it is a pipe or a device, not a file")
            os.set_blocking(file.fileno(), True)  # who gave us that input will end it
        return file.read(MAX_BYTES + 1)


def load_text(text: str, name: str) -> Loaded:
    """Check a text; `controller.config.settings_from_text` has the contract."""
    source = read(text, name)
    validated = validate(source)
    errors = [*source.problems]
    for finding in validated.findings:
        errors.append(
            _problem(source, finding.path, finding.message, finding.expected, finding.of_key)
        )
    warnings = [_blank(source, path) for path in source.blanks() if is_default_at(path)]
    for objection in crosschecks.check(crosschecks.CheckedConfig(validated, source)):
        problem = _problem(source, objection.path, objection.message, objection.expected)
        (warnings if objection.is_warning else errors).append(problem)
    if errors:
        raise ConfigError(tuple(sorted(set(errors))), tuple(sorted(set(warnings))))
    digest = hashlib.sha256(text.encode()).hexdigest()
    return Loaded(validated.settings, tuple(sorted(set(warnings))), text, digest)


def _blank(source: YamlSource, path: KeyPath) -> Problem:
    message = f"nothing stands behind `{dotted(path)}`, so that its default holds"
    expected = "a value, `none` for the default; a # before it makes it a comment"
    return _problem(source, path, message, expected, of_key=True)


def _problem(
    source: YamlSource, path: KeyPath, message: str, expected: str, of_key: bool = False
) -> Problem:
    line, column = source.place(path, of_key=of_key)
    return Problem(source.name, line, column, message, expected)
