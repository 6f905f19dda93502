"""What the learned tent shows to have changed is an event and an alarm for as long as it stands."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest
from daemon_builders import Bench
from hypothesis import given
from hypothesis import strategies as st

from controller.alarms.conditions import Condition
from controller.alarms.notifications import message
from controller.alarms.states import Alarm, AlarmChange, AlarmState
from controller.commands.alarms import rows_of
from controller.daemon.calendar import calendar_jobs
from controller.daemon.tent_change import KINDS, saved_change, saved_drift, standing_changes
from controller.wording.events import event_words

AT = "2025-06-03 10:00"
ROME = ZoneInfo("Europe/Rome")


def change(kind: str, **figures: float) -> dict[str, Any]:
    """What an hour found."""
    found: dict[str, Any] = {"kind": kind, "since": "2025-06-03T07:00:00+00:00"}
    found |= {"observed_k": 1.2, "expected_k": 4.0, "doubt_k": 0.5, "share": 0.1}
    found |= {"observed_g_kg": 0.9, "expected_g_kg": 3.1, "doubt_g_kg": 0.7}
    found |= {"compared_with": "2025-05-26T22:00:00+00:00/2025-06-02T22:00:00+00:00"}
    return {**found, "off_k": 0.0, "off_pct": 0.0, **figures}


WILTED = {"change": change("reduced_transpiration")}
OPENED = {"change": change("little_rise")}
AS_LEARNED: dict[str, object] = {"change": None}
WEEK = {"reference": {"from": "2025-05-01T00:00:00+00:00", "to": "2025-05-08T00:00:00+00:00"}}
DARK: dict[str, object] = {"refused": "the newest hours are not lit throughout"}


def hour(bench: Bench, result: dict[str, Any]) -> None:
    """Look once, and run the daemon for a minute."""
    settings = bench.controller.loaded.settings
    jobs = calendar_jobs(lambda: settings, bench.record, find_change=lambda _: result)
    (look,) = [job for job in jobs if job.name == "change"]
    look.work(bench.clock.wall_s())
    bench.run(60.0, 10.0)


def learned_once(bench: Bench) -> Bench:
    bench.record.save_state("learned", 0, {"date": "2025-06-03"})
    return bench


def alarms(bench: Bench, event: str, name: str) -> list[dict[str, Any]]:
    return [data for _, data in bench.events(event) if data["alarm"] == name]


def test_it_is_said_once_and_ends_when_an_hour_finds_the_tent_as_learned() -> None:
    bench = learned_once(Bench(AT))
    hour(bench, AS_LEARNED)
    assert bench.events("tent.changed") == []
    hour(bench, WILTED)
    hour(bench, DARK)
    hour(bench, WILTED)
    (raised,) = alarms(bench, "alarm.raised", "reduced_transpiration")
    assert (raised["value"], raised["limit"], raised["unit"]) == (0.9, 2.4, "g/kg")
    what = raised["response"]
    places = [what.index(word) for word in ("wilt", "empty", "side by side")]
    assert places == sorted(places)
    ((_, data),) = bench.events("tent.changed")
    assert "0.9 g/kg, 2.4 to 3.8 g/kg expected" in event_words("tent.changed", data)
    hour(bench, AS_LEARNED)
    assert len(alarms(bench, "alarm.cleared", "reduced_transpiration")) == 1
    ((_, data),) = bench.events("tent.recovered")
    assert "reduced transpiration is over" in event_words("tent.recovered", data)


def test_another_change_takes_its_place() -> None:
    bench = learned_once(Bench(AT))
    hour(bench, WILTED)
    hour(bench, OPENED)
    assert [data["kind"] for _, data in bench.events("tent.changed")] == [
        "reduced_transpiration",
        "little_rise",
    ]
    assert len(bench.events("tent.recovered")) == 1
    assert not bench.controller.alarms.is_active("reduced_transpiration")
    bench.run(3700.0, 30.0)
    assert bench.controller.alarms.is_active("little_rise")


def test_less_air_by_the_tent_as_learned_is_the_alarm_of_that_name() -> None:
    bench = learned_once(Bench(AT))
    hour(bench, {"change": change("less_air", observed_k=6.0, share=0.5)})
    bench.run(400.0, 10.0)
    (raised,) = alarms(bench, "alarm.raised", "less_air")
    assert (raised["value"], raised["limit"], raised["air_share"]) == (6.0, 4.5, 0.5)
    assert raised["or_sensor"] is False
    learned = "Compared with the tent as learned 27 May to 2 June 2025"
    words = event_words("alarm.raised", raised, "si", ROME)
    assert f"{learned}. What to do: look, in this order: does the fan turn" in words
    ((_, data),) = bench.events("tent.changed")
    assert event_words("tent.changed", data, "si", ROME).endswith(
        f"3.5 K to 4.5 K expected. {learned}"
    )
    assert listed(bench)["basis"] == f"{learned}."


def test_less_air_by_the_config_says_so() -> None:
    alarm = Alarm("less_air", AlarmState.ACTIVE, 0.0, compared_with="config")
    condition = Condition(1.0, value=6.0, limit=4.5, unit="K", compared_with="config")
    sent = message(AlarmChange("alarm.raised", alarm, condition), "a", 0, "si")
    assert sent is not None
    assert "Compared with the config's figures. What to do" in sent.text


def test_what_a_sensor_would_show_as_well_is_said_wherever_the_change_is() -> None:
    bench = learned_once(Bench(AT))
    hour(bench, {"change": change("less_air", observed_k=6.0, share=0.5) | {"or_sensor": True}})
    bench.run(400.0, 10.0)
    (raised,) = alarms(bench, "alarm.raised", "less_air")
    too = "A sensor that reads otherwise than it did would show the same."
    assert "side by side" in raised["response"]
    assert too in event_words("alarm.raised", raised)
    ((_, data),) = bench.events("tent.changed")
    assert event_words("tent.changed", data).endswith(too.removesuffix("."))
    assert too in listed(bench)["basis"]


def test_an_open_tent_below_its_intake_air_is_told_by_its_moisture() -> None:
    bench = learned_once(Bench(AT))
    hour(bench, {"change": change("little_rise", observed_k=-0.5, expected_k=-0.1)})
    bench.run(3700.0, 30.0)
    (raised,) = alarms(bench, "alarm.raised", "little_rise")
    assert (raised["value"], raised["limit"], raised["unit"]) == (0.9, 2.4, "g/kg")
    ((_, data),) = bench.events("tent.changed")
    words = event_words("tent.changed", data)
    assert "−0.5 K, −0.6 K to 0.4 K expected; 0.9 g/kg, 2.4 to 3.8 g/kg expected" in words


def listed(bench: Bench) -> dict[str, Any]:
    """The one alarm as `lungwort alarms` lists it."""
    saved = bench.controller.alarms.saved(bench.clock.monotonic_s(), 0)
    (row,) = [row for row in rows_of(saved, ROME, is_dark=False) if row["alarm"] == "less_air"]
    return row


def test_nothing_is_asked_before_the_tent_was_learned_once() -> None:
    bench = Bench(AT)
    settings = bench.controller.loaded.settings
    jobs = calendar_jobs(lambda: settings, bench.record, find_change=lambda _: pytest.fail("asked"))
    jobs[-1].work(bench.clock.wall_s())


def test_a_drift_found_by_night_stands_until_a_night_without() -> None:
    bench = Bench(AT)
    drift = {"by_k": 0.0, "by_pct": -4.0, "doubt_k": 0.1, "doubt_pct": 1.0}
    settings = bench.controller.loaded.settings
    for night in ({"drift": drift}, {"drift": drift}, {"drift": None}):
        jobs = calendar_jobs(
            lambda: settings, bench.record, learn=lambda _, n=night: {"learned": {**n, **WEEK}}
        )
        bench.record.save_state("learned", 0, None)
        (learning,) = [job for job in jobs if job.name == "learning"]
        learning.work(bench.clock.wall_s())
        bench.run(60.0, 10.0)
    assert len(bench.events("tent.changed")) == 1
    words = event_words("tent.changed", bench.events("tent.changed")[0][1], "si", ZoneInfo("UTC"))
    assert words == (
        "Tent's sensor reads 4 % less beside the intake's than it did. Compared with the tent as "
        "learned 1 to 7 May 2025"
    )
    assert len(alarms(bench, "alarm.raised", "sensor_drift")) == 1
    assert len(alarms(bench, "alarm.cleared", "sensor_drift")) == 1


@pytest.mark.parametrize(
    ("name", "condition", "text"),
    [
        (
            "reduced_transpiration",
            Condition(1.0, value=0.9, limit=2.4, unit="g/kg", share=0.1),
            "0.9 g/kg more than the intake air, expected at least 2.4 g/kg, as if plants and soil "
            "gave off about 10 % of their water. What to do: look",
        ),
        (
            "little_rise",
            Condition(1.0, value=1.2, limit=3.5, unit="K", share=0.3),
            "1.2 K above the intake air, expected at least 3.5 K. What to do: look",
        ),
        (
            "sensor_drift",
            Condition(1.0, value=0.8, unit="K"),
            "The tent's sensor reads 0.8 K more beside the intake's than it did. What to do: see",
        ),
    ],
)
def test_a_message_has_what_was_observed_beside_what_was_expected(
    name: str, condition: Condition, text: str
) -> None:
    alarm = Alarm(name, AlarmState.ACTIVE, 0.0)
    sent = message(AlarmChange("alarm.raised", alarm, condition), "a", 0, "si")
    assert sent is not None
    began = "Since" if name == "little_rise" else "Noticed"
    assert sent.text.startswith(f"{began} Thursday 00:00. {text}")


def test_a_night_refused_for_its_sensors_tells_of_a_drift() -> None:
    bench = Bench(AT)
    settings = bench.controller.loaded.settings
    drift = {"by_k": 1.4, "by_pct": 0.0, "doubt_k": 0.3, "doubt_pct": 1.0}
    night = {"refused": "beyond", "suspected": {"drift": drift, **WEEK}}
    jobs = calendar_jobs(lambda: settings, bench.record, learn=lambda _: night)
    bench.record.save_state("learned", 0, None)
    (learning,) = [job for job in jobs if job.name == "learning"]
    learning.work(bench.clock.wall_s())
    bench.run(60.0, 10.0)
    (raised,) = alarms(bench, "alarm.raised", "sensor_drift")
    assert (raised["value"], raised["unit"]) == (1.4, "K")


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: (
        st.lists(inner)
        | st.dictionaries(st.sampled_from(["kind", "observed_k", "by_k", "by_pct"]), inner)
    ),
    max_leaves=6,
)


@given(json_values)
def test_whatever_a_damaged_record_holds_no_tick_fails(value: object) -> None:
    for sudden, drift in ((value, value), (saved_change(value), saved_drift(value, "tent"))):
        assert set(standing_changes(sudden, drift, "tent")) <= set(KINDS)


def test_a_drift_of_another_tent_says_nothing() -> None:
    drift = {"by_k": 0.0, "by_pct": -4.0}
    assert set(standing_changes(None, saved_drift(drift, "tent"), "tent")) == {"sensor_drift"}
    assert not standing_changes(None, saved_drift(drift, "tent"), "another")
