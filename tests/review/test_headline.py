"""The headline and its companions: the true reason first, and no more than the record shows."""

from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, loaded

from controller.review.open_record import Asked
from controller.review.views.headline import also, headline


@pytest.fixture
def record(tmp_path: Path) -> HandRecord:
    made = HandRecord(tmp_path)
    made.stretch("00:00", "06:00", lit=False, temperature=18.0, speed=0.0)
    made.stretch("06:00", "10:00")
    return made


def test_a_stalled_fan_is_reported_before_hot_intake_air(record: HandRecord) -> None:
    hot = {"temperature": 28.0, "speed": 1.0, "intake_temperature_c": 26.0, "rule": "too_hot"}
    record.stretch("10:00", "20:00", fan_rpm=2400.0, **hot)
    record.stretch("20:00", "21:00", fan_rpm=0.0, **hot)
    record.stretch("21:00", "24:00", temperature=22.0)
    review = record.review()
    assert headline(review).endswith("the fan was commanded but did not turn from 20:00")
    assert also(review)[0] == "The fan was commanded but did not turn for 1 h (20:00–21:00)."


def test_more_air_is_called_useless_only_where_the_override_was_withheld(
    record: HandRecord,
) -> None:
    """Intake air above the band but cooler than the tent still cools it."""
    hot = {"temperature": 28.0, "intake_temperature_c": 26.0}
    record.stretch("10:00", "12:00", **hot)
    record.stretch("12:00", "24:00")
    assert headline(record.review()).endswith("so more air could not have helped enough")
    override = {"rule": "too_hot", "quantity": "temperature"}
    record.event("10:00", "override.engaged", **override)
    record.event("10:01", "override.locked_out", **override)
    record.event("12:00", "override.released", **override)
    assert headline(record.review()).endswith("so more air could not have helped")


def test_a_reason_is_dated_from_the_spell_in_which_it_held_longest(record: HandRecord) -> None:
    full = {"temperature": 26.0, "speed": 1.0, "rule": "too_hot"}
    record.stretch("10:00", "10:05", **full)
    record.stretch("10:05", "13:00")
    record.stretch("13:00", "16:00", **full)
    record.stretch("16:00", "24:00")
    assert headline(record.review()).endswith(
        "the fan was already commanded to full speed from 13:00"
    )


def test_an_intermittent_reason_is_reported_with_its_length(record: HandRecord) -> None:
    """A fan that is switched on and off was not "at full speed from" its first run on."""
    damp = {"humidity": 80.0}
    for quarter in range(16):  # four hours: five minutes on, ten off
        start = 600 + 15 * quarter
        clock = [f"{m // 60:02}:{m % 60:02}" for m in (start, start + 5, start + 15)]
        record.stretch(clock[0], clock[1], speed=1.0, rule="too_humid", **damp)
        record.stretch(clock[1], clock[2], speed=0.0, **damp)
    record.stretch("14:00", "24:00")
    assert headline(record.review()).endswith(
        "the fan was already commanded to full speed for 1 h 20 min of it"
    )


def test_another_tents_record_is_called_so(record: HandRecord) -> None:
    record.stretch("10:00", "24:00")
    assert not any("the config given" in sentence for sentence in also(record.review()))
    record.loaded = loaded(CONFIG.replace("name: test tent", "name: basil"))
    sentences = also(record.review())
    assert "This is the record of test tent; the config given is that of basil." in sentences


def test_hours_without_readings_beside_a_spell_are_no_reason_for_it(record: HandRecord) -> None:
    record.stretch("10:00", "11:00", temperature=26.0, speed=1.0, rule="too_hot")
    record.stretch("11:00", "17:00", temperature=None, humidity=None, vpd=None, rule="failsafe")
    record.stretch("17:00", "18:00", temperature=26.0, speed=1.0, rule="too_hot")
    record.stretch("18:00", "24:00")
    review = record.review()
    assert "already commanded to full speed" in headline(review)
    assert "No trustworthy reading for 6 h." in also(review)


def test_an_empty_day_is_called_empty_once(record: HandRecord) -> None:
    review = record.review(Asked(day="2013-07-20"))
    assert headline(review).endswith("no readings of that day")
    assert also(review) == []


@pytest.mark.parametrize(
    ("crop", "end"),
    [
        ("{kind: pepper, plants: 4, stage: fruiting}", "for 2 h: flowers begin to drop."),
        ("{kind: pepper, plants: 4, stage: seedling}", "for 2 h."),
        ("{kind: basil, plants: 4, stage: flowering}", "for 2 h."),
        ("none", "for 2 h: a fruiting crop begins to drop its flowers."),
    ],
)
def test_heat_costs_flowers_only_where_there_are_some(crop: str, end: str, tmp_path: Path) -> None:
    text = CONFIG.replace("targets:\n", "targets:\n  heat_warning: 27 °C\n") + f"crop: {crop}\n"
    record = HandRecord(tmp_path, text)
    record.stretch("00:00", "12:00")
    record.stretch("12:00", "14:00", temperature=29.0, speed=1.0, rule="too_hot")
    record.stretch("14:00", "24:00")
    (sentence,) = (shown for shown in also(record.review()) if "heat warning" in shown)
    assert sentence == f"Above the heat warning of 27.0 °C {end}"
