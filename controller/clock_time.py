"""Clock times as people write them: 06:00, 22:30:15, 10:30 pm, 6am. Pure."""

from __future__ import annotations

import datetime as dt
import re

# Minutes may be left out only before am or pm: a bare 6 may be an hour or a length of time.
_HALF = r"\s*([AaPp])\.?[Mm]\.?"
PATTERN = rf"\s*([0-9]{{1,2}})(?::([0-9]{{2}})(?::([0-9]{{2}}))?(?:{_HALF})?|{_HALF})\s*"
EXPECTED = "a local clock time, e.g. 06:00, 22:30, 10:30 pm or 6am"

_WRITTEN = re.compile(PATTERN, re.ASCII)


def clock_time(text: str) -> dt.time | None:
    """Read a clock time; None for a text that isn't one; 24:00 is midnight.

    Raises
    ------
    ValueError
        If it is written as one, and there is none such: 25:00.
    """
    match = _WRITTEN.fullmatch(text)
    if not match:
        return None
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    half = match[4] or match[5]
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half.lower() == "p" else 0)
    if (hour, minute, second) == (24, 0, 0):
        hour = 0
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError(f"there is no clock time {text!r}")
    return dt.time(hour, minute, second)
