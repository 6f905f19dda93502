"""Files that a reader finds whole or not at all."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from controller.errors import UserError


@contextlib.contextmanager
def whole_file(target: Path, what: str = "") -> Iterator[Path]:
    """Give the path to write to; it takes the target's place once all is written.

    What a link points to is replaced, not the link. A pipe or a device is written to as it is.

    Parameters
    ----------
    target : pathlib.Path
        Which file is meant.
    what : str
        What it is, for the message: "the chart ".

    Raises
    ------
    UserError
        If it cannot be written, or is a folder.
    """
    if target.is_dir():
        raise UserError(f"cannot write {what}{target}: it is a folder; name a file")
    try:
        if target.exists() and not target.is_file():
            yield target
            return
        real = target.resolve()
        part = real.with_name(f".{real.name}.part")
        try:
            yield part
            part.replace(real)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise UserError(f"cannot write {what}{target}: {error.strerror or error}") from error
