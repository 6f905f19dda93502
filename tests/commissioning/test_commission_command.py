"""The whole walk on a bench whose air is known, and on the simulated rig."""

import argparse
import json
import os
import signal
from pathlib import Path

import pytest
from commissioning_bench import CONFIG, BenchFan, BenchSite

from controller.commands import commission as command
from controller.commissioning.course import STEPS, TrialState
from controller.commissioning.report import try_directory
from controller.commissioning.sensors_step import GREATEST_OFFSET
from controller.commissioning.talk import PreparedTalk
from controller.config import ConfigError, load_settings, settings_from_text
from controller.errors import UserError

GOOD_ANSWERS = {"sensors_together": True, "air_at_slowest": "in", "air_at_full": "in"}


def parsed(*arguments):
    parser = argparse.ArgumentParser()
    command.add(parser.add_subparsers())
    return parser.parse_args(["commission", *map(str, arguments)])


def walk(site, tmp_path, answers=GOOD_ANSWERS, steps=STEPS, speeds=(0.2, 0.6, 1.0), talk=None):
    """Commission a bench; gives exit status, the JSON record and what was said."""
    said = []
    talk = talk or PreparedTalk(answers, consent=True, tell=said.append)
    args = parsed("bench.yaml", "--output", tmp_path, "--yes")
    status = command.commission(args, site.loaded, TrialState(steps, speeds), talk, site)
    (path,) = tmp_path.glob("*.json")
    return status, json.loads(path.read_text("utf-8")), "\n".join(said)


def texts(record, grade):
    return [f["text"] for f in record["findings"] if f["grade"] == grade]


def test_a_good_rig_is_ready(tmp_path):
    site = BenchSite(changes_per_s=1 / 38.0)
    status, record, said = walk(site, tmp_path)
    assert status == 0
    assert record["verdict"] == "ready"
    assert texts(record, "advice") == texts(record, "fault") == []
    assert [run["rpm"] for run in record["fan"]] == [0.0, 600.0, 1800.0, 3000.0]
    assert said.index("Mains power kills") < said.index("Sensors")


def test_the_air_change_comes_out_as_the_bench_was_built(tmp_path):
    site = BenchSite(changes_per_s=1 / 38.0)
    _, record, _ = walk(site, tmp_path)
    timed = record["air_change"]
    built_s = 38.0 / timed["speed"]
    by_humidity = timed["by_humidity"]
    assert by_humidity["timed"] is True
    assert by_humidity["time_constant_s"] == pytest.approx(built_s, rel=0.08)
    assert by_humidity["time_constant_low_s"] * 0.97 < built_s
    assert built_s < by_humidity["time_constant_high_s"] * 1.03
    assert timed["flow_m3_s"]["low"] < 1.0 / built_s < timed["flow_m3_s"]["high"]


def test_nothing_is_opened_before_the_consent(tmp_path):
    for refused in ("cautions_read", "hands_clear"):
        site = BenchSite()
        with pytest.raises(UserError, match="before anything was switched"):
            walk(site, tmp_path, answers={refused: False})
        assert site.opened == 0
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("place", ["file", "file/below", "/proc", "/proc/lungwort/records"])
def test_an_output_that_cannot_be_written_is_refused_before_anything_is_asked(tmp_path, place):
    (tmp_path / "file").write_text("", "utf-8")
    site, said = BenchSite(), []
    talk = PreparedTalk(GOOD_ANSWERS, consent=True, tell=said.append)
    args = parsed("bench.yaml", "--output", tmp_path / place, "--yes")
    with pytest.raises(UserError, match="name another directory with --output"):
        command.commission(args, site.loaded, TrialState(STEPS, (1.0,)), talk, site)
    assert site.opened == 0
    assert said == []


def test_trying_an_output_leaves_nothing_behind(tmp_path):
    try_directory(tmp_path / "not" / "there")
    assert list(tmp_path.iterdir()) == []


def test_a_sensor_off_its_mates_is_reported_with_the_offset_to_set(tmp_path):
    site = BenchSite(biases={"upper": (2.4, 0.0)})
    status, record, _ = walk(site, tmp_path, steps=("sensors",))
    (advice,) = texts(record, "advice")
    assert "Temperature of upper: 2.4 K more than the middle of upper, lower and room" in advice
    assert "temperature_offset to −2.4 K" in advice
    assert status == 0


def test_sensors_in_different_air_are_not_compared(tmp_path):
    site = BenchSite()
    _, record, _ = walk(site, tmp_path, answers={}, steps=("sensors",))
    compared = {
        s["sensor"]: s["temperature_compared"]["against"]
        for s in record["sensors"]["each"]
        if "temperature_compared" in s
    }
    assert compared == {"upper": "lower", "lower": "upper"}


def test_a_missing_sensor_is_a_fault_with_its_reason(tmp_path):
    status, record, _ = walk(BenchSite(dead=("room",)), tmp_path, steps=("sensors",))
    assert status == 3
    (fault,) = texts(record, "fault")
    assert "room" in fault and "there is no such sensor" in fault
    assert record["verdict"] == "not ready: 1 fault"


def test_the_fan_is_tried_with_nothing_driving_its_wire(tmp_path):
    site = BenchSite(changes_per_s=1 / 38.0)
    _, record, _ = walk(site, tmp_path, steps=("fan",))
    assert site.fan.released == 1
    assert record["fan_undriven"]["turns"] is record["fan_undriven"]["expected_to_turn"] is True
    assert record["fan_undriven"]["rpm"] == 3000.0
    assert any("a dead Pi leaves the tent air" in text for text in texts(record, "fine"))
    (path,) = tmp_path.glob("*.txt")
    assert "let go  3000 rpm" in path.read_text("utf-8")


@pytest.mark.parametrize("undriven_speed", [0.0, None])
def test_a_fan_that_should_run_undriven_and_stands_is_a_fault(tmp_path, undriven_speed):
    """Also one whose line merely keeps its level, for want of a resistor."""
    site = BenchSite(changes_per_s=1 / 38.0, fan=BenchFan(undriven_speed=undriven_speed))
    status, record, _ = walk(site, tmp_path, steps=("fan",))
    assert status == 3
    assert any("the config has it run then" in text for text in texts(record, "fault"))


@pytest.mark.parametrize(
    ("lamp", "grade"), [("", "advice"), ("switched_by: relay, pin: 22, ", "fine")]
)
def test_a_fan_wired_to_stand_undriven_is_advised_against_where_the_lamp_burns_on(
    tmp_path, lamp, grade
):
    text = CONFIG.replace("  active_low: true\n", "").replace("lamp: {", "lamp: {" + lamp)
    site = BenchSite(text, changes_per_s=1 / 38.0, fan=BenchFan(undriven_speed=0.0))
    _, record, _ = walk(site, tmp_path, steps=("fan",))
    assert any("stands still" in t and "nothing drives" in t for t in texts(record, grade))
    assert site.fan.commands[-3:] == [1.0, 0.0, 1.0]  # let go of at full speed, then left safe


def test_hardware_pwm_can_only_be_stopped_and_a_dead_pi_is_not_claimed(tmp_path):
    text = CONFIG.replace("drive: pwm", "drive: hardware_pwm")
    _, record, _ = walk(BenchSite(text, changes_per_s=1 / 38.0), tmp_path, steps=("fan",))
    assert record["fan_undriven"]["pin_floats"] is False
    assert any("dead Pi can't be tried from here" in text for text in texts(record, "fine"))


def test_without_a_tachometer_a_person_says_what_the_undriven_fan_does(tmp_path):
    for number, (seen, grade) in enumerate((("in", "fine"), ("still", "fault"), (None, "advice"))):
        site = BenchSite(changes_per_s=1 / 38.0, has_tachometer=False)
        answers = {**GOOD_ANSWERS, **({"air_undriven": seen} if seen else {})}
        _, record, _ = walk(site, tmp_path / str(number), answers, steps=("fan",))
        assert any("nothing drives its wire" in text for text in texts(record, grade))


def test_air_going_the_wrong_way_is_sensed_without_a_person(tmp_path):
    site = BenchSite(changes_per_s=1 / 38.0, reversed_flow=True)
    status, record, _ = walk(site, tmp_path, answers={})
    assert status == 3
    assert any("the air goes the wrong way" in text for text in texts(record, "fault"))


def test_a_dead_fan_is_a_fault(tmp_path):
    site = BenchSite(changes_per_s=0.0, fan=BenchFan(stuck_rpm=0.0))
    status, record, _ = walk(site, tmp_path, answers={"air_at_full": "still"})
    assert status == 3
    faults = " ".join(texts(record, "fault"))
    assert "does not turn at 100 %" in faults
    assert "stands still" in faults
    assert record["air_change"]["by_humidity"]["timed"] is False


def test_a_clogged_rig_falls_short_of_the_calculation(tmp_path):
    _, record, _ = walk(BenchSite(changes_per_s=1 / 180.0), tmp_path)
    assert any("less than calculated" in text for text in texts(record, "advice"))


def test_the_rest_of_the_fan_ends_when_it_gets_hot(tmp_path):
    site = BenchSite(heat_gain=0.05, vapour_gain=0.0)
    _, _, said = walk(site, tmp_path, steps=("air-change",))
    assert "it gets hot in there" in said
    assert site.settings.lamp.cutout.above_c == 35.0


def test_the_fan_never_rests_in_a_tent_nobody_can_see(tmp_path):
    site = BenchSite(dead=("upper", "lower"))
    _, record, _ = walk(site, tmp_path, steps=("air-change",))
    assert any("nobody would see" in text for text in texts(record, "advice"))
    assert site.fan.commands == [0.0, 1.0, 0.0, 1.0]  # warned, purged, no rest, safe
    assert record["air_change"] is None


def test_a_sensor_far_off_is_doubted_before_it_is_corrected(tmp_path):
    site = BenchSite(biases={"upper": (2.4, 0.0)})
    _, record, _ = walk(site, tmp_path, steps=("sensors",))
    (advice,) = texts(record, "advice")
    assert advice.index("in the same air") < advice.index("temperature_offset to −2.4 K")


def test_a_sensor_beyond_any_offset_is_to_be_replaced(tmp_path):
    answers = {**GOOD_ANSWERS, "thermometer": "42 °C"}
    _, record, _ = walk(BenchSite(), tmp_path, answers=answers, steps=("sensors",))
    beyond = [text for text in texts(record, "advice") if "no offset helps" in text]
    assert len(beyond) == 3
    assert not any("temperature_offset" in text for text in texts(record, "advice"))


@pytest.mark.parametrize(("quantity", "unit"), [("temperature", "K"), ("humidity", "%")])
def test_the_greatest_offset_is_what_a_config_takes(quantity, unit):
    def load(offset):
        return settings_from_text(CONFIG.replace("pin: 4}", f"pin: 4, {offset}}}"))

    greatest = GREATEST_OFFSET[quantity]
    load(f"{quantity}_offset: {greatest} {unit}")
    with pytest.raises(ConfigError, match="offset"):
        load(f"{quantity}_offset: {greatest + 0.1} {unit}")


class Interrupting:
    """Answers well until one question, at which something happens."""

    def __init__(self, at, happening):
        self._talk = PreparedTalk(GOOD_ANSWERS, consent=True, tell=lambda text: None)
        self._at, self._happening = at, happening

    def __getattr__(self, name):
        method = getattr(self._talk, name)

        def asked(key):
            if key == self._at:
                self._happening()
            return method(key)

        return asked


def ctrl_c():
    raise KeyboardInterrupt


@pytest.mark.parametrize("happening", [ctrl_c, lambda: os.kill(os.getpid(), signal.SIGTERM)])
def test_stopped_in_the_middle_it_leaves_the_fan_safe_and_writes_what_it_has(tmp_path, happening):
    site = BenchSite()
    status, record, _ = walk(site, tmp_path, talk=Interrupting("air_at_slowest", happening))
    assert status == 130
    assert site.fan.commands[-1] == site.settings.failsafe.speed == 1.0
    assert site.fan.closed
    assert record["verdict"] == "unfinished: stopped by hand"
    assert record["sensors"] is not None


def test_any_error_leaves_the_fan_safe_too(tmp_path):
    def fails():
        raise UserError("the pin is gone", status=3)

    site = BenchSite()
    with pytest.raises(UserError, match="the pin is gone"):
        walk(site, tmp_path, talk=Interrupting("air_at_full", fails))
    assert site.fan.commands[-1] == 1.0
    assert site.fan.closed


def test_signals_are_given_back_afterwards(tmp_path):
    before = signal.getsignal(signal.SIGTERM)
    walk(BenchSite(), tmp_path, steps=("sensors",))
    assert signal.getsignal(signal.SIGTERM) is before


def test_an_earlier_record_is_never_overwritten(tmp_path):
    for _ in range(2):
        args = parsed("bench.yaml", "--output", tmp_path)
        talk = PreparedTalk({}, consent=True, tell=lambda text: None)
        site = BenchSite()
        command.commission(args, site.loaded, TrialState(("sensors",), (1.0,)), talk, site)
    assert len(list(tmp_path.glob("*.json"))) == len(list(tmp_path.glob("*.txt"))) == 2


def test_the_text_says_the_same_in_words(tmp_path):
    walk(BenchSite(changes_per_s=1 / 38.0), tmp_path)
    (path,) = tmp_path.glob("*.txt")
    text = path.read_text("utf-8")
    assert text.startswith("Commissioning of Bench, 2013-07-18")
    assert "Verdict: ready" in text
    assert "upper (tent, dht22)" in text
    assert "600 rpm" in text
    assert "SIMULATED" not in text


def test_a_running_daemon_keeps_it_out(tmp_path, monkeypatch):
    from controller.locks import claim

    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    monkeypatch.setenv("RUNTIME_DIRECTORY", str(tmp_path))
    config = tmp_path / "tent.yaml"
    record = tmp_path / "tent.sqlite3"
    config.write_text(CONFIG + f'record: {{path: "{record}"}}\n', encoding="utf-8")
    with claim(load_settings(config).settings.record_path), pytest.raises(UserError) as caught:
        command.run(parsed(config, "--yes"))
    assert caught.value.status == 4


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--speeds", "60 %, 30 %"], "rising speeds"),
        (["--speeds", "0 %"], "rising speeds"),
        (["--speeds", "fast"], "--speeds"),
        (["--build-up", "1 s"], "1 min to 2 h"),
        (["--skip", "sensors", "--skip", "fan", "--skip", "air-change"], "nothing to do"),
        ([], "no terminal"),
        (["--answers", "missing.yaml"], "missing.yaml"),
    ],
)
def test_what_makes_no_sense_is_refused_with_status_2(tmp_path, arguments, words):
    config = tmp_path / "tent.yaml"
    config.write_text(CONFIG, encoding="utf-8")
    with pytest.raises(UserError) as caught:
        command.run(parsed(config, "--simulate", *arguments))
    assert words in caught.value.message
    assert caught.value.status == 2


def test_answers_come_from_a_file(tmp_path):
    answers = tmp_path / "answers.yaml"
    answers.write_text("cautions_read: yes\nair_at_full: in\nthermometer: 23.4 °C\n", "utf-8")
    given = command._answers(answers)
    assert given == {"cautions_read": True, "air_at_full": "in", "thermometer": "23.4 °C"}
    answers.write_text("- a list\n", "utf-8")
    with pytest.raises(UserError, match="expected lines"):
        command._answers(answers)


@pytest.mark.parametrize(("example", "flow_speed"), [("chillies.yaml", 0.6), ("basil.yaml", 1.0)])
def test_the_simulated_rig_of_an_example_is_timed_as_it_was_built(
    tmp_path, example, flow_speed, capsys
):
    from controller.tent_physics import TentPhysics
    from simulators.fan import Fan

    config = Path(__file__).parents[2] / "config" / example
    args = parsed(config, "--simulate", "--yes", "--json", "--output", tmp_path)
    assert command.run(args) == 0
    record = json.loads(capsys.readouterr().out)
    settings = load_settings(config).settings
    timed = record["air_change"]
    assert timed["speed"] == pytest.approx(flow_speed)
    fan = Fan(settings, TentPhysics.from_settings(settings).density_kg_m3)
    true_m3_s = fan.flow_m3_s(timed["speed"])
    assert timed["flow_m3_s"]["low"] < true_m3_s < timed["flow_m3_s"]["high"]
    assert timed["flow_m3_s"]["best"] == pytest.approx(true_m3_s, rel=0.25)
    assert record["simulated"] is True
    assert all(
        p.name.split("-commissioning-")[1].startswith("simulated") for p in tmp_path.iterdir()
    )
