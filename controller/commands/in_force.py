"""The config that a daemon goes by: the file, or what last ran while the file is wrong."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.config import Loaded, Settings


def loaded_in_force(config: Path) -> Loaded:
    """Load what a daemon goes by: the file, or, while that is wrong, the copy of what last ran.

    Who needs air now, or what happened, has no time to look for a wrong line first; which one it
    is, is said on stderr.

    Raises
    ------
    ConfigError
        If the file can't be used, and no copy of it can either.
    """
    from controller.config import ConfigError, load_settings
    from controller.config.store import LastGood

    try:
        return load_settings(config)
    except ConfigError as error:
        last_good = LastGood(config)
        loaded = last_good.load(load_settings)
        if loaded is None:
            raise
        print(
            f"{error.message}\n{config} can't be used as it is; this command goes by what last "
            f"ran, {last_good.path}, as the daemon does.",
            file=sys.stderr,
        )
        return loaded


def settings_in_force(config: Path) -> Settings:
    """Give the settings of `loaded_in_force`."""
    return loaded_in_force(config).settings
