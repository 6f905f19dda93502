"""What rehearse, sweep, compare and replay print fits the terminal, with the verdict first."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rehearsal_commands import CONFIG, Run, config_file, runner

from controller.commands import rehearse, replay, sweep
from controller.config import load_settings
from simulators.rehearsal import workers

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


@pytest.fixture
def simulated_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The width of a terminal changes no figure: what was simulated is only shown again."""

    def remembered(function: Callable[..., object]) -> Callable[..., object]:
        known: dict[str, object] = {}

        def call(*args: object, **options: object) -> object:
            # By what was asked for; a progress bar, the weather and the model follow from it.
            key = repr([arg for arg in args if isinstance(arg, argparse.Namespace | list)])
            if key not in known:
                known[key] = function(*args, **options)
            return known[key]

        return call

    for module, name in ((rehearse, "_rehearse"), (rehearse, "_judge"), (workers, "rehearse_all")):
        monkeypatch.setattr(module, name, remembered(getattr(module, name)))


# All that a sweep can vary has a column; two values of one make two rows.
ALL_VARIED = ("--pre-run", "15 min", "--run-on", "30 min", "--hysteresis", "0.5 K,2 K")


@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.usefixtures("simulated_once")
def test_every_line_fits(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    config = config_file(tmp_path, TEXTS[name])
    speed = "100 %" if name == "least keys" else "60 %"
    for width in (120, 80, 60, 40):
        monkeypatch.setenv("COLUMNS", str(width))
        for argv in (
            ("rehearse", config, *HOT),
            ("rehearse", config, *HOT, "--faults", "sensor-stuck"),
            ("compare", config, config, *HOT),
            ("sweep", config, *HOT, "--all", *ALL_VARIED, "--day-speed", speed),
        ):
            status, out, _ = run(*argv)
            assert status == 0
            assert too_wide(out, width) == [], (width, argv)


def test_every_line_of_a_replay_fits(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    config, record = config_file(tmp_path), tmp_path / "r.sqlite3"
    other = config_file(tmp_path, CONFIG.replace("50 %", "100 %"), "much-faster.yaml")
    assert run("rehearse", config, *HOT, "--record", record)[0] == 0
    texts = {}

    def at_every_width(*args: Any) -> list[str]:
        texts.update({width: as_text(*args[:-1], width) for width in (80, 60, 40)})
        return texts[80]

    as_text = replay.as_text
    monkeypatch.setattr(replay, "as_text", at_every_width)
    assert run("replay", record, "--config", other)[0] == 0
    for width, lines in texts.items():
        assert len(lines) > 10
        assert too_wide("\n".join(lines), width) == [], width


@pytest.mark.parametrize("command", ["rehearse", "compare", "sweep"])
def test_the_verdict_comes_before_any_table_and_in_json(
    run: Run, tmp_path: Path, command: str
) -> None:
    config = config_file(tmp_path)
    argv = {
        "rehearse": (command, config),
        "compare": (command, config, config),
        "sweep": (command, config, "--day-speed", "40%,60%", "--hysteresis", "0.5 K,2 K"),
    }[command]
    out = run(*argv, *HOT)[1]
    figures = json.loads(run(*argv, *HOT, "--json")[1])["verdict"]
    paragraphs = [" ".join(part.split()) for part in out.split("\n\n")]
    assert paragraphs[1] == figures["text"]
    if command == "compare":
        assert figures["nothing_to_choose"] is True


def test_a_sweep_without_options_tries_a_grid_of_36(tmp_path: Path) -> None:
    settings = load_settings(config_file(tmp_path)).settings
    parser = argparse.ArgumentParser()
    sweep.add(parser.add_subparsers())
    knobs, combinations = sweep.grid(parser.parse_args(["sweep", "c.yaml"]), settings)
    assert [knob.option for knob in knobs] == ["pre-run", "day-speed", "hysteresis"]
    assert len(set(combinations)) == 3 * 4 * 3


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
