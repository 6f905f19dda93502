"""Spells as a reader is told of them: like ones together, nothing lost."""

from pathlib import Path

import pytest
from review_records import HandRecord

from controller.review.build import Review
from controller.review.told import chosen, told_spells


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
    told, rest = chosen(told_spells(review), 8)
    assert rest == []
    titles = [one.title(review) for one in told]
    assert titles[0] == (
        "00:00–22:10 VPD too high 12 times, 2 h together, the longest 10 min, up to 1.72 kPa"
    )
    assert titles[1:] == ["14:10–16:00 too hot, 1 h 50 min, up to 26.0 °C",
                          "16:10–18:00 too hot, 1 h 50 min, up to 26.0 °C"]  # fmt: skip


def test_the_causes_of_an_entry_are_added_up(review: Review) -> None:
    told, _ = chosen(told_spells(review), 8)
    assert told[0].causes(review)[0] == "timed flush for 2 h in all"


@pytest.mark.parametrize("most", [1, 2, 8])
def test_no_spell_is_lost(review: Review, most: int) -> None:
    told, rest = chosen(told_spells(review), most)
    assert len(told) == min(most, 3)
    found = [spell for one in told for spell in one.spells] + rest
    assert sorted(map(id, found)) == sorted(map(id, review.spells))
