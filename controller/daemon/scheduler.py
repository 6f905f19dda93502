"""What follows the calendar and may come late: the day's summary, retention, backup.

APScheduler waits on the wall clock, so nothing that moves air depends on it, and it is armed
anew when the clock is stepped. A simulation walks the same triggers along its own clock.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

from controller.daemon.jobs import Job


class NextOnlyTrigger(CronTrigger):  # type: ignore[misc]  # APScheduler has no types
    """A cron trigger without a past: asked after a run, it gives the first time after now.

    APScheduler 3.11 lists every run missed since the last one, to do the latest of them. After a
    step of the clock by 30 years that is a million of them, a minute of work under a lock, while
    the tick waits to arm the jobs anew.
    """

    def get_next_fire_time(
        self, previous_fire_time: dt.datetime | None, now: dt.datetime
    ) -> dt.datetime | None:
        """The first time from now on, or after now where this instant has had its run."""
        if previous_fire_time is not None:
            now += dt.timedelta(seconds=1)
        following: dt.datetime | None = super().get_next_fire_time(None, now)
        return following


class ThreadedCalendar:
    """APScheduler in a thread.

    Parameters
    ----------
    jobs : sequence of Job
        What to run.
    zone : ZoneInfo
        Local time of the jobs.
    wall_s : callable
        Gives the instant that jobs get [s].
    """

    def __init__(self, jobs: Sequence[Job], zone: ZoneInfo, wall_s: Callable[[], float]) -> None:
        self._zone = zone
        self._jobs = {job.name: job for job in jobs}
        self._scheduler = BackgroundScheduler(
            timezone=zone,
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1},
            executors={"default": {"type": "threadpool", "max_workers": 1}},
        )
        for job in jobs:
            self._scheduler.add_job(
                lambda work=job.work: work(wall_s()), self._trigger(job), id=job.name, name=job.name
            )
        self._scheduler.start()

    def _trigger(self, job: Job) -> NextOnlyTrigger:
        return NextOnlyTrigger(timezone=self._zone, **job.fields)

    def step(self, wall_s: float) -> None:
        """Nothing to do: the scheduler has its own thread."""

    def rearm(self) -> None:
        """Work out every next time anew and wake the scheduler."""
        for name, job in self._jobs.items():
            self._scheduler.reschedule_job(name, trigger=self._trigger(job))

    def close(self) -> None:
        """Stop without waiting for a job in progress: all of them can be lost."""
        self._scheduler.shutdown(wait=False)


class SteppedCalendar:
    """The same triggers along a simulated clock, run by the tick."""

    def __init__(self, jobs: Sequence[Job], zone: ZoneInfo, wall_s: float) -> None:
        self._zone = zone
        now = dt.datetime.fromtimestamp(wall_s, zone)
        self._due: dict[str, tuple[Job, CronTrigger, dt.datetime | None]] = {}
        for job in jobs:
            trigger = CronTrigger(timezone=zone, **job.fields)
            self._due[job.name] = (job, trigger, trigger.get_next_fire_time(None, now))
        self._next_s = self._earliest()

    def step(self, wall_s: float) -> None:
        """Run what is due by now."""
        if wall_s < self._next_s:
            return
        now, later = (dt.datetime.fromtimestamp(s, self._zone) for s in (wall_s, wall_s + 1.0))
        for name, (job, trigger, due) in self._due.items():
            if due is not None and due <= now:
                job.work(wall_s)
                # However many times were missed, the job has now run once for all of them.
                after = trigger.get_next_fire_time(None, later)
                self._due[name] = (job, trigger, after)
        self._next_s = self._earliest()

    def rearm(self) -> None:
        """Nothing to do: every step compares with the clock."""

    def close(self) -> None:
        """Nothing to close."""

    def _earliest(self) -> float:
        times = [due.timestamp() for _, _, due in self._due.values() if due is not None]
        return min(times, default=float("inf"))
