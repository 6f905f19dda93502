"""What came of a config that was read before, kept like compiled modules are.

Most commands only look something up in a record, and to read a config's text takes as long as all
the rest of them. A file in the user's cache directory has the settings of one text, for the same
code only; it may be deleted at any time.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import zoneinfo
from pathlib import Path

import controller
from controller.settings import Loaded
from controller.settings.restore import loaded_as_json, loaded_from_json

# So much of a file tells that it is longer than any config may be.
_MOST_BYTES = 1024 * 1024
_MOST_FILES = 20
# What a text comes to is settled by these.
_CODE = ("settings", "settings/sections", "settings/crosschecks", "air", ".")


def recall(path: Path, name: str) -> Loaded | None:
    """What came of this file's text before, if it was found right; None to have it read.

    Parameters
    ----------
    path : pathlib.Path
        The config.
    name : str
        How warnings call it.
    """
    try:
        kept = _place(_read(path), name)
        if kept is None or kept.stat().st_uid != os.geteuid():
            return None
        loaded = loaded_from_json(kept.read_text("utf-8"))
        zoneinfo.ZoneInfo(loaded.settings.place.timezone)
    except (OSError, ValueError, TypeError, KeyError, AttributeError):
        return None  # whatever is the matter: the text is read then
    return loaded


def keep(loaded: Loaded, path: Path, name: str) -> None:
    """Keep what came of a file's text; where that cannot be, nothing is lost."""
    with contextlib.suppress(OSError, UnicodeDecodeError):
        data = _read(path)
        kept = _place(data, name)
        if kept is None or data.decode("utf-8-sig") != loaded.text:
            return  # it was edited meanwhile
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        part = kept.with_suffix(f".{os.getpid()}.part")
        part.write_text(loaded_as_json(loaded), encoding="utf-8")
        part.replace(kept)
        files = sorted(kept.parent.iterdir(), key=lambda file: file.stat().st_mtime_ns)
        for old in files[:-_MOST_FILES]:
            old.unlink()


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_MOST_BYTES)


def _place(data: bytes, name: str) -> Path | None:
    """Where it is kept, by the text, its name and the code; None where there is no such place."""
    given = os.environ.get("XDG_CACHE_HOME", "")
    try:
        base = Path(given) if given.startswith("/") else Path.home() / ".cache"
    except RuntimeError:
        return None
    digest = hashlib.sha256(f"{_code()}\n{name}\n".encode("utf-8", "surrogateescape") + data)
    return base / "lungwort" / "configs" / f"{digest.hexdigest()}.json"


def _code() -> str:
    """Tells one state of the code from another."""
    home = Path(controller.__file__).parent
    files = [
        f"{entry.name} {entry.stat().st_size} {entry.stat().st_mtime_ns}"
        for folder in _CODE
        for entry in os.scandir(home / folder)
        if entry.name.endswith(".py")
    ]
    return "\n".join([controller.__version__, *sorted(files)])
