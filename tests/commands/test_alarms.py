"""`lungwort alarms`: what stands, since when and till when, what to do, and taking note of it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from record_commands import NOW_MS, call, hot_reading, write_config

from controller.alarms.kinds import BY_NAME, KINDS
from controller.alarms.states import Alarm, AlarmState, snapshot
from controller.alarms.watch import STATE_KEY
from controller.commands import alarms, now
from controller.errors import UserError
from controller.record import RecordWriter

NEW_YORK = ZoneInfo("America/New_York")
HOUR_MS = 3_600_000


def saved(*standing: Alarm, now_s: float = 7200.0) -> dict[str, Any]:
    return {"at_ms": NOW_MS, "alarms": snapshot({alarm.name: alarm for alarm in standing}, now_s)}


# Now is 16:20 in New York and 7200 s on the monotonic clock.
HEAT = Alarm("heat", AlarmState.ACTIVE, 3600.0, NOW_MS - HOUR_MS)
OVER = Alarm("severe_heat", AlarmState.OVER, 5400.0, NOW_MS - 4 * HOUR_MS)


def listed(*standing: Alarm, is_dark: bool = False) -> list[dict[str, Any]]:
    return alarms.rows_of(saved(*standing), NEW_YORK, is_dark=is_dark)


def shown(*standing: Alarm, width: int = 80, is_dark: bool = False) -> str:
    return "\n".join(
        alarms.as_text(listed(*standing, is_dark=is_dark), "lungwort alarms tent.yaml", width)
    )


def test_an_alarm_that_stands_has_its_beginning_and_what_to_do() -> None:
    text = shown(HEAT)
    assert "Hotter than the heat warning, since Thursday 18 July 15:20." in text
    assert "Dim or raise the lamp" in text
    assert "lungwort alarms tent.yaml --acknowledge NAME" in text


def test_what_was_learned_by_night_was_noticed_then_and_began_before() -> None:
    text = shown(Alarm("reduced_flow", AlarmState.ACTIVE, 3600.0, NOW_MS - HOUR_MS))
    assert ", noticed Thursday 18 July 15:20." in " ".join(text.split())


def test_what_to_do_about_a_lesser_alarm_is_what_the_graver_one_asks_for() -> None:
    fire, severe = (Alarm(name, AlarmState.ACTIVE, 0.0, NOW_MS) for name in
                    ("fire_hazard", "severe_heat"))  # fmt: skip
    responses = {row["alarm"]: row["response"] for row in listed(HEAT, severe, fire)}
    assert "breaker" in responses["fire_hazard"]
    assert responses["severe_heat"] == responses["heat"] == "do what fire_hazard above asks for"
    assert "switch the lamp off" in listed(HEAT, severe)[0]["response"]


def test_a_lower_alarm_that_is_over_is_not_said_to_wait_for_a_person() -> None:
    text = " ".join(shown(replace(HEAT, state=AlarmState.OVER)).split())
    assert "listed for an hour, or until acknowledged" in text


def test_an_ended_alarm_has_its_end_and_says_how_to_acknowledge_it() -> None:
    text = " ".join(shown(OVER).split())
    assert "Far too hot, from Thursday 18 July 12:20 to 15:50." in text
    assert "lungwort alarms tent.yaml --acknowledge severe_heat" in text
    assert "If it comes again: switch the lamp off" in text
    assert listed(OVER)[0]["ended"] == "2013-07-18T15:50:00-04:00"
    assert listed(HEAT)[0]["ended"] is None


def test_an_alarm_that_ended_on_another_day_says_the_day() -> None:
    text = shown(Alarm("severe_heat", AlarmState.OVER, 5400.0, NOW_MS - 24 * HOUR_MS))
    assert "from Wednesday 17 July 16:20 to Thursday 18 July 15:50" in " ".join(text.split())


def test_nothing_more_is_asked_of_who_has_acknowledged() -> None:
    known = Alarm("heat", AlarmState.ACKNOWLEDGED, 3600.0, NOW_MS - HOUR_MS)
    assert "--acknowledge" not in shown(known)
    assert shown() == "No alarms."


def test_no_lamp_is_to_be_dimmed_that_is_dark() -> None:
    for kind in KINDS:
        for why in {"", *kind.responses}:
            response = kind.response_to(why, is_dark=True)
            assert "dim" not in response.split()
            assert "switch the lamp off" not in response
    assert "Dim" not in shown(HEAT, is_dark=True)


def test_every_reason_that_dims_the_lamp_has_an_answer_for_the_night() -> None:
    for kind in KINDS:
        assert kind.dark_responses.keys() <= {"", *kind.responses}


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_list_fits_its_terminal(width: int) -> None:
    standing = [Alarm(kind.name, AlarmState.OVER, 5400.0, NOW_MS - HOUR_MS) for kind in KINDS]
    for text in (shown(*standing, width=width), shown(HEAT, width=width)):
        assert max(map(len, text.splitlines())) <= width


def write(folder: Path, *standing: Alarm) -> Path:
    config, record = write_config(folder)
    with RecordWriter(record) as writer:
        writer.reading(replace(hot_reading(), lamp_on=False))
        writer.save_state(STATE_KEY, NOW_MS, saved(*standing))
    return config


def test_the_command_reads_from_the_record_whether_the_lamp_is_lit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = write(tmp_path, HEAT)
    assert call(alarms, config, "--json") == 0
    (row,) = json.loads(capsys.readouterr().out)
    assert row["response"] == BY_NAME["heat"].dark_responses[""]


def test_the_command_to_acknowledge_names_the_record_that_was_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = write(tmp_path, HEAT)
    record = tmp_path / "tent.sqlite3"
    assert call(alarms, config, "--record", record) == 0
    text = " ".join(capsys.readouterr().out.split())
    assert text.endswith(f"lungwort alarms {config} --record {record} --acknowledge NAME")


@pytest.mark.parametrize("named", [(), ("hot",)])
def test_acknowledging_without_a_name_that_is_known_lists_what_is_open(
    named: tuple[str, ...], tmp_path: Path
) -> None:
    with pytest.raises(UserError, match="yet: heat, severe_heat") as caught:
        call(alarms, write(tmp_path, HEAT, OVER), "--acknowledge", *named)
    assert caught.value.status == 2


def test_with_none_open_every_name_is_listed(tmp_path: Path) -> None:
    config, _ = write_config(tmp_path)
    with pytest.raises(UserError) as caught:
        call(alarms, config, "--acknowledge", "sever_heat")
    assert "severe_heat, perhaps" in caught.value.message
    assert all(name in caught.value.message for name in BY_NAME)


def test_where_all_are_known_none_is_said_to_be_open(tmp_path: Path) -> None:
    known = Alarm("heat", AlarmState.ACKNOWLEDGED, 3600.0, NOW_MS - HOUR_MS)
    with pytest.raises(UserError, match="at the moment there is none to acknowledge"):
        call(alarms, write(tmp_path, known), "--acknowledge")


def test_now_shows_what_stands_and_not_what_is_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    yesterday = Alarm("high_humidity", AlarmState.ACKNOWLEDGED, 0.0, NOW_MS - 24 * HOUR_MS)
    config = write(tmp_path, HEAT, OVER, yesterday)
    assert call(now, config) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if line.startswith("Alarm")]
    assert len(lines) == 2
    assert "since 2013-07-17 16:20" in lines[0]
    assert lines[1].startswith("Alarm    hotter than the heat warning, since 15:20")
    assert call(now, config, "--json") == 0
    assert json.loads(capsys.readouterr().out)["alarms"] == ["high_humidity", "heat"]
