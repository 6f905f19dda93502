"""Send one message through Apprise: a child process of the daemon.

    python -m controller.alarms.send URLS_FILE < message.json

Exit status 0 when every URL took it, 1 when one did not, 2 when the file or library can't be used.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from pathlib import Path

_NOTIFY_TYPES = {"low": "info", "medium": "warning", "high": "failure"}


def read_urls(path: Path) -> list[str]:
    """Read the URLs, one a line; empty lines and lines that begin with # are left out."""
    lines = (line.strip() for line in path.read_text(encoding="utf-8").splitlines())
    return [line for line in lines if line and not line.startswith("#")]


def main(argv: Sequence[str]) -> int:
    """Send the message on standard input."""
    try:
        import apprise

        urls = read_urls(Path(argv[0]))
        message = json.load(sys.stdin)
    except (ImportError, OSError, ValueError, IndexError):
        return 2
    sender = apprise.Apprise()
    if not urls or not all(map(sender.add, urls)):
        return 2
    sent = sender.notify(
        title=message["title"],
        body=message["text"] or message["title"],
        notify_type=_NOTIFY_TYPES.get(message["priority"], "info"),
    )
    return 0 if sent else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
