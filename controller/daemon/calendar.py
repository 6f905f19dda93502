"""The calendar jobs of a tent: summary, letter, retention, backup, learning and what changed.

Each comes every hour, the letter every quarter of one, and first asks the record whether its work
is done: so a job missed for a power cut is made up for, and one that comes twice does nothing. It
also steps around a flaw of cron triggers (APScheduler 3.11), which leave out the day after the
clocks go forward.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from controller.config.tent_body import tent_digest
from controller.daemon.day_summary import BEFORE_RECORD, summarise_day
from controller.daemon.jobs import Job
from controller.daemon.letter import write_letter
from controller.daemon.reduced_flow import STATE_KEY as FLOW_KEY
from controller.daemon.reduced_flow import flow_share, saved_fall
from controller.daemon.tent_change import (
    DRIFT_KEY,
    SUDDEN_KEY,
    saved_change,
    saved_drift,
    standing_changes,
    sudden_change,
)
from controller.errors import UserError
from controller.record import RecordError

if TYPE_CHECKING:
    from controller.alarms.watch import AlarmWatch
    from controller.config import Settings
    from controller.record import Record

_WEEK_S = 7 * 86400.0
# Not before people sleep and the house is quiet.
_LEARN_FROM_HOUR = 3

Current = Callable[[], "Settings"]
Summarise = Callable[["Settings", dt.date], dict[str, Any]]


def calendar_jobs(
    settings: Current,
    record: Record,
    summarise: Summarise = summarise_day,
    is_settled: Callable[[], bool] = lambda: True,
    is_trusted: Callable[[], bool] = lambda: True,
    zone: Callable[[], ZoneInfo] | None = None,
    renew_zone: Callable[[], None] = lambda: None,
    learn: Callable[[Path], dict[str, object]] | None = None,
    find_change: Callable[[Path], dict[str, object]] | None = None,
    alarms: AlarmWatch | None = None,
) -> list[Job]:
    """List the jobs.

    Parameters
    ----------
    settings : callable
        Gives the settings in force when a job runs.
    record : Record
        What the jobs work on.
    summarise : callable
        Sums up a local day.
    is_settled : callable
        Whether the clock has been right for a while; nothing is deleted before.
    is_trusted : callable
        Whether the clock is right, as far as is known; no day is summed up by one that isn't.
    zone, renew_zone : callable
        Give the zone that the lamp hours are read in, and have it read again.
    learn : callable or None
        Learns the tent from the record at a path; None: never.
    find_change : callable or None
        Looks for a change within the record's last hours; None: never.
    alarms : AlarmWatch or None
        Those of the tent, for the letter; None: no letter.
    """
    jobs = [
        Job("summary", {"minute": 5}, partial(_summarise, settings, record, summarise, is_trusted)),
        Job("retention", {"minute": 20}, partial(_prune, settings, record, is_settled)),
        Job("backup", {"minute": 35}, partial(_back_up, settings, record, is_trusted)),
    ]
    if zone is not None:
        jobs.append(Job("timezone", {"minute": 50}, partial(_read_zone, zone, renew_zone, record)))
    if learn is not None:
        work = partial(_learn, settings, record, learn, is_trusted)
        jobs.append(Job("learning", {"minute": 10}, work))
    if find_change is not None:
        work = partial(_look_for_change, settings, record, find_change, is_trusted)
        jobs.append(Job("change", {"minute": 25}, work))
    if alarms is not None:
        work = partial(write_letter, settings, record, summarise, is_trusted, alarms)
        jobs.append(Job("letter", {"minute": "*/15"}, work))
    return [job._replace(work=partial(_run_job, job, record)) for job in jobs]


def _run_job(job: Job, record: Record, wall_s: float) -> None:
    """Do a job; record a failure and try again in an hour."""
    try:
        job.work(wall_s)
    except Exception as error:
        why = error.message if isinstance(error, UserError) else repr(error)
        record.event(round(wall_s * 1000), "job.failed", "warning", job=job.name, error=why)
        if isinstance(error, RecordError):
            record.check()  # the writer may not know that its file was damaged


def _read_zone(
    zone: Callable[[], ZoneInfo], renew: Callable[[], None], record: Record, wall_s: float
) -> None:
    """Reload the zone when its rules on the disk differ from those in memory.

    Governments move their clocks at a few weeks' notice, and an update of the zone files restarts
    no service.
    """
    held = zone()
    try:
        fresh = ZoneInfo.no_cache(held.key)
    except (ZoneInfoNotFoundError, OSError, ValueError):
        return  # gone or half-written: what is in memory is better
    start = dt.datetime.fromtimestamp(wall_s, dt.UTC)
    days = (start + dt.timedelta(days=n) for n in range(400))
    if all(day.astimezone(held).utcoffset() == day.astimezone(fresh).utcoffset() for day in days):
        return
    ZoneInfo.clear_cache(only_keys=[held.key])
    renew()
    record.event(round(wall_s * 1000), "timezone.changed", "warning", timezone=held.key)


def _summarise(
    settings: Current,
    record: Record,
    summarise: Summarise,
    is_trusted: Callable[[], bool],
    wall_s: float,
) -> None:
    """Record the summary of yesterday, once, however often the job runs."""
    if not is_trusted():
        return
    current = settings()
    zone = ZoneInfo(current.place.timezone)
    yesterday = dt.datetime.fromtimestamp(wall_s, zone).date() - dt.timedelta(days=1)
    saved = record.load_state("summarised")
    if isinstance(saved, dict) and saved.get("date") == yesterday.isoformat():
        return
    record.flush()
    at_ms = round(wall_s * 1000)
    figures = summarise(current, yesterday)
    with record.together():
        if BEFORE_RECORD not in figures:
            record.event(at_ms, "day.summarised", "info", **figures)
        record.save_state("summarised", at_ms, {"date": yesterday.isoformat()})


def _learn(
    settings: Current,
    record: Record,
    learn: Callable[[Path], dict[str, object]],
    is_trusted: Callable[[], bool],
    wall_s: float,
) -> None:
    """Learn the tent once a night and record the result, unless the config says otherwise."""
    current = settings()
    now = dt.datetime.fromtimestamp(wall_s, ZoneInfo(current.place.timezone))
    saved = record.load_state("learned")
    is_done = isinstance(saved, dict) and saved.get("date") == now.date().isoformat()
    if not current.learn or is_done or now.hour < _LEARN_FROM_HOUR or not is_trusted():
        return
    at_ms = round(wall_s * 1000)
    # One attempt a night, also where it fails: a small machine has better things to do.
    record.save_state("learned", at_ms, {"date": now.date().isoformat()})
    record.flush()
    result = learn(current.record_path)
    with record.together():
        record.learning(at_ms, result)
        _save_findings(record, at_ms, result, tent_digest(current))


def _save_findings(record: Record, at_ms: int, result: dict[str, object], tent: str) -> None:
    """Save what a night found to have changed, for the alarms.

    A night that learned nothing changes nothing: what the last one found still stands. One that
    was refused for its sensors tells of these alone.
    """
    learned, suspected = result.get("learned"), result.get("suspected")
    if isinstance(suspected, dict):
        _save_drift(record, at_ms, suspected, tent)
    if isinstance(learned, dict):
        _save_drift(record, at_ms, learned, tent)
        _save_fall(record, at_ms, learned, tent)


def _save_fall(record: Record, at_ms: int, learned: dict[str, Any], tent: str) -> None:
    """Save whether the fan's flow has fallen, and record once that it has."""
    before = flow_share(record.load_state(FLOW_KEY), tent)
    state = saved_fall(learned.get("fall"), tent, learned.get("reference"))
    share = flow_share(state, tent)
    if share is not None and before is None:
        fell = {"flow_share": round(share, 3), "since": state["fall"]["since"]}
        fell["compared_with"] = state["compared_with"]
        record.event(at_ms, "flow.reduced", "warning", **fell)
    record.save_state(FLOW_KEY, at_ms, state)


def _save_drift(record: Record, at_ms: int, learned: dict[str, Any], tent: str) -> None:
    """Save whether a sensor has drifted, and record once that it has."""
    was_standing = standing_changes(None, record.load_state(DRIFT_KEY), tent)
    drift = learned.get("drift")
    state = saved_drift(drift, tent, learned.get("reference"))
    if isinstance(drift, dict) and standing_changes(None, state, tent) and not was_standing:
        offsets = {"off_k": drift.get("by_k"), "off_pct": drift.get("by_pct")}
        offsets["compared_with"] = state["compared_with"]
        record.event(at_ms, "tent.changed", "warning", kind="sensor_drift", **offsets)
    record.save_state(DRIFT_KEY, at_ms, state)


def _look_for_change(
    settings: Current,
    record: Record,
    find_change: Callable[[Path], dict[str, object]],
    is_trusted: Callable[[], bool],
    wall_s: float,
) -> None:
    """Look for a change within the last hours, and record that it began or is over.

    Hours that can't be judged, as those of the night, change nothing.
    """
    current = settings()
    if not current.learn or not is_trusted() or record.load_state("learned") is None:
        return
    at_ms = round(wall_s * 1000)
    record.flush()
    result = find_change(current.record_path)
    if "change" not in result:
        return
    before = sudden_change(record.load_state(SUDDEN_KEY))
    state = saved_change(result["change"])
    after = sudden_change(state)
    with record.together():
        if before is not None and (after is None or after["kind"] != before["kind"]):
            record.event(at_ms, "tent.recovered", "info", kind=before["kind"])
        if after is not None and (before is None or after["kind"] != before["kind"]):
            record.event(at_ms, "tent.changed", "warning", **after)
        record.save_state(SUDDEN_KEY, at_ms, state)


def _prune(
    settings: Current, record: Record, is_settled: Callable[[], bool], wall_s: float
) -> None:
    """Delete what is older than the record is to keep, unless the clock may be years ahead."""
    if is_settled():
        before_s = wall_s - settings().record.keep_s
        record.prune(round(wall_s * 1000), round(before_s * 1000))


def _back_up(
    settings: Current, record: Record, is_trusted: Callable[[], bool], wall_s: float
) -> None:
    """Copy the record to where the config wants a copy, a week after the last one."""
    target = settings().backup_path
    saved = record.load_state("backed_up")
    last_s = saved.get("at_s", 0.0) if isinstance(saved, dict) else 0.0
    # A clock set back past the last copy makes one at once, which does no harm.
    if target is None or not is_trusted() or 0.0 <= wall_s - last_s < _WEEK_S:
        return
    at_ms = round(wall_s * 1000)
    size = record.backup(target)
    with record.together():
        record.event(at_ms, "backup.written", "info", path=str(target), size_bytes=size)
        record.save_state("backed_up", at_ms, {"at_s": wall_s})
