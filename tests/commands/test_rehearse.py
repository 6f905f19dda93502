"""`lungwort rehearse`: its JSON, its words, its record, its faults, its errors."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from rehearsal_commands import CONFIG, Run, config_file, runner

from controller.config import Loaded
from controller.control.override_state import OVERRIDE_RULES
from controller.record import MemoryRecord, Record, RecordReader
from simulators import rehearsal
from simulators.records import simulated_record
from simulators.rehearsal import Outcome
from simulators.rehearsal.scene import Scene

HOT = ("--weather", "coastal-city-2013-07", "--from", "2013-07-18")


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return runner(capsys)


def test_json_has_the_promised_keys_and_adds_up(run: Run, tmp_path: Path) -> None:
    status, out, err = run("rehearse", config_file(tmp_path), *HOT, "--days", "2", "--json")
    assert (status, err) == (0, "")
    shown = json.loads(out)
    for quantity in ("temperature", "humidity", "vpd"):
        minutes = shown["minutes"][quantity]
        assert set(minutes) == {"below", "in", "above"}
        assert sum(minutes.values()) == pytest.approx(2 * 1440)
    assert shown["ticks"] == 2 * 1440
    assert shown["peak_time"].startswith("2013-07-1")
    assert shown["peak_time"].endswith("+02:00")
    assert 30.0 < shown["peak_temperature_c"] < 40.0
    assert 0.0 < shown["fan_hours"] <= 48.0
    assert shown["fan_starts"] >= 1
    assert 0.0 < shown["mean_speed"] <= 1.0
    assert shown["cost"] == pytest.approx(shown["energy_kwh"] * 0.30, abs=1e-6)
    # 20 W by the data sheet, at the density of warm air.
    assert shown["energy_always_on_kwh"] == pytest.approx(48 * 0.020, rel=0.05)
    assert shown["cost_always_on"] == pytest.approx(shown["energy_always_on_kwh"] * 0.30, abs=1e-6)
    assert set(shown["overrides"]) == {rule.value for rule in OVERRIDE_RULES}
    assert shown["overrides"]["too_hot"] >= 1
    assert 0.0 <= shown["locked_out_minutes"] <= 2 * 1440
    assert shown["wall_s"] > 0.0


def test_leaves_are_reported_of_in_json_and_words_and_not_in_an_empty_tent(
    run: Run, tmp_path: Path
) -> None:
    argv = (*HOT, "--days", "1")
    planted = CONFIG + "crop: {kind: basil, leaf_area: 0.6 m²}\n"
    shown = json.loads(run("rehearse", config_file(tmp_path, planted), *argv, "--json")[1])
    for phase in ("lit", "dark"):
        warmth, vpd = shown["leaf_temperature_c"][phase], shown["leaf_vpd_pa"][phase]
        assert warmth["min"] < warmth["mean"] < warmth["max"]
        assert 0.0 <= vpd["min"] < vpd["mean"] < vpd["max"]
    assert shown["leaf_temperature_c"]["lit"]["max"] < shown["peak_temperature_c"] + 1.0
    out = run("rehearse", config_file(tmp_path, planted), *argv)[1]
    assert "Leaves     lit:" in out
    assert "leaf VPD" in out
    empty = CONFIG + "crop: {kind: basil, leaf_area: 0 m²}\n"
    shown = json.loads(run("rehearse", config_file(tmp_path, empty), *argv, "--json")[1])
    assert shown["leaf_temperature_c"] == {"lit": None, "dark": None}
    assert "Leaves" not in run("rehearse", config_file(tmp_path, empty), *argv)[1]


def test_the_same_seed_tells_the_same_and_another_does_not(run: Run, tmp_path: Path) -> None:
    config = config_file(tmp_path)

    def shown(*more: str) -> dict[str, object]:
        figures = json.loads(run("rehearse", config, *HOT, "--days", "2", "--json", *more)[1])
        del figures["wall_s"]
        return figures  # type: ignore[no-any-return]

    assert shown() == shown()
    assert shown("--seed", "2") != shown()


def test_the_words_are_in_the_users_units(run: Run, tmp_path: Path) -> None:
    text = CONFIG.replace("Europe/Rome", "America/New_York, units: us")
    status, out, _ = run("rehearse", config_file(tmp_path, text), *HOT, "--days", "1")
    assert status == 0
    assert "A rehearsal of basil box: 18 July 2013, weather coastal-city-2013-07.csv." in out
    assert "nothing real was switched" in out
    assert "°F" in out
    assert "°C" not in out
    for line in (
        "Hottest",
        "Coldest",
        "Fan",
        "Overrides",
        "schedule alone",
        "always at full speed",
        "°F h  % h  kPa h  hottest",
        "°F h, % h and kPa h: how far temperature, humidity and VPD were out of band",
    ):
        assert line in out


def test_a_tent_without_intake_sensor_or_fan_data_is_rehearsed_with_a_note(
    run: Run, tmp_path: Path
) -> None:
    text = CONFIG.replace("  - {name: room, role: intake, driver: hwmon, device: sht4x}\n", "")
    text = text.replace("free_flow: 150 m³/h, max_pressure: 200 Pa, power: 20 W,", "")
    status, out, _ = run("rehearse", config_file(tmp_path, text), *HOT, "--days", "1")
    assert status == 0
    assert "fan.free_flow isn't given" in out
    assert "fan.power isn't given" in out


@pytest.mark.parametrize(("drive", "leaves_out"), [("pwm", True), ("relay", False)])
def test_energy_by_the_fan_laws_says_what_it_leaves_out(
    drive: str, leaves_out: bool, run: Run, tmp_path: Path
) -> None:
    text = CONFIG.replace("drive: pwm", f"drive: {drive}")
    text = text.replace("schedule: {day_speed: 50 %, night_speed: 20 %}\n", "")
    out = run("rehearse", config_file(tmp_path, text), *HOT, "--days", "1")[1]
    assert ("motor and electronics take a watt or more" in " ".join(out.split())) is leaves_out


def test_the_record_is_what_a_real_run_writes(run: Run, tmp_path: Path) -> None:
    config, record = config_file(tmp_path), tmp_path / "r.sqlite3"
    argv = ("rehearse", config, *HOT, "--days", "1", "--json")
    plain = json.loads(run(*argv)[1])
    recorded = json.loads(run(*argv, "--record", record)[1])
    for figures in (plain, recorded):
        del figures["wall_s"]
    assert recorded == plain
    with RecordReader(record) as reader:
        rows = list(reader.readings())
        names = {event.name for event in reader.events()}
        assert reader.configs()[0].yaml == CONFIG
    assert len(rows) in (1439, 1440)
    assert {"daemon.started", "fan.changed", "override.engaged", "daemon.stopped"} <= names
    assert sum(row.fan_on_s for row in rows) / 3600 == pytest.approx(plain["fan_hours"], abs=0.05)
    status, out, _ = run("now", config, "--record", record, "--json")
    assert status == 0
    assert json.loads(out)["fan_speed"] >= 0.0


def test_a_real_record_is_never_replaced(run: Run, tmp_path: Path) -> None:
    from controller.record import RecordWriter

    record = tmp_path / "real.sqlite3"
    with RecordWriter(record) as writer:
        writer.event(0, "daemon.started")
    argv = ("rehearse", config_file(tmp_path), *HOT, "--days", "1", "--record")
    status, _, err = run(*argv, record)
    assert status == 1
    assert "holds a record that no simulation wrote" in err
    # One's own is replaced.
    simulated_record(tmp_path / "mine.sqlite3", 0).close()
    assert run(*argv, tmp_path / "mine.sqlite3")[0] == 0


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (("--weather", "nowhere.csv"), "nowhere.csv: No such file"),
        (("--from", "2014-07-18"), "covers 2013-07-01"),
        (("--from", "18.7.2013"), "expected YYYY-MM-DD"),
        (("--days", "0"), "not a number of days"),
        (("--faults", "gremlins"), "gremlins: No such file"),
    ],
)
def test_what_cannot_be_is_said_in_a_line(
    run: Run, tmp_path: Path, argv: tuple[str, ...], said: str
) -> None:
    status, out, err = run("rehearse", config_file(tmp_path), *argv)
    assert (status, out) == (2, "")
    assert said in err
    assert "Traceback" not in err


@pytest.fixture
def usual_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The day without a fault, which each is held against, is the same for all of them."""
    rehearse_fully = rehearsal.rehearse_fully

    def rehearsed(
        loaded: Loaded, scene: Scene, start_s: float, until_s: float, record: Record, **rest: Any
    ) -> Outcome:
        if rest["faults"] or not isinstance(record, MemoryRecord):
            return rehearse_fully(loaded, scene, start_s, until_s, record, **rest)
        key = (loaded.sha256, start_s, until_s, rest["seed"])
        if key not in _USUAL:
            usual, track = MemoryRecord(), list[tuple[float, float]]()
            alike = rest | {"track": track, "progress": None}
            outcome = rehearse_fully(loaded, scene, start_s, until_s, usual, **alike)
            _USUAL[key] = (outcome, usual.events, track)
        outcome, events, track = _USUAL[key]
        record.events.extend(events)
        rest["track"].extend(track)
        return outcome

    monkeypatch.setattr(rehearsal, "rehearse_fully", rehearsed)


_USUAL: dict[tuple[object, ...], tuple[Outcome, list[Any], list[tuple[float, float]]]] = {}


def _fault(run: Run, folder: Path, script: str, *more: str) -> dict[str, object]:
    argv = (
        "rehearse",
        config_file(folder),
        *HOT,
        "--days",
        "1",
        "--json",
        "--faults",
        script,
        *more,
    )
    status, out, err = run(*argv)
    assert (status, err) == (0, "")
    return json.loads(out)["faults"][-1]  # type: ignore[no-any-return]


@pytest.mark.usefixtures("usual_once")
def test_a_dead_fan_is_noticed_by_its_tachometer_and_the_tent_gets_hotter(
    run: Run, tmp_path: Path
) -> None:
    fault = _fault(run, tmp_path, "fan-dead")
    assert fault["noticed_by"] == "fan.failed"
    assert 0.0 < fault["noticed_after_s"] <= 300.0  # type: ignore[operator]
    assert fault["peak_temperature_c"] > fault["usual_peak_temperature_c"] + 1.0  # type: ignore[operator]


@pytest.mark.usefixtures("usual_once")
def test_a_silent_sensor_leads_to_failsafe_and_a_stuck_one_is_found_out(
    run: Run, tmp_path: Path
) -> None:
    dropped = _fault(run, tmp_path, "sensor-dropped")
    assert dropped["noticed_after_s"] <= 180.0  # type: ignore[operator]
    names = [event["event"] for event in dropped["events"]]  # type: ignore[attr-defined]
    assert {"sensor.failed", "failsafe.entered", "failsafe.left"} <= set(names)
    stuck = _fault(run, tmp_path, "sensor-stuck")
    # Lit, two hours without any change are too long to be true.
    assert 7000.0 < stuck["noticed_after_s"] < 7500.0  # type: ignore[operator]


@pytest.mark.usefixtures("usual_once")
def test_a_power_cut_is_ridden_out_and_a_wrong_clock_distrusted(run: Run, tmp_path: Path) -> None:
    cut = _fault(run, tmp_path, "power-cut")
    assert cut["noticed_by"] == "daemon.started"
    # The alarms that stood are known again after it, as the daemon knows them.
    assert "alarm.raised" not in {event["event"] for event in cut["events"]}  # type: ignore[attr-defined]
    assert _fault(run, tmp_path, "clock-wrong")["noticed_by"] in (
        "clock.distrusted",
        "clock.stepped",
    )


@pytest.mark.usefixtures("usual_once")
@pytest.mark.parametrize(
    "name", ["sensor-drifting", "filter-blocked", "lamp-stuck-on", "controller-down"]
)
def test_every_built_in_fault_is_reported_in_words(run: Run, tmp_path: Path, name: str) -> None:
    argv = ("rehearse", config_file(tmp_path), *HOT, "--days", "1", "--faults", name)
    status, out, _ = run(*argv)
    assert status == 0
    assert "  It got " in out
    assert "without it." in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert not re.search(r"clog.*, for 10 min", out)  # in that time, and for good
    if name == "filter-blocked":
        assert "The duct and the intake clog (there is no filter)" in out


@pytest.mark.usefixtures("usual_once")
def test_a_fault_script_of_ones_own(run: Run, tmp_path: Path) -> None:
    script = tmp_path / "afternoon.yaml"
    script.write_text(
        "faults:\n"
        "  - fault: filter_clogging\n    at: 2013-07-18 08:00\n    for: 6 h\n    factor: 20\n"
        "  - {fault: fan_dead, at: 13:30, for: 90 min}\n"
    )
    fault = _fault(run, tmp_path, str(script))
    assert fault["fault"] == "fan_dead"
    assert fault["from"] == "2013-07-18T13:30:00+02:00"
    assert fault["until"] == "2013-07-18T15:00:00+02:00"


def test_all_problems_of_a_fault_script_are_reported_with_their_lines(
    run: Run, tmp_path: Path
) -> None:
    script = tmp_path / "f.yaml"
    script.write_text(
        "faults:\n"
        "  - fault: fan_ded\n"
        "  - {fault: sensor_stuck, sensor: canpoy}\n"
        "  - {fault: fan_dead, at: noonish}\n"
        "  - {fault: fan_dead, factor: 3}\n"
        "  - {fault: fan_dead, for: -3 h}\n"
        "  - {fault: fan_dead, for: 0 h}\n"
    )
    status, _, err = run("rehearse", config_file(tmp_path), *HOT, "--faults", script)
    assert status == 2
    lines = err.splitlines()
    assert len(lines) == 6
    for number, said in (
        (2, "no fault 'fan_ded'"),
        (3, "no sensor 'canpoy'"),
        (4, "`at`"),
        (5, "takes no 'factor'"),
        (6, "is no length of time"),
        (7, "is no length of time"),
    ):
        assert any(f"f.yaml:{number}:" in line and said in line for line in lines), (number, err)


@pytest.mark.parametrize("at", ["2013-07-20 10:00", "2013-07-16 10:00", "1 d 2 h"])
def test_a_fault_of_other_days_is_refused(run: Run, tmp_path: Path, at: str) -> None:
    """Nothing would come of it, and there would be no temperature to tell."""
    script = tmp_path / "faults.yaml"
    script.write_text(f"faults:\n  - {{fault: fan_dead, at: '{at}', for: 2 h}}\n")
    days = ("--from", "2013-07-18", "--days", "1", "--json")
    status, out, err = run("rehearse", config_file(tmp_path), *days, "--faults", script)
    assert (status, out) == (2, "")
    assert "outside the days rehearsed" in err and len(err.splitlines()) == 1


def test_a_long_error_bears_the_programs_name_once_or_not_at_all(run: Run, tmp_path: Path) -> None:
    """An error that names its file and line goes without, on its other lines too."""
    weather = tmp_path / "empty.csv"
    weather.write_text("")
    status, _, err = run("rehearse", config_file(tmp_path), "--weather", weather)
    assert status == 2 and len(err.splitlines()) > 3
    assert "lungwort:" not in err


def test_the_schedule_alone_is_told_the_same_in_the_facts_and_in_the_table(
    run: Run, tmp_path: Path
) -> None:
    """Quiet hours end near the heat warning: what it would have run is not what it does run."""
    quiet = STRONG.replace("ROOM", "attic") + 'quiet: {from: "12:00", to: "20:00", speed: 20 %}\n'
    out = run("rehearse", config_file(tmp_path, quiet), *HOT, "--days", "1")[1]
    (fact,) = re.findall(r"by the schedule alone: ([0-9.]+ kWh)", out)
    (row,) = re.findall(r"schedule alone  .* ([0-9.]+ kWh)", out)
    assert fact == row


STRONG = """\
tent: {name: big, width: 120 cm, depth: 120 cm, height: 200 cm, elevation: 100 m}
place: {timezone: America/New_York, units: si}
room: {kind: ROOM}
lamp: {power: 400 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, min_speed: 20 %, free_flow: 680 m³/h, max_pressure: 350 Pa, power: 60 W}
duct: {diameter: 15 cm, length: 2 m, bends: 1, kind: flexible_stretched,
       arrangement: both_inside, intake: {openings: 4, diameter: 15 cm}}
schedule: {day_speed: 100 %, night_speed: 0 %}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4},
          {name: room, role: intake, driver: dht22, pin: 17}]
crop: {kind: tomato, plants: 4, stage: flowering}
"""


@pytest.mark.parametrize("kind", ["room", "cellar", "closet", "attic"])
def test_an_ordinary_fan_is_not_too_strong_for_a_room(run: Run, tmp_path: Path, kind: str) -> None:
    """Its 15 cm fan used to make the room's humidity swing until it was negative."""
    config = config_file(tmp_path, STRONG.replace("ROOM", kind))
    status, out, err = run("rehearse", config, *HOT, "--days", "2", "--json")
    assert (status, err) == (0, "")
    assert 15.0 < json.loads(out)["peak_temperature_c"] < 40.0
    assert run("compare", config, config, *HOT, "--days", "1")[0] == 0
    assert run("sweep", config, *HOT, "--days", "1", "--day-speed", "50%,100%")[0] == 0


def test_the_bound_is_shown_beside_the_config_with_its_frontier(run: Run, tmp_path: Path) -> None:
    argv = ("rehearse", config_file(tmp_path), *HOT, "--days", "1", "--bound", "--json")
    status, out, err = run(*argv)
    assert (status, err) == (0, "")
    shown = json.loads(out)
    bound = shown["bound"]
    assert set(bound) == {
        *("text", "harm_ratio", "energy_ratio", "least_energy_kwh", "stage_s", "runs")
    }
    excess = shown["excess"]
    assert shown["harm"] == pytest.approx(
        sum(excess["temperature"].values())
        + 0.1 * sum(excess["humidity"].values())
        + 3.0 * sum(excess["vpd"].values()),
        abs=1e-3,
    )
    assert bound["harm_ratio"] >= 1.0
    assert 0.0 <= bound["least_energy_kwh"] <= shown["energy_kwh"]
    for row in bound["runs"]:
        assert set(row) == {
            *("worth_w_per_k", "energy_kwh", "harm", "excess", "peak_temperature_c"),
            *("fan_starts", "speed_changes"),
        }
    worths = [row["worth_w_per_k"] for row in bound["runs"]]
    assert worths == sorted(worths)


def test_a_bound_is_not_held_against_a_tent_that_breaks(run: Run, tmp_path: Path) -> None:
    argv = ("rehearse", config_file(tmp_path), *HOT, "--bound", "--faults", "fan-dead")
    status, out, err = run(*argv)
    assert (status, out) == (2, "")
    assert "leave --faults out" in err


def test_fixed_speeds_stand_beside_modulated_ones_only(run: Run, tmp_path: Path) -> None:
    argv = (*HOT, "--days", "1")
    fixed = config_file(tmp_path, CONFIG + "overrides: {law: fixed}\n", "fixed.yaml")
    assert "\nwith fixed speeds  " in run("rehearse", config_file(tmp_path), *argv)[1]
    assert "with fixed speeds" not in run("rehearse", fixed, *argv)[1]
