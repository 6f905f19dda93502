"""A fall of the flow that the nightly learning found is an alarm for as long as it stands."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

import pytest
from daemon_builders import CONFIG, Bench
from hypothesis import given
from hypothesis import strategies as st

from controller.alarms.conditions import HOLDS
from controller.alarms.notifications import message
from controller.alarms.states import Alarm, AlarmChange, AlarmState
from controller.daemon.calendar import calendar_jobs
from controller.daemon.reduced_flow import flow_share, saved_fall
from controller.record import MemoryRecord
from controller.wording.events import event_words

ROME = ZoneInfo("Europe/Rome")

FALL = {"since": "2025-06-01T00:00:00+00:00", "usual": 0.9, "now": 0.6}
WEEK = {"from": "2025-05-05T00:00:00+02:00", "to": "2025-05-12T00:00:00+02:00"}
FELL: dict[str, object] = {"learned": {"fall": FALL, "reference": WEEK}}
AS_USUAL: dict[str, object] = {"learned": {"fall": None}}
REFUSED: dict[str, object] = {"refused": "the lamp was never dark"}
AT = "2025-06-03 10:00"


def night(bench: Bench, result: dict[str, object]) -> None:
    """Learn, whether or not it was done today, and run the daemon for a minute."""
    settings = bench.controller.loaded.settings
    jobs = calendar_jobs(lambda: settings, bench.record, learn=lambda _: result)
    bench.record.save_state("learned", 0, None)
    (learning,) = [job for job in jobs if job.name == "learning"]
    learning.work(bench.clock.wall_s())
    bench.run(60.0, 10.0)


def alarms(bench: Bench, event: str = "alarm.raised") -> list[dict[str, Any]]:
    return [data for _, data in bench.events(event) if data["alarm"] == "reduced_flow"]


def test_a_fall_of_the_flow_is_an_alarm_until_the_flow_is_as_usual() -> None:
    bench = Bench(AT)
    night(bench, AS_USUAL)
    assert alarms(bench) == []
    night(bench, FELL)
    (raised,) = alarms(bench)
    assert raised["priority"] == "medium"
    assert raised["flow_share"] == 0.667
    assert "air_share" not in raised
    what = raised["response"]
    places = [what.index(word) for word in ("filter", "duct", "dusty", "turn as fast")]
    assert places == sorted(places)
    night(bench, FELL)
    assert len(alarms(bench)) == 1
    assert len(bench.events("flow.reduced")) == 1
    night(bench, AS_USUAL)
    assert len(alarms(bench, "alarm.cleared")) == 1
    night(bench, FELL)
    assert len(alarms(bench)) == len(bench.events("flow.reduced")) == 2


def test_alarm_message_and_event_say_with_which_days_it_was_compared() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    (raised,), (_, fell) = alarms(bench), *bench.events("flow.reduced")
    basis = "Compared with the tent as learned 5 to 11 May 2025"
    for name, data in (("alarm.raised", raised), ("flow.reduced", fell)):
        assert basis in event_words(name, data, "si", ROME)
    standing = bench.controller.alarms.alarms["reduced_flow"]
    change = AlarmChange("alarm.raised", standing, HOLDS._replace(share=0.6667))
    sent = message(change, "a", 0, "si", ROME)
    assert sent is not None
    assert f"{basis}. What to do" in sent.text


def test_a_night_that_learns_nothing_neither_raises_nor_ends_it() -> None:
    bench = Bench(AT)
    night(bench, REFUSED)
    assert alarms(bench) == []
    night(bench, FELL)
    night(bench, REFUSED)
    assert len(alarms(bench)) == 1
    assert alarms(bench, "alarm.cleared") == []


def test_it_ends_when_a_person_says_that_the_filter_was_changed() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    bench.controller.filter_changed()
    bench.run(60.0, 10.0)
    assert len(bench.events("filter.changed")) == 1
    assert len(alarms(bench, "alarm.cleared")) == 1
    assert not restarted(bench.record).controller.alarms.is_active("reduced_flow")
    night(bench, FELL)  # a new week with a fall after it
    assert bench.controller.alarms.is_active("reduced_flow")


def test_plants_that_reach_another_stage_do_not_end_it() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    after = restarted(bench.record, CONFIG + "crop: {kind: pepper, plants: 4, stage: fruiting}\n")
    assert after.controller.alarms.is_active("reduced_flow")


def restarted(record: MemoryRecord, config: str = CONFIG) -> Bench:
    bench = Bench("2025-06-03 14:00", config, record=record)
    saved = record.load_state("alarms")
    bench.controller.alarms.restore(saved, bench.clock.monotonic_s(), 60.0)
    bench.run(60.0, 10.0)
    return bench


def test_after_a_restart_it_stands_without_being_raised_again_and_can_end() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    after = restarted(bench.record)
    assert after.controller.alarms.is_active("reduced_flow")
    assert len(alarms(after)) == 1
    night(after, AS_USUAL)
    assert not after.controller.alarms.is_active("reduced_flow")


def test_even_a_daemon_that_lost_its_alarms_knows_it_from_the_newest_learning() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    bench.record.save_state("alarms", 0, None)
    assert restarted(bench.record).controller.alarms.is_active("reduced_flow")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("fan: {drive: relay,", "fan: {drive: relay, free_flow: 300 m³/h, max_pressure: 200 Pa,"),
        ("sensors:\n", "learn: off\nsensors:\n"),
    ],
    ids=["another fan", "learning switched off"],
)
def test_it_ends_where_nothing_is_known_of_the_fan_any_more(old: str, new: str) -> None:
    bench = Bench(AT)
    night(bench, FELL)
    assert old in CONFIG
    after = restarted(bench.record, CONFIG.replace(old, new))
    assert not after.controller.alarms.is_active("reduced_flow")
    assert len(alarms(after, "alarm.cleared")) == 1


def test_an_edit_of_the_targets_leaves_it_standing() -> None:
    bench = Bench(AT)
    night(bench, FELL)
    edited = CONFIG.replace("temperature: [20 °C, 26 °C]", "temperature: [20 °C, 27 °C]")
    assert edited != CONFIG
    assert restarted(bench.record, edited).controller.alarms.is_active("reduced_flow")


def test_the_message_says_how_much_is_left() -> None:
    alarm = Alarm("reduced_flow", AlarmState.ACTIVE, 0.0)
    sent = message(AlarmChange("alarm.raised", alarm, HOLDS._replace(share=0.6667)), "a", 0, "si")
    assert sent is not None
    assert sent.title == "a: the fan moves less air than it did at the same speeds"
    assert sent.text.startswith("Noticed Thursday 00:00. About 67 % of what it was. What to do: ")
    assert sent.data["flow_share"] == 0.667


json_values = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(st.sampled_from(["usual", "now"]), inner),
)


@given(json_values)
def test_whatever_a_damaged_record_holds_the_share_is_a_share_or_nothing(value: object) -> None:
    for saved in (value, saved_fall(value, "tent")):
        share = flow_share(saved, "tent")
        assert share is None or 0.0 < share < 1.0


def test_a_fall_that_is_none_or_of_another_tent_says_nothing() -> None:
    assert flow_share(saved_fall(FALL, "tent"), "tent") == pytest.approx(2.0 / 3.0)
    assert flow_share(saved_fall(FALL, "tent"), "another") is None
    assert flow_share(saved_fall({**FALL, "now": 0.9}, "tent"), "tent") is None
    assert flow_share(saved_fall(None, "tent"), "tent") is None
