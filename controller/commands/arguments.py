"""Arguments that several commands share, so that they look and work alike."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Callable
from pathlib import Path

from controller.errors import UserError

# What shtab completes these with, by shell.
_FILES = {"bash": "_shtab_compgen_files", "zsh": "_files", "tcsh": "f"}


_WIDEST = 100


class HelpPage(argparse.RawDescriptionHelpFormatter):
    """Fills paragraphs to the terminal's width; those with indented lines stay as they are."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:  # called by argparse
        paragraphs = textwrap.dedent(text).strip("\n").split("\n\n")
        return "\n\n".join(
            paragraph if "\n " in paragraph else textwrap.fill(paragraph, min(width, _WIDEST))
            for paragraph in paragraphs
        )

    def add_argument(self, action: argparse.Action) -> None:
        """Make room for a list's longest name; argparse forgets that the names are indented."""
        super().add_argument(action)
        names = [choice.dest for choice in self._iter_indented_subactions(action)]
        if names:
            length = self._current_indent + self._indent_increment + max(map(len, names))
            self._action_max_length = max(self._action_max_length, length)


def complete_files(action: argparse.Action) -> None:
    """Let the shell complete an argument with file names."""
    action.complete = _FILES  # type: ignore[attr-defined]


def add_config(parser: argparse.ArgumentParser) -> None:
    """Add the config file, the first argument of nearly every command."""
    config = parser.add_argument(
        "config", metavar="CONFIG", type=Path, help="the config file of the tent"
    )
    complete_files(config)


def add_record(parser: argparse.ArgumentParser) -> None:
    """Add the choice of another record than the config's."""
    record = parser.add_argument(
        "--record",
        metavar="FILE",
        type=Path,
        help="the record, where it isn't the one that the config names",
    )
    complete_files(record)


def quantity(kind: str) -> Callable[[str], float]:
    """Give an argument type that takes a quantity with its unit, as in the config.

    Parameters
    ----------
    kind : str
        What `controller.units.parse` calls it.
    """

    def parse(text: str) -> float:
        from controller import units

        try:
            return units.parse(text, kind)
        except ValueError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    parse.__name__ = kind
    return parse


def option_quantity(text: str, kind: str, option: str) -> float:
    """Read a quantity that an option was given, once the command runs; in SI.

    Raises
    ------
    UserError
        It is none of that kind; the message names the option.
    """
    from controller.units import NotAQuantityError, parse

    try:
        return parse(text, kind)
    except NotAQuantityError as error:
        raise UserError(f"{option}: {error}", status=2) from error
