"""The world that `lungwort run --simulate` puts around the daemon."""

from __future__ import annotations

import datetime as dt
import math
import tempfile
import textwrap
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from controller.daemon.edges import Edges
from controller.daemon.jobs import Calendar, Job
from controller.daemon.scheduler import SteppedCalendar
from controller.errors import UserError
from controller.locks import claim
from controller.record import InlineRecord, Record
from controller.timetable import Timetable
from simulators.clock import FastClock
from simulators.records import make_way, mark_simulated
from simulators.rig.edges import open_on_rig
from simulators.rig.simulated_rig import Rig, build_rig
from simulators.weather import Weather, load_weather

if TYPE_CHECKING:
    from controller.config import Loaded, Settings

# A real hot July in a coastal city; see weather/README.md.
HOT_JULY = "coastal-city-2013-07"
HOT_DAY = dt.date(2013, 7, 18)


class SimulatedWorld:
    """A rig on a fast clock, with a record of its own; implements `daemon.world.World`.

    Parameters
    ----------
    settings : Settings
        The tent.
    weather : Weather
        Outdoors, over the whole run.
    first, until : datetime.date
        First local day, and the one at whose beginning the run ends.
    pace : float
        Simulated seconds per real second; `math.inf` never sleeps.
    seed : int
        Of the sensors' errors.
    record_path : pathlib.Path
        Where the run is recorded; a record left there by an earlier run is replaced.
    """

    tells_people = False

    def __init__(
        self,
        settings: Settings,
        weather: Weather,
        first: dt.date,
        until: dt.date,
        *,
        pace: float,
        seed: int,
        record_path: Path,
    ) -> None:
        timetable = Timetable.from_settings(settings)
        self.from_s = timetable.day(first).start_s
        self.until_s = timetable.day(until).start_s
        self.first, self.until = first, until
        self.clock = FastClock(self.from_s, pace)
        self.record_path = record_path
        self._weather = weather
        self._seed = seed
        self._rig: Rig | None = None

    def clock_was_set(self) -> bool:
        """The simulated clock is right by itself."""
        return False

    def open_edges(self, settings: Settings) -> Edges:
        """Open sensors and outputs on the rig: real gpiozero devices on mock pins."""
        rig = build_rig(settings, self._weather, self.clock, self._seed)
        if self._rig is not None:  # an edited config wants other pins; the air is what it was
            rig.carry_on_from(self._rig)
        self._rig = rig
        return open_on_rig(rig, settings, self.clock)

    def open_record(self, path: Path, commit_every_s: float) -> Record:
        """Open the record, written in step with the simulated clock."""
        record = InlineRecord(path)
        mark_simulated(record, round(self.clock.wall_s() * 1000))
        return record

    def make_calendar(self, jobs: list[Job], settings: Settings) -> Calendar:
        """Walk the calendar along the simulated clock."""
        return SteppedCalendar(jobs, ZoneInfo(settings.place.timezone), self.clock.wall_s())

    def claim(self, settings: Settings) -> AbstractContextManager[object]:
        """Take the record alone: no pins are used, so simulations may run side by side."""
        return claim(self.record_path)

    def introduction(self) -> str:
        """Say what is about to be simulated."""
        days = (self.until - self.first).days
        span = f"{self.first:%-d %B %Y}" + ("" if days == 1 else f" and {days - 1} more days")
        pace = "as fast as it goes"
        if not math.isinf(self.clock.pace):
            real_s = (self.until_s - self.from_s) / self.clock.pace
            pace = f"about {real_s:.0f} s" if real_s < 600 else f"about {real_s / 60:.0f} min"
        return (
            f"A simulated tent, nothing real is switched: {span}, {pace}. "
            f"Record: {self.record_path}"
        )

    def summary(self, config: Path, loaded: Loaded) -> str:
        """Say in a few words how it went, from the record, and what to look at next."""
        from controller.review.open_record import Asked, open_source
        from controller.review.report import build
        from controller.review.views.headline import also, headline

        now_ms = 1000.0 * min(self.until_s, self.clock.wall_s())  # it may have been stopped
        last = self.until - dt.timedelta(days=1)
        asked = Asked(first=self.first.isoformat(), last=last.isoformat())
        with open_source(loaded, self.record_path, asked, now_ms) as source:
            review = build(source, loaded.settings, now_ms)
        sentences = "\n".join(
            textwrap.fill(f"{sentence.rstrip('.')}.", 79)
            for sentence in (headline(review), *also(review))
        )
        record = self.record_path
        return f"""
{sentences}

Look closer:
  lungwort review {config} --record {record}
  lungwort events {config} --record {record}"""


def simulated_world(
    settings: Settings,
    *,
    weather: str | None,
    first: dt.date | None,
    until: dt.date | None,
    pace: float,
    seed: int,
    record: Path | None,
) -> SimulatedWorld:
    """Make a world from what a person asked for.

    Parameters
    ----------
    settings : Settings
        The tent.
    weather : str or None
        A weather file, or the name of a shipped one; None for the hot July that is shipped.
    first, until : datetime.date or None
        The days; None for the hot day that is shipped, and for one day.
    pace, seed
        As for `SimulatedWorld`.
    record : pathlib.Path or None
        Where to record; None for a new file in the temporary directory.

    Raises
    ------
    UserError
        The days make no sense, the weather doesn't cover them or can't be read, or the record
        can't be replaced.
    """
    if first is None:
        if weather is not None:
            raise UserError(
                "say from which day to simulate: --from DATE, a day of the weather file", status=2
            )
        first = HOT_DAY
    if until is None:
        until = first + dt.timedelta(days=1)
    if until <= first:
        raise UserError(f"--until {until} must be after --from {first}", status=2)
    timetable = Timetable.from_settings(settings)
    from_s, until_s = timetable.day(first).start_s, timetable.day(until).start_s
    series = load_weather(weather or HOT_JULY, settings.place.timezone).covering(from_s, until_s)
    if record is None:
        folder = Path(tempfile.mkdtemp(prefix="lungwort-simulated-"))
        record = folder / settings.record_path.name
    make_way(record.absolute())
    return SimulatedWorld(
        settings, series, first, until, pace=pace, seed=seed, record_path=record.absolute()
    )
