"""The config: one YAML file about one tent, checked and turned into frozen settings in SI."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from controller.config.model import Settings, state_directory
from controller.config.problems import ConfigError, Problem

__all__ = [
    "ConfigError",
    "Loaded",
    "Problem",
    "Settings",
    "load_settings",
    "settings_from_text",
    "state_directory",
]


class Loaded(NamedTuple):
    """A config that can be used."""

    settings: Settings
    warnings: tuple[Problem, ...]
    text: str
    sha256: str


def load_settings(path: str | Path) -> Loaded:
    """Read, check and convert a config file.

    Imports YAML; a daemon calls `controller.config.child.load_in_child` instead.

    Parameters
    ----------
    path : str or Path
        The file.

    Raises
    ------
    ConfigError
        With every problem of the file.
    """
    from controller.config import load as loader

    return loader.load(Path(path))


def settings_from_text(text: str, name: str = "config.yaml") -> Loaded:
    """The same for a text in hand; `name` stands in the messages."""
    from controller.config import load as loader

    return loader.load_text(text, name)
