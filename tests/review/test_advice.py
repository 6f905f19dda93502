"""Advice: only what replays have shown, on the days around as well, with its price."""

from __future__ import annotations

import datetime as dt
import itertools
import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import jsonschema
import pytest
from rehearsed_records import FIRST, IntakeAir, swinging, write_record
from review_records import CONFIG, HandRecord

from controller.config import Loaded, Settings, settings_from_text
from controller.config.lookup import fields, markers
from controller.config.quantities import QuantityRange
from controller.config.section import Section
from controller.record import ReadingRow
from controller.review.advice import (
    Advice,
    advice_on,
    advise,
    hold_notes,
    is_unlike_the_config,
    lacks_air,
    worth_asking,
)
from controller.review.candidates import candidates
from controller.review.changes import SettingChange
from controller.review.compare import MINUTES_PER_KWH, compared, gain_min, is_harm, is_worth_it
from controller.review.daily_light import light_wanted
from controller.review.deviations import Deviation
from controller.review.excursions import KINDS, Kind
from controller.review.open_record import Asked, open_source
from controller.review.report import Review, build
from controller.review.views.advice_words import advice_words, suggestion_words
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document
from controller.review.what_if import Days, ReplayedDay, read_days, what_if
from controller.tent_physics import TentPhysics
from simulators.fan import Fan
from simulators.rehearsal import rehearse, scene_in
from simulators.rehearsal.recorded import Knot, RecordedAir
from simulators.rehearsal.recorded_errors import RecordedErrors, intervals, recorded_errors

HOT: Kind = ("temperature", "above")
VPD_HIGH: Kind = ("vpd", "above")

BASE = """\
tent: {name: advised, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Rome}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, power: 20 W, free_flow: 187 m³/h, max_pressure: 150 Pa}
duct: {diameter: 10 cm, length: 2 m, bends: 1, arrangement: both_outside}
schedule: {pre_run: 15 min, run_on: 15 min, day_speed: 60 %, night_speed: 0 %}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: inlet, role: intake, driver: dht22, pin: 17}
targets:
  day: {temperature: [21 °C, 26 °C], humidity: [40 %, 70 %], vpd: [0.6 kPa, 1.6 kPa]}
  night: {temperature: [16 °C, 24 °C], humidity: [40 %, 80 %], vpd: [0.3 kPa, 1.6 kPa]}
overrides: {}
crop: {kind: pepper, plants: 4, stage: fruiting}
energy: {price: 0.30, currency: EUR}
"""


def config(*pairs: tuple[str, str]) -> str:
    text = BASE
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return text


class Rehearsed(NamedTuple):
    """A record of rehearsed days, and which of them is reviewed."""

    path: Path
    loaded: Loaded
    asked: Asked

    def review(self) -> tuple[Review, Advice]:
        if self.path not in _REVIEWS:
            with open_source(self.loaded, self.path, self.asked) as source:
                review = build(source, self.loaded.settings)
                _REVIEWS[self.path] = review, advice_on(source, review)
        return _REVIEWS[self.path]


# What came of each record, since several tests look at the same one.
_REVIEWS: dict[Path, tuple[Review, Advice]] = {}


def rehearsed(folder: Path, text: str, air: IntakeAir, days: int, bias_k: float = 0.0) -> Rehearsed:
    """The last of some days, reviewed."""
    loaded = settings_from_text(text)
    path = folder / "record.sqlite3"
    write_record(path, loaded, air, days, bias_k)
    return Rehearsed(path, loaded, Asked(day=str(FIRST + dt.timedelta(days=days - 1))))


# Days that a fan held back to 60 % keeps in band, but for the last, which is dry.
HELD = config(
    ("overrides: {}",
     "overrides: {vpd: {reduced_speed: 60 %, speed: 30 %}, temperature: {reduced_speed: 60 %}, "
     "humidity: {reduced_speed: 60 %, speed: 30 %}}"),
)  # fmt: skip


def dry_at_last(day: int, hour: float) -> tuple[float, float]:
    """Three kelvin cooler and moister on the seven days before the last, most on two of them."""
    swing = 1.5 * math.sin((hour - 9.0) / 24.0 * math.tau)
    return (24.0 + swing, 42.0) if day == 7 else (21.0 + swing, 68.0 if day in (2, 5) else 66.0)


@pytest.fixture(scope="module")
def dry(tmp_path_factory: pytest.TempPathFactory) -> Rehearsed:
    return rehearsed(tmp_path_factory.mktemp("dry"), HELD, dry_at_last, 8)


# A tent that is out of its band day and night, whatever is done with that air.
BAKED = config(
    ("150 W", "300 W"),
    ("day_speed: 60 %", "day_speed: 30 %"),
    ("[21 °C, 26 °C]", "[17 °C, 20 °C]"),
    ("[16 °C, 24 °C]", "[16 °C, 20 °C]"),
    ("overrides: {}", "overrides: {temperature: {speed: 40 %}}"),
)


@pytest.fixture(scope="module")
def baked(tmp_path_factory: pytest.TempPathFactory) -> Rehearsed:
    return rehearsed(tmp_path_factory.mktemp("baked"), BAKED, swinging(21.5, 1.0, 55.0), 2)


def test_less_air_that_helps_its_day_and_harms_the_days_around_is_not_offered(
    dry: Rehearsed,
) -> None:
    with open_source(dry.loaded, dry.path, dry.asked) as source:
        days = read_days(source)
        replays = what_if(source, days)
    assert replays is not None and len(days.around) == 7
    less = {
        change.to: change
        for change in candidates(days, VPD_HIGH)
        if change.key == "schedule.day_speed"
    }["30 %"]
    own = compared(replays.before, replays.reviewed(less))
    around = compared(replays.before_around, replays.around(less))
    # On the day itself it is the best there is; three kelvin cooler it is not.
    assert is_worth_it(own, VPD_HIGH, 10.0) and own[0].minutes_more[VPD_HIGH] < -120.0
    assert sum(day.out_more_min for day in around) > 2.5 * -own[0].out_more_min
    assert is_harm([*own, *around])

    review, advice = dry.review()
    assert worth_asking(review)[0] == VPD_HIGH
    assert not any(
        (one.change.key, one.change.to) == ("schedule.day_speed", "30 %")
        for one in advice.suggestions
    )


def test_a_milder_step_is_tried_and_reported_with_the_peak_it_costs(dry: Rehearsed) -> None:
    review, advice = dry.review()
    (one,) = [one for one in advice.suggestions if one.change.key == "schedule.day_speed"]
    assert (one.change.was, one.change.to) == ("60 %", "45 %")
    assert one.highest_peak_more_k > 0.1
    assert f"the peak up to {one.highest_peak_more_k:.1f} K higher" in suggestion_words(review, one)


def test_the_reported_range_is_that_of_replays_made_anew(dry: Rehearsed) -> None:
    """The same days run once more by other code than the review's: see `run_anew`."""
    review, advice = dry.review()
    (one,) = [one for one in advice.suggestions if one.change.key == "schedule.day_speed"]
    settings = dry.loaded.settings
    slower = settings.changed(schedule=settings.schedule.changed(day_speed=0.45))
    more = {
        date: (after[0] - before[0], after[1] - before[1])
        for (date, before), (_, after) in zip(
            run_anew(dry, settings), run_anew(dry, slower), strict=True
        )
    }
    assert {day.date: day.out_more_min for day in one.days} == pytest.approx(
        {date: minutes for date, (minutes, _) in more.items()}, abs=3.0
    )
    assert len(one.days) == len(more) == 8
    # A day that hardly changes may be on either side.
    for count, harm in ((one.days_better, -1.0), (one.days_worse, 1.0)):
        least, most = (
            sum(harm * weighted >= n for _, weighted in more.values()) for n in (8.0, 2.0)
        )
        assert least <= count <= most
    text = suggestion_words(review, one)
    assert f"better on {one.days_better} of 8 days judged" in text
    worst = max(minutes for minutes, _ in more.values())
    match = re.search(r"worse on (\d+), at worst \+(?:(\d+) h )?(\d+) min \((.*?)\)", text)
    assert match is not None and int(match[1]) == one.days_worse > 0
    assert 60 * int(match[2] or 0) + int(match[3]) == pytest.approx(worst, abs=3.0)
    assert match[4] in ("Wed 3 Jul", "Sat 6 Jul")


def run_anew(
    record: Rehearsed, settings: Settings
) -> Iterator[tuple[dt.date, tuple[float, float]]]:
    """Minutes and weighted minutes out of band by day; the reviewed day's errors for all days."""
    physics = TentPhysics.from_settings(settings)
    fan = Fan(settings, physics.density_kg_m3)
    zone = dt.timezone(dt.timedelta(hours=2))  # Rome in July
    with open_source(record.loaded, record.path, record.asked) as source:
        rows = list(source.reader.readings(0, 1 << 60))
    midnights = [
        dt.datetime.combine(FIRST + dt.timedelta(days=n), dt.time(), zone).timestamp()
        for n in range(9)
    ]
    errors = errors_of(rows, midnights[7] - 3 * 3600.0, record.loaded.settings)
    for start_s, end_s in itertools.pairwise(midnights):
        knots = list(means_of_ten_minutes(rows, start_s - 3 * 3600.0, end_s))
        intake = RecordedAir(iter(knots), physics.pressure_pa)
        scene = scene_in(settings, physics, intake, (), fan)
        before_s = start_s - math.floor((start_s - knots[0].at_s) / 60.0) * 60.0
        if before_s < start_s:
            rehearse(settings, scene, before_s, start_s, errors=errors)
        outcome = rehearse(settings, scene, start_s, end_s, errors=errors)
        minutes = weighted = 0.0
        for name, unit in (("temperature", 1.0), ("humidity", 5.0), ("vpd", 200.0)):
            counted = outcome.minutes(name)
            minutes += counted.below + counted.above
            weighted += counted.below + counted.above
            weighted += 60.0 * (counted.hours_below + counted.hours_above) / unit
        yield dt.datetime.fromtimestamp(start_s, zone).date(), (minutes, weighted)


def errors_of(rows: list[ReadingRow], first_s: float, settings: Settings) -> RecordedErrors:
    physics = TentPhysics.from_settings(settings)
    replays = [row for row in rows if row.at_ms / 1000.0 > first_s + 300.0]
    fan = Fan(settings, physics.density_kg_m3)
    return recorded_errors(intervals(replays), settings, physics, fan)


def means_of_ten_minutes(rows: list[ReadingRow], from_s: float, until_s: float) -> Iterator[Knot]:
    parts: dict[int, list[ReadingRow]] = {}
    for row in rows:
        if from_s < row.at_ms / 1000.0 <= until_s:
            parts.setdefault(int((row.at_ms - 1 - from_s * 1000.0) // 600_000), []).append(row)
    for _, part in sorted(parts.items()):
        yield Knot(
            sum(row.at_ms / 1000.0 - 0.5 * row.interval_s for row in part) / len(part),
            sum(row.intake_temperature_c or 0.0 for row in part) / len(part),
            sum(row.intake_humidity_pct or 0.0 for row in part) / len(part),
            None,
            None,
        )


def test_a_tent_out_of_band_all_the_time_is_advised_by_degree_hours(baked: Rehearsed) -> None:
    review, advice = baked.review()
    assert review.figures.temperature.minutes.above == pytest.approx(1440.0, abs=5.0)
    settings = [one for one in advice.suggestions if not one.change.is_plan]
    assert [one.change.key for one in settings][:2] == [
        "overrides.temperature.speed", "schedule.day_speed",
    ]  # fmt: skip
    for one in settings:
        assert abs(one.minutes_saved) < 5.0 < one.hours_saved
        assert f"{one.hours_saved:.1f} K h less too hot" in suggestion_words(review, one)
    hours = [one.hours_saved for one in settings]
    assert hours == sorted(hours, reverse=True)
    assert any("hotter than the band for 24 h" in line for line in advice_words(review, advice))


def test_the_document_has_all_that_the_sentences_have(baked: Rehearsed) -> None:
    review, advice = baked.review()
    written = document(review, advice=advice)
    jsonschema.Draft202012Validator(schema()).validate(written)
    assert [one["key"] for one in written["suggestions"]] == [
        one.change.key for one in advice.suggestions
    ]
    for entry in written["suggestions"]:
        assert entry["days_judged"] == 2 >= entry["days_better"] + entry["days_worse"]
        assert entry["cost_more"] == pytest.approx(
            0.30 * (entry["fan_kwh_more"] + entry["lamp_kwh_more"]), abs=1e-3
        )


def test_plans_stand_behind_settings_and_say_what_they_assume(baked: Rehearsed) -> None:
    review, advice = baked.review()
    plans = [one.change.is_plan for one in advice.suggestions]
    assert any(plans) and plans == sorted(plans)
    sentences = advice_words(review, advice)
    assert any("A plan, intake air 3.0 K cooler" in line for line in sentences)
    assert any("assumed, not measured" in line for line in sentences)


def test_a_biased_sensor_does_not_silence_advice(tmp_path: Path) -> None:
    """A tent's sensor that reads 0.8 K too high, and one that does not, in the same air."""
    text = config(
        ("150 W", "300 W"),
        ("day_speed: 60 %", "day_speed: 30 %"),
        ("[21 °C, 26 °C]", "[20 °C, 24 °C]"),
        ("overrides: {}", "overrides: {temperature: {speed: 45 %}}"),
    )
    air = swinging(20.0, 1.5, 55.0)
    results = []
    for bias_k in (0.0, 0.8):
        folder = tmp_path / f"{bias_k}"
        folder.mkdir()
        review, advice = rehearsed(folder, text, air, 1, bias_k).review()
        results.append((review.figures.temperature.minutes.above, advice))
    (sound_min, sound), (biased_min, biased) = results
    assert biased_min > sound_min + 120.0
    assert biased.bias_k - sound.bias_k == pytest.approx(0.8, abs=0.1)
    for advice in (sound, biased):
        assert "overrides.temperature.speed" in [one.change.key for one in advice.suggestions]
        assert advice.error_k < 0.5
    assert f"{biased.bias_k:.1f} K above" in advice_words(review, biased)[-1]


def test_lamp_hours_move_to_the_cool_night_with_the_light_they_give(tmp_path: Path) -> None:
    text = config(
        ("[21 °C, 26 °C]", "[18 °C, 26 °C]"),
        ("[16 °C, 24 °C]", "[16 °C, 28 °C]"),
        ("[0.6 kPa, 1.6", "[0.4 kPa, 2.2"),
        ("[0.3 kPa, 1.6", "[0.3 kPa, 2.2"),
    )
    review, advice = rehearsed(tmp_path, text, swinging(22.0, 5.0, 55.0), 1).review()
    one = advice.suggestions[0]
    assert one.change.key == "lamp.photoperiod"
    on, off = (int(part[:2]) for part in one.change.to.split("–"))
    assert (off - on) % 24 == 16 and not on <= 15 < off  # as long, and dark in the afternoon
    assert one.minutes_saved > 120.0 and one.peak_more_k < 0.0
    sentence = suggestion_words(review, one)
    light = re.search(r"daily light integral about (\d+) mol/m²", sentence)
    # 150 W for 16 h at 2.4 µmol/J, 85 % of it on 0.64 m²: see `plants.LAMP_EFFICACY`.
    assert light is not None and int(light[1]) == round(150 * 57600 * 2.4e-6 * 0.85 / 0.64)
    assert "check that your crop's flowering allows it" in sentence
    assert "set the lamp's own timer" in sentence


def test_a_timed_flush_is_offered_where_stale_nights_are_too_humid(tmp_path: Path) -> None:
    text = config(
        ("drive: pwm", "drive: relay"),
        ("day_speed: 60 %", "day_speed: 100 %"),
        ("overrides: {}", "overrides: {humidity: {delay: 60 min}, vpd: {delay: 60 min}}"),
        ("[40 %, 80 %], vpd: [0.3 kPa", "[40 %, 70 %], vpd: [0.5 kPa"),
    )  # fmt: skip
    _, advice = rehearsed(tmp_path, text, swinging(20.0, 1.0, 50.0), 1).review()
    keys = {one.change.key: one for one in advice.suggestions}
    purge = keys["schedule.purge"]
    assert purge.kind == ("humidity", "above") and purge.minutes_saved > 60.0
    assert purge.change.was == "none" and purge.change.to.startswith("10 min every ")
    assert purge.change.settings.schedule.purge is not None


@pytest.mark.parametrize("crop", ["pepper", "lettuce"])
def test_light_is_never_shortened_below_the_crops(crop: str, tmp_path: Path) -> None:
    """At 80 W fourteen hours give 13 mol/m² a day: enough for lettuce, too little for peppers."""
    text = config(("150 W", "80 W"), ("kind: pepper", f"kind: {crop}"))
    record = HandRecord(tmp_path, text)
    record.stretch("00:00", "24:00", intake_temperature_c=25.0, intake_humidity_pct=50.0)
    with open_source(record.loaded, record.path, Asked()) as source:
        tried = list(candidates(read_days(source), HOT))
    shorter = [
        change.light.best
        for change in tried
        if change.key == "lamp.photoperiod" and change.light is not None
    ]
    assert all(light >= light_wanted(crop) for light in shorter)
    assert bool(shorter) == (crop == "lettuce")


class NoErrors(NamedTuple):
    """A model that is all but the tent."""

    mean_k: float = 0.0
    spread_k: float = 0.1
    mean_pct: float = 0.0
    spread_pct: float = 1.0


class FakeWhatIf:
    """Days whose outcomes are told beforehand, by settings."""

    def __init__(
        self, days: Days, outcome: Callable[[Settings], tuple[dict[Kind, float], float]]
    ) -> None:
        self.days = days
        self.settings = days.settings
        self.errors = NoErrors()
        self.before_around: list[ReplayedDay] = []
        self._outcome = outcome
        self._known: set[tuple[str, str]] = set()
        self.before = [self._replayed(days.settings)]

    @property
    def count(self) -> int:
        return len(self._known)

    def reviewed(self, change: SettingChange) -> list[ReplayedDay]:
        self._known.add((change.key, change.to))
        return [self._replayed(change.settings)]

    def around(self, change: SettingChange) -> list[ReplayedDay]:
        return []

    def _replayed(self, settings: Settings) -> ReplayedDay:
        minutes, kwh = self._outcome(settings)
        every = {kind: minutes.get(kind, 0.0) for kind in KINDS}
        return ReplayedDay(FIRST, every, dict.fromkeys(KINDS, 0.0), 30.0, 0.0, kwh, 2.4)


def faked(
    record: HandRecord, outcome: Callable[[Settings], tuple[dict[Kind, float], float]]
) -> tuple[Review, Advice, FakeWhatIf]:
    with open_source(record.loaded, record.path, Asked()) as source:
        review = build(source, record.loaded.settings)
        fake = FakeWhatIf(read_days(source), outcome)
        return review, advise(review, fake), fake  # type: ignore[arg-type]


@pytest.mark.parametrize(("kwh", "offered"), [(0.1, True), (1.0, False)])
def test_a_small_gain_for_much_energy_is_not_offered(
    kwh: float, offered: bool, tmp_path: Path
) -> None:
    """Fifty minutes are worth a tenth of a kilowatt-hour, not a whole one."""
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 22.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "18:00", **air)
    record.stretch("18:00", "24:00", temperature=26.0, **air)

    def outcome(settings: Settings) -> tuple[dict[Kind, float], float]:
        if settings.schedule.day_speed == 1.0:
            return {HOT: 310.0}, 0.2 + kwh
        return {HOT: 360.0}, 0.2

    assert MINUTES_PER_KWH == 60.0
    review, advice, _ = faked(record, outcome)
    assert [one.change.key for one in advice.suggestions] == ["schedule.day_speed"] * offered
    if offered:
        sentence = suggestion_words(review, advice.suggestions[0])
        assert sentence.startswith(
            "schedule.day_speed 50 % → 100 %: 50 min less too hot, "
            "for 0.10 kWh (0.030 EUR) more; no other day is recorded"
        )


def test_the_note_counts_only_what_was_replayed_in_vain(tmp_path: Path) -> None:
    """Heat that nothing cures, and damp that one change does."""
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 22.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, humidity=85.0, **air)
    damp: Kind = ("humidity", "above")

    def outcome(settings: Settings) -> tuple[dict[Kind, float], float]:
        is_airy = settings.schedule.night_speed == 0.5
        return {HOT: 1440.0, damp: 700.0 if is_airy else 1440.0}, 0.1

    _, advice, fake = faked(record, outcome)
    assert [one.change.key for one in advice.suggestions] == ["schedule.night_speed"]
    in_vain = len(list(candidates(fake.days, HOT)))
    assert advice.tried > in_vain
    assert f"Too hot: none of {in_vain} changes replayed" in advice.note


def test_no_advice_where_the_days_as_configured_are_not_those_recorded(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 22.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, **air)
    _, advice, _ = faked(record, lambda _: ({HOT: 400.0}, 0.1))
    assert advice.suggestions == ()
    assert advice.note.endswith(
        "Nothing is said of too hot: there the simulated tent strays from the recorded one."
    )


def test_more_time_in_harmful_heat_is_harm_whatever_is_gained() -> None:
    every = dict.fromkeys(KINDS, 100.0)
    before = ReplayedDay(FIRST, every, dict.fromkeys(KINDS, 0.0), 30.0, 10.0, 0.1, 2.4)
    after = before._replace(minutes=dict.fromkeys(KINDS, 0.0))
    assert not is_harm(compared([before], [after]))
    assert is_harm(compared([before], [after._replace(warning_min=12.0)]))


def test_a_gain_counts_how_far_out_beside_how_long() -> None:
    """An hour at one kelvin too much is twice an hour at the limit."""
    none = dict.fromkeys(KINDS, 0.0)
    before = ReplayedDay(FIRST, {**none, HOT: 60.0}, {**none, HOT: 1.0}, 27.0, 0.0, 0.1, 2.4)
    after = before._replace(hours=none)
    assert gain_min(compared([before], [after]), HOT) == pytest.approx(60.0)


def advised(record: HandRecord) -> Advice:
    with open_source(record.loaded, record.path, Asked()) as source:
        return advice_on(source, build(source, record.loaded.settings))


def test_nothing_is_suggested_without_an_intake_sensor(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("role: intake", "role: tent"))
    record.stretch("00:00", "24:00", temperature=27.0)
    advice = advised(record)
    assert (advice.suggestions, advice.tried) == ((), 0)
    assert "without readings of the intake air" in advice.note


def test_too_little_intake_air_is_called_that(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "04:00", temperature=27.0, **air)
    assert "where nine tenths of its intake air are known" in advised(record).note
    assert "less was recorded" in advised(record).note


def test_a_day_that_goes_on_is_not_told_to_lack_intake_air(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "12:00", temperature=27.0, **air)
    note = advise(record.review(now_ms=record.at("12:00")), None).note
    assert note == "Not worked out yet: a day is replayed once nine tenths of it are recorded."


def test_days_before_today_are_replayed_while_today_goes_on(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "60:00", temperature=27.0, **air)
    with open_source(record.loaded, record.path, Asked(length="3d")) as source:
        assert len(source.period.days) == 3
        assert len(read_days(source).reviewed) == 2


@pytest.mark.parametrize(("tent_c", "intake_c"), [(40.0, 15.0), (26.0, 32.0)])
def test_nothing_is_suggested_where_the_model_strays(
    tent_c: float, intake_c: float, tmp_path: Path
) -> None:
    """No tent of this config is at 40 °C in air of 15 °C, and none is cooler than its intake."""
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": intake_c, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "24:00", temperature=tent_c, speed=1.0, **air)
    advice = advised(record)
    assert (advice.suggestions, advice.tried) == ((), 0)
    assert "he simulated tent strays by" in advice.note


def test_a_fan_that_did_not_turn_is_seen_to_before_any_change(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 15.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "24:00", temperature=40.0, speed=1.0, fan_rpm=0.0, **air)
    advice = advised(record)
    assert advice.note.startswith("First find out why the fan did not turn (above): the simulated")


def test_a_day_in_band_needs_no_advice(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("06:00", "22:00", **air)
    assert advised(record) == Advice(
        note="Nothing: no quantity left its band for half an hour a day."
    )


def is_in_bounds(section: Section) -> bool:
    """Whether every quantity is one that a config could hold."""
    for info in fields(type(section)).values():
        value = getattr(section, info.name)
        bounds = next((mark for mark in markers(info) if isinstance(mark, QuantityRange)), None)
        for part in value if isinstance(value, tuple) else (value,):
            if isinstance(part, Section) and not is_in_bounds(part):
                return False
            if isinstance(part, float) and bounds and not bounds.low <= part <= bounds.high:
                return False
    return True


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("purge", ["", ", purge: {every: 2 h, length: 5 min}"])
def test_every_change_leads_to_valid_settings(kind: Kind, purge: str, tmp_path: Path) -> None:
    text = config(
        ("night_speed: 0 %", f"night_speed: 30 %{purge}"),
        ("187 m³/h", "60 m³/h"),
        ("150 W", "300 W"),
    )
    record = HandRecord(tmp_path, text)
    for hour in range(24):
        warm = 20.0 + 4.0 * math.sin((hour - 9.0) / 24.0 * math.tau)
        record.stretch(
            f"{hour:02d}:00",
            f"{hour + 1:02d}:00",
            intake_temperature_c=warm,
            intake_humidity_pct=50.0,
        )
    with open_source(record.loaded, record.path, Asked()) as source:
        days = read_days(source)
    tried = list(candidates(days, kind))
    assert tried
    for change in tried:
        assert change.settings != days.settings or change.cooler_k > 0.0
        assert is_in_bounds(change.settings)
    if kind == HOT:
        assert {"lamp.photoperiod", "fan.free_flow", "cooler intake air"} <= {
            change.key for change in tried
        }


def day_of(minutes: float, hours: float) -> ReplayedDay:
    """A replayed day that was too hot for so long and by so many K·h."""
    nothing = dict.fromkeys(KINDS, 0.0)
    return ReplayedDay(FIRST, nothing | {HOT: minutes}, nothing | {HOT: hours}, 28.0, 0.0, 0.1, 2.4)


def test_a_forgotten_hold_is_what_to_change_first(tmp_path: Path) -> None:
    """By hand: 120 min at 2 K are 4 K h; a replay of 30 min and 0.5 K h spares 90 min and 3.5."""
    record = HandRecord(tmp_path)
    record.stretch("08:00", "12:00", speed=0.2, rule="manual_hold")
    record.stretch("12:00", "14:00", temperature=27.0, speed=0.2, rule="manual_hold")
    record.stretch("14:00", "24:00")
    review = record.review()
    replays: Any = SimpleNamespace(before=[day_of(30.0, 0.5)])
    (note,) = hold_notes(review, [HOT], replays)
    assert note == (
        "The fan was held by hand for 6 h: left to the config it would have been 1 h 30 min and "
        "3.5 K h less too hot (replayed). `lungwort release` ends a hold."
    )
    replays.before = [day_of(119.0, 3.9)]
    assert list(hold_notes(review, [HOT], replays)) == []


def test_a_lamp_that_was_not_as_configured_is_to_be_seen_to_first(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("08:00", "24:00")
    review = record.review()
    for minutes, is_unlike in ((20, False), (40, True)):
        ends = record.at("08:00"), record.at("08:00") + 60_000 * minutes
        lit = Deviation("heat_while_dark", *ends, 5.0, 0.0, 1.0)
        assert is_unlike_the_config(review._replace(deviations=(lit,))) is is_unlike


def test_air_that_did_not_come_is_named_before_what_was_replayed_with_all_of_it(
    tmp_path: Path,
) -> None:
    """In a tent as learned the fan is known, whatever it moves."""
    record = HandRecord(tmp_path)
    record.stretch("08:00", "12:00")
    record.stretch("12:00", "13:00", temperature=27.0, speed=1.0, fan_rpm=0.0)
    record.stretch("13:00", "24:00")
    review = record.review()
    for learned, is_short in ((None, True), (object(), False)):
        replays: Any = SimpleNamespace(days=SimpleNamespace(model=SimpleNamespace(learned=learned)))
        assert lacks_air(review, replays) is is_short
    assert not lacks_air(review._replace(fan_stalls=()), replays)
