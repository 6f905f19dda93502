"""Suggestions: only what a replay has shown, with its number."""

import argparse
import datetime as dt
import errno
import math
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from review_records import CONFIG, HandRecord

from controller.commands import rehearse
from controller.review import replays, trials
from controller.review.advice import Advice, advise, suggestion_words
from controller.review.build import build
from controller.review.changes import Change, changes
from controller.review.conditions import KINDS
from controller.review.opening import Asked, open_source
from controller.review.replays import Replayed
from controller.review.source import Source
from controller.review.trials import begin_trials
from controller.settings import Settings, load_settings
from controller.settings.lookup import fields, markers
from controller.settings.quantities import Quantity
from controller.settings.section import Section

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


def advised(source: Source, settings: Settings) -> Advice:
    """What is advised, as the command does it."""
    trials = begin_trials(source)
    try:
        return advise(build(source, settings), trials)
    finally:
        if trials is not None:
            trials.close()


class FakeTrials:
    """Trials whose outcomes are told beforehand: minutes above the band by quantity."""

    def __init__(self, settings: Settings, above: Callable[[Settings], dict[str, float]]) -> None:
        self.settings = settings
        self._above = above
        self._known: set[Change] = set()

    @property
    def count(self) -> int:
        return len(self._known)

    @property
    def before(self) -> Replayed:
        return self._replayed(self.settings)

    def of(self, asked: Sequence[Change]) -> dict[Change, Replayed]:
        self._known |= set(asked)
        return {change: self._replayed(change.apply(self.settings)) for change in asked}

    def _replayed(self, settings: Settings) -> Replayed:
        above = self._above(settings)
        out_min = {kind: above.get(kind[0], 0.0) * (kind[1] == "above") for kind in KINDS}
        return Replayed(out_min, 0.1, 0.1, 1.0)


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
        with_trials = begin_trials(source)
        assert with_trials is not None
        found = advise(review, with_trials).suggestions
        with_trials.close()
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


def test_nothing_is_suggested_without_an_intake_sensor(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG.replace("role: intake", "role: tent"))
    record.stretch("00:00", "24:00", temperature=27.0)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert (found.suggestions, found.tried) == ((), 0)
    assert "without readings of the intake air" in found.note


def test_too_little_intake_air_is_called_that(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "04:00", temperature=27.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert any(sensor.role == "intake" for sensor in record.loaded.settings.sensors)
    assert "less of it was recorded" in found.note


def test_nothing_is_suggested_where_the_model_strays(tmp_path: Path) -> None:
    """A tent at 40 °C in air of 15 °C is not the tent of the config."""
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 15.0, "intake_humidity_pct": 50.0}
    record.stretch("00:00", "24:00", temperature=40.0, speed=1.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert (found.suggestions, found.tried) == ((), 0)
    assert "the simulated tent strays" in found.note


def test_a_day_in_band_needs_no_advice(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    air = {"intake_temperature_c": 20.0, "intake_humidity_pct": 50.0}
    record.stretch("06:00", "22:00", **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert found == Advice(note="Nothing: no quantity left its band for half an hour a day.")


def test_where_no_setting_helps_that_is_said_with_the_reason(tmp_path: Path) -> None:
    """A tent in air of 30 °C: the tent follows it, whatever the fan does."""
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 30.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, humidity=66.0, speed=0.5, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert (found.suggestions, found.tried) == ((), 0)
    assert found.note == (
        "Too hot: the intake air was hotter than the band for 24 h: no flow of such air can bring "
        "the tent into the band, cooler intake air can."
    )
    # What the record shows to be beyond all settings, replays show as well.
    settings = record.loaded.settings
    with open_source(record.loaded, record.path, Asked()) as source:
        backdrop = replays.backdrop_of(replays.read_days(source))
    was = replays.replay(settings, backdrop).out_min[KINDS[0]]
    tried = [change.apply(settings) for change in changes(settings, "temperature", "above")]
    hot = [one.out_min[KINDS[0]] for one in replays.replay_each(tried, backdrop)]
    assert was > 1400.0 and min(hot) > 0.9 * was


def test_nothing_is_said_of_what_the_model_does_not_show(tmp_path: Path) -> None:
    """A model that is near in the mean may be on the other side of a limit all day."""
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 24.2, "intake_humidity_pct": 60.0}
    record.stretch("00:00", "24:00", temperature=25.2, humidity=64.0, speed=0.5, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert found.suggestions == ()
    assert "Nothing is said of" in found.note


def _is_in_bounds(section: Section) -> bool:
    """Whether every quantity is one that a config could hold."""
    for info in fields(type(section)).values():
        value = getattr(section, info.name)
        bounds = next((mark for mark in markers(info) if isinstance(mark, Quantity)), None)
        for one in value if isinstance(value, tuple) else (value,):
            if isinstance(one, Section) and not _is_in_bounds(one):
                return False
            if isinstance(one, float) and bounds and not bounds.low <= one <= bounds.high:
                return False
    return True


@pytest.mark.parametrize(("quantity", "side"), [("temperature", "above"), ("temperature", "below")])
def test_every_change_leads_to_valid_settings(quantity: str, side: str, tmp_path: Path) -> None:
    settings = HandRecord(tmp_path).loaded.settings
    tried = list(changes(settings, quantity, side))
    assert tried
    for change in tried:
        changed = change.apply(settings)
        assert changed != settings
        assert _is_in_bounds(changed)


def test_the_note_counts_only_what_was_replayed_in_vain(tmp_path: Path) -> None:
    """Heat that nothing cures, and damp that one change does."""
    record = HandRecord(tmp_path, COOL)
    settings = record.loaded.settings

    def above(settings: Settings) -> dict[str, float]:
        damp = 1440.0 if settings.schedule.night_speed == 0.0 else 700.0
        return {"temperature": 1440.0, "humidity": damp}

    air = {"intake_temperature_c": 22.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "24:00", temperature=30.2, humidity=85.0, **air)
    fake = FakeTrials(settings, above)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(build(source, settings), fake)  # type: ignore[arg-type]
    assert [one.key for one in found.suggestions] == ["schedule.night_speed"]
    in_vain = len(list(changes(settings, "temperature", "above")))
    assert found.tried > in_vain
    assert found.note.startswith(f"Too hot: none of {in_vain} changes replayed")


def test_what_the_record_shows_beyond_all_settings_is_not_replayed(tmp_path: Path) -> None:
    """Hot intake air for all but an hour of the heat: only the damp is replayed."""
    record = HandRecord(tmp_path, COOL)
    settings = record.loaded.settings
    air = {"temperature": 30.2, "humidity": 85.0, "intake_humidity_pct": 55.0}
    record.stretch("00:00", "01:00", intake_temperature_c=22.0, **air)
    record.stretch("01:00", "24:00", intake_temperature_c=30.0, **air)
    fake = FakeTrials(settings, lambda _: {"temperature": 1440.0, "humidity": 1440.0})
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advise(build(source, settings), fake)  # type: ignore[arg-type]
    damp = len(list(changes(settings, "humidity", "above")))
    assert found.tried == damp
    assert found.note.startswith("Too hot: the intake air was hotter than the band for 23 h: ")
    assert f"Too humid: none of {damp} changes replayed" in found.note


def test_hot_intake_air_is_not_blamed_where_the_model_strays(tmp_path: Path) -> None:
    """An intake sensor that hangs in the sun: no tent of 26 °C stands in air of 32 °C."""
    record = HandRecord(tmp_path, COOL)
    air = {"intake_temperature_c": 32.0, "intake_humidity_pct": 40.0}
    record.stretch("00:00", "24:00", temperature=26.0, humidity=55.0, **air)
    with open_source(record.loaded, record.path, Asked()) as source:
        found = advised(source, record.loaded.settings)
    assert found.note.startswith("Nothing that could be backed: the simulated tent strays by")


def elsewhere(monkeypatch: pytest.MonkeyPatch, module: Any, *names: str) -> None:
    """Let functions of a module be called in other processes only."""
    here = os.getpid()

    def guarded(real: Callable[..., object], *args: object) -> object:
        assert os.getpid() != here, "left to another process"
        return real(*args)

    for name in names:
        monkeypatch.setattr(module, name, partial(guarded, getattr(module, name)))


def test_several_cores_replay_to_the_same_result(
    rehearsed: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    config, record = rehearsed
    loaded = load_settings(config)
    configs = [change.apply(loaded.settings) for change in changes(loaded.settings, *KINDS[0])]
    with open_source(loaded, record, Asked(day="2013-07-03")) as source:
        backdrop = replays.backdrop_of(replays.read_days(source))
    here: list[int] = []
    real = replays.replay
    monkeypatch.setattr(replays, "replay", lambda *given: here.append(1) or real(*given))
    found = []
    for count in (1, 3):
        monkeypatch.setattr(replays, "cores", lambda count=count: count)
        found.append(replays.replay_each(configs, backdrop))
    assert found[0] == found[1] and len(found[0]) == len(configs) > 3
    # A third of the second time was done here, the rest elsewhere.
    assert len(here) == len(configs) + math.ceil(len(configs) / 3)


@pytest.mark.parametrize(
    "fate", ["no helper", "helper", "killed before", "killed between", "no process to be had"]
)
def test_trials_come_to_the_same_whatever_becomes_of_their_helper(
    fate: str, rehearsed: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A Pi of 512 MB may kill the other process at any time, or have none to give."""
    config, record = rehearsed
    loaded = load_settings(config)
    with open_source(loaded, record, Asked(day="2013-07-03")) as source:
        days = replays.read_days(source)
    asked = list(changes(loaded.settings, *KINDS[0]))[:2]
    backdrop = replays.backdrop_of(days)
    was = replays.replay(loaded.settings, backdrop)
    would_be = [replays.replay(change.apply(loaded.settings), backdrop) for change in asked]
    monkeypatch.setattr(trials, "cores", lambda: 1 if fate == "no helper" else 2)
    if fate == "no process to be had":
        monkeypatch.setattr(os, "fork", no_memory)
    with trials.Trials(days) as one:
        process = None if one._helper is None else one._helper.process
        pid = None if process is None else process.pid
        assert (process is None) == fate.startswith("no ")
        if fate == "helper":
            elsewhere(monkeypatch, trials, "replay", "replay_each")
        if process is not None and fate == "killed before":
            process.kill()
        before = one.before
        if process is not None and fate == "killed between":
            process.kill()
            process.join()
        after = one.of(asked)
    assert before == was
    assert [after[change] for change in asked] == would_be
    assert one.count == 2
    if pid is not None:
        with pytest.raises(ProcessLookupError):
            os.kill(pid, 0)


def no_memory() -> int:
    raise OSError(errno.ENOMEM, os.strerror(errno.ENOMEM))


def test_a_helper_is_let_go_whatever_it_does() -> None:
    helper = replays.begin(lambda pipe: time.sleep(600.0))
    assert helper is not None
    pid = helper.process.pid
    assert pid is not None
    os.kill(pid, 0)
    helper.end()
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_helper_says_nothing_to_the_reader_of_the_review(
    capfd: pytest.CaptureFixture[str],
) -> None:
    def work(pipe: Any) -> None:
        os.write(1, b"a word")
        os.write(2, b"another")
        pipe.send(os.nice(0))
        raise RuntimeError("a third")

    helper = replays.begin(work)
    assert helper is not None
    assert helper.answer() == min(os.nice(0) + 10, 19)  # what runs the tent goes first
    assert helper.answer() is None
    helper.end()
    assert capfd.readouterr() == ("", "")


def test_a_helper_ends_when_who_began_it_is_killed() -> None:
    code = (
        "import os, signal\n"
        "from controller.review import replays\n"
        "helper = replays.begin(lambda pipe: pipe.recv())\n"
        "print(helper.process.pid, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGSTOP)\n"
    )
    parent = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    helper = os.pidfd_open(int(parent.stdout.readline()))
    parent.kill()
    parent.wait()
    parent.stdout.close()
    ended, _, _ = select.select([helper], [], [], 60.0)
    os.close(helper)
    assert ended
