"""`lungwort learn`: what a person reads, and what a program does."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / name) for name in ("learning", "expectation")]

from learning_records import CONFIG, usual  # noqa: E402

from controller.__main__ import main  # noqa: E402
from controller.learning import learned_words  # noqa: E402
from controller.record import InlineRecord  # noqa: E402


@pytest.fixture(scope="module")
def tent(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A config and its record of five days."""
    folder = tmp_path_factory.mktemp("learn")
    config, path = folder / "tent.yaml", folder / "tent.sqlite3"
    config.write_text(CONFIG, encoding="utf-8")
    record = InlineRecord(path, batch=10_000)
    _, rows = usual()
    record.config(rows[0].at_ms - 60_000, CONFIG, "sha")
    for row in rows:
        record.reading(row)
    record.close()
    return config, path


def test_the_figures_stand_beside_the_configs_and_fit_a_terminal(
    tent: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    config, record = tent
    texts: dict[int, list[str]] = {}

    def at_every_width(*args: Any) -> list[str]:
        texts.update({width: as_text(*args[:-1], width) for width in (80, 60, 40)})
        return texts[args[-1]]

    as_text = learned_words.as_text
    monkeypatch.setattr(learned_words, "as_text", at_every_width)
    monkeypatch.setenv("COLUMNS", "60")
    assert main(["learn", str(config), "--record", str(record)]) == 0
    assert capsys.readouterr().out.splitlines() == texts[60]
    for width, lines in texts.items():
        assert max(map(len, lines)) <= width
        text = " ".join(" ".join(lines).split())
        for part in ("90 % interval", "configured", "Heat loss of the fabric", "The fan moves",
                     "rests on lamp.power, 150 W", "plug meter"):  # fmt: skip
            assert part in text


def test_json_has_each_parameter_with_its_interval(tent: tuple[Path, Path]) -> None:
    config, record = tent
    code = (
        "import sys\nfrom controller.__main__ import main\n"
        f"main(['learn', {str(config)!r}, '--record', {str(record)!r}, '--json'])\n"
        "print([m for m in ('numpy', 'scipy', 'pandas') if m in sys.modules], file=sys.stderr)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stderr.strip() == "[]"
    figures = json.loads(run.stdout)
    for parameter in figures["parameters"].values():
        assert parameter["low"] <= parameter["value"] <= parameter["high"]
    assert [row["speed"] for row in figures["flow"]] == [0.5, 1.0]
    assert figures["fit"]["temperature_rms_k"] < figures["fit"]["temperature_rms_k_as_configured"]
    assert figures["sentences"]


def test_a_config_of_another_tent_is_refused_in_one_line(
    tent: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, record = tent
    other = tmp_path / "other.yaml"
    other.write_text(CONFIG.replace("power: 150 W", "power: 300 W"), encoding="utf-8")
    assert main(["learn", str(other), "--record", str(record)]) == 1
    said = capsys.readouterr().err
    assert "another tent, lamp, fan, duct or crop than the one in force" in said
    assert said.count("\n") == 1


@pytest.mark.parametrize("days", ["2", "none", "-7", "100"])
def test_a_number_of_days_that_makes_no_sense_is_refused(
    days: str, tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["learn", str(tent[0]), f"--days={days}"])
    assert ended.value.code == 2
    assert "no number of days from 3 to 60" in capsys.readouterr().err


def test_a_changed_filter_is_told_to_the_daemon_of_the_record(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from controller.daemon import control_socket

    config, record = tent
    asked: list[tuple[Path, dict[str, object]]] = []

    def answer(path: Path, body: dict[str, object]) -> dict[str, object]:
        asked.append((path, body))
        return {"recorded": True}

    monkeypatch.setattr(control_socket, "ask", answer)
    assert main(["learn", str(config), "--record", str(record), "--filter-changed"]) == 0
    assert asked == [(control_socket.socket_path(record), {"command": "filter_changed"})]
    assert "the week from now on is the reference" in capsys.readouterr().out


def test_without_a_daemon_a_changed_filter_is_refused_in_one_line(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["learn", str(tent[0]), "--record", str(tent[1]), "--filter-changed"]) == 1
    assert "no daemon runs this config" in capsys.readouterr().err
