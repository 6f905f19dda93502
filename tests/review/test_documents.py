"""JSON as its schema says, CSV as RFC 4180 says."""

import csv
import datetime as dt
import io
import json
from pathlib import Path

import jsonschema
import pytest
from review_records import HandRecord, known_day

from controller.pages.html import prose
from controller.review.open_record import Asked, open_source
from controller.review.report import build
from controller.review.views.csv_view import EVENTS_COLUMNS, READINGS_COLUMNS, write_csv
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document


@pytest.fixture
def record(tmp_path: Path) -> HandRecord:
    made = HandRecord(tmp_path)
    known_day(made)
    hot = {"rule": "too_hot", "quantity": "temperature", "unit": "°C"}
    made.event("12:00", "override.engaged", value=27.0, limit=25.0, **hot)
    made.event("15:00", "override.released", value=24.0, limit=25.0, **hot)
    made.event("16:00", "alarm.raised", "error", alarm="too_hot", priority="high")
    made.event("16:30", "sensor.failed", "warning", sensor="canopy", fault='said "no",\nthen died')
    return made


def as_document(record: HandRecord, asked: Asked) -> dict:
    with open_source(record.loaded, record.path, asked) as source:
        made = document(build(source, record.loaded.settings))
    return json.loads(json.dumps(made))


def test_the_schema_is_one_and_the_document_follows_it(record: HandRecord) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    check = jsonschema.Draft202012Validator(schema(), format_checker=jsonschema.FormatChecker())
    for asked in (Asked(), Asked(length="3d"), Asked(day="2012-01-01")):
        check.validate(as_document(record, asked))


def test_the_documented_keys_hold_the_known_figures(record: HandRecord) -> None:
    made = as_document(record, Asked())
    temperature = made["temperature"]
    assert (temperature["lowest"], temperature["highest"]) == (18.0, 27.0)
    assert temperature["highest_time"] == "2013-07-18T12:01:00+02:00"
    assert (temperature["minutes_below"], temperature["minutes_above"]) == (120.0, 300.0)
    assert (temperature["minutes_in"], temperature["minutes_missing"]) == (1020.0, 0.0)
    assert made["degree_hours_above"] == 8.0
    # 12-15 at 38 % under a band from 40, by VPD of 1.7 kPa.
    assert made["excess"]["temperature"] == {"above_k_h": 8.0, "below_k_h": 2.0}
    assert made["excess"]["humidity"]["below_pct_h"] == pytest.approx(3 * 2.0)
    assert made["fan_starts"] == 2
    assert made["excess"]["vpd"] == {"above_kpa_h": pytest.approx(0.3), "below_kpa_h": 0.0}
    assert made["speed_changes"] == 0  # that record has no events
    assert made["fan_hours"] == pytest.approx(16.6667)
    assert made["energy_kwh"] == pytest.approx((2.5 * 13.5 + 20 * (3 + 10 / 60)) / 1000, abs=1e-6)
    assert made["cost"] == pytest.approx(0.3 * made["energy_kwh"], abs=1e-6)
    assert made["total_energy_kwh"] == pytest.approx(2.4 + made["energy_kwh"], abs=1e-6)
    (override,) = made["overrides"]
    assert (override["start"], override["minutes"]) == ("2013-07-18T12:00:00+02:00", 180.0)
    hot = next(s for s in made["excursions"] if s["start"] == "2013-07-18T12:00:00+02:00"
               and s["quantity"] == "temperature")  # fmt: skip
    assert hot["end"] == "2013-07-18T15:00:00+02:00"
    assert [cause["cause"] for cause in hot["causes"]] == ["fan_at_full_speed"]


def exported(record: HandRecord, what: str, asked: Asked | None = None) -> str:
    out = io.StringIO(newline="")
    with open_source(record.loaded, record.path, asked or Asked()) as source:
        write_csv(source, what, out)  # type: ignore[arg-type]
    return out.getvalue()


def test_readings_as_csv(record: HandRecord) -> None:
    text = exported(record, "readings")
    assert text.count("\r\n") == 1441 and text.replace("\r\n", "").count("\n") == 0
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    assert tuple(rows[0]) == ("time", *READINGS_COLUMNS)
    assert rows[0]["time"] == "2013-07-18T00:01:00+02:00"
    assert rows[-1]["time"] == "2013-07-19T00:00:00+02:00"
    assert float(rows[800]["tent_temperature_c"]) == 27.0
    assert rows[0]["fan_rpm"] == ""


def test_events_as_csv_survive_quotes_and_line_breaks(record: HandRecord) -> None:
    rows = list(csv.DictReader(io.StringIO(exported(record, "events"), newline="")))
    assert tuple(rows[0]) == EVENTS_COLUMNS
    assert [row["name"] for row in rows][:2] == ["override.engaged", "override.released"]
    assert json.loads(rows[-1]["data"])["fault"] == 'said "no",\nthen died'


def test_times_carry_the_offset_of_their_season(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, day=dt.date(2013, 10, 27))
    record.span(record.at("00:00"), record.at("00:00") + 5 * 3_600_000)
    text = exported(record, "readings", Asked(day="2013-10-27"))
    times = [row["time"] for row in csv.DictReader(io.StringIO(text, newline=""))]
    assert "2013-10-27T02:30:00+02:00" in times and "2013-10-27T02:30:00+01:00" in times
    assert len(set(times)) == 300


def test_a_reader_that_has_had_enough_leaves_no_noise(
    record: HandRecord, recwarn: pytest.WarningsRecorder
) -> None:
    class Closed(io.StringIO):
        def write(self, text: str) -> int:
            raise BrokenPipeError

    with (
        pytest.raises(BrokenPipeError),
        open_source(record.loaded, record.path, Asked()) as source,
    ):
        write_csv(source, "readings", Closed())
    assert list(recwarn) == []


def test_no_line_of_the_page_breaks_between_a_number_and_its_unit() -> None:
    shown = prose("93.0 °F at 22:53, 5 h 10 min & 80 %; 2 starts, 3 hot days, 1.2 kWh")
    assert shown == (
        "93.0\u00a0°F at 22:53, 5\u00a0h 10\u00a0min &amp; 80\u00a0%; 2 starts, 3 hot days, "
        "1.2\u00a0kWh"
    )
