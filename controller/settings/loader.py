"""From a file's bytes to settings, or to all of its problems."""

from __future__ import annotations

import hashlib
from pathlib import Path

import yaml
from pydantic import ValidationError

from controller.settings import Loaded
from controller.settings.model import Settings
from controller.settings.problems import ConfigError, Problem


def load(path: Path) -> Loaded:
    """Read and check a file."""
    return load_text(path.read_text(encoding="utf-8"), str(path))


def load_text(text: str, name: str) -> Loaded:
    """Check a text."""
    data = yaml.load(text, Loader=yaml.BaseLoader)
    try:
        settings = Settings.model_validate(data, by_alias=True, by_name=False)
    except ValidationError as error:
        problems = tuple(
            Problem(name, 1, 1, f"{item['loc']}: {item['msg']}") for item in error.errors()
        )
        raise ConfigError(problems) from None
    return Loaded(settings, (), text, hashlib.sha256(text.encode()).hexdigest())
