"""Tomorrow out of the record: with its age while it is tomorrow, silent with why, or nothing."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.append(str(Path(__file__).parents[1] / "review"))

from review_records import CONFIG, DAY, ROME, HandRecord, at, known_day

from controller.record import RecordReader
from controller.review.views.page.build import render_page
from controller.stored_tomorrow import StoredTomorrow, stored_tomorrow, tomorrow_sentences

NEXT = DAY + dt.timedelta(days=1)
FORESEEN = {
    "date": (NEXT + dt.timedelta(days=1)).isoformat(),
    "sentences": {
        "headline": ["Tomorrow: about 27.0 °C (90 %: 25.0 °C to 29.0 °C)."],
        "tonight": ["Tonight would help: lamp from 20:00 to 12:00."],
        "grounds": ["The tent as learned."],
    },
}


def record_with(folder: Path, tomorrow: dict[str, Any]) -> HandRecord:
    """What the night after a day foresaw."""
    record = HandRecord(folder)
    result = {"refused": "too few days", "tomorrow": tomorrow}
    record.writer.learning(at("03:12", NEXT), result)
    return record


def stored(record: HandRecord, now: str, day: dt.date = NEXT) -> StoredTomorrow | None:
    with RecordReader(record.path) as reader:
        return stored_tomorrow(reader, ROME, at(now, day))


def test_it_is_shown_on_the_page_of_yesterday_with_its_age(tmp_path: Path) -> None:
    record = record_with(tmp_path, FORESEEN)
    known_day(record)
    page = render_page(record.review(now_ms=at("08:12", NEXT)), [], [], 0)
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    for words in (">Tomorrow</h2>", "about 27.0 °C (90 %: 25.0 °C", "lamp from 20:00 to 12:00",
                  "Worked out at 03:12, 5 h ago.", "The tent as learned."):  # fmt: skip
        assert words in page
    assert record.review(now_ms=at("08:12", NEXT + dt.timedelta(days=1))).tomorrow is None


@pytest.mark.parametrize(
    ("now", "day"), [("00:30", NEXT + dt.timedelta(days=1)), ("08:00", NEXT + dt.timedelta(days=9))]
)
def test_a_stale_one_is_not_shown(now: str, day: dt.date, tmp_path: Path) -> None:
    assert stored(record_with(tmp_path, FORESEEN), now, day) is None


@pytest.mark.parametrize(
    "tomorrow",
    [
        {**FORESEEN, "date": NEXT.isoformat()},  # of a record that had stopped
        {**FORESEEN, "sentences": ["of another version"]},
    ],
)
def test_one_of_another_day_or_version_is_not_shown(
    tomorrow: dict[str, Any], tmp_path: Path
) -> None:
    assert stored(record_with(tmp_path, tomorrow), "08:00") is None


def test_a_silent_one_says_why_in_a_line(tmp_path: Path) -> None:
    record = record_with(tmp_path, {"refused": "1.2 days of intake air; ask again later"})
    silent = stored(record, "08:00")
    assert silent is not None
    assert tomorrow_sentences(silent, ROME, at("08:00", NEXT)) == [
        "Tomorrow is not foreseen: 1.2 days of intake air; ask again later."
    ]


def test_a_changed_config_silences_it_and_the_same_one_again_does_not(tmp_path: Path) -> None:
    record = record_with(tmp_path, FORESEEN)
    record.config(at("06:00", NEXT), CONFIG + "learn: on\n")
    silent = stored(record, "08:00")
    assert silent is not None
    assert silent.why_not is not None
    assert silent.why_not.startswith("the config has changed since")
    record.config(at("07:00", NEXT), CONFIG)
    again = stored(record, "08:00")
    assert again is not None
    assert again.why_not is None


def test_a_record_without_one_says_nothing(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    assert stored(record, "08:00") is None
    record.writer.learning(at("03:12", NEXT), {"refused": "of an older version"})
    assert stored(record, "08:00") is None
