"""What a cross-check sees and what it gives back."""

from __future__ import annotations

from typing import NamedTuple

from controller.config.model import Settings
from controller.config.validate import Validated
from controller.config.yaml_tree import KeyPath, YamlSource


class Objection(NamedTuple):
    """A combination of values that does not work, or that is worth a warning.

    Attributes
    ----------
    path : tuple of str and int
        The value to point at.
    message, expected : str
        What is wrong; what was expected.
    uses : tuple of paths
        The other values it rests on; without them there is no objection.
    is_warning : bool
        Whether the config can be used all the same.
    """

    path: KeyPath
    message: str
    expected: str
    uses: tuple[KeyPath, ...] = ()
    is_warning: bool = False


class CheckedConfig(NamedTuple):
    """Settings, and the file they come from."""

    validated: Validated
    source: YamlSource

    @property
    def settings(self) -> Settings:
        """The settings; with stand-ins where `is_sound` says no."""
        return self.validated.settings

    def is_sound(self, *paths: KeyPath) -> bool:
        """Whether these values are the user's own (or defaults)."""
        return self.validated.is_sound(*paths)

    def is_written(self, path: KeyPath) -> bool:
        """Whether the file itself says something there."""
        return self.source.find(path) is not None

    def line(self, path: KeyPath) -> int:
        """The line of a value."""
        return self.source.place(path)[0]

    def written(self, *paths: KeyPath) -> KeyPath:
        """The first of these paths that the file writes, else the last one."""
        return next((path for path in paths if self.is_written(path)), paths[-1])
