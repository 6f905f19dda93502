"""What rehearse, sweep, compare and replay print fits the terminal, with the verdict first."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from rehearsal_commands import CONFIG, Run, config_file, runner

HOT = ("--from", "2013-07-18", "--days", "1")
PRICED_US = CONFIG.replace("{timezone: Europe/Rome}", "{timezone: America/New_York, units: us}")
LEAST = """\
tent: {name: least, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Etc/UTC}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: relay, pin: 17}
sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]
"""
PLANTED = CONFIG + "crop: {kind: basil, leaf_area: 0.6 m²}\n"
TEXTS = {"si": PLANTED, "us": PRICED_US, "least keys": LEAST}


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    return runner(capsys)


def too_wide(text: str, width: int) -> list[str]:
    """Lines wider than the terminal, but for those that a single long word is to blame for."""
    return [line for line in text.splitlines() if len(line) > width and len(line.split()) > 1]


@pytest.mark.parametrize("width", [120, 80, 60, 40])
@pytest.mark.parametrize("name", TEXTS)
def test_every_line_fits(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, width: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    config = config_file(tmp_path, TEXTS[name])
    for argv in (
        ("rehearse", config, *HOT),
        ("rehearse", config, *HOT, "--faults", "sensor-stuck"),
        ("compare", config, config, *HOT),
        ("sweep", config, *HOT, "--all"),
    ):
        status, out, _ = run(*argv)
        assert status == 0
        assert too_wide(out, width) == [], argv


@pytest.mark.parametrize("width", [80, 60, 40])
def test_every_line_of_a_replay_fits(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, width: int
) -> None:
    config, record = config_file(tmp_path), tmp_path / "r.sqlite3"
    other = config_file(tmp_path, CONFIG.replace("50 %", "100 %"), "much-faster.yaml")
    assert run("rehearse", config, *HOT, "--record", record)[0] == 0
    monkeypatch.setenv("COLUMNS", str(width))
    status, out, _ = run("replay", record, "--config", other)
    assert status == 0
    assert too_wide(out, width) == []


@pytest.mark.parametrize("command", ["rehearse", "compare", "sweep"])
def test_the_verdict_comes_before_any_table_and_in_json(
    run: Run, tmp_path: Path, command: str
) -> None:
    config = config_file(tmp_path)
    argv = (command, config, config) if command == "compare" else (command, config)
    out = run(*argv, *HOT)[1]
    figures = json.loads(run(*argv, *HOT, "--json")[1])["verdict"]
    paragraphs = [" ".join(part.split()) for part in out.split("\n\n")]
    assert paragraphs[1] == figures["text"]
    if command == "compare":
        assert figures["nothing_to_choose"] is True


def test_a_sweep_of_what_changes_nothing_shows_one_row_and_says_so(
    run: Run, tmp_path: Path
) -> None:
    argv = ("sweep", config_file(tmp_path), *HOT, "--hysteresis", "0.5 K,0.6 K")
    out = run(*argv)[1]
    assert "Nothing to choose between these 2" in out
    assert "1 combination that comes out alike is left out" in " ".join(out.split())


def test_a_sweep_names_the_figures_that_change_nothing(run: Run, tmp_path: Path) -> None:
    spring = ("--weather", "airfield-2013", "--from", "2013-05-10", "--days", "1")
    lists = ("--run-on", "30 min,31 min", "--day-speed", "20%,100%")
    argv = ("sweep", config_file(tmp_path), *spring, *lists)
    assert "Nothing to choose in run on: " in " ".join(run(*argv)[1].split())
    verdict = json.loads(run(*argv, "--json")[1])["verdict"]
    assert verdict["without_effect"] == ["run_on_s"]
