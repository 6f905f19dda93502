"""`lungwort replay`, `compare` and `sweep`."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsal_commands import CONFIG, Run, config_file, runner

from controller.__main__ import main
from controller.commands.sweep_values import KNOBS, values_of
from controller.config import settings_from_text
from simulators.rehearsal.compare import unbeaten

HOT = ("--weather", "coastal-city-2013-07", "--from", "2013-07-18")
FASTER = CONFIG.replace("day_speed: 50 %", "day_speed: 100 %")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return runner(capsys)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("recorded")
    path = folder / "lived.sqlite3"
    argv = ("rehearse", config_file(folder), *HOT, "--days", "2", "--record", path)
    assert main([str(word) for word in argv]) == 0
    return path


def test_days_replayed_as_they_were_come_out_as_they_were(
    run: Run, tmp_path: Path, recorded: Path
) -> None:
    other = config_file(tmp_path, FASTER, "faster.yaml")
    status, out, err = run("replay", recorded, "--config", other, "--json")
    assert (status, err) == (0, "")
    shown = json.loads(out)
    was, again, faster = (shown[k] for k in ("recorded", "replayed_as_it_was", "replayed"))
    # The record is of a simulated tent, so only the sensors' errors stand between the two.
    assert shown["model_error"]["temperature_rms_k"] < 0.6
    assert shown["model_error"]["humidity_rms_pct"] < 4.0
    assert again["peak_temperature_c"] == pytest.approx(was["peak_temperature_c"], abs=0.7)
    assert again["fan_hours"] == pytest.approx(was["fan_hours"], rel=0.1)
    assert faster["energy_kwh"] > again["energy_kwh"]


def test_a_replay_says_the_differences_in_words(run: Run, tmp_path: Path, recorded: Path) -> None:
    other = config_file(tmp_path, FASTER, "faster.yaml")
    argv = ("replay", recorded, "--config", other, "--from", "2013-07-18", "--days", "1")
    status, out, _ = run(*argv)
    assert status == 0
    assert "simulated as it was" in out
    assert "With faster.yaml, against what was in force (both simulated):" in out
    assert "kWh more" in out
    assert "The model: simulated as it was, the tent is on average" in out


def test_decades_that_one_misdated_reading_makes_are_not_run_through(
    run: Run, tmp_path: Path, recorded: Path
) -> None:
    record = tmp_path / "lived.sqlite3"
    shutil.copyfile(recorded, record)
    with closing(sqlite3.connect(record, isolation_level=None)) as db:
        db.execute("UPDATE readings SET at_ms = 0 WHERE at_ms = (SELECT min(at_ms) FROM readings)")
    config = config_file(tmp_path)
    status, _, err = run("replay", record, "--config", config)
    assert status != 0
    assert "1 January 1970" in err and "hardly any was recorded" in err and "--from" in err
    argv = ("replay", record, "--config", config, "--from", "2013-07-18", "--days", "1")
    assert run(*argv)[0] == 0


def test_a_record_without_intake_readings_cannot_be_replayed(run: Run, tmp_path: Path) -> None:
    text = CONFIG.replace("  - {name: room, role: intake, driver: hwmon, device: sht4x}\n", "")
    config, record = config_file(tmp_path, text), tmp_path / "r.sqlite3"
    run("rehearse", config, *HOT, "--days", "1", "--record", record)
    status, _, err = run("replay", record, "--config", config)
    assert status == 1
    assert "no intake readings" in err


def test_configs_are_compared_side_by_side(run: Run, tmp_path: Path) -> None:
    one, two = config_file(tmp_path), config_file(tmp_path, FASTER, "faster.yaml")
    status, out, err = run("compare", one, two, *HOT, "--days", "1")
    assert (status, err) == (0, "")
    rows = out.splitlines()
    assert any(row.startswith("basil ") for row in rows)
    assert any(row.startswith("faster ") for row in rows)
    shown = json.loads(run("compare", one, two, *HOT, "--days", "1", "--json")[1])["configs"]
    alone = json.loads(run("rehearse", two, *HOT, "--days", "1", "--json")[1])
    assert shown[1]["minutes"] == alone["minutes"]
    assert shown[1]["energy_kwh"] == alone["energy_kwh"]
    assert any(row["unbeaten"] for row in shown)


def test_configs_of_other_bands_or_without_a_price_are_compared_with_a_word_on_it(
    run: Run, tmp_path: Path
) -> None:
    text = CONFIG.replace(
        "energy: {price: 0.30, currency: EUR}\n",
        "crop: {kind: lettuce, plants: 4, stage: vegetative}\n",
    )
    one, two = config_file(tmp_path), config_file(tmp_path, text, "lettuce.yaml")
    out = run("compare", one, two, *HOT, "--days", "1")[1]
    assert "each is judged by its own" in " ".join(out.split())
    assert out.count(" kWh") == 2  # where only one has a price, costs can't be compared
    assert "EUR" not in out


def test_one_config_is_compared_under_both_laws(run: Run, tmp_path: Path) -> None:
    config = config_file(tmp_path)
    fixed = config_file(tmp_path, CONFIG + "overrides: {law: fixed}\n", "fixed.yaml")
    argv = (*HOT, "--days", "1")
    shown = json.loads(run("compare", fixed, "--laws", *argv, "--json")[1])
    assert [row["law"] for row in shown["configs"]] == ["modulating", "fixed"]
    for row, alike in zip(shown["configs"], (config, fixed), strict=True):
        alone = json.loads(run("rehearse", alike, *argv, "--json")[1])
        assert (row["energy_kwh"], row["harm"]) == (alone["energy_kwh"], alone["harm"])
    assert shown["configs"][0]["energy_kwh"] < shown["configs"][1]["energy_kwh"]
    out = run("compare", fixed, "--laws", *argv)[1]
    assert "fixed, modulating" in out
    assert "fixed, fixed" in out
    assert "lungwort compare config/chillies.yaml --laws" in run("compare", "--help")[1]


def test_laws_are_not_compared_where_speeds_are_fixed_anyway(run: Run, tmp_path: Path) -> None:
    text = CONFIG.replace("  - {name: room, role: intake, driver: hwmon, device: sht4x}\n", "")
    status, _, err = run("compare", config_file(tmp_path, text), "--laws", *HOT)
    assert status == 2
    assert "speeds are fixed whatever overrides.law says" in err
    assert "an intake sensor" in err


def test_a_sweep_varies_what_modulated_speeds_are_chosen_by(run: Run, tmp_path: Path) -> None:
    # A day on which no heat warning is near, so that power counts.
    argv = ("sweep", config_file(tmp_path), "--from", "2013-07-05", "--days", "1", "--json")
    knobs = {
        "law": ("modulating,fixed", ["modulating", "fixed"]),
        "worth": ("5 W/K,600 W/K", [5.0, 600.0]),
    }
    given = [word for name, (text, _) in knobs.items() for word in (f"--{name}", text)]
    rows = json.loads(run(*argv, *given)[1])["combinations"]
    figures = {(r["law"], r["worth_w_per_k"]): (r["energy_kwh"], r["harm"]) for r in rows}
    assert set(figures) == {(law, worth) for law in knobs["law"][1] for worth in knobs["worth"][1]}
    assert figures["fixed", 5.0] == figures["fixed", 600.0]
    assert figures["modulating", 5.0][0] < figures["modulating", 600.0][0]


@pytest.mark.parametrize(
    ("option", "value", "changed"),
    [
        ("worth", "120 W/K", (120.0, 12.0, 0.36, 900.0, 0.1)),
        ("humidity-worth", "3 W/%", (60.0, 3.0, 0.18, 900.0, 0.1)),
        ("vpd-worth", "90 W/kPa", (60.0, 6.0, 0.09, 900.0, 0.1)),
        ("every", "30 min", (60.0, 6.0, 0.18, 1800.0, 0.1)),
        ("step", "20 %", (60.0, 6.0, 0.18, 900.0, 0.2)),
    ],
)
def test_each_key_of_the_modulating_law_is_varied_alone_but_worth_in_proportion(
    option: str, value: str, changed: tuple[float, ...]
) -> None:
    knob = next(knob for knob in KNOBS if knob.option == option)
    settings = settings_from_text(CONFIG).settings
    (read,) = values_of(knob, value, is_relay=False)
    over = knob.put(settings, read).overrides
    found = (over.temperature.worth_w_per_k, over.humidity.worth_w_per_pct)
    found += (over.vpd.worth_w_per_pa, over.every_s, over.step)
    assert found == pytest.approx(changed)


def test_a_sweep_tries_every_combination_and_marks_the_unbeaten(run: Run, tmp_path: Path) -> None:
    argv = ("sweep", config_file(tmp_path), *HOT, "--days", "1")
    argv += ("--day-speed", "30%,100%", "--pre-run", "0 min,1 h")
    shown = json.loads(run(*argv, "--json")[1])["combinations"]
    assert {(row["pre_run_s"], row["day_speed"]) for row in shown} == {
        (0.0, 0.3),
        (0.0, 1.0),
        (3600.0, 0.3),
        (3600.0, 1.0),
    }
    assert 1 <= sum(row["unbeaten"] for row in shown) <= 4
    out = run(*argv, "--all")[1]
    assert "4 combinations" in out
    assert "30 %" in out


@pytest.mark.parametrize(
    ("option", "said"),
    [
        (("--day-speed", "130%"), "130% is out of range"),
        (("--hysteresis", "one"), "--hysteresis: "),
        (("--pre-run", "5"), "--pre-run: "),
        (("--law", "fixed,best"), "--law: 'best' is not known; expected modulating or fixed"),
        (("--worth", "60 K"), "--worth: "),
        (("--step", "1 %"), "--step: 1 % is out of range"),
    ],
)
def test_a_sweep_refuses_what_cannot_be(
    run: Run, tmp_path: Path, option: tuple[str, str], said: str
) -> None:
    status, _, err = run("sweep", config_file(tmp_path), *HOT, *option)
    assert status == 2
    assert said in err


points = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 4), st.integers(0, 4)), max_size=12)


@given(points)
def test_the_unbeaten_are_those_no_other_beats(sample: list[tuple[int, int, int]]) -> None:
    best = unbeaten([tuple(map(float, p)) for p in sample])
    assert not sample or any(best)
    for point, is_best in zip(sample, best, strict=True):
        beaten = any(
            other != point and all(a <= b for a, b in zip(other, point, strict=True))
            for other in sample
        )
        assert is_best is not beaten
