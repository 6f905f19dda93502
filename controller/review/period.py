"""The local days under review and their instants."""

from __future__ import annotations

import datetime as dt
import re
from typing import NamedTuple
from zoneinfo import ZoneInfo

from controller import display
from controller.errors import UserError

HOUR_MS = 3_600_000
_ONE_DAY = dt.timedelta(days=1)
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_LENGTH = re.compile(r"(\d{1,4})\s*(d|day|days|w|week|weeks)")
LONGEST_DAYS = 3660


class Day(NamedTuple):
    """A local day: 23, 24 or 25 hours between two local midnights.

    Attributes
    ----------
    date : datetime.date
        Its date in the tent's zone.
    start_ms, end_ms : int
        Its first instant and that of the next day [Unix ms].
    """

    date: dt.date
    start_ms: int
    end_ms: int

    @property
    def minutes(self) -> float:
        """Its length [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0


class Period(NamedTuple):
    """One or more whole local days in a row."""

    zone: ZoneInfo
    days: tuple[Day, ...]

    @classmethod
    def between(cls, zone: ZoneInfo, first: dt.date, last: dt.date) -> Period:
        """The days from `first` to `last`, both included.

        Raises
        ------
        UserError
            If `last` is before `first`, or the period is longer than ten years.
        """
        count = (last - first).days + 1
        if count < 1:
            raise UserError(f"the period ends ({last}) before it begins ({first})", status=2)
        if count > LONGEST_DAYS:
            raise UserError(
                f"{count} days are more than a review takes; the longest is {LONGEST_DAYS}", 2
            )
        edges = [day_start_ms(first + n * _ONE_DAY, zone) for n in range(count + 1)]
        dates = [first + n * _ONE_DAY for n in range(count)]
        return cls(
            zone,
            tuple(
                Day(date, start, end)
                for date, start, end in zip(dates, edges, edges[1:], strict=False)
            ),
        )

    @property
    def start_ms(self) -> int:
        """The first instant [Unix ms]."""
        return self.days[0].start_ms

    @property
    def end_ms(self) -> int:
        """The first instant after it [Unix ms]."""
        return self.days[-1].end_ms

    @property
    def minutes(self) -> float:
        """Its length [min]."""
        return (self.end_ms - self.start_ms) / 60_000.0

    @property
    def title(self) -> str:
        """The period in words: "Thursday 18 July 2013", or its first and last day."""
        first, last = self.days[0].date, self.days[-1].date
        if len(self.days) == 1:
            return date_in_words(first, year=True)
        begin = date_in_words(first, year=first.year != last.year)
        return f"{begin} to {date_in_words(last, year=True)}"

    def hours(self) -> list[tuple[int, int, int]]:
        """Every hour as (index of the day, start, end) [Unix ms], counted from local midnight."""
        return [
            (index, start, min(start + HOUR_MS, day.end_ms))
            for index, day in enumerate(self.days)
            for start in range(day.start_ms, day.end_ms, HOUR_MS)
        ]

    def local(self, at_ms: float) -> dt.datetime:
        """An instant [Unix ms] on the tent's clock."""
        return dt.datetime.fromtimestamp(at_ms / 1000.0, self.zone)

    def rfc3339(self, at_ms: float) -> str:
        """An instant [Unix ms] as RFC 3339 with the tent's offset, to the second."""
        return display.rfc3339(at_ms / 1000.0, self.zone)

    def clock(self, at_ms: float) -> str:
        """An instant [Unix ms] as "16:20"; the end of a day as "24:00"."""
        if at_ms == self.end_ms:
            return "24:00"
        return self.local(at_ms).strftime("%H:%M")

    def when(self, at_ms: float) -> str:
        """An instant [Unix ms] as "16:20", with its date where there is more than one day."""
        if len(self.days) == 1:
            return self.clock(at_ms)
        local = self.local(at_ms)
        return f"{local.day} {_MONTHS[local.month - 1][:3]} {local:%H:%M}"

    def span(self, start_ms: float, end_ms: float) -> str:
        """A stretch as "12:10–17:20", with dates where there is more than one day."""
        start = self.when(start_ms)
        if len(self.days) == 1 or self.local(start_ms).date() == self.local(end_ms - 1).date():
            same_midnight = len(self.days) > 1 and self.local(end_ms).strftime("%H:%M") == "00:00"
            return f"{start}–{'24:00' if same_midnight else self.clock(end_ms)}"
        return f"{start} – {self.when(end_ms)}"


def day_start_ms(date: dt.date, zone: ZoneInfo) -> int:
    """The first instant of a local day [Unix ms]; where clocks skip midnight, the gap's end."""
    midnight = dt.datetime.combine(date, dt.time.min, tzinfo=zone)
    return round(midnight.timestamp() * 1000.0)


def local_date(at_ms: float, zone: ZoneInfo) -> dt.date:
    """The date of an instant [Unix ms] in `zone`."""
    return dt.datetime.fromtimestamp(at_ms / 1000.0, zone).date()


def date_in_words(date: dt.date, *, year: bool = False) -> str:
    """A date as "Thursday 18 July", in English whatever the locale."""
    text = f"{_WEEKDAYS[date.weekday()]} {date.day} {_MONTHS[date.month - 1]}"
    return f"{text} {date.year}" if year else text


def short_date(date: dt.date) -> str:
    """A date as "Thu 18 Jul"."""
    return f"{_WEEKDAYS[date.weekday()][:3]} {date.day:2d} {_MONTHS[date.month - 1][:3]}"


def parse_day(text: str, *, newest: dt.date, today: dt.date, option: str) -> dt.date:
    """A day as the user writes it.

    Parameters
    ----------
    text : str
        "2013-07-18", "today", "yesterday", or "newest" for the newest day of the record.
    newest, today : datetime.date
        What those words mean.
    option : str
        The option it was given to, for the message.

    Raises
    ------
    UserError
        If it is none of these.
    """
    words = {"today": today, "yesterday": today - _ONE_DAY, "newest": newest}
    word = text.strip().lower()
    if word in words:
        return words[word]
    try:
        return dt.date.fromisoformat(word)
    except ValueError:
        raise UserError(
            f"{option}: not a day: {text!r}; expected YYYY-MM-DD, today, yesterday or newest", 2
        ) from None


def choose_period(
    zone: ZoneInfo,
    *,
    newest: dt.date,
    today: dt.date,
    oldest: dt.date | None = None,
    day: str | None = None,
    first: str | None = None,
    last: str | None = None,
    length: str | None = None,
) -> Period:
    """The period the options ask for; the newest day of the record without any.

    Parameters
    ----------
    zone : zoneinfo.ZoneInfo
        The tent's zone.
    newest : datetime.date
        The day of the newest reading.
    today : datetime.date
        The present day in the tent's zone.
    oldest : datetime.date, optional
        The day of the oldest reading: the last days of a younger record begin there.
    day, first, last, length : str, optional
        ``--day``, ``--from``, ``--to`` and ``--last`` as given.

    Raises
    ------
    UserError
        If they contradict each other or cannot be read.
    """
    check_period(day=day, first=first, last=last, length=length)
    if length is not None:
        start = newest - (_days_of(length) - 1) * _ONE_DAY
        return Period.between(zone, start if oldest is None else max(start, oldest), newest)
    if first is not None:
        start = parse_day(first, newest=newest, today=today, option="--from")
        end = parse_day(last or "newest", newest=newest, today=today, option="--to")
        return Period.between(zone, start, end)
    only = parse_day(day or "newest", newest=newest, today=today, option="--day")
    return Period.between(zone, only, only)


def check_period(
    *,
    day: str | None = None,
    first: str | None = None,
    last: str | None = None,
    length: str | None = None,
) -> None:
    """Refuse what no record could make sense of; the same options as `choose_period`.

    Raises
    ------
    UserError
        If they contradict each other or cannot be read.
    """
    if sum((day is not None, length is not None, first is not None or last is not None)) > 1:
        raise UserError("--day, --last and --from/--to exclude each other", status=2)
    if length is not None:
        _days_of(length)
    if last is not None and first is None:
        raise UserError("--to needs --from: the first day of the period", status=2)
    anyday = dt.date(1970, 1, 1)
    for option, text in (("--day", day), ("--from", first), ("--to", last)):
        if text is not None:
            parse_day(text, newest=anyday, today=anyday, option=option)


def _days_of(length: str) -> int:
    match = _LENGTH.fullmatch(length.strip().lower())
    days = int(match[1]) * (7 if match[2].startswith("w") else 1) if match else 0
    if days < 1:
        raise UserError(f"--last: not a number of days: {length!r}; expected e.g. 7d or 4w", 2)
    if days > LONGEST_DAYS:
        raise UserError(f"--last: {length!r} is more than {LONGEST_DAYS} days", 2)
    return days
