"""`lungwort now`: the right numbers, their age, and why."""

from __future__ import annotations

import contextlib
import json
import time
from dataclasses import replace
from pathlib import Path

import pytest
from record_commands import NOW_MS, call, hot_reading, write_config, write_hot_afternoon

from controller.commands import now
from controller.config import load_settings
from controller.errors import UserError
from controller.record import InlineRecord, RecordReader, RecordWriter, SensorRow
from controller.record.status import DaemonStatus, NextChange, reason_json
from simulators.records import mark_simulated


def text_at(config: Path, record: Path, now_ms: int) -> str:
    settings = load_settings(config).settings
    with RecordReader(record) as reader:
        view = now.look(reader, settings, now_ms / 1000)
        return "\n".join(now.as_text(view, settings.tent.name, 120))


def test_it_shows_reading_fan_reasons_and_what_comes_next(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    assert text_at(config, record, NOW_MS + 24_000).splitlines() == [
        "test tent: 2013-07-18 16:20 EDT, 24 s ago; air: mean of 1 min",
        "Tent     31.4 °C, 48 %, air VPD 2.39 kPa, dew point 18.9 °C",
        "Intake   33.0 °C, 40 %",
        "Sensor   low gives no readings",
        "Fan      40 %, 1234 rpm",
        "Why      schedule, 40 %",
        "         too hot, 31.4 °C (limit 26.7 °C), locked out because the intake air is no cooler "
        "(33.0 °C, tent 31.4 °C)",
        "Lamp     on; in fan hours",
        "Next     lights off at 22:00 (in 5 h 40 min)",
    ]


def test_it_shows_co2_and_leaves_where_they_are_measured(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    text = config.read_text().replace(
        "sensors: [", "sensors: [{name: leaf, role: leaf, driver: iio, device: mlx90614}, "
    )
    config.write_text(text)
    with RecordWriter(record) as writer:
        leaf, top = SensorRow("leaf", 29.6), SensorRow("top", 31.4, 48.0, 0, None, 24, 612.0)
        writer.reading(replace(hot_reading(), sensors=(leaf, top)))
    lines = text_at(config, record, NOW_MS).splitlines()
    assert "CO2      612 ppm (top)" in lines
    assert "Leaf     29.6 °C (leaf)" in lines
    with RecordReader(record) as reader:
        shown = now.as_json(now.look(reader, load_settings(config).settings, NOW_MS / 1000))
    assert shown["co2_ppm"] == {"top": 612.0}
    assert shown["leaf_temperature_c"] == {"leaf": 29.6}


def test_it_speaks_the_users_units(tmp_path: Path) -> None:
    config, record = write_config(tmp_path, units="us")
    write_hot_afternoon(record)
    text = text_at(config, record, NOW_MS)
    # 31.4 °C is 88.52 °F by the definition of the scale (NIST SP 811 appendix B.8).
    assert "Tent     88.5 °F, 48 %, air VPD 2.39 kPa, dew point 66.1 °F" in text


@pytest.mark.parametrize(
    ("age_ms", "is_old"), [(0, False), (479_000, False), (481_000, True), (-481_000, True)]
)
def test_a_reading_older_than_three_intervals_and_a_wait_is_marked(
    tmp_path: Path, age_ms: int, is_old: bool
) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    assert ("This is old" in text_at(config, record, NOW_MS + age_ms)) is is_old


def test_a_simulated_reading_has_no_age(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    write_hot_afternoon(record)
    with contextlib.closing(InlineRecord(record)) as writer:
        mark_simulated(writer, NOW_MS)
    text = text_at(config, record, NOW_MS + 300 * 86_400_000)
    assert text.splitlines()[0].endswith(", simulated; air: mean of 1 min")
    assert "This is old" not in text


def test_json_is_si_with_the_tents_offset(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    config, record = write_config(tmp_path, units="us")
    write_hot_afternoon(record)
    monkeypatch.setattr(time, "time", lambda: NOW_MS / 1000 + 86_400.0)
    assert call(now, config, "--json") == 0
    shown = json.loads(capsys.readouterr().out)
    assert shown["time"] == "2013-07-18T16:20:00-04:00"
    assert shown["temperature_c"] == 31.4
    assert shown["humidity_pct"] == 48.0
    assert shown["vpd_kpa"] == pytest.approx(2.3896)
    assert shown["dew_point_c"] == 18.94
    assert shown["fan_speed"] == 0.4
    assert shown["next_change"] == {"time": "2013-07-18T22:00:00-04:00", "what": ["lights_off"]}
    assert shown["stale"] is True
    assert shown["age_s"] == 86_400.0
    deciding, locked_out = shown["reasons"]
    assert {key: deciding[key] for key in ("rule", "status", "value", "limit", "unit")} == {
        "rule": "schedule", "status": "deciding", "value": 0.4, "limit": 0.4, "unit": "",
    }  # fmt: skip
    assert locked_out["status"] == "locked_out"
    assert locked_out["text"].startswith("too hot, 31.4 °C")


def test_without_a_saved_state_it_falls_back_on_the_reading(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    with RecordWriter(record) as writer:
        writer.reading(hot_reading())
        writer.save_state("now", NOW_MS, {"of": "some other version"})
    text = text_at(config, record, NOW_MS)
    assert "Fan      60 %" in text
    assert "Why      schedule" in text
    assert "Next" not in text


def test_a_sensor_that_cannot_be_trusted_is_no_number(tmp_path: Path) -> None:
    from dataclasses import replace

    config, record = write_config(tmp_path)
    with RecordWriter(record) as writer:
        writer.reading(
            replace(
                hot_reading(),
                tent_temperature_c=None,
                tent_humidity_pct=None,
                tent_vpd_pa=None,
                tent_dew_point_c=None,
            )
        )
    assert "Tent     no trustworthy reading" in text_at(config, record, NOW_MS)


def test_before_the_first_reading_it_says_so(tmp_path: Path) -> None:
    config, record = write_config(tmp_path)
    with pytest.raises(UserError, match="no record yet") as caught:
        call(now, config)
    assert caught.value.status == 1
    RecordWriter(record).close()
    with pytest.raises(UserError, match="no reading yet") as caught:
        call(now, config)
    assert caught.value.status == 1


def test_another_record_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config, _ = write_config(tmp_path)
    write_hot_afternoon(tmp_path / "other.sqlite3")
    assert call(now, config, "--record", tmp_path / "other.sqlite3") == 0
    assert "31.4 °C" in capsys.readouterr().out


def test_a_situation_survives_the_way_through_the_record() -> None:
    daemon_status = DaemonStatus(
        at_ms=NOW_MS,
        speed=0.4,
        reasons=({"rule": "schedule", "status": "deciding"},),
        lamp_on=True,
        in_fan_hours=False,
        next_change=NextChange(NOW_MS + 1, ("lights_off", "fan_hours_end")),
    )
    assert DaemonStatus.from_json(json.loads(json.dumps(daemon_status.to_json()))) == daemon_status


@pytest.mark.parametrize("value", [None, 1, [], {}, {"at_ms": "x"}, {"at_ms": 1, "speed": None}])
def test_what_is_no_situation_is_none(value: object) -> None:
    assert DaemonStatus.from_json(value) is None


def test_the_daemons_own_state_is_understood() -> None:
    from controller.control import Decision, Memory, Now
    from controller.control.types import Reason, ReasonStatus, Rule
    from controller.daemon.tick_events import daemon_status
    from controller.timetable import ChangeKind, ScheduleChange, ScheduleState

    reason = Reason(Rule.SCHEDULE, ReasonStatus.DECIDING, value=0.4, limit=0.4)
    change = ScheduleChange(NOW_MS / 1000 + 60, (ChangeKind.LIGHTS_OFF,))
    state = daemon_status(
        NOW_MS,
        Now(0.0, lamp_on=True, in_fan_hours=True),
        Decision(0.4, True, Rule.SCHEDULE, False, Memory()),
        (reason,),
        ScheduleState(True, True, False, 0.0, change.at_s, change),
    )
    assert DaemonStatus.from_json(json.loads(json.dumps(state.to_json()))) == DaemonStatus(
        NOW_MS,
        0.4,
        (reason_json(reason),),
        True,
        True,
        NextChange(NOW_MS + 60_000, ("lights_off",)),
    )
