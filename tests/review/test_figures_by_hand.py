"""A day built by hand: every figure is worked out here, on paper, not by the product."""

from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, known_day

from controller.display import power
from controller.review.open_record import Asked
from controller.review.report import Review
from simulators.fan import Fan


@pytest.fixture(scope="module")
def review(tmp_path_factory: pytest.TempPathFactory) -> Review:
    record = HandRecord(tmp_path_factory.mktemp("known"))
    known_day(record)
    return record.review()


def test_minutes_below_in_and_above_are_exact(review: Review) -> None:
    minutes = review.figures.temperature.minutes
    # 06-08 at 20 °C under a band from 21; 12-15 at 27 over 25; 22-24 at 23 over the night's 22.
    assert (minutes.below, minutes.above) == (120.0, 180.0 + 120.0)
    assert minutes.within == 1440.0 - 120.0 - 300.0
    assert minutes.missing == 0.0


def test_day_and_night_are_counted_apart(review: Review) -> None:
    of = review.figures.temperature
    assert (of.day.minutes.below, of.day.minutes.above) == (120.0, 180.0)
    assert (of.night.minutes.below, of.night.minutes.above) == (0.0, 120.0)
    assert of.day.minutes.all == 16 * 60.0
    assert of.night.minutes.all == 8 * 60.0


def test_means_are_weighted_by_time(review: Review) -> None:
    of = review.figures.temperature
    lit = 2 * 20.0 + 4 * 23.0 + 3 * 27.0 + 7 * 24.0
    dark = 6 * 18.0 + 2 * 23.0
    assert of.mean == pytest.approx((lit + dark) / 24)
    assert of.day.mean == pytest.approx(lit / 16)
    assert of.night.mean == pytest.approx(dark / 8)


def test_extremes_come_with_their_time(review: Review) -> None:
    of = review.figures.temperature
    assert (of.lowest, of.highest) == (18.0, 27.0)
    assert of.lowest_ms is not None and of.highest_ms is not None
    assert review.period.clock(of.lowest_ms) == "00:01"
    assert review.period.clock(of.highest_ms) == "12:01"


def test_degree_hours_add_up(review: Review) -> None:
    assert review.figures.degree_hours_above == pytest.approx(3 * 2.0 + 2 * 1.0)
    assert review.figures.degree_hours_below == pytest.approx(2 * 1.0)


def test_humidity_and_vpd_have_their_own_bands(review: Review) -> None:
    assert review.figures.humidity.minutes.below == 180.0
    assert review.figures.vpd.minutes.above == 180.0


def test_fan_hours_starts_and_reasons(review: Review) -> None:
    fan = review.figures.fan
    assert fan.hours == pytest.approx(10 / 60 + 16.5)
    assert fan.starts == 2  # the purge at 02:00 and the window at 05:45
    assert fan.minutes_by_rule == {"purge": 10.0, "schedule": 13.5 * 60, "too_hot": 180.0}
    assert fan.mean_speed == pytest.approx((10 / 60 + 3.0 + 0.5 * 13.5) / 24)


def test_energy_follows_the_fan_laws(review: Review) -> None:
    """Power ~ speed³ (fan laws): 20 W at half speed is 2.5 W."""
    energy = review.figures.energy
    assert energy.fan_kwh == pytest.approx((2.5 * 13.5 + 20 * (3 + 10 / 60)) / 1000)
    assert energy.lamp_kwh == pytest.approx(150 * 16 / 1000)
    assert energy.always_on_kwh == pytest.approx(20 * 24 / 1000)
    # The window is open from 05:45 to 22:15.
    assert energy.schedule_kwh == pytest.approx(2.5 * 16.5 / 1000)
    assert energy.fan_cost == pytest.approx(0.30 * (energy.fan_kwh or 0))
    assert energy.lamp_cost == pytest.approx(0.72)


def test_power_that_is_not_given_is_what_a_rehearsal_takes(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("power: 20 W, free", "free"))
    record.stretch("10:00", "11:00", speed=1.0)
    energy = record.review().figures.energy
    fan = Fan(record.loaded.settings, density_kg_m3=1.2)
    assert energy.assumed_fan_w == fan.power_w(1.0)
    assert energy.fan_kwh == pytest.approx(fan.power_w(1.0) / 1000)
    assert f"fan.power isn't given; {power(fan.power_w(1.0))}" in fan.notes[0]


def test_power_is_unknown_where_nothing_tells_of_the_fan(tmp_path: Path) -> None:
    told = "power: 20 W, free_flow: 187 m³/h, max_pressure: 150 Pa"
    record = HandRecord(tmp_path, CONFIG.replace(f"18, {told}", "18"))
    record.stretch("10:00", "11:00", speed=1.0)
    energy = record.review().figures.energy
    assert (energy.fan_kwh, energy.fan_cost, energy.assumed_fan_w) == (None, None, None)


def test_speed_while_on_counts_not_the_mean_over_the_interval(tmp_path: Path) -> None:
    """Half a minute at full speed draws full power for half a minute, not an eighth for one."""
    record = HandRecord(tmp_path)
    from controller.record.rows import ReadingRow

    record.writer.reading(
        ReadingRow(
            at_ms=record.at("10:00"), interval_s=60.0, tent_temperature_c=23.0, fan_speed=0.5,
            fan_on_s=30.0, lamp_on=True, lamp_on_s=60.0, in_fan_hours=True, rule="schedule",
        )
    )  # fmt: skip
    review = record.review()
    assert review.figures.energy.fan_kwh == pytest.approx(20 * 30 / 3.6e6)
    assert review.figures.fan.hours == pytest.approx(30 / 3600)


def test_each_reading_is_judged_by_the_config_of_its_time(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "11:00", temperature=26.0)
    record.config(record.at("11:00"), CONFIG.replace("[21 °C, 25 °C]", "[21 °C, 27 °C]"))
    record.stretch("11:00", "12:00", temperature=26.0)
    review = record.review()
    assert review.figures.temperature.minutes.above == 60.0
    assert review.figures.temperature.minutes.within == 60.0
    assert len(review.quality.config_changes_ms) == 1


def test_limits_belong_to_the_band(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "10:30", temperature=25.0)
    record.stretch("10:30", "11:00", temperature=21.0)
    assert record.review().figures.temperature.minutes.within == 60.0


def test_several_days_add_up_to_their_sum(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "34:00", temperature=26.0)
    review = record.review(Asked(first="2013-07-18", last="2013-07-19"))
    first, second = review.counted.days
    assert (first.temperature.minutes.above, second.temperature.minutes.above) == (840.0, 600.0)
    assert review.figures.temperature.minutes.above == 1440.0
    assert review.figures.fan.hours == pytest.approx(first.fan.hours + second.fan.hours)


def test_a_price_that_changes_counts_from_then_on(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "11:00", speed=1.0)
    record.config(record.at("11:00"), CONFIG.replace("price: 0.30", "price: 0.60"))
    record.stretch("11:00", "12:00", speed=1.0)
    assert record.review().figures.energy.fan_cost == pytest.approx(0.02 * 0.30 + 0.02 * 0.60)


def test_starts_between_two_readings_are_known_from_events(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("10:00", "11:00", speed=1.0)
    record.event("10:00", "fan.changed", speed=1.0, was=0.0, rule="schedule")
    record.event("10:30", "fan.changed", speed=0.0, was=1.0, rule="too_cold")
    record.event("10:30", "fan.changed", speed=1.0, was=0.0, rule="schedule")
    record.event("10:40", "fan.changed", speed=0.5, was=1.0, rule="schedule")
    assert record.review().figures.fan.starts == 2
