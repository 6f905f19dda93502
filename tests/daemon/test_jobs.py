"""The calendar: jobs come once a day, also over clock changes and steps."""

from __future__ import annotations

import contextlib
import datetime as dt
import signal
import threading
import zoneinfo
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from daemon_builders import CONFIG, Bench, utc_s

from controller.config import Settings, settings_from_text
from controller.daemon.calendar import calendar_jobs
from controller.daemon.day_summary import summarise_day
from controller.daemon.fan_watch import FanFault, FanWatch, step_fan_watch
from controller.daemon.jobs import Job
from controller.daemon.scheduler import SteppedCalendar, ThreadedCalendar
from controller.daemon.signals import signals_to
from controller.daemon.wall import WallWatch
from controller.record import InlineRecord, ReadingRow, RecordError, RecordReader

ROME = ZoneInfo("Europe/Rome")


@pytest.mark.parametrize("start", ["2025-03-29 12:00", "2025-10-25 12:00", "2025-06-01 12:00"])
def test_every_day_is_summarised_once_over_clock_changes(start: str) -> None:
    bench = Bench(start)
    settings = bench.loaded.settings
    summarised: list[str] = []

    def summarise(_: Settings, date: dt.date) -> dict[str, object]:
        summarised.append(date.isoformat())
        return {}

    at_s = utc_s(start)
    jobs = calendar_jobs(lambda: settings, bench.record, summarise)
    calendar = SteppedCalendar(jobs, ROME, at_s)
    for _ in range(5 * 24 * 60):
        at_s += 60.0
        calendar.step(at_s)
    first = dt.date.fromisoformat(start[:10]) - dt.timedelta(days=1)
    assert summarised == [(first + dt.timedelta(days=i)).isoformat() for i in range(6)]


def test_a_late_calendar_runs_a_job_once_and_not_once_a_day_missed() -> None:
    ran: list[float] = []
    calendar = SteppedCalendar(
        [Job("j", {"minute": 5}, ran.append)], ROME, utc_s("2025-06-01 12:00")
    )
    calendar.step(utc_s("2025-06-20 12:00"))
    assert len(ran) == 1
    calendar.step(utc_s("2025-06-20 12:01"))
    assert len(ran) == 1


def test_the_scheduler_runs_a_job_and_can_be_armed_anew() -> None:
    ran = threading.Event()
    job = Job("j", {"second": "*"}, lambda wall_s: ran.set())
    calendar = ThreadedCalendar([job], ROME, lambda: 0.0)
    try:
        assert ran.wait(60.0)
        ran.clear()
        calendar.rearm()
        assert ran.wait(60.0)
    finally:
        calendar.close()


def make_record(path: Path, days: int) -> tuple[Settings, InlineRecord]:
    settings = settings_from_text(CONFIG + f"record: {{path: {path}, keep: 2 days}}\n").settings
    record = InlineRecord(path)
    start_ms = round(utc_s("2025-06-01 22:00") * 1000)  # local midnight in Rome
    for minute in range(1, days * 1440 + 1):
        hot = minute % 1440 < 60
        record.reading(
            ReadingRow(
                at_ms=start_ms + minute * 60_000,
                interval_s=60.0,
                tent_temperature_c=30.0 if hot else 22.0,
                tent_temperature_min_c=21.0,
                tent_temperature_max_c=30.5 if hot else 22.5,
                tent_humidity_pct=55.0,
                tent_humidity_min_pct=50.0,
                tent_humidity_max_pct=60.0,
                fan_speed=0.5,
                fan_on_s=30.0,
                lamp_on=False,
                lamp_on_s=0.0,
                in_fan_hours=True,
                rule="schedule",
                locked_out=minute % 1440 < 30,
            )
        )
    return settings, record


def test_the_days_summary_sums_up_yesterday_once(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=2)
    summary = next(j for j in calendar_jobs(lambda: settings, record) if j.name == "summary")
    just_after_midnight_s = utc_s("2025-06-03 22:05")
    summary.work(just_after_midnight_s)
    summary.work(just_after_midnight_s + 60.0)
    record.flush()
    with RecordReader(tmp_path / "r.sqlite3") as reader:
        events = [e for e in reader.events() if e.name == "day.summarised"]
    record.close()
    assert [e.data for e in events] == [
        {
            "date": "2025-06-03",
            "readings": 1440,
            "temperature_lowest_c": 21.0,
            "temperature_mean_c": 22.33,
            "temperature_highest_c": 30.5,
            "humidity_lowest_pct": 50.0,
            "humidity_highest_pct": 60.0,
            "too_hot_minutes": 60.0,
            "too_cold_minutes": 0.0,
            "too_humid_minutes": 0.0,
            "too_dry_minutes": 0.0,
            "fan_hours": 12.0,
            "locked_out_minutes": 30.0,
        }
    ]


def test_retention_deletes_what_is_older_than_the_config_keeps(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=3)
    retention = next(j for j in calendar_jobs(lambda: settings, record) if j.name == "retention")
    retention.work(utc_s("2025-06-04 22:00"))
    record.flush()
    with RecordReader(tmp_path / "r.sqlite3") as reader:
        span = reader.span()
        assert [e.name for e in reader.events()] == ["record.pruned"]
    record.close()
    assert span is not None
    assert span[0] == round(utc_s("2025-06-02 22:00") * 1000)


def test_nothing_is_deleted_while_the_clock_may_be_wrong(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=1)
    jobs = calendar_jobs(lambda: settings, record, is_settled=lambda: False)
    next(j for j in jobs if j.name == "retention").work(utc_s("2035-06-04 22:00"))
    record.flush()
    with RecordReader(tmp_path / "r.sqlite3") as reader:
        assert list(reader.events()) == []
    record.close()


def test_a_step_unsettles_the_clock_for_two_days() -> None:
    bench = Bench()
    bench.run(10.0)
    assert bench.controller.clock_is_settled
    bench.clock.step_wall(400 * 86400.0)
    bench.run(10.0)
    assert not bench.controller.clock_is_settled
    bench.run(2 * 86400.0, 600.0)
    assert bench.controller.clock_is_settled


def test_a_backup_goes_where_the_config_says_and_a_failed_one_is_reported(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=1)
    target = tmp_path / "copy.sqlite3"
    wanted = settings.changed(record=settings.record.changed(backup_to=target))
    backup = next(j for j in calendar_jobs(lambda: wanted, record) if j.name == "backup")
    backup.work(utc_s("2025-06-08 02:30"))
    backup.work(utc_s("2025-06-14 02:30"))
    with RecordReader(target) as copy:
        assert copy.span() is not None
    nowhere = settings.changed(record=settings.record.changed(backup_to=tmp_path / "no" / "x"))
    backup = next(j for j in calendar_jobs(lambda: nowhere, record) if j.name == "backup")
    backup.work(utc_s("2025-06-15 02:30"))
    record.close()
    with RecordReader(tmp_path / "r.sqlite3") as reader:
        assert [e.name for e in reader.events()] == ["backup.written", "job.failed"]


def test_a_signal_reaches_its_action_in_a_thread() -> None:
    seen: list[str] = []
    came = threading.Event()

    def act() -> None:
        seen.append(threading.current_thread().name)
        came.set()

    before = signal.getsignal(signal.SIGUSR1)
    with signals_to({signal.SIGUSR1: act}):
        signal.raise_signal(signal.SIGUSR1)
        assert came.wait(60.0)
    assert seen == ["signals"]
    assert signal.getsignal(signal.SIGUSR1) == before


def test_a_slewed_clock_is_no_step_and_a_set_one_is() -> None:
    watch = WallWatch()
    assert watch.look(0.0, 1000.0).stepped_by_s == 0.0
    assert watch.look(10.0, 1011.0).stepped_by_s == 0.0
    assert watch.look(20.0, 1025.0).stepped_by_s == pytest.approx(4.0)


def test_a_clock_behind_the_record_is_guessed_forward_until_it_is_right() -> None:
    watch = WallWatch(not_before_s=5000.0)
    first = watch.look(100.0, 10.0)
    assert (first.wall_s, first.is_trusted) == (5000.0, False)
    later = watch.look(160.0, 70.0)
    assert (later.wall_s, later.is_trusted) == (5060.0, False)
    right = watch.look(170.0, 6000.0)
    assert (right.wall_s, right.is_trusted) == (6000.0, True)
    # A step back after it was right is somebody's doing.
    assert watch.look(180.0, 4000.0).is_trusted


def test_a_clock_set_from_the_network_is_right_even_behind_the_record() -> None:
    """The record was written while the clock was months ahead, and then the power was cut."""
    was_set = False
    watch = WallWatch(not_before_s=9e9, was_set=lambda: was_set)
    assert not watch.look(0.0, 1000.0).is_trusted
    was_set = True
    assert watch.look(2.0, 1002.0) == (1002.0, 0.0, True)
    assert watch.look(4.0, 1004.0).is_trusted


def test_new_rules_of_a_time_zone_are_in_force_within_the_hour(tmp_path: Path) -> None:
    """The zone's file is replaced under the running daemon, as an update does."""
    folder = tmp_path / "Test"
    folder.mkdir()
    key = "Test/Town"

    def rules(of: str) -> None:
        data = next(
            path.read_bytes()
            for path in (Path(base) / of for base in zoneinfo.TZPATH)
            if path.is_file()
        )
        (folder / "Town").write_bytes(data)

    rules("Europe/Rome")
    zoneinfo.reset_tzpath([str(tmp_path), *zoneinfo.TZPATH])
    with contextlib.ExitStack() as stack:
        stack.callback(ZoneInfo.clear_cache, only_keys=[key])
        stack.callback(zoneinfo.reset_tzpath)
        bench = Bench("2025-06-03 03:00", CONFIG.replace("Europe/Rome", key))
        controller = bench.controller
        job = calendar_jobs(
            lambda: bench.loaded.settings,
            bench.record,
            zone=lambda: controller.timetable.zone,
            renew_zone=controller.renew_timetable,
        )[-1]
        bench.run(4.0)
        assert bench.speed == 0.0  # 05:00 in Rome, lights-on is at 06:00
        job.work(bench.clock.wall_s())
        assert "timezone.changed" not in bench.names()
        (folder / "Town").write_bytes(b"half-writ")
        job.work(bench.clock.wall_s())
        (folder / "Town").unlink()
        job.work(bench.clock.wall_s())
        assert "timezone.changed" not in bench.names()
        rules("Asia/Tbilisi")
        job.work(bench.clock.wall_s())
        assert bench.names().count("timezone.changed") == 1
        bench.run(4.0)
        assert bench.speed == 1.0  # 07:00 there
        job.work(bench.clock.wall_s())
        assert bench.names().count("timezone.changed") == 1


def test_a_fan_gets_time_to_spin_up_and_to_coast_down() -> None:
    watch = step_fan_watch(FanWatch(), 1.0, False, 0.0)
    assert step_fan_watch(watch, 1.0, False, 19.0).fault is None
    assert step_fan_watch(watch, 1.0, False, 20.0).fault is FanFault.NOT_TURNING
    running = step_fan_watch(watch, 1.0, True, 10.0)
    assert running.since_s is None
    coasting = step_fan_watch(running, 0.0, True, 30.0)
    assert step_fan_watch(coasting, 0.0, True, 80.0).fault is None
    assert step_fan_watch(coasting, 0.0, True, 90.0).fault is FanFault.TURNING_WHEN_OFF


def test_a_dead_fan_that_is_commanded_to_rest_has_not_recovered() -> None:
    dead = step_fan_watch(step_fan_watch(FanWatch(), 1.0, False, 0.0), 1.0, False, 20.0)
    resting = step_fan_watch(dead, 0.0, False, 30.0)
    assert resting.fault is FanFault.NOT_TURNING
    again = step_fan_watch(resting, 1.0, False, 40.0)
    assert again.fault is FanFault.NOT_TURNING
    assert step_fan_watch(again, 1.0, True, 42.0).fault is None


def test_a_fan_with_a_welded_relay_has_not_recovered_when_it_is_commanded_to_run() -> None:
    welded = step_fan_watch(step_fan_watch(FanWatch(), 0.0, True, 0.0), 0.0, True, 60.0)
    running = step_fan_watch(welded, 1.0, True, 70.0)
    assert running.fault is FanFault.TURNING_WHEN_OFF
    assert step_fan_watch(running, 0.0, False, 80.0).fault is None


def test_a_dead_fan_that_turns_against_its_command_is_another_fault() -> None:
    dead = step_fan_watch(step_fan_watch(FanWatch(), 1.0, False, 0.0), 1.0, False, 20.0)
    turning = step_fan_watch(dead, 0.0, True, 30.0)
    assert turning.fault is None
    assert step_fan_watch(turning, 0.0, True, 90.0).fault is FanFault.TURNING_WHEN_OFF


def test_a_quiet_fan_watch_is_the_very_same_object() -> None:
    watch = step_fan_watch(FanWatch(), 1.0, True, 0.0)
    assert step_fan_watch(watch, 1.0, True, 2.0) is watch


def test_a_job_that_fails_in_whatever_way_is_recorded_and_spares_the_others() -> None:
    bench = Bench()

    def summarise(_: Settings, date: dt.date) -> dict[str, object]:
        raise RuntimeError("disk I/O error")

    jobs = calendar_jobs(lambda: bench.loaded.settings, bench.record, summarise)
    calendar = SteppedCalendar(jobs, ROME, utc_s("2025-06-03 10:00"))
    calendar.step(utc_s("2025-06-03 11:00"))
    (event,) = bench.record.events
    assert (event.name, event.data["job"]) == ("job.failed", "summary")


@pytest.mark.parametrize(("error", "checked"), [(RecordError("malformed"), 1), (OSError(), 0)])
def test_a_job_that_comes_upon_a_damaged_record_has_it_looked_through(
    error: Exception, checked: int
) -> None:
    bench, checks = Bench(), []
    bench.record.check = lambda: checks.append(1)  # type: ignore[method-assign]

    def summarise(_: Settings, date: dt.date) -> dict[str, object]:
        raise error

    jobs = calendar_jobs(lambda: bench.loaded.settings, bench.record, summarise)
    next(job for job in jobs if job.name == "summary").work(utc_s("2025-06-03 11:00"))
    assert len(checks) == checked


def test_no_day_is_summed_up_by_a_clock_that_is_wrong() -> None:
    bench = Bench()
    jobs = calendar_jobs(
        lambda: bench.loaded.settings, bench.record, lambda *_: {}, is_trusted=lambda: False
    )
    jobs[0].work(0.0)
    assert bench.record.events == []


def test_a_fan_without_a_tachometer_is_believed() -> None:
    watch = FanWatch()
    assert step_fan_watch(watch, 1.0, None, 1e6) is watch


def test_the_stepped_calendar_drives_the_daily_summary_of_a_bench(tmp_path: Path) -> None:
    bench = Bench()
    jobs = calendar_jobs(lambda: bench.loaded.settings, bench.record)
    assert [job.name for job in jobs] == ["summary", "retention", "backup"]


def test_a_day_out_of_every_band_is_summed_up_by_phase(tmp_path: Path) -> None:
    """By the day's bands in the light, by the night's in the dark; an hour each."""
    settings, record = make_record(tmp_path / "r.sqlite3", days=1)
    day, night = settings.targets.day, settings.targets.night
    past = [
        (True, day.temperature_c.low - 0.1, day.humidity_pct.high + 1.0),
        (False, night.temperature_c.low - 0.1, night.humidity_pct.low - 1.0),
        (False, night.temperature_c.low + 0.1, night.humidity_pct.low + 1.0),
    ]
    start_ms = round(utc_s("2025-06-03 22:00") * 1000)
    for hour, (lit, temperature_c, humidity_pct) in enumerate(past, 1):
        record.reading(
            ReadingRow(
                at_ms=start_ms + hour * 3_600_000,
                interval_s=3600.0,
                tent_temperature_c=temperature_c,
                tent_humidity_pct=humidity_pct,
                fan_speed=0.0,
                fan_on_s=0.0,
                lamp_on=lit,
                lamp_on_s=3600.0 if lit else 0.0,
                in_fan_hours=lit,
                rule="schedule",
            )
        )
    record.flush()
    figures = summarise_day(settings, dt.date(2025, 6, 4))
    record.close()
    minutes = {key: figures[f"too_{key}_minutes"] for key in ("hot", "cold", "humid", "dry")}
    assert minutes == {"hot": 0.0, "cold": 120.0, "humid": 60.0, "dry": 60.0}


def test_the_day_before_a_record_begins_is_not_told_of(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=1)  # from 2 June, local
    summary = next(j for j in calendar_jobs(lambda: settings, record) if j.name == "summary")
    summary.work(utc_s("2025-06-01 22:05"))
    summary.work(utc_s("2025-06-02 22:05"))
    record.flush()
    with RecordReader(tmp_path / "r.sqlite3") as reader:
        days = [e.data["date"] for e in reader.events() if e.name == "day.summarised"]
    record.close()
    assert days == ["2025-06-02"]


def test_nothing_is_summed_up_of_a_day_without_readings(tmp_path: Path) -> None:
    settings, record = make_record(tmp_path / "r.sqlite3", days=1)
    record.close()
    figures = summarise_day(settings, dt.date(2031, 6, 4))
    assert {k: v for k, v in figures.items() if v is not None} == {
        "date": "2031-06-04",
        "readings": 0,
    }
