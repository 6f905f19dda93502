"""What follows from the fan's runs and from what people and sensors saw."""

import pytest

from controller.commissioning.fan_step import FanRun, judge_fan, sense_direction
from controller.commissioning.watch import RigSnapshot
from controller.control.types import Reading


def grades(findings):
    return [finding.grade for finding in findings]


def faults(findings):
    return [finding.text for finding in findings if finding.grade == "fault"]


def test_a_fan_that_obeys_is_fine():
    runs = [
        FanRun(0.0, 0.0),
        FanRun(0.2, 600.0, "in"),
        FanRun(0.6, 1800.0),
        FanRun(1.0, 3000.0, "in"),
    ]
    assert set(grades(judge_fan(runs))) == {"fine"}


def test_a_fan_that_turns_when_off_is_a_fault():
    (text,) = faults(judge_fan([FanRun(0.0, 2900.0), FanRun(1.0, 2900.0)]))
    assert "although it is switched off" in text
    assert "active_low" in text


def test_a_fan_that_does_not_turn_is_a_fault():
    (text,) = faults(judge_fan([FanRun(0.0, 0.0), FanRun(1.0, 0.0)]))
    assert "does not turn at 100 %" in text


def test_a_fan_whose_current_follows_its_command_is_fine():
    runs = [FanRun(0.0, None, draws_current=False), FanRun(1.0, None, draws_current=True)]
    assert grades(judge_fan(runs)) == ["fine", "fine"]


def test_a_fan_whose_current_does_not_follow_its_command_is_a_fault():
    off, on = FanRun(0.0, None, draws_current=True), FanRun(1.0, None, draws_current=False)
    resting, running = faults(judge_fan([off, on]))
    assert "draws current although it is switched off" in resting
    assert "draws no current at 100 %" in running


def test_a_dead_speed_wire_is_a_fault():
    (text,) = faults(judge_fan([FanRun(0.0, 0.0), FanRun(0.2, 2900.0), FanRun(1.0, 3000.0)]))
    assert "hardly follows its speed wire" in text


@pytest.mark.parametrize(
    ("slow", "full", "expected"),
    [
        ("in", "in", []),
        ("unsure", "out", ["wrong way round"]),
        ("still", "in", []),
        ("still", "still", ["stands still"]),
    ],
)
def test_what_the_tissue_does_is_judged(slow, full, expected):
    shown = faults(judge_fan([FanRun(0.0, None), FanRun(0.2, None, slow), FanRun(1.0, None, full)]))
    assert len(shown) == len(expected)
    assert all(words in text for words, text in zip(expected, shown, strict=True))


def test_no_air_at_the_slowest_speed_is_advice():
    findings = judge_fan([FanRun(0.0, None), FanRun(0.2, None, "still"), FanRun(1.0, None, "in")])
    assert any(f.grade == "advice" and "fan.min_speed" in f.text for f in findings)


def test_a_fan_nobody_saw_is_not_called_good():
    findings = judge_fan([FanRun(0.0, None), FanRun(1.0, None, "unsure")])
    assert grades(findings) == ["advice"]


def look(tent, intake):
    def reading(values):
        return None if values is None else Reading(0.0, *values)

    return RigSnapshot(0.0, (), reading(tent), reading(intake), None)


@pytest.mark.parametrize(
    ("before", "after", "grade"),
    [
        (((28.0, 60.0), (22.0, 55.0)), ((24.0, 55.0), (22.2, 55.0)), "fine"),
        (((28.0, 60.0), (22.0, 55.0)), ((27.0, 60.0), (27.0, 58.0)), "fault"),
        (((22.0, 80.0), (22.0, 50.0)), ((22.0, 78.0), (22.0, 75.0)), "fault"),
        (((22.5, 52.0), (22.0, 50.0)), ((22.0, 50.0), (22.4, 52.0)), None),
        (((28.0, 60.0), None), ((24.0, 55.0), None), None),
    ],
)
def test_the_intake_sensor_tells_the_direction_where_it_can(before, after, grade):
    finding = sense_direction(look(*before), [look(*after)])
    assert (None if finding is None else finding.grade) == grade
