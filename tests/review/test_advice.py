"""Suggestions: only what a replay has shown, with its number."""

import argparse
import datetime as dt
import math
from pathlib import Path
from types import SimpleNamespace

import pytest
from review_records import CONFIG, HandRecord

from controller.commands import rehearse
from controller.review import replays
from controller.review.advice import Advice, advise, suggestion_words
from controller.review.build import Asked, build, open_source
from controller.review.changes import changes
from controller.review.figures import Minutes
from controller.review.words import KINDS
from controller.settings import Settings, load_settings

# A tent whose fan is held back: the room is cool, more air would do.
WEAK = CONFIG.replace("speed: 100 %", "speed: 45 %").replace("day_speed: 50 %", "day_speed: 30 %")
WEAK = WEAK.replace("power: 150 W", "power: 250 W").replace("driver: simulated", "driver: dht22")
WEAK = (
    WEAK.replace("{name: canopy,", "{name: canopy, pin: 4,")
    .replace("  - {name: shelf, role: tent, driver: dht22}\n", "")
    .replace("{name: inlet,", "{name: inlet, pin: 17,")
)

# One whose lamp gives next to no heat.
COOL = WEAK.replace("power: 250 W", "power: 20 W")


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A config and the record of three rehearsed days in cool air."""
    folder = tmp_path_factory.mktemp("advice")
    weather = ["time_utc,temperature_c,dew_point_c"]
    start = dt.datetime(2013, 7, 1)
    for hour in range(24 * 5):
        warm = 18.0 + 3.0 * math.sin((hour - 9) / 24 * 2 * math.pi)
        weather.append(f"{(start + dt.timedelta(hours=hour)).isoformat()}Z,{warm:.2f},11.0")
    (folder / "cool.csv").write_text("\n".join(weather) + "\n", encoding="utf-8")
    config = folder / "weak.yaml"
    config.write_text(WEAK, encoding="utf-8")
    record = folder / "weak.sqlite3"
    parser = argparse.ArgumentParser()
    rehearse.add(parser.add_subparsers())
    args = parser.parse_args(
        ["rehearse", str(config), "--weather", str(folder / "cool.csv"), "--from", "2013-07-02",
         "--days", "2", "--record", str(record)]
    )  # fmt: skip
    assert args.run(args) == 0
    return config, record


def test_what_a_replay_shows_to_help_is_suggested_with_its_number(
    rehearsed: tuple[Path, Path],
) -> None:
    config, record = rehearsed
    loaded = load_settings(config)
    with open_source(loaded, record, Asked(day="2013-07-03")) as source:
        review = build(source, loaded.settings)
        found = advise(source, review).suggestions
    assert review.figures.temperature.minutes.above > 120.0
    assert [one.minutes_saved for one in found] == sorted(
        (one.minutes_saved for one in found), reverse=True
    )
    by_key = {one.key: one for one in found}
    speed = by_key["overrides.temperature.speed"]
    assert (speed.was, speed.to) == ("45 %", "100 %")
    assert 60.0 < speed.minutes_saved <= 1440.0
    assert speed.fan_kwh_more is not None and speed.fan_kwh_more > 0.0
    assert speed.model_error_k < 1.5
    assert "45 % → 100 % would have cut" in suggestion_words(review, speed)
    # What it costs elsewhere stands beside it.
    dear = speed._replace(worse=(("humidity", "below", 154.0),))
    assert "at the price of 2 h 34 min more of too dry" in suggestion_words(review, dear)
    assert dear.as_json()["worse"] == [
        {"quantity": "humidity", "side": "below", "minutes_more": 154.0}
    ]


def test_nothing_is_suggested_without_intake_readings(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    record.stretch("00:00", "24:00", temperature=27.0)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert (found.suggestions, found.tried) == ((), 0)
    assert "without readings of the intake air" in found.note


def test_nothing_is_suggested_where_the_model_strays(tmp_path: Path) -> None:
    """A tent at 40 °C in air of 15 °C is not the tent of the config."""
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 15.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "24:00", temperature=40.0, speed=1.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert (found.suggestions, found.tried) == ((), 0)
    assert "the simulated tent strays" in found.note


def test_a_day_in_band_needs_no_advice(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("06:00", "22:00", **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert found == Advice(note="Nothing: no quantity left its band for half an hour a day.")


def test_where_no_setting_helps_that_is_said_with_the_reason(tmp_path: Path) -> None:
    """A tent in air of 30 °C: the tent follows it, whatever the fan does."""
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 30.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, humidity=66.0, speed=0.5, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert (found.suggestions, found.tried) == ((), 0)
    assert found.note == (
        "Too hot: the intake air was hotter than the band for 24 h: no flow of such air can bring "
        "the tent into the band, cooler intake air can."
    )
    # What the record shows to be beyond all settings, replays show as well.
    settings = record.loaded.settings
    with open_source(record.loaded, record.path, Asked()) as source:
        review = build(source, settings)
        lived = replays.as_lived(settings, review.period, replays.intake_air(source))
    was = replays.replay(settings, lived).outcome.minutes("temperature").above
    tried = [change.apply(settings) for change in changes(settings, "temperature", "above")]
    hot = [r.outcome.minutes("temperature").above for r in replays.replay_each(tried, lived)]
    assert was > 1400.0 and min(hot) > 0.9 * was


def test_nothing_is_said_of_what_the_model_does_not_show(tmp_path: Path) -> None:
    """A model that is near in the mean may be on the other side of a limit all day."""
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 24.2, "intake_humidity_pct": 60.0}
    record.stretch("00:00", "24:00", temperature=25.2, humidity=64.0, speed=0.5, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert found.suggestions == ()
    assert "Nothing is said of" in found.note


@pytest.mark.parametrize(("quantity", "side"), [("temperature", "above"), ("temperature", "below")])
def test_every_change_leads_to_valid_settings(quantity: str, side: str, tmp_path: Path) -> None:
    settings = HandRecord(tmp_path).loaded.settings
    tried = list(changes(settings, quantity, side))
    assert tried
    for change in tried:
        changed = change.apply(settings)
        assert changed != settings
        assert type(settings).model_validate(changed.model_dump()) == changed


def test_the_note_counts_only_what_was_replayed_in_vain(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Heat that nothing cures, and damp that one change does."""

    class Run(SimpleNamespace):
        def minutes(self, quantity: str) -> Minutes:
            above = {"temperature": 1440.0, "humidity": self.damp}
            return Minutes(above=above.get(quantity, 0.0))

    def replay(settings: Settings, lived: object) -> object:
        damp = 1440.0 if settings.schedule.night_speed == 0.0 else 700.0
        run = Run(damp=damp, fan=SimpleNamespace(energy_kwh=0.1))
        return SimpleNamespace(outcome=run, error_k=0.1, error_pct=1.0)

    monkeypatch.setattr("controller.review.advice.replay", replay)
    monkeypatch.setattr(
        "controller.review.advice.replay_each",
        lambda configs, lived: [replay(settings, lived) for settings in configs],
    )
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 22.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, humidity=85.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    assert [one.key for one in found.suggestions] == ["schedule.night_speed"]
    in_vain = len(list(changes(record.loaded.settings, "temperature", "above")))
    assert found.tried > in_vain
    assert found.note.startswith(f"Too hot: none of {in_vain} changes replayed")


def test_what_the_record_shows_beyond_all_settings_is_not_replayed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hot intake air for all but a few minutes of the heat: only the damp is replayed."""
    asked: list[Settings] = []

    class Run(SimpleNamespace):
        def minutes(self, quantity: str) -> Minutes:
            return Minutes(above={"temperature": 1440.0, "humidity": 1440.0}.get(quantity, 0.0))

    def replay(settings: Settings, lived: object) -> object:
        asked.append(settings)
        run = Run(fan=SimpleNamespace(energy_kwh=0.1))
        return SimpleNamespace(outcome=run, error_k=0.1, error_pct=1.0)

    monkeypatch.setattr("controller.review.advice.replay", replay)
    monkeypatch.setattr(
        "controller.review.advice.replay_each",
        lambda configs, lived: [replay(settings, lived) for settings in configs],
    )
    record = HandRecord(tmp_path, COOL)
    air = {"temperature": 30.2, "humidity": 85.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "01:00", intake_temperature_c=22.0, **air)
    record.stretch("01:00", "24:00", intake_temperature_c=30.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(source, build(source, record.loaded.settings))
    damp = len(list(changes(record.loaded.settings, "humidity", "above")))
    assert found.tried == damp and len(asked) == damp + 1
    assert found.note.startswith("Too hot: the intake air was hotter than the band for 23 h: ")
    assert f"Too humid: none of {damp} changes replayed" in found.note


def test_several_cores_replay_to_the_same_result(
    rehearsed: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    config, record = rehearsed
    loaded = load_settings(config)
    configs = [change.apply(loaded.settings) for change in changes(loaded.settings, *KINDS[0])]
    assert len(configs) >= 6
    with open_source(loaded, record, Asked(day="2013-07-03")) as source:
        review = build(source, loaded.settings)
        lived = replays.as_lived(loaded.settings, review.period, replays.intake_air(source))
    found = []
    for cores in (1, 3):
        monkeypatch.setattr(replays, "_cores", lambda cores=cores: cores)
        found.append(replays.replay_each(configs, lived))
    for one, other in zip(*found, strict=True):
        assert one.error_k == other.error_k
        assert one.outcome.fan.energy_j == other.outcome.fan.energy_j
        for quantity in ("temperature", "humidity", "vpd"):
            assert one.outcome.minutes(quantity) == other.outcome.minutes(quantity)
