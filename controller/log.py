"""The operating log: structlog on standard error, one event a line.

JSON when standard error is not a terminal (under systemd the journal keeps it), readable when it
is one and for a simulation. Timestamps are UTC in JSON and the tent's local time in the readable
form. structlog renders natively: the standard library's logging is only listened to, for what other
libraries say there.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import sys
from collections.abc import Callable, MutableMapping
from typing import Any, TextIO, cast
from zoneinfo import ZoneInfo

from controller.display import Units

_LEVELS = {"debug": 10, "info": 20, "warning": 30, "error": 40, "critical": 50}
# Libraries that log every routine step at INFO.
_CHATTY = ("apscheduler", "gpiozero", "asyncio")


def _event_logger() -> Any:
    # Imported late: commands that only read a record shouldn't wait for structlog, which brings
    # asyncio along and takes longer to load than a day takes to review.
    import structlog

    return structlog.get_logger("lungwort")


def set_up(
    *,
    level: str = "info",
    stream: TextIO | None = None,
    as_json: bool | None = None,
    units: Units = "si",
    zone: str = "UTC",
) -> None:
    """Set the log up; again with other arguments is fine, as once the config is known.

    Parameters
    ----------
    level : str
        The least grave level that is written.
    stream : text stream, optional
        Where to; default: standard error.
    as_json : bool, optional
        Default: JSON unless `stream` is a terminal.
    units : {"si", "us"}
        Units of the readable form; JSON is SI always.
    zone : str
        IANA zone of the readable form's times.
    """
    import structlog

    out = sys.stderr if stream is None else stream
    if as_json is None:
        as_json = not out.isatty()
    render = _render_json if as_json else _Readable(units, ZoneInfo(zone), _takes_colour(out))
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            _add_timestamp,
            structlog.processors.format_exc_info,
            render,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(_LEVELS[level]),
        logger_factory=structlog.WriteLoggerFactory(cast(TextIO, _Steady(out))),
        cache_logger_on_first_use=False,  # or loggers would keep the set-up they were first used in
    )
    _listen_to_libraries(level)


def log_event(at_ms: int, name: str, level: str, data: dict[str, object]) -> None:
    """Write the line of a recorded event, under the time it happened.

    Parameters
    ----------
    at_ms : int
        When [Unix ms].
    name, level : str
        As in the record.
    data : dict
        Its data, units in the keys.
    """
    keys = {key if key not in _RESERVED else f"{key}_": value for key, value in data.items()}
    method = getattr(_event_logger(), level if level in _LEVELS else "info")
    method(name, timestamp=utc(at_ms), **keys)


_RESERVED = {"event", "level", "timestamp"}


def utc(at_ms: int) -> str:
    """An instant [Unix ms] as RFC 3339 in UTC, to the millisecond."""
    instant = dt.datetime.fromtimestamp(at_ms / 1000, dt.UTC)
    return instant.isoformat(timespec="milliseconds").replace("+00:00", "Z")


Fields = MutableMapping[str, Any]


def _add_timestamp(_logger: object, _method: str, fields: Fields) -> Fields:
    if "timestamp" not in fields:
        now = dt.datetime.now(dt.UTC)
        fields["timestamp"] = now.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return fields


def _render_json(_logger: object, _method: str, fields: Fields) -> str:
    # What a reader of the journal looks for comes first.
    first = {key: fields.pop(key) for key in ("timestamp", "level", "event")}
    return json.dumps(first | dict(fields), ensure_ascii=False, default=str)


class _Readable:
    """Local time, level, what happened in words; the raw keys where there are no words for it."""

    _COLOURS = {"warning": "33", "error": "31", "critical": "31"}  # noqa: RUF012

    def __init__(self, units: Units, zone: ZoneInfo, colour: bool) -> None:
        self._units = units
        self._zone = zone
        self._colour = colour

    def __call__(self, _logger: object, _method: str, fields: Fields) -> str:
        from controller.wording import event_words  # wording isn't needed for JSON

        fields = dict(fields)
        instant = dt.datetime.fromisoformat(fields.pop("timestamp"))
        level = fields.pop("level")
        name = str(fields.pop("event"))
        trace = fields.pop("exception", None)
        words = event_words(name, fields, self._units, self._zone)
        time = instant.astimezone(self._zone).strftime("%Y-%m-%d %H:%M:%S")
        mark = "" if level == "info" else f"{level}: "
        if self._colour and level in self._COLOURS:
            mark = f"\x1b[{self._COLOURS[level]}m{mark}\x1b[0m"
        line = f"{time}  {mark}{words}"
        return f"{line}\n{trace}" if trace else line


class _Steady:
    """A stream that never raises: a closed pipe must not stop the air."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        try:
            return self._stream.write(text)
        except (OSError, ValueError):
            return 0

    def flush(self) -> None:
        try:
            self._stream.flush()
        except (OSError, ValueError):
            return


def _takes_colour(stream: TextIO) -> bool:
    import os

    return stream.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


class _Relay(logging.Handler):
    """Passes on to structlog what libraries say through the standard library's logging."""

    def emit(self, record: logging.LogRecord) -> None:
        try:
            log: Callable[..., object] = getattr(_event_logger(), _level_name(record.levelno))
            log(
                "library.said",
                logger=record.name,
                message=record.getMessage(),
                exc_info=record.exc_info or None,
            )
        except Exception:
            self.handleError(record)


def _level_name(number: int) -> str:
    return next((name for name, least in reversed(_LEVELS.items()) if number >= least), "debug")


def _listen_to_libraries(level: str) -> None:
    root = logging.getLogger()
    for handler in [h for h in root.handlers if isinstance(h, _Relay)]:
        root.removeHandler(handler)
    root.addHandler(_Relay())
    root.setLevel(max(_LEVELS[level], logging.WARNING))
    for name in _CHATTY:
        logging.getLogger(name).setLevel(logging.WARNING)
    logging.captureWarnings(True)
