"""`lungwort events`: which events, in which words."""

from __future__ import annotations

import argparse
import datetime as dt
import json
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from record_commands import LOCKED_OUT, NOW_MS, arguments, call, write_config

from controller.commands import events
from controller.commands.instants import parse_instant, parse_length
from controller.display import rfc3339
from controller.errors import UserError
from controller.record import RecordReader, RecordWriter

HOUR_MS = 3_600_000
NEW_YORK = ZoneInfo("America/New_York")


@pytest.fixture
def tent(tmp_path: Path) -> tuple[Path, Path]:
    config, record = write_config(tmp_path, units="us")
    with RecordWriter(record) as writer:
        writer.event(NOW_MS - 30 * HOUR_MS, "daemon.started", "info", version="0.1.0")
        writer.event(NOW_MS - 20 * HOUR_MS, "fan.changed", "info", speed=0.4, was=0.0)
        writer.event(NOW_MS - 2 * HOUR_MS, "override.engaged", "info", **LOCKED_OUT)
        writer.event(NOW_MS - HOUR_MS, "clock.stepped", "warning", by_s=-7.0)
        writer.event(NOW_MS, "sensor.failed", "error", sensor="top", fault="dead")
    return config, record


def shown(capsys: pytest.CaptureFixture[str], *argv: object) -> list[str]:
    assert call(events, *argv) == 0
    return capsys.readouterr().out.splitlines()


def names(capsys: pytest.CaptureFixture[str], *argv: object) -> list[str]:
    return [json.loads(line)["name"] for line in shown(capsys, *argv, "--json")]


def test_each_event_is_one_line_in_local_time_and_the_users_units(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert shown(capsys, tent[0]) == [
        "2013-07-17 10:20:00 EDT  daemon.started      Daemon started: version 0.1.0",
        "2013-07-17 20:20:00 EDT  fan.changed         Fan on at 40 %",
        "2013-07-18 14:20:00 EDT  override.engaged    Override engaged, too hot, 88.5 °F "
        "(limit 80.1 °F)",
        "2013-07-18 15:20:00 EDT  clock.stepped       WARNING: Clock stepped back by 7 s",
        "2013-07-18 16:20:00 EDT  sensor.failed       ERROR: Sensor top gives no readings",
    ]


def test_json_lines_hold_the_data_in_si(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    lines = shown(capsys, tent[0], "--json", "--name", "override.*")
    assert [json.loads(line) for line in lines] == [
        {
            "id": 3,
            "time": "2013-07-18T14:20:00.000-04:00",
            "name": "override.engaged",
            "level": "info",
            "data": LOCKED_OUT,
        }
    ]


@pytest.mark.parametrize(
    ("options", "expected"),
    [
        (["--since", "2013-07-18"], [3, 4, 5]),
        (["--since", "2013-07-18 15:20"], [4, 5]),
        (["--since", "2013-07-18T19:20:00Z"], [4, 5]),
        (["--until", "2013-07-18"], [1, 2]),
        (["--since", "2013-07-17 12:00", "--until", "2013-07-18 15:00"], [2, 3]),
        # Of the record's end, though that lies years back.
        (["--last", "2h"], [3, 4, 5]),
        (["--last", "1 d"], [2, 3, 4, 5]),
        (["--last", "1h", "--until", "2013-07-18 15:00"], [3]),
        (["--level", "warning"], [4, 5]),
        (["--level", "error"], [5]),
        (["--name", "fan.changed", "--name", "clock.*"], [2, 4]),
        (["--newest", "2"], [4, 5]),
        (["-n", "1", "--level", "warning", "--until", "2013-07-18 16:00"], [4]),
        (["--name", "nothing.*"], []),
    ],
)
def test_range_name_level_and_count_choose_the_events(
    tent: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    options: list[str],
    expected: list[int],
) -> None:
    lines = shown(capsys, tent[0], "--json", *options)
    assert [json.loads(line)["id"] for line in lines] == expected


def test_without_a_range_the_newest_fifty_are_shown_and_with_one_all(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    with RecordWriter(tent[1]) as writer:
        for n in range(60):
            writer.event(NOW_MS + n, f"test.{n}")
    assert names(capsys, tent[0]) == [f"test.{n}" for n in range(10, 60)]
    assert len(names(capsys, tent[0], "--last", "7d")) == 65
    assert len(names(capsys, tent[0], "--newest", "all")) == 65


@pytest.mark.parametrize(
    ("more", "options", "is_told"),
    [
        (46, [], True),
        (45, [], False),  # fifty in all
        (46, ["--newest", "50"], False),
        (46, ["--newest", "all"], False),
        (46, ["--last", "7d"], False),
    ],
)
def test_it_is_said_when_there_are_more_than_the_newest_fifty(
    tent: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    more: int,
    options: list[str],
    is_told: bool,
) -> None:
    with RecordWriter(tent[1]) as writer:
        for n in range(more):
            writer.event(NOW_MS + n, f"test.{n}")
    assert call(events, tent[0], *options) == 0
    told = capsys.readouterr().err
    assert ("newest 50; --newest all lists every one" in told) is is_told


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--since", "last week"], "--since: not a date or time: 'last week'; expected such as"),
        (["--until", "2013-02-30"], "--until: not a date or time"),
        (["--last", "soon"], "--last: 'soon' is not a duration"),
        (["--last", "24"], "--last: "),
        (["--last", "0 h"], "--last: '0 h' is no time at all"),
    ],
)
def test_what_cannot_be_read_is_reported_with_its_option(
    tent: tuple[Path, Path], options: list[str], message: str
) -> None:
    with pytest.raises(UserError) as caught:
        call(events, tent[0], *options)
    assert caught.value.message.startswith(message)
    assert caught.value.status == 2


@pytest.mark.parametrize("count", ["0", "-1", "many"])
def test_a_count_must_be_one(tent: tuple[Path, Path], count: str) -> None:
    with pytest.raises(SystemExit) as caught:
        arguments(events, tent[0], "--newest", count)
    assert caught.value.code == 2


def looks(*before_each: Callable[[], object]) -> Callable[[], bool]:
    """A wait that does something before each look and then ends."""
    todo = list(before_each)

    def wait() -> bool:
        if not todo:
            return True
        todo.pop(0)()
        return False

    return wait


def test_following_shows_each_new_event_once_and_only_those_asked_for(
    tent: tuple[Path, Path],
) -> None:
    with RecordWriter(tent[1]) as writer, RecordReader(tent[1]) as reader:
        wait = looks(
            lambda: writer.event(NOW_MS, "fan.changed", "info", speed=1.0),
            lambda: None,
            lambda: (
                writer.event(NOW_MS, "lamp.switched", "info", on=True),
                writer.event(NOW_MS, "fan.changed", "info", speed=0.0),
            ),
        )
        found = events.follow(tent[1], events.newest_id(reader), ["fan.*"], "info", wait)
        assert [event.data["speed"] for event in found] == [1.0, 0.0]


def test_following_goes_on_in_a_record_begun_anew(tent: tuple[Path, Path]) -> None:
    path = tent[1]

    def begin_anew() -> None:
        path.rename(path.with_name("tent.sqlite3.corrupt-20130718T000000Z"))
        with RecordWriter(path) as writer:
            writer.event(NOW_MS, "record.set_aside", "error")

    wait = looks(lambda: None, lambda: path.rename(path.with_name("away")),
                 lambda: path.with_name("away").rename(path), begin_anew)  # fmt: skip
    found = events.follow(path, 5, None, "info", wait)
    assert [event.name for event in found] == ["record.set_aside"]


SUMMER = ZoneInfo("Europe/Rome")
NOON_S = dt.datetime(2013, 7, 18, 12, tzinfo=SUMMER).timestamp()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2013-07-18", "2013-07-18T00:00:00+02:00"),
        ("2013-01-18 06:30", "2013-01-18T06:30:00+01:00"),
        ("14:00", "2013-07-18T14:00:00+02:00"),
        ("6:05", "2013-07-18T06:05:00+02:00"),
        ("2pm", "2013-07-18T14:00:00+02:00"),
        ("today", "2013-07-18T00:00:00+02:00"),
        ("Yesterday", "2013-07-17T00:00:00+02:00"),
        ("now", "2013-07-18T12:00:00+02:00"),
        ("2013-07-18T10:00:00Z", "2013-07-18T12:00:00+02:00"),
        # The clocks of 2013 went back on 27 October: 02:30 came twice, the first is summer time.
        ("2013-10-27 02:30", "2013-10-27T02:30:00+02:00"),
    ],
)
def test_instants_are_read_on_the_tents_clock(text: str, expected: str) -> None:
    assert rfc3339(parse_instant(text, SUMMER, NOON_S, "--since") / 1000, SUMMER) == expected


@pytest.mark.parametrize("text", ["", "25:00", "2013-13-01", "99999-01-01", "0001-01-01x", "7"])
def test_what_is_no_instant_is_refused(text: str) -> None:
    with pytest.raises(UserError, match="not a date or time"):
        parse_instant(text, SUMMER, NOON_S, "--since")


def test_lengths_are_read_with_their_units() -> None:
    assert parse_length("24h", "--last") == 86_400
    assert parse_length("7 d", "--last") == 7 * 86_400


def test_the_parser_takes_every_option() -> None:
    args = arguments(events, "tent.yaml", "--last", "24h", "--level", "error", "--follow", "--json")
    assert isinstance(args, argparse.Namespace)
    assert (args.last, args.level, args.follow, args.json) == ("24h", "error", True, True)
