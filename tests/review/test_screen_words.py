"""Excursions as a reader sees them: like ones together, nothing lost."""

from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, loaded

from controller.review.report import Review
from controller.review.views.cause_words import override_effect
from controller.review.views.excursion_list import choose_entries, grouped_excursions


@pytest.fixture
def review(tmp_path: Path) -> Review:
    """A hot afternoon, and air too dry for ten minutes every two hours."""
    record = HandRecord(tmp_path)
    for hour in range(0, 24, 2):
        record.stretch(f"{hour:02}:00", f"{hour:02}:10", vpd=1700.0 + hour, rule="purge")
        warm = 26.0 if 13 <= hour <= 16 else 23.0
        record.stretch(f"{hour:02}:10", f"{hour + 2:02}:00", temperature=warm)
    return record.review()


def test_short_spells_alike_are_one_entry(review: Review) -> None:
    listed, rest = choose_entries(grouped_excursions(review), 8)
    assert rest == []
    titles = [one.title(review) for one in listed]
    assert titles[0] == (
        "00:00–22:10 VPD too high 12 times, 2 h together, the longest 10 min, up to 1.72 kPa"
    )
    assert titles[1:] == ["14:10–16:00 too hot, 1 h 50 min, up to 26.0 °C",
                          "16:10–18:00 too hot, 1 h 50 min, up to 26.0 °C"]  # fmt: skip


def test_the_causes_of_an_entry_are_added_up(review: Review) -> None:
    listed, _ = choose_entries(grouped_excursions(review), 8)
    assert listed[0].causes(review)[0] == "purge for 2 h in all"


@pytest.mark.parametrize("most", [1, 2, 8])
def test_no_spell_is_lost(review: Review, most: int) -> None:
    listed, rest = choose_entries(grouped_excursions(review), most)
    assert len(listed) == min(most, 3)
    flattened = [excursion for one in listed for excursion in one.excursions] + rest
    assert sorted(map(id, flattened)) == sorted(map(id, review.excursions))


def test_an_override_that_never_ruled_the_fan_says_so(tmp_path: Path) -> None:
    """Air too dry in a tent too hot: the override stands, but the fan isn't slowed for it."""
    record = HandRecord(tmp_path)
    dry = {"rule": "too_dry", "quantity": "vpd", "value": 1700.0, "limit": 1600.0, "unit": "Pa"}
    for start, until, rule in (("06:00", "07:00", "schedule"), ("08:00", "09:00", "too_dry")):
        record.event(start, "override.engaged", **dry)
        record.stretch(start, until, vpd=1700.0, rule=rule)
        record.event(until, "override.released", **dry)
    review = record.review()
    assert [one.deciding_minutes for one in review.overrides] == [0.0, 60.0]
    first, second = (override_effect(review, one) for one in review.overrides)
    assert first == "1.70 kPa → 1.70 kPa, never set the fan's speed"
    assert second == "1.70 kPa → 1.70 kPa"


def test_an_override_across_two_readings_is_not_reported_as_never_deciding(tmp_path: Path) -> None:
    """Each reading bears the rule that ruled longest, so a minute of each may be lost."""
    record = HandRecord(tmp_path)
    record.stretch("06:00", "07:00", vpd=1700.0, rule="schedule")
    dry = {"rule": "too_dry", "quantity": "vpd", "value": 1700.0, "limit": 1600.0, "unit": "Pa"}
    for start, until in (("06:10", "06:12"), ("06:20", "06:23")):
        record.event(start, "override.engaged", **dry)
        record.event(until, "override.released", **dry)
    review = record.review()
    short, long = (override_effect(review, one) for one in review.overrides)
    assert "never set the fan's speed" not in short
    assert "never set the fan's speed" in long


def test_readings_are_as_long_as_the_config_in_force_had_them(tmp_path: Path) -> None:
    """Readings of a minute; the config has been changed to one an hour since."""
    record = HandRecord(tmp_path)
    record.stretch("06:00", "09:00", vpd=1700.0, rule="schedule")
    dry = {"rule": "too_dry", "quantity": "vpd", "value": 1700.0, "limit": 1600.0, "unit": "Pa"}
    record.event("06:10", "override.engaged", **dry)
    record.event("07:50", "override.released", **dry)
    record.loaded = loaded(CONFIG + "record: {interval: 1 h}\n")
    assert record.loaded.settings.record.interval_s == 3600.0
    (one,) = (override_effect(record.review(), one) for one in record.review().overrides)
    assert one.endswith("never set the fan's speed")
