"""The config: one YAML file about one tent, checked and turned into frozen settings in SI."""

from __future__ import annotations

import os
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

from controller.settings.model import Settings, state_directory
from controller.settings.problems import ConfigError, Problem

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


def load_settings(path: str | Path, *, anew: bool = False) -> Loaded:
    """Read, check and convert a config file.

    Imports pydantic and YAML, unless the same text was found right before; a daemon calls
    `controller.settings.child.load_in_child` instead.

    Parameters
    ----------
    path : str or Path
        The file.
    anew : bool
        Whether to read and check it even if that was done before.

    Raises
    ------
    ConfigError
        With every problem of the file.
    """
    from controller.settings import kept

    path = Path(path)
    loaded = None if anew else kept.recall(path, str(path))
    if loaded is None:
        loaded = reader().load(path)
        kept.keep(loaded, path, str(path))
    return loaded


def settings_from_text(text: str, name: str = "config.yaml") -> Loaded:
    """The same for a text in hand; `name` stands in the messages."""
    loaded: Loaded = reader().load_text(text, name)
    return loaded


def reader() -> ModuleType:
    """The module that reads a config's text: `controller.settings.loader`, with all it imports."""
    # What other packages plug into pydantic has no say in a config, and to look for it is to read
    # about each package that is installed.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    from controller.settings import loader

    return loader
