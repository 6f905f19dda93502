"""The headline and its companions: the true reason first, and no more than the record shows."""

import sqlite3
from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, loaded

from controller.review.deviations import Deviation
from controller.review.excursions import Cause
from controller.review.main_cause import main_cause
from controller.review.open_record import Asked
from controller.review.views.cause_words import cause_words
from controller.review.views.headline import also, headline
from controller.review.views.quality_words import quality_sentences


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


def test_a_short_stall_is_not_why_a_hot_room_made_a_hot_day(record: HandRecord) -> None:
    hot = {"temperature": 28.0, "speed": 1.0, "intake_temperature_c": 26.0, "rule": "too_hot"}
    record.stretch("10:00", "20:00", fan_rpm=2400.0, **hot)
    record.stretch("20:00", "20:40", fan_rpm=0.0, **hot)
    record.stretch("20:40", "24:00", temperature=22.0)
    review = record.review()
    assert "the intake air was hotter than the band" in headline(review)
    assert also(review)[0] == "The fan was commanded but did not turn for 40 min (20:00–20:40)."


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


def test_a_few_minutes_too_hot_are_not_what_a_humid_day_was_like(record: HandRecord) -> None:
    record.stretch("10:00", "10:03", temperature=26.0)
    record.stretch("10:03", "18:00", humidity=78.0)
    record.stretch("18:00", "24:00")
    assert "7 h 57 min too humid" in headline(record.review())
    warned = CONFIG.replace("targets:\n", "targets:\n  heat_warning: 25.5 °C\n")
    with sqlite3.connect(record.path) as connection:
        connection.execute("UPDATE configs SET sha256 = 'another', yaml = ?", (warned,))
    connection.close()
    assert "3 min too hot" in headline(record.review())


def test_hot_intake_air_comes_before_little_missing_air_and_after_much(record: HandRecord) -> None:
    record.stretch("10:00", "20:00", temperature=28.0, intake_temperature_c=26.0)
    record.stretch("20:00", "24:00")
    review = record.review()
    (hot,) = (e for e in review.excursions if e.quantity == "temperature")
    ends = hot.start_ms, hot.end_ms
    for rise_k, first in ((2.5, "intake_too_hot"), (4.5, "less_air_than_expected")):
        less = Cause("less_air_than_expected", 300.0, *ends, rise_k, None, (0.5, 2.0))
        causes = [*(c for c in hot.causes if c.code != less.code), less]
        hot.causes[:] = causes
        main = main_cause(review, ("temperature", "above"))
        assert main is not None
        assert main.code == first


def test_a_hold_is_not_dated_from_when_it_began_to_matter(record: HandRecord) -> None:
    held = {"speed": 0.2, "rule": "manual_hold"}
    record.stretch("10:00", "12:00", **held)
    record.stretch("12:00", "14:00", temperature=28.0, **held)
    record.stretch("14:00", "24:00", **held)
    assert headline(record.review()).endswith("; the fan was held by hand")


def test_hours_without_the_daemon_are_called_so(record: HandRecord) -> None:
    record.stretch("10:00", "13:00")
    record.event("16:01", "daemon.started", away_s=10_860.0)
    record.stretch("16:01", "20:00")
    record.stretch("20:20", "24:00")  # a gap without a start
    sentences = also(record.review())
    assert sentences[0].startswith("lungwort did not run for 3 h 1 min (13:00–16:01): ")
    assert sentences[1] == "No trustworthy reading for 20 min."


def test_a_clock_that_was_wrong_is_told(record: HandRecord) -> None:
    record.stretch("10:00", "24:00")
    record.event("11:00", "clock.stepped", by_s=7200.0)
    record.event("12:00", "clock.stepped", by_s=-2.0)
    (told,) = (sentence for sentence in also(record.review()) if "clock" in sentence)
    assert told.startswith("The clock was wrong: it stepped forward by 2 h at 11:00. ")


def test_a_reason_that_ended_before_its_excursion_is_given_with_its_end(
    record: HandRecord,
) -> None:
    hot = {"temperature": 26.0, "rule": "too_hot"}
    record.stretch("10:00", "14:00", speed=1.0, **hot)
    record.stretch("14:00", "15:00", **hot | {"rule": "other"})
    record.stretch("15:00", "24:00")
    assert headline(record.review()).endswith("commanded to full speed from 10:00 to 14:00")


def test_a_reason_is_not_told_twice_in_full(record: HandRecord) -> None:
    full = {"speed": 1.0, "rule": "too_hot"}
    record.stretch("10:00", "12:00", temperature=27.0, humidity=75.0, **full)
    record.stretch("12:00", "16:00", temperature=27.0, **full)
    record.stretch("16:00", "24:00")
    review = record.review()
    assert headline(review).endswith("the fan was already commanded to full speed from 10:00")
    assert "Too humid for 2 h (up to 75 %): the main reason again from 10:00." in also(review)


def test_a_reason_that_held_in_many_short_excursions_has_no_length(record: HandRecord) -> None:
    """All eight minutes, though the excursion that bridges their gaps is longer."""
    cold = {"temperature": 20.0, "intake_temperature_c": 18.0}
    for start in ("10:00", "10:04", "10:08", "10:12"):
        clock = [f"10:{int(start[3:]) + n:02}" for n in (0, 2, 4)]
        record.stretch(clock[0], clock[1], **cold)
        record.stretch(clock[1], clock[2], intake_temperature_c=18.0)
    record.stretch("10:16", "16:00")
    record.stretch("16:00", "16:25", temperature=20.0, intake_temperature_c=18.0)
    record.stretch("16:25", "24:00")
    review = record.review()
    assert review.figures.temperature.minutes.below == 33.0
    short = next(e for e in review.excursions if e.side == "below")
    through = Cause("held_by_hand", 14.0, short.start_ms, short.end_ms)
    assert cause_words(review, through, [short]).startswith("fan held by hand for 8 min")
    assert headline(review).endswith("33 min too cold; the intake air was colder than the band")


def little_rise(record: HandRecord, observed_k: float) -> Deviation:
    ends = record.at("10:00"), record.at("14:00")
    return Deviation("little_rise", *ends, observed_k, 3.6, 5.0, compared_with="config")


def test_a_tent_that_reads_colder_than_its_intake_air_is_not_called_open(
    record: HandRecord,
) -> None:
    """A dark lamp brings a tent to its intake's temperature, not four kelvins below."""
    record.stretch("10:00", "24:00")
    review = record.review()
    open_tent, cold = (
        review._replace(deviations=(little_rise(record, by_k),)) for by_k in (0.3, -3.6)
    )
    assert "it was open, or the lamp dark or dimmed" in headline(open_tent)
    assert "The tent was open" in also(open_tent)[0]
    assert "the tent read colder than the air that it draws in" in headline(cold)
    assert "3.6 K below the intake air, 3.6 K or more above it expected" in also(cold)[0]
    assert "hang the tent's and the intake's sensor side by side" in also(cold)[0]


def test_a_lamp_dark_in_its_hours_and_warm_out_of_them_may_keep_others(record: HandRecord) -> None:
    """The tent is told to compare the hours, rather than to look for a heater."""
    record.stretch("10:00", "24:00")
    ends = record.at("00:00"), record.at("05:00")
    warm = Deviation("heat_while_dark", *ends, 4.7, -1.0, 0.04, compared_with="config")
    review = record.review()
    alone = also(review._replace(deviations=(warm,)))[0]
    assert "Look whether the lamp is lit at night" in alone
    assert "0.0 K" not in alone
    both = also(review._replace(deviations=(warm, little_rise(record, 0.3))))[0]
    assert "first compare its timer's hours with the config's" in both


def test_time_that_a_clock_jumped_over_is_not_called_without_reading(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "08:00")
    record.event("11:00", "clock.stepped", by_s=10_800.0)
    record.stretch("11:00", "24:00")
    review = record.review()
    assert review.figures.temperature.minutes.missing == 180.0
    (clock,) = (sentence for sentence in also(review) if "clock" in sentence)
    assert clock.endswith(" 3 h of the missing time it jumped over.")
    assert not any("No trustworthy reading" in sentence for sentence in also(review))
    assert "the clock jumped over 3 h of it" in quality_sentences(review)[0]


def test_time_that_came_twice_is_said_where_the_sums_differ_by_it(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "20:00")
    record.event("17:00", "clock.stepped", by_s=-10_800.0)
    start_ms = record.at("17:00") + 30_000
    record.span(start_ms, record.at("24:00") - 30_000)
    review = record.review()
    assert review.figures.fan.hours == pytest.approx(27.0, abs=0.02)
    assert review.figures.temperature.minutes.within == pytest.approx(1440.0, abs=1.0)
    (clock,) = (sentence for sentence in also(review) if "clock" in sentence)
    assert clock.endswith(
        " 3 h came twice: hours in and out of band count them once, fan, lamp, energy and excess "
        "twice."
    )


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
