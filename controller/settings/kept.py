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
from controller.errors import UserError
from controller.settings import Loaded
from controller.settings.restore import loaded_as_json, loaded_from_json

# So much of a file tells that it is longer than any config, and what comes of it, may be.
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
        if not path.is_file():
            return None  # what comes through a pipe comes once
        kept = _place(_read(path), name)
        if kept is None or not kept.is_file() or kept.stat().st_uid != os.geteuid():
            return None
        digest, _, text = _read(kept).decode().partition("\n")
        if digest != _digest(text):
            return None
        loaded = loaded_from_json(text)
        zoneinfo.ZoneInfo(loaded.settings.place.timezone)
    except (OSError, ValueError, KeyError):
        return None  # whatever is the matter: the text is read then
    return loaded


def keep(loaded: Loaded, path: Path, name: str) -> None:
    """Keep what came of a file's text; where that cannot be, nothing is lost."""
    from controller.whole_file import whole_file

    with contextlib.suppress(OSError, UserError, UnicodeDecodeError):
        data = _read(path) if path.is_file() else b""
        kept = _place(data, name)
        if kept is None or data.decode("utf-8-sig") != loaded.text:
            return  # it was edited meanwhile
        if kept.exists() and not kept.is_file():
            return
        kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        text = loaded_as_json(loaded)
        with whole_file(kept) as part:
            part.write_text(f"{_digest(text)}\n{text}", encoding="utf-8")
        files = sorted(kept.parent.iterdir(), key=lambda file: file.stat().st_mtime_ns)
        for old in files[:-_MOST_FILES]:
            old.unlink()


def _read(path: Path) -> bytes:
    with path.open("rb") as file:
        return file.read(_MOST_BYTES)


def _place(data: bytes, name: str) -> Path | None:
    """Where it is kept, by the text, its name and the code; None where there is no such place."""
    given = os.environ.get("XDG_CACHE_HOME", "")
    if given.startswith("/"):
        base = Path(given)
    else:
        try:
            home = Path.home()
        except RuntimeError:
            return None
        if not home.is_dir():
            return None  # of a system's user, who is to have none
        base = home / ".cache"
    digest = hashlib.sha256(f"{_code()}\n{name}\n".encode("utf-8", "surrogateescape") + data)
    return base / "lungwort" / "configs" / f"{digest.hexdigest()}.json"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


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
