"""The operating log: one line an event, and never in the way."""

from __future__ import annotations

import io
import json
import logging
import warnings
from collections.abc import Iterator

import pytest
import structlog

from controller import log
from controller.log import log_event, set_up

AT_MS = 1_374_179_405_250  # 2013-07-18T20:30:05.250Z


@pytest.fixture(autouse=True)
def undisturbed() -> Iterator[None]:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    yield
    root.handlers[:], root.level = handlers, level
    logging.captureWarnings(False)
    structlog.reset_defaults()


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


FAN = {
    "speed": 1.0,
    "was": 0.4,
    "rule": "too_hot",
    "reasons": [
        {"rule": "too_hot", "status": "deciding", "quantity": "temperature", "value": 27.3,
         "limit": 26.7, "unit": "°C"}
    ],
}  # fmt: skip


def test_off_a_terminal_each_event_is_one_line_of_json_under_its_own_time() -> None:
    out = io.StringIO()
    set_up(stream=out)
    log_event(AT_MS, "fan.changed", "info", FAN)
    log_event(AT_MS, "sensor.failed", "error", {"sensor": "top", "note": "two\nlines", "level": 3})
    first, second = out.getvalue().splitlines()
    assert json.loads(first) == {
        "timestamp": "2013-07-18T20:30:05.250Z", "level": "info", "event": "fan.changed", **FAN,
    }  # fmt: skip
    assert list(json.loads(first))[:3] == ["timestamp", "level", "event"]
    assert json.loads(second)["note"] == "two\nlines"
    assert json.loads(second)["level"] == "error"


def test_on_a_terminal_it_is_words_in_local_time_and_the_users_units() -> None:
    out = Terminal()
    set_up(stream=out, units="us", zone="America/New_York")
    log_event(AT_MS, "fan.changed", "info", FAN)
    assert out.getvalue() == (
        "2013-07-18 16:30:05  Fan 40 % → 100 %: too hot, 81.1 °F (limit 80.1 °F)\n"
    )


def test_grave_events_are_marked_and_coloured_only_where_wanted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    for no_color, expected in ((False, "\x1b[31merror: \x1b[0mSensor"), (True, "  error: Sensor")):
        if no_color:
            monkeypatch.setenv("NO_COLOR", "1")
        out = Terminal()
        set_up(stream=out)
        log_event(AT_MS, "sensor.failed", "error", {"sensor": "top", "fault": "dead"})
        assert expected in out.getvalue()


def test_events_below_the_level_are_left_out() -> None:
    out = io.StringIO()
    set_up(stream=out, level="warning")
    log_event(AT_MS, "fan.changed", "info", FAN)
    log_event(AT_MS, "clock.stepped", "warning", {"by_s": 3600})
    assert [json.loads(line)["event"] for line in out.getvalue().splitlines()] == ["clock.stepped"]


def test_a_line_of_no_event_is_stamped_with_the_present_in_utc() -> None:
    out = io.StringIO()
    set_up(stream=out)
    structlog.get_logger().warning("watchdog.late", by_s=1.5)
    line = json.loads(out.getvalue())
    assert line["timestamp"].endswith("Z")
    assert line["by_s"] == 1.5


def test_an_exception_keeps_its_trace() -> None:
    out = io.StringIO()
    set_up(stream=out)
    try:
        raise RuntimeError("odd")
    except RuntimeError:
        structlog.get_logger().exception("tick.failed")
    line = json.loads(out.getvalue())
    assert line["level"] == "error"
    assert "RuntimeError: odd" in line["exception"]


def test_libraries_are_heard_from_warning_on_and_only_once() -> None:
    out = io.StringIO()
    set_up(stream=out)
    set_up(stream=out)
    logging.getLogger("apscheduler.executors.default").info("Running job")
    logging.getLogger("apscheduler.scheduler").error("Job %s failed", "prune")
    (line,) = map(json.loads, out.getvalue().splitlines())
    assert line["event"] == "library.said"
    assert line["message"] == "Job prune failed"
    assert line["logger"] == "apscheduler.scheduler"
    assert line["level"] == "error"


def test_python_warnings_go_to_the_log() -> None:
    out = io.StringIO()
    with warnings.catch_warnings():
        warnings.simplefilter("always")
        set_up(stream=out)
        warnings.warn("pin factory fell back", RuntimeWarning, stacklevel=1)
        logging.captureWarnings(False)
    assert "pin factory fell back" in out.getvalue()


class Broken(io.StringIO):
    def write(self, text: str) -> int:
        raise BrokenPipeError


def test_a_closed_pipe_raises_nothing() -> None:
    set_up(stream=Broken())
    log_event(AT_MS, "fan.changed", "info", FAN)
    closed = io.StringIO()
    set_up(stream=closed)
    closed.close()
    log_event(AT_MS, "fan.changed", "info", FAN)


def test_times_are_written_to_the_millisecond() -> None:
    assert log.utc(0) == "1970-01-01T00:00:00.000Z"
