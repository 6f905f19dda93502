"""All that `lungwort tomorrow` says, before it is put into words."""

from __future__ import annotations

import datetime as dt
import math
from typing import TYPE_CHECKING, NamedTuple

from controller.tomorrow.foresee import Evening, Expectation, Hindcast
from controller.tomorrow.intervals import left_out_errors
from controller.tomorrow.tonight import Tried

if TYPE_CHECKING:
    from controller.config import Settings


class OutdoorFile(NamedTuple):
    """The outdoor forecast.

    Attributes
    ----------
    name : str or None
        The file; None where none was given.
    why_not : str or None
        Why it is not used: with file and line where it is the file's fault.
    notes : tuple of str
        What was assumed or bridged in it.
    """

    name: str | None
    why_not: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def is_used(self) -> bool:
        """Whether tomorrow rests on it."""
        return self.name is not None and self.why_not is None


class TomorrowReport(NamedTuple):
    """Tomorrow, and what it rests on.

    Attributes
    ----------
    settings : Settings
        Of the tent.
    date : datetime.date
        Tomorrow's.
    until_s : float
        The newest reading [Unix s].
    is_old : bool
        Whether that is long ago by the machine's clock.
    room_days : float
        Days of intake air that the room was learned from.
    evening : Evening
        Now.
    expected : Expectation
        Tomorrow.
    tonight : list of Tried
        What would help.
    outdoors : OutdoorFile
        The outdoor forecast.
    model_words : str
        Which model of the tent it was: "the tent as configured".
    model : dict
        The same, for programs.
    """

    settings: Settings
    date: dt.date
    until_s: float
    is_old: bool
    room_days: float
    evening: Evening
    expected: Expectation
    tonight: list[Tried]
    outdoors: OutdoorFile
    model_words: str
    model: dict[str, object]


def peak_rms_k(hindcasts: tuple[Hindcast, ...], *, with_outdoors: bool) -> float | None:
    """How far past forecasts were off, root mean square [K]; each corrected by the others where the
    air outdoors is known.
    """
    if not hindcasts:
        return None
    errors = [each.missed_k for each in hindcasts]
    if with_outdoors:
        errors = left_out_errors(errors)
    return math.sqrt(sum(error**2 for error in errors) / len(errors))


def as_today_rms_k(hindcasts: tuple[Hindcast, ...]) -> float | None:
    """How far "as today" would have been off on the same days [K]; None where not known."""
    errors = [error for each in hindcasts if (error := each.as_today_error_k) is not None]
    return math.sqrt(sum(error**2 for error in errors) / len(errors)) if errors else None
