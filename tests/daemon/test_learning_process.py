"""The tent is learned once a night, in a child process that can do the daemon no harm."""

from __future__ import annotations

import sys
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from daemon_builders import CONFIG, Bench, utc_s

from controller.config import settings_from_text
from controller.daemon.calendar import calendar_jobs
from controller.daemon.learning_process import LearningProcess
from controller.daemon.scheduler import SteppedCalendar
from controller.errors import UserError
from controller.record import InlineRecord, RecordReader
from controller.wording.events import event_words

ROME = ZoneInfo("Europe/Rome")


def nights(bench: Bench, learn: object, days: int, *, on: bool = True) -> None:
    """Step the calendar through some days from noon on."""
    settings = bench.loaded.settings.changed(learn=on)
    at_s = utc_s("2025-06-01 12:00")
    jobs = calendar_jobs(
        lambda: settings,
        bench.record,
        lambda *_: {},
        learn=learn,  # type: ignore[arg-type]
    )
    calendar = SteppedCalendar(jobs, ROME, at_s)
    for _ in range(days * 24):
        at_s += 3600.0
        calendar.step(at_s)


def test_the_tent_is_learned_once_a_night_and_each_result_is_kept() -> None:
    bench, asked = Bench("2025-06-01 12:00"), []

    def learn(record: Path) -> dict[str, object]:
        asked.append(record)
        return {"refused": f"night {len(asked)}"}

    nights(bench, learn, 3)
    # Today's was missed, for the daemon was not running: it is made up for at once.
    assert asked == [bench.loaded.settings.record_path] * 4
    results = [row.result for row in bench.record.learnings]
    assert results == [{"refused": f"night {n}"} for n in (1, 2, 3, 4)]
    hours = [(row.at_ms / 3_600_000 + 2.0) % 24.0 for row in bench.record.learnings]  # Rome's
    assert hours == [15.0, 3.0, 3.0, 3.0]


def test_learn_off_switches_it_off() -> None:
    bench = Bench("2025-06-01 12:00")
    nights(bench, lambda _: pytest.fail("learned"), 2, on=False)
    text = CONFIG + "learn: off\n"
    assert settings_from_text(text).settings.learn is False
    assert settings_from_text(CONFIG).settings.learn is True


def test_a_failure_is_an_event_and_is_not_tried_again_that_night() -> None:
    bench, asked = Bench("2025-06-01 12:00"), []

    def learn(record: Path) -> dict[str, object]:
        asked.append(record)
        raise UserError("not done within 900 s")

    nights(bench, learn, 1)
    assert len(asked) == 2
    failed = [event.data for event in bench.record.events if event.name == "job.failed"]
    assert failed == [{"job": "learning", "error": "not done within 900 s"}] * 2
    assert bench.record.learnings == []


def test_a_flow_that_falls_is_an_event_once_until_it_is_as_usual_again() -> None:
    fall = {"since": "2025-06-01T00:00:00+00:00", "usual": 0.9, "now": 0.6}
    falls = iter([None, fall, fall, None, fall])
    bench = Bench("2025-06-01 12:00")
    nights(bench, lambda _: {"learned": {"fall": next(falls)}}, 4)
    reduced = [event for event in bench.record.events if event.name == "flow.reduced"]
    assert [event.data["flow_share"] for event in reduced] == [0.667] * 2
    assert reduced[0].level == "warning"
    words = event_words(reduced[0].name, reduced[0].data, "si", ROME)
    assert "Fan moves 67 % of its usual air" in words
    assert "falling since 1 June" in words


def test_the_child_learns_from_the_record_under_its_own_newest_config(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = InlineRecord(path)
    record.config(1_000_000, CONFIG, "sha")
    record.close()
    result = LearningProcess()(path)
    assert result["refused"] == "the record has no readings yet"
    assert result["tomorrow"] == {"refused": f"{path}: no readings yet"}


def test_what_the_child_says_is_kept_in_the_record(tmp_path: Path) -> None:
    path = tmp_path / "tent.sqlite3"
    record = InlineRecord(path)
    record.learning(1000, {"refused": "too few days"})
    record.learning(2000, {"learned": {"days": 7}})
    record.close()
    with RecordReader(path) as reader:
        assert [row.at_ms for row in reader.learnings()] == [1000, 2000]
        assert reader.learnings(newest=1)[0].result == {"learned": {"days": 7}}


def child(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> str:
    """A module for the child to run; its name."""
    (tmp_path / "stand_in.py").write_text(body)
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    return "stand_in"


def test_a_child_that_fails_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = child(tmp_path, monkeypatch, "raise MemoryError('full')")
    with pytest.raises(UserError, match="the learning process failed: MemoryError: full"):
        LearningProcess(module=module)(tmp_path / "any")


def test_a_child_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = child(tmp_path, monkeypatch, "import threading; threading.Event().wait()")
    with pytest.raises(UserError, match=r"not done within 0\.05 s"):
        LearningProcess(0.05, module)(tmp_path / "any")


def test_a_stopping_daemon_starts_no_child() -> None:
    learning = LearningProcess()
    learning.close()
    with pytest.raises(UserError, match="stopping"):
        learning(Path("any"))


def test_the_daemon_imports_nothing_of_learning() -> None:
    import subprocess

    code = (
        "import sys, controller.daemon.service, controller.daemon.learning_process\n"
        "print([m for m in sys.modules if m.startswith('controller.learning')])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
