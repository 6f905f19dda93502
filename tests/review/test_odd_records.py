"""Records as life leaves them: empty, one reading, cut off, half-way written, config unreadable."""

import contextlib
import shutil
import sqlite3
from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, known_day, reading

from controller.errors import UserError
from controller.record import RecordWriter
from controller.record.status import SIMULATED_KEY
from controller.review.open_record import Asked, open_source
from controller.review.report import build
from controller.review.series import read_series
from controller.review.views.chart_events import find_chart_events
from controller.review.views.glyphs import Glyphs
from controller.review.views.headline import headline
from controller.review.views.json_view import document
from controller.review.views.page import render_page
from controller.review.views.quality_words import quality_sentences
from controller.review.views.terminal import screen


def shown_in_every_form(record: HandRecord, asked: Asked | None = None) -> str:
    """The screen; page and document are made as well, for whatever they may stumble on."""
    with open_source(record.loaded, record.path, asked or Asked(day="2013-07-18")) as source:
        review = build(source, record.loaded.settings)
        series = read_series(source, 288)
        marks, more = find_chart_events(source, review, 12)
        page = render_page(review, series, marks, more)
        assert page.endswith("</html>\n")
        document(review)
        return "\n".join(screen(review, series, Glyphs()))


def test_an_empty_record_is_said_to_have_no_readings(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    shown = shown_in_every_form(record)
    assert shown.startswith("Thursday 18 July 2013: the record has no readings yet.")


def test_a_day_before_the_record_says_when_it_begins(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("34:00", "35:00")
    assert "no readings; the record begins on 2013-07-19" in shown_in_every_form(record)
    review = record.review()
    assert review.figures.temperature.minutes.missing == 1440.0


def test_a_day_of_one_reading_counts_that_minute_alone(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.writer.reading(reading(record.at("12:00"), temperature=26.0))
    review = record.review()
    assert review.figures.temperature.minutes.above == 1.0
    assert review.figures.temperature.minutes.missing == 1439.0
    assert review.figures.fan.starts == 1
    assert "26.0 °C at 12:00" in shown_in_every_form(record)


def test_a_day_without_one_trusted_value(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    nothing = {"temperature": None, "humidity": None, "vpd": None}
    record.stretch("00:00", "24:00", rule="sensor_failsafe", speed=1.0, **nothing)
    shown = shown_in_every_form(record)
    assert "nothing that can be trusted was measured" in shown
    assert record.review().figures.temperature.minutes.missing == 1440.0


def test_a_day_that_is_not_over_says_so(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "18:00")
    review = record.review(now_ms=record.at("18:00") + 20_000)
    assert review.quality.minutes_to_come == pytest.approx(360.0 - 1 / 3)
    assert review.quality.readings_missed == 0
    assert review.figures.temperature.minutes.missing == 360.0
    shown = "\n".join(screen(review, [], Glyphs()))
    assert "Not over yet: 6 h to come." in shown and "none or ahead" in shown


def test_a_simulated_day_is_not_over_either_whether_under_way_or_stopped(tmp_path: Path) -> None:
    """No tent lives on after it, so that nothing of it is missing."""
    record = HandRecord(tmp_path)
    record.writer.save_state(SIMULATED_KEY, 0, True)
    record.event("00:00", "daemon.started")
    record.stretch("00:00", "18:00")
    assert record.review().quality.minutes_to_come == 360.0
    record.event("18:00", "daemon.stopped")
    review = record.review()
    assert (review.quality.minutes_to_come, review.quality.readings_missed) == (360.0, 0)


def test_beside_a_daemon_that_goes_on_writing(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "12:00", temperature=26.0)
    with open_source(record.loaded, record.path, Asked(day="2013-07-18")) as source:
        record.stretch("12:00", "13:00", temperature=26.0)  # what comes later is not seen
        review = build(source, record.loaded.settings)
    assert review.figures.temperature.minutes.above == 120.0
    assert record.review().figures.temperature.minutes.above == 180.0


def test_what_a_power_cut_left_is_read_whole(tmp_path: Path) -> None:
    """The file and its log as they stood, without a close: as a cut leaves them."""
    record = HandRecord(tmp_path)
    known_day(record)
    there = tmp_path / "after the cut"
    there.mkdir()
    for suffix in ("", "-wal"):
        shutil.copyfile(f"{record.path}{suffix}", there / f"record.sqlite3{suffix}")
    record.path = there / "record.sqlite3"
    assert record.review().figures.temperature.minutes.above == 300.0


def test_gaps_restarts_and_clock_steps_are_reported(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.event("09:00", "daemon.started")
    record.stretch("09:00", "12:00")
    record.event("13:00", "daemon.started")
    record.event("13:00", "clock.stepped", "warning", by_s=-90.0)
    record.stretch("13:00", "15:00")
    record.event("14:00", "sensor.failed", "warning", sensor="canopy", fault="stuck")
    record.event("14:30", "sensor.recovered", sensor="canopy")
    quality = record.review(now_ms=record.at("15:00")).quality
    assert quality.readings_missed == 540 + 60
    assert (len(quality.starts_ms), quality.unclean_starts) == (2, 1)
    assert [by_s for _, by_s in quality.clock_steps] == [-90.0]
    assert [(f.what, f.detail, f.minutes) for f in quality.sensor_faults] == [
        ("canopy", "stuck", 30.0)
    ]
    shown = shown_in_every_form(record)
    assert "Clock stepped back by 1 min 30 s at 13:00." in shown
    assert "Sensor canopy stuck from 14:00 for 30 min." in shown


def test_a_sensor_at_the_end_of_its_range_is_said_to_know_no_more(tmp_path: Path) -> None:
    """The day's highest value is then no highest value; the sheet of a DHT22 ends at 80 °C."""
    record = HandRecord(tmp_path)
    record.stretch("00:00", "06:00", temperature=70.0, sensors={"canopy": 70.0, "inlet": 30.0})
    record.stretch("06:00", "08:30", temperature=80.0, sensors={"canopy": 80.0, "inlet": 30.0})
    review = record.review()
    assert review.quality.beyond_range == {"canopy": 150.0}
    assert (
        "Sensor canopy stood at the end of its range for 2 h 30 min: how much hotter it was is not "
        "known."
    ) in quality_sentences(review)


def test_alarms_and_how_long_they_were_active(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("09:00", "15:00")
    record.event("10:00", "alarm.raised", "error", alarm="too_hot", priority="high")
    record.event("10:20", "alarm.acknowledged", alarm="too_hot")
    record.event("11:30", "alarm.cleared", alarm="too_hot")
    # It stood an hour before it was raised: from then on every command counts.
    record.event(
        "14:00", "alarm.raised", "error", alarm="fan", priority="high", began_ms=record.at("13:00")
    )
    hot, fan = record.review().alarms
    assert (fan.start_ms, hot.start_ms) == (record.at("13:00"), record.at("10:00"))
    assert (hot.minutes, hot.is_active, hot.acknowledged_ms) == (90.0, False, record.at("10:20"))
    assert (fan.minutes, fan.is_active) == (120.0, True)
    shown = shown_in_every_form(record)
    assert "too hot (high), active for 1 h 30 min, acknowledged 10:20" in shown


def test_a_lamp_cut_again_and_again_is_said_first_and_its_alarms_are_counted(
    tmp_path: Path,
) -> None:
    """Its own half-hours, which made a screen of 117 alarms, and no word of the dark."""
    record = HandRecord(tmp_path)
    for hour in range(10, 14):
        record.event(f"{hour}:00", "lamp.cut", temperature_c=36.0)
        record.event(f"{hour}:00", "alarm.raised", alarm="lamp_cut", priority="high", title="cut")
        record.stretch(f"{hour}:00", f"{hour}:30", temperature=24.0, lit=False)
        record.event(f"{hour}:30", "lamp.restored", temperature_c=24.0)
        record.event(f"{hour}:31", "alarm.cleared", alarm="lamp_cut")
        record.stretch(f"{hour}:30", f"{hour + 1}:00", temperature=24.0)
    shown = " ".join(shown_in_every_form(record).split())
    assert "The lamp was cut for heat 4 times, for 2 h." in shown
    assert "lamp lit 2 h, by the config's hours, cut for heat 4 times, for 2 h" in shown
    assert "cut (high) 4 times, 2 h 4 min together, the longest from 10:00 for 31 min" in shown
    assert "10:00 cut (high), active for" not in shown


def test_overrides_with_start_length_reason_and_effect(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    hot = {"rule": "too_hot", "quantity": "temperature", "unit": "°C"}
    record.stretch("11:00", "12:00", temperature=26.0)
    record.stretch("12:00", "12:40", temperature=24.0, speed=1.0, rule="too_hot")
    record.event("11:50", "override.delayed", value=25.2, limit=25.0, **hot)
    record.event("11:55", "override.engaged", value=25.4, limit=25.0, **hot)
    record.event("12:00", "override.locked_out", value=25.4, limit=25.0, **hot)
    record.event("12:10", "override.resumed", value=25.4, limit=25.0, **hot)
    record.event("12:40", "override.released", value=24.0, limit=25.0, **hot)
    record.event("12:50", "override.engaged", value=25.4, limit=25.0, **hot)
    record.stretch("12:40", "13:00", temperature=26.5)
    first, second = record.review().overrides
    assert (first.minutes, first.locked_out_minutes, first.ended) == (45.0, 10.0, "released")
    assert (first.before, first.after, first.extreme) == (26.0, 24.0, 26.0)
    assert (second.minutes, second.ended) == (10.0, "stands")
    assert "11:55, 45 min: too hot" in shown_in_every_form(record)


def test_an_override_that_engaged_long_ago_and_still_sets_the_speed_is_listed(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    hot = {"rule": "too_hot", "quantity": "temperature", "unit": "°C"}
    humid = {"rule": "too_humid", "quantity": "humidity", "unit": "%"}
    week_ago_ms = record.at("12:00") - 7 * 86_400_000
    record.writer.event(week_ago_ms, "override.engaged", "info", value=25.4, limit=25.0, **hot)
    record.event("11:10", "override.engaged", value=81.0, limit=80.0, **humid)
    record.event("11:40", "override.released", value=75.0, limit=80.0, **humid)
    record.stretch("11:00", "12:00", temperature=26.0, speed=0.8, rule="too_hot")
    first, second = record.review().overrides
    assert (first.rule, first.value, first.deciding_minutes) == ("too_hot", 25.4, 60.0)
    assert (second.rule, second.minutes) == ("too_humid", 30.0)


def test_an_override_locked_out_for_a_week_is_listed_though_it_sets_no_speed(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    hot = {"rule": "too_hot", "quantity": "temperature", "unit": "°C"}
    week_ago_ms = record.at("12:00") - 7 * 86_400_000
    for name in ("override.engaged", "override.locked_out"):
        record.writer.event(week_ago_ms, name, "info", value=25.4, limit=25.0, **hot)
    record.stretch("11:00", "12:00", temperature=26.0, in_fan_hours=False, locked_out=True)
    review = record.review()
    (override,) = review.overrides
    assert (override.rule, override.minutes, override.locked_out_minutes) == (
        "too_hot",
        720,
        720,
    )
    (excursion,) = review.excursions
    assert "outside_fan_hours" not in {cause.code for cause in excursion.causes}


def test_overrides_without_events_come_from_the_rules(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    (override,) = record.review().overrides
    assert (override.rule, override.minutes) == ("too_hot", 180.0)


def test_a_config_that_cannot_be_read_is_reported(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.writer.config(record.at("09:00"), "tent: [what is this", "unknown")
    record.stretch("10:00", "11:00", temperature=26.0)
    review = record.review()
    assert review.quality.configs_unreadable == 1
    assert review.figures.temperature.minutes.above == 60.0  # by the present bands
    assert "cannot be read by this version" in shown_in_every_form(record)


def test_markup_in_names_stays_text(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("test tent", "</script><b>&\"'"))
    record.stretch("10:00", "11:00")
    record.event("10:00", "config.rejected", "warning", path="<img src=x>")
    with open_source(record.loaded, record.path, Asked()) as source:
        review = build(source, record.loaded.settings)
        series = read_series(source, 288)
        page = render_page(review, series, *find_chart_events(source, review, 12))
    assert "<b>" not in page and "<img" not in page
    assert page.count("</script>") == 2


def test_no_record_is_one_line(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    with pytest.raises(UserError, match="no record yet"):
        open_source(record.loaded, tmp_path / "nowhere.sqlite3", Asked())


def test_a_damaged_record_is_one_line(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    record.writer.close()
    data = bytearray(record.path.read_bytes())
    data[3000:-500] = b"\xa5" * (len(data) - 3500)
    record.path.write_bytes(data)
    with pytest.raises(UserError, match="cannot read"):  # noqa: SIM117
        with open_source(record.loaded, record.path, Asked(day="2013-07-18")) as source:
            build(source, record.loaded.settings)


def test_the_newest_day_is_the_last_readings(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("20:00", "24:00")  # ends at the very midnight that begins the 19th
    assert record.review(Asked()).period.days[0].date.isoformat() == "2013-07-18"
    assert headline(record.review(Asked())).startswith("Thursday 18 July 2013")


def test_two_writers_configs_of_the_same_text_are_read_once(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.writer.close()
    with RecordWriter(record.path, durable=False) as writer:
        writer.config(record.at("09:00"), CONFIG, record.loaded.sha256)
        writer.reading(reading(record.at("10:00")))
    assert record.review().quality.configs_unreadable == 0


def test_an_event_that_a_power_cut_scrambled_stops_nothing(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "11:00")
    record.event("10:00", "fan.changed", speed=0.5, was=0.0)
    record.event("10:10", "override.engaged", rule="too_hot", quantity="temperature")
    record.writer.close()
    with contextlib.closing(sqlite3.connect(record.path)) as connection, connection:
        connection.execute("UPDATE events SET data = '{\"speed\": 0.' || char(0)")
    assert record.review().figures.fan.starts == 1
    shown_in_every_form(record)
