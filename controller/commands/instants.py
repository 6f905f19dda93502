"""Instants as people write and read them, on the tent's clock."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from controller.clock_time import clock_time
from controller.commands.arguments import option_quantity
from controller.errors import UserError


def parse_instant(text: str, zone: ZoneInfo, now_s: float, option: str) -> int:
    """An instant as the user writes it, in Unix ms.

    Parameters
    ----------
    text : str
        ``2013-07-18``, ``2013-07-18 14:00``, RFC 3339 with an offset, ``14:00`` or ``2pm`` (today),
        ``today``, ``yesterday`` or ``now``. A local time that comes twice in autumn is the first.
    zone : zoneinfo.ZoneInfo
        The tent's zone.
    now_s : float
        The present [s since the epoch].
    option : str
        The option it was given to, for the message.

    Raises
    ------
    UserError
        If it is none of these.
    """
    now = dt.datetime.fromtimestamp(now_s, zone)
    word = text.strip().lower()
    if word == "now":
        return round(now_s * 1000)
    try:
        if word in ("today", "yesterday"):
            date = now.date() - dt.timedelta(days=word == "yesterday")
            instant = dt.datetime.combine(date, dt.time.min)
        elif (time := clock_time(word)) is not None:
            instant = dt.datetime.combine(now.date(), time)
        else:
            instant = dt.datetime.fromisoformat(text.strip())
        if instant.tzinfo is None:
            instant = instant.replace(tzinfo=zone)
        return round(instant.timestamp() * 1000)
    except (ValueError, OverflowError):
        raise UserError(
            f"{option}: not a date or time: {text!r}; expected such as 2013-07-18, "
            "'2013-07-18 14:00', 14:00, 2pm, today or yesterday",
            2,
        ) from None


def parse_length(text: str, option: str) -> float:
    """A length of time as the user writes it ("24h", "90 min", "2 weeks") [s], above 0.

    Raises
    ------
    UserError
        If it isn't one.
    """
    length_s = option_quantity(text, "duration", option)
    if length_s <= 0:
        raise UserError(f"{option}: {text!r} is no time at all; expected such as 24h or 7d", 2)
    return length_s
