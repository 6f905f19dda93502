"""The letter of a day: yesterday, what stands, and tomorrow. Pure.

It comes also when nothing is the matter: a letter that stays away says that something is.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from controller.alarms.kinds import Priority
from controller.alarms.notifications import Message
from controller.alarms.states import Alarms


def letter(
    tent: str, date: dt.date, yesterday: str, alarms: Alarms, tomorrow: Sequence[str]
) -> Message:
    """Word the letter.

    Parameters
    ----------
    tent : str
        The tent's name.
    date : datetime.date
        Its local date.
    yesterday : str
        The summary of the day before, in words.
    alarms : mapping
        All that are known; those that stand are named.
    tomorrow : sequence of str
        What was foreseen and what would help, or why nothing is; empty where nobody has tried.
    """
    standing = [alarm.kind.title for alarm in alarms.values() if alarm.is_active]
    stands = f"Stands: {'; '.join(standing)}." if standing else "No alarm stands."
    return Message(
        Priority.LOW,
        f"{tent}: letter of {date:%A %-d %B}",
        "\n".join([f"{yesterday}.", stands, *tomorrow]),
        {"event": "letter.written", "tent": tent, "date": date.isoformat()},
    )
