"""What was learned is used: by replays, advice and rehearsals, and each says so."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from learning_records import CONFIG, TRUE, usual, usually_learned

from controller.__main__ import main
from controller.config import settings_from_text
from controller.learning.stored import newest_learned
from controller.record import InlineRecord, RecordReader
from controller.tent_physics import TentPhysics
from simulators.learned_tent import ModelledTent, learned_fan, learned_physics


@pytest.fixture(scope="module")
def tent(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A config, and its record of five days in which the daemon learned its tent."""
    folder = tmp_path_factory.mktemp("learned")
    config, path = folder / "tent.yaml", folder / "tent.sqlite3"
    config.write_text(CONFIG, encoding="utf-8")
    record = InlineRecord(path, batch=10_000)
    _, rows = usual()
    record.config(rows[0].at_ms - 60_000, CONFIG, "sha")
    for row in rows:
        record.reading(row)
    record.learning(rows[-1].at_ms, {"refused": "too few days"})
    record.learning(rows[-1].at_ms, {"learned": usually_learned().as_json()})
    record.learning(rows[-1].at_ms + 1, {"refused": "the door stood open"})
    record.close()
    return config, path


def test_the_newest_learning_of_this_tent_is_taken(tent: tuple[Path, Path]) -> None:
    with RecordReader(tent[1]) as reader:
        settings = settings_from_text(CONFIG).settings
        learned = newest_learned(reader, settings)
        assert learned is not None
        assert learned.fitted == pytest.approx(usually_learned().fitted, rel=1e-5)
        other = settings_from_text(CONFIG.replace("power: 150 W", "power: 300 W")).settings
        assert newest_learned(reader, other) is None


def test_the_learned_tent_is_the_true_one() -> None:
    settings, _ = usual()
    fitted = usually_learned().fitted
    physics = learned_physics(settings, fitted)
    configured = TentPhysics.from_settings(settings)
    assert physics.wall_w_per_k == pytest.approx(
        TRUE["wall_w_per_k"] * configured.wall_w_per_k, rel=0.15
    )
    lit = [each.transpiration_kg_s(True, 25.0, 1200.0) for each in (physics, configured)]
    assert lit[0] == pytest.approx(TRUE["leaf_area_m2"] * lit[1], rel=0.1)


@pytest.mark.parametrize("share", [0.5, 0.8, 1.0, 1.2])
def test_the_learned_fan_moves_its_share(share: float) -> None:
    settings, _ = usual()
    fitted = usually_learned().fitted._replace(flow_share=share)
    plain = ModelledTent().build(settings)[1]
    flow = learned_fan(settings, fitted).flow_m3_s(1.0)
    assert flow == pytest.approx(share * plain.flow_m3_s(1.0), rel=0.01)


def test_a_config_of_another_tent_is_simulated_as_configured() -> None:
    settings, _ = usual()
    model = ModelledTent(usually_learned(), settings)
    bigger = settings_from_text(CONFIG.replace("width: 80 cm", "width: 90 cm")).settings
    assert model.holds_for(settings)
    assert not model.holds_for(bigger)
    assert model.build(bigger)[0].wall_w_per_k == TentPhysics.from_settings(bigger).wall_w_per_k


def test_a_replay_goes_by_the_learned_tent_says_so_and_is_nearer_the_record(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    config, record = tent
    command = ["replay", str(record), "--config", str(config), "--days", "2", "--json"]
    errors = []
    for more in ([], ["--as-configured"]):
        assert main([*command, *more]) == 0
        figures = json.loads(capsys.readouterr().out)
        assert figures["model"]["tent"] == ("configured" if more else "learned")
        error = figures["model_error"]
        errors.append(math.hypot(error["temperature_rms_k"], error["humidity_rms_pct"] / 10.0))
    assert errors[0] < 0.8 * errors[1]
    assert main(command[:-1]) == 0
    assert "the tent as learned from" in " ".join(capsys.readouterr().out.split())


def test_a_rehearsal_as_learned_says_so(
    tent: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    config, record = tent
    command = ["rehearse", str(config), "--days", "1", "--from", "2013-07-18", "--json"]
    assert main([*command, "--as-learned", str(record)]) == 0
    assert json.loads(capsys.readouterr().out)["model"]["tent"] == "learned"
    assert main(command) == 0
    assert json.loads(capsys.readouterr().out)["model"]["tent"] == "configured"


def test_a_rehearsal_as_learned_without_a_learning_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config, path = tmp_path / "tent.yaml", tmp_path / "tent.sqlite3"
    config.write_text(CONFIG, encoding="utf-8")
    record = InlineRecord(path)
    record.config(1000, CONFIG, "sha")
    record.close()
    assert main(["rehearse", str(config), "--as-learned", str(path)]) == 1
    assert "nothing was learned yet" in capsys.readouterr().err
