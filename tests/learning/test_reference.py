"""What is usual: the first week since the fan, its duct or its filter last changed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from learning_records import CONFIG, START_S, usual, usually_learned

from controller.config import Settings, settings_from_text
from controller.config.tent_body import ventilated_body
from controller.learning.flow_fall import DAY_S
from controller.learning.learned import Learned
from controller.learning.reference import reference, reference_start_ms
from controller.learning.stored import alike_configs
from controller.record import InlineRecord, ReadingRow, RecordReader

ANOTHER_DUCT = CONFIG.replace("length: 2 m", "length: 5 m")
FRUITING = CONFIG.replace("stage: flowering", "stage: fruiting")


def day_ms(day: float) -> int:
    return round(1000.0 * (START_S + day * DAY_S))


def night(day: float, share: float, days: int = 7) -> dict[str, object]:
    """What the night at the end of a day learned."""
    learned = usually_learned()
    until_s = START_S + day * DAY_S
    known = learned._replace(
        from_s=until_s - days * DAY_S,
        until_s=until_s,
        days=days,
        fitted=learned.fitted._replace(flow_share=share),
    )
    return {"learned": known.as_json()}


class Written:
    """A record that a test writes."""

    def __init__(self, folder: Path, text: str = CONFIG) -> None:
        self.path = folder / "tent.sqlite3"
        self.record = InlineRecord(self.path)
        self.record.config(day_ms(0), text, text)

    def days(self, last: int) -> None:
        """A reading at each end, so that the record spans so long."""
        first = usual()[1][0]
        for day in (0, last):
            self.record.reading(_at(first, day_ms(day) + 60_000))

    def found(self, text: str = CONFIG) -> Learned | None:
        self.record.close()
        settings = settings_from_text(text).settings
        with RecordReader(self.path) as reader:
            return reference(reader, settings, alike(reader, settings), nothing)


def _at(row: ReadingRow, at_ms: int) -> ReadingRow:
    from dataclasses import replace

    return replace(row, at_ms=at_ms)


def alike(reader: RecordReader, settings: Settings) -> frozenset[int]:
    return alike_configs(reader, settings, by=ventilated_body)


def nothing(from_s: float, until_s: float) -> Iterator[ReadingRow]:
    return iter(())


def test_it_is_the_first_whole_week_however_long_ago(tmp_path: Path) -> None:
    written = Written(tmp_path)
    written.days(200)
    written.record.learning(day_ms(4), night(4, 0.8, days=4))
    written.record.learning(day_ms(7), {"refused": "the lamp was never dark"})
    for day in range(8, 200):
        written.record.learning(day_ms(day), night(day, 0.9 if day == 8 else 0.5))
    found = written.found()
    assert found is not None
    assert found.fitted.flow_share == 0.9


def test_it_begins_anew_when_a_person_says_that_the_filter_was_changed(tmp_path: Path) -> None:
    written = Written(tmp_path)
    written.days(40)
    for day in range(7, 20):
        written.record.learning(day_ms(day), night(day, 0.9))
    written.record.event(day_ms(20), "filter.changed", "info")
    for day in range(20, 27):  # their weeks began before
        written.record.learning(day_ms(day), night(day, 0.6))
    written.record.learning(day_ms(27), night(27, 1.0))
    written.record.learning(day_ms(28), night(28, 0.7))
    found = written.found()
    assert found is not None
    assert found.fitted.flow_share == 1.0


@pytest.mark.parametrize(("text", "day"), [(ANOTHER_DUCT, 20), (FRUITING, 0)])
def test_it_begins_anew_with_another_duct_but_not_with_another_crop(
    tmp_path: Path, text: str, day: int
) -> None:
    written = Written(tmp_path)
    written.record.config(day_ms(20), text, text)
    written.record.close()
    settings = settings_from_text(text).settings
    with RecordReader(written.path) as reader:
        start_ms = reference_start_ms(reader, alike(reader, settings))
    assert start_ms == (day_ms(day) if day else 0)


def test_there_is_none_before_the_first_week_is_over(tmp_path: Path) -> None:
    written = Written(tmp_path)
    written.days(5)
    written.record.learning(day_ms(4), night(4, 0.9, days=4))
    assert written.found() is None


def test_a_record_that_nothing_was_learned_in_by_night_tells_it_by_its_first_week(
    tmp_path: Path,
) -> None:
    written = Written(tmp_path)
    written.days(30)
    written.record.close()
    settings, rows = usual()
    asked = []

    def read(from_s: float, until_s: float) -> Iterator[ReadingRow]:
        asked.append(((from_s - START_S) / DAY_S, (until_s - START_S) / DAY_S))
        return iter(rows)

    with RecordReader(written.path) as reader:
        found = reference(reader, settings, alike(reader, settings), read)
    assert found is not None
    assert asked == [pytest.approx((0.0, 7.0), abs=0.01)]
    assert found.fitted == pytest.approx(usually_learned().fitted)
