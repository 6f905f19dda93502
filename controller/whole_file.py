"""Files that a reader finds whole or not at all."""

from __future__ import annotations

import contextlib
import os
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
    try:
        if target.is_dir():
            raise UserError(f"cannot write {what}{target}: it is a folder; name a file")
        if target.exists() and not target.is_file():
            yield target
            return
        real = Path(os.path.realpath(target))
        part = _part_of(real)
        try:
            yield part
            part.replace(real)
        finally:
            part.unlink(missing_ok=True)
    except BrokenPipeError:
        raise  # the reader of the pipe has closed it
    except OSError as error:
        raise UserError(f"cannot write {what}{target}: {error.strerror or error}") from error


def _part_of(target: Path) -> Path:
    """A new file beside the target, of a name of its own, with the mode that a new file has."""
    import tempfile

    descriptor, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:100]}.")
    os.close(descriptor)
    part = Path(name)
    umask = os.umask(0)
    os.umask(umask)
    part.chmod(0o666 & ~umask)
    return part
