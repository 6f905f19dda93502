"""The priority list, row by row."""

from __future__ import annotations

from dataclasses import replace

import pytest
from decision_builders import Decided, air_is, day, decide, make_rules, night

from controller.control import (
    CALM,
    Hold,
    Memory,
    Now,
    Quantity,
    Readings,
    ReasonStatus,
    Rule,
    Rules,
)


def run(
    rules: Rules,
    temperature_c: float = 22.0,
    humidity_pct: float = 55.0,
    *,
    for_s: float = 600.0,
    step_s: float = 2.0,
    memory: Memory | None = None,
    start_s: float = 0.0,
    intake: tuple[float, float] | None = None,
    phase: str = "day",
) -> Decided:
    """Hold one state of the air for a while and give the last decision."""
    memory = memory or Memory()
    decision = None
    at_s = start_s
    while at_s <= start_s + for_s:
        now = day(at_s) if phase == "day" else night(at_s)
        decision = decide(now, air_is(at_s, temperature_c, humidity_pct, intake), rules, memory)
        memory = decision.memory
        at_s += step_s
    assert decision is not None
    return decision


def test_inside_the_band_the_schedule_rules_by_day_and_by_night() -> None:
    rules = make_rules(day_speed=0.5, night_speed=0.0)
    by_day, by_night = run(rules), run(rules, phase="night")
    assert (by_day.speed, by_day.reasons[0].rule) == (0.5, Rule.SCHEDULE)
    assert (by_night.speed, by_night.reasons[0].rule) == (0.0, Rule.SCHEDULE)


def test_a_steady_tent_gives_the_same_memory_object_and_equal_reasons() -> None:
    rules = make_rules()
    first = run(rules)
    again = decide(day(700.0), air_is(700.0), rules, first.memory)
    assert again.memory is first.memory
    assert again.reasons == first.reasons


def test_too_hot_engages_only_after_its_delay() -> None:
    rules = make_rules()
    early = run(rules, 24.5, for_s=58.0)
    assert early.speed == 0.5
    assert [(r.rule, r.status) for r in early.reasons] == [
        (Rule.SCHEDULE, ReasonStatus.DECIDING),
        (Rule.TOO_HOT, ReasonStatus.DELAYED),
    ]
    late = run(rules, 24.5, for_s=60.0)
    assert late.speed == 1.0
    reason = late.reasons[0]
    assert (reason.rule, reason.status, reason.value, reason.limit, reason.unit) == (
        Rule.TOO_HOT,
        ReasonStatus.DECIDING,
        24.5,
        24.0,
        "°C",
    )


@pytest.mark.parametrize(("dip_c", "engages"), [(23.5, True), (22.9, False)])
def test_only_a_dip_past_the_release_threshold_starts_a_delay_anew(
    dip_c: float, engages: bool
) -> None:
    """Hot above 24 °C, until below 23 °C, after 60 s."""
    rules, memory = make_rules(), Memory()
    for at_s, air_c in ((0.0, 25.0), (30.0, dip_c), (40.0, 25.0), (60.0, 25.0)):
        memory = decide(day(at_s), air_is(at_s, air_c, 45.0), rules, memory).memory
    state = memory.overrides[0]
    assert state is not None and state.engaged is engages


def test_too_hot_releases_below_the_hysteresis_and_not_before() -> None:
    rules = make_rules()
    hot = run(rules, 24.5)
    inside_hysteresis = run(rules, 23.01, memory=hot.memory, start_s=700.0)
    assert inside_hysteresis.speed == 1.0
    released = run(rules, 22.99, memory=inside_hysteresis.memory, start_s=1400.0)
    assert (released.speed, released.memory.overrides) == (0.5, CALM)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "quantity"),
    [
        (22.0, 76.0, Quantity.HUMIDITY),  # VPD 634 Pa: the RH alone is out of band
        (19.9, 69.5, Quantity.VPD),  # es 2325 Pa: VPD 709; see the rules below
    ],
)
def test_too_humid_by_either_quantity_raises_the_speed(
    temperature_c: float, humidity_pct: float, quantity: Quantity
) -> None:
    rules = make_rules()
    rules = rules._replace(
        day=rules.day._replace(low_vpd_pa=750.0 if quantity is Quantity.VPD else 600.0)
    )
    decision = run(rules, temperature_c, humidity_pct)
    assert decision.speed == 0.9
    assert decision.reasons[0].rule is Rule.TOO_HUMID
    assert decision.reasons[0].quantity is quantity


def test_a_surface_near_the_dew_point_raises_the_speed() -> None:
    # 22 °C 66 %: dew point 15.4 °C; intake 10 °C puts the fabric midway, at 16 °C.
    rules = make_rules()
    near = run(rules, 22.0, 66.0, intake=(10.0, 50.0))
    assert near.speed == 0.9
    assert near.reasons[0].quantity is Quantity.DEW_POINT
    assert near.reasons[0].value == pytest.approx(0.6, abs=0.1)
    far = run(rules, 22.0, 66.0, intake=(20.0, 50.0))
    assert far.speed == 0.5


def test_cooling_is_locked_out_when_the_intake_is_no_cooler() -> None:
    rules = make_rules()
    decision = run(rules, 31.0, 45.0, intake=(31.5, 40.0))
    assert decision.speed == 0.5
    locked_out = [r for r in decision.reasons if r.status is ReasonStatus.LOCKED_OUT]
    assert [(r.rule, r.value, r.limit, r.intake, r.inside) for r in locked_out if r.intake] == [
        (Rule.TOO_HOT, 31.0, 24.0, 31.5, 31.0),
    ] or locked_out[0].rule is Rule.TOO_HOT


def test_a_locked_out_override_resumes_only_when_the_intake_is_cooler_by_the_hysteresis() -> None:
    rules = make_rules()
    decision = run(rules, 31.0, 45.0, intake=(31.5, 40.0))
    still = run(rules, 31.0, 45.0, intake=(30.2, 40.0), memory=decision.memory, start_s=700.0)
    assert still.speed == 0.5
    served = run(rules, 31.0, 45.0, intake=(29.9, 40.0), memory=still.memory, start_s=1400.0)
    assert served.speed == 1.0


def test_drying_compares_humidity_ratios_and_not_relative_humidities() -> None:
    rules = make_rules()
    # Cellar air at 12 °C and 95 % holds 8.3 g/kg; the tent at 22 °C and 76 % 12.6 g/kg.
    cellar = run(rules, 22.0, 76.0, intake=(12.0, 95.0))
    assert cellar.speed == 0.9
    # Street air at 30 °C and 50 % holds 13.3 g/kg, more than the tent, at a lower RH.
    street = run(rules, 22.0, 76.0, intake=(30.0, 50.0))
    assert street.speed == 0.5
    reason = next(r for r in street.reasons if r.status is ReasonStatus.LOCKED_OUT)
    assert reason.intake == pytest.approx(13.3, abs=0.1)
    assert reason.inside == pytest.approx(12.6, abs=0.1)


def test_too_cold_lowers_the_schedule_unless_the_intake_is_warmer() -> None:
    rules = make_rules()
    assert run(rules, 18.0, 60.0).speed == 0.2
    cold_air = run(rules, 18.0, 60.0, intake=(10.0, 60.0))
    assert (cold_air.speed, cold_air.reasons[0].rule) == (0.2, Rule.TOO_COLD)
    assert run(rules, 18.0, 60.0, intake=(20.0, 60.0)).speed == 0.5


def test_too_dry_lowers_the_schedule_but_never_below_what_heat_asks() -> None:
    rules = make_rules()
    dry = run(rules, 22.0, 35.0)
    assert (dry.speed, dry.reasons[0].rule) == (0.2, Rule.TOO_DRY)
    dry_and_hot = run(rules, 25.0, 35.0)
    assert (dry_and_hot.speed, dry_and_hot.reasons[0].rule) == (1.0, Rule.TOO_HOT)
    assert {(r.rule, r.status) for r in dry_and_hot.reasons} == {
        (Rule.TOO_HOT, ReasonStatus.DECIDING),
        (Rule.TOO_DRY, ReasonStatus.IGNORED),
        (Rule.SCHEDULE, ReasonStatus.ENGAGED),
    }


def test_cold_and_humid_air_is_dried_since_that_row_is_higher() -> None:
    decision = run(make_rules(), 18.0, 85.0)
    assert (decision.speed, decision.reasons[0].rule) == (0.9, Rule.TOO_HUMID)


def test_cold_lowers_a_humid_tent_to_what_drying_asks_and_no_lower() -> None:
    rules = make_rules(day_speed=1.0)
    decision = run(rules, 18.0, 75.0)
    assert (decision.speed, decision.reasons[0].rule) == (0.9, Rule.TOO_HUMID)


def test_cold_is_not_ignored_while_too_humid_is_delayed_or_locked_out() -> None:
    rules = make_rules(day_speed=1.0)
    delayed = run(rules, 18.0, 75.0, for_s=90.0)  # cold after 60 s, humid after 120 s
    assert (delayed.speed, delayed.reasons[0].rule) == (0.2, Rule.TOO_COLD)
    locked_out = run(rules, 18.0, 75.0, intake=(18.0, 80.0))
    assert (locked_out.speed, locked_out.reasons[0].rule) == (0.2, Rule.TOO_COLD)
    statuses = {reason.rule: reason.status for reason in locked_out.reasons}
    assert statuses[Rule.TOO_HUMID] is ReasonStatus.LOCKED_OUT


@pytest.mark.parametrize(
    ("for_s", "intake", "status"),
    [
        (200.0, None, ReasonStatus.DELAYED),
        (600.0, None, ReasonStatus.ENGAGED),
        (600.0, (30.0, 20.0), ReasonStatus.LOCKED_OUT),
    ],
)
def test_dry_is_ignored_while_too_hot_is_delayed_engaged_or_locked_out(
    for_s: float, intake: tuple[float, float] | None, status: ReasonStatus
) -> None:
    delays_s = (300.0, 120.0, 120.0, 120.0, 60.0, 120.0, 120.0, 300.0)
    speeds = (0.8, 0.9, 0.9, 0.9, 0.2, 0.2, 0.2, 1.0)
    rules = make_rules(day_speed=1.0, delays_s=delays_s, speeds=speeds)
    decision = run(rules, 25.0, 30.0, for_s=for_s, intake=intake)
    assert (decision.speed, decision.reasons[0].rule) == (1.0, Rule.SCHEDULE)
    statuses = {reason.rule: reason.status for reason in decision.reasons}
    assert (statuses[Rule.TOO_HOT], statuses[Rule.TOO_DRY]) == (status, ReasonStatus.IGNORED)


def test_dry_is_not_ignored_while_a_surface_near_the_dew_point_is_delayed() -> None:
    """22 °C and 38 % has its dew point at 7 °C; the wall of a tent in a frosty shed is colder."""
    delays_s = (60.0, 120.0, 120.0, 600.0, 60.0, 120.0, 120.0, 300.0)
    decision = run(
        make_rules(day_speed=1.0, delays_s=delays_s), 22.0, 38.0, for_s=300.0, intake=(-10.0, 50.0)
    )
    statuses = {(reason.rule, reason.status) for reason in decision.reasons}
    assert (Rule.TOO_HUMID, ReasonStatus.DELAYED) in statuses
    assert (decision.speed, decision.reasons[0].rule) == (0.2, Rule.TOO_DRY)


def test_a_purge_rules_over_the_schedule_and_under_too_cold() -> None:
    rules = make_rules()
    purged = decide(night(0.0, purge=True), air_is(0.0), rules, Memory())
    assert (purged.speed, purged.reasons[0].rule) == (0.8, Rule.PURGE)
    memory = run(rules, 12.0, 50.0, phase="night").memory
    cold = decide(night(700.0, purge=True), air_is(700.0, 12.0, 50.0), rules, memory)
    assert (cold.speed, cold.reasons[0].rule) == (0.2, Rule.TOO_COLD)


def test_a_stale_reading_leads_to_the_failsafe_speed() -> None:
    rules = make_rules()
    memory = run(rules).memory
    fresh = decide(day(720.0), air_is(600.0), rules, memory)
    assert fresh.speed == 0.5
    stale = decide(day(720.1), air_is(600.0), rules, memory)
    assert (stale.speed, stale.reasons[0].rule) == (0.7, Rule.SENSOR_FAILSAFE)
    assert stale.memory.in_failsafe
    back = decide(day(730.0), air_is(730.0), rules, stale.memory)
    assert (back.speed, back.memory.in_failsafe) == (0.5, False)


def test_a_first_start_keeps_to_the_schedule_until_a_reading_is_overdue() -> None:
    rules = make_rules(night_speed=0.0)
    nothing = Readings(None)
    first = decide(night(1000.0), nothing, rules, Memory())
    assert (first.speed, first.reasons[0].rule) == (0.0, Rule.SCHEDULE)
    overdue = decide(night(1121.0), nothing, rules, first.memory)
    assert (overdue.speed, overdue.reasons[0].rule) == (0.7, Rule.SENSOR_FAILSAFE)
    still = decide(night(1122.0), nothing, rules, overdue.memory)
    assert still.reasons[0].rule is Rule.SENSOR_FAILSAFE


def test_a_stale_intake_is_not_held_against_an_override() -> None:
    rules = make_rules()
    memory = run(rules, 31.0, 45.0, intake=(32.0, 40.0)).memory
    readings = air_is(900.0, 31.0, 45.0)._replace(intake=air_is(700.0, 32.0, 40.0).tent)
    decision = decide(day(900.0), readings, rules, memory)
    assert (decision.speed, decision.reasons[0].rule) == (1.0, Rule.TOO_HOT)


def test_a_hold_rules_over_everything_until_it_expires() -> None:
    rules = make_rules()
    memory = replace(run(rules, 30.0, 45.0).memory, hold=Hold(0.0, until_s=1000.0))
    held = decide(day(999.0), air_is(999.0, 30.0, 45.0), rules, memory)
    assert (held.speed, held.reasons[0].rule) == (0.0, Rule.MANUAL_HOLD)
    assert [r.status for r in held.reasons].count(ReasonStatus.DECIDING) == 1
    over = decide(day(1000.0), air_is(1000.0, 30.0, 45.0), rules, held.memory)
    assert (over.speed, over.reasons[0].rule, over.memory.hold) == (1.0, Rule.TOO_HOT, None)


def test_a_lamp_of_ours_is_cut_in_lasting_heat_and_held_off() -> None:
    rules = make_rules(lamp_is_ours=True)
    hot = run(rules, 36.0, 40.0, for_s=298.0)
    assert hot.lamp_on
    cut = run(rules, 36.0, 40.0, for_s=300.0)
    assert not cut.lamp_on
    cool = run(rules, 25.0, 50.0, memory=cut.memory, start_s=302.0, for_s=1790.0)
    assert not cool.lamp_on
    free = run(rules, 25.0, 50.0, memory=cool.memory, start_s=2094.0, for_s=20.0)
    assert free.lamp_on


def test_a_lamp_that_is_cut_stays_so_when_the_air_is_back_where_a_decision_stood() -> None:
    rules = make_rules(lamp_is_ours=True)
    warm = run(rules, 34.0, 55.0, for_s=1200.0)  # the overrides are engaged and stand
    hot = run(rules, 36.0, 55.0, memory=warm.memory, start_s=1202.0, for_s=302.0)
    assert not hot.lamp_on
    back = run(rules, 34.0, 55.0, memory=hot.memory, start_s=1506.0, for_s=600.0)
    assert not back.lamp_on


def test_a_lamp_stays_cut_past_its_hold_off_while_it_is_hot() -> None:
    rules = make_rules(lamp_is_ours=True)
    cut = run(rules, 36.0, 40.0, for_s=300.0)
    assert not run(rules, 34.5, 40.0, memory=cut.memory, start_s=302.0, for_s=4000.0).lamp_on


def test_a_lamp_that_is_not_ours_is_never_cut() -> None:
    assert run(make_rules(lamp_is_ours=False), 40.0, 40.0, for_s=3600.0).lamp_on


def test_night_limits_hold_by_night() -> None:
    rules = make_rules()
    humid_by_day = run(rules, 22.0, 76.0)
    humid_by_night = run(rules, 22.0, 76.0, phase="night")
    assert humid_by_day.reasons[0].rule is Rule.TOO_HUMID
    assert humid_by_night.reasons[0].rule is Rule.SCHEDULE


def test_reasons_in_json_name_rule_status_quantity_value_limit_and_unit() -> None:
    reason = run(make_rules(), 24.5).reasons[0]
    assert reason.as_dict() == {
        "rule": "too_hot",
        "status": "deciding",
        "quantity": "temperature",
        "value": 24.5,
        "limit": 24.0,
        "unit": "°C",
    }


def test_the_fan_hours_alone_decide_the_scheduled_speed() -> None:
    rules = make_rules()
    pre_run = Now(0.0, lamp_on=False, in_fan_hours=True)
    assert decide(pre_run, air_is(0.0), rules, Memory()).speed == 0.5


def test_an_override_engages_only_while_its_value_is_out_of_band() -> None:
    rules = make_rules()
    memory = run(rules, 24.5, for_s=10.0).memory
    back = run(rules, 23.5, memory=memory, start_s=12.0, for_s=300.0)
    assert (back.speed, back.reasons[1].status) == (0.5, ReasonStatus.DELAYED)
    assert back.reasons[1].until_s is None
    again = run(rules, 24.1, memory=back.memory, start_s=314.0, for_s=0.0)
    assert (again.speed, again.reasons[0].rule) == (1.0, Rule.TOO_HOT)


def test_a_lowered_speed_lasts_ten_minutes_at_least() -> None:
    rules = make_rules()
    dry = run(rules, 22.0, 39.0, for_s=120.0)
    assert dry.speed == 0.2
    moist = run(rules, 22.0, 50.0, memory=dry.memory, start_s=122.0, for_s=596.0)
    assert moist.speed == 0.2
    assert run(rules, 22.0, 50.0, memory=moist.memory, start_s=720.0, for_s=0.0).speed == 0.5


def test_a_lowered_speed_gives_way_at_once_to_what_asks_for_air() -> None:
    rules = make_rules()
    dry = run(rules, 22.0, 39.0, for_s=120.0)
    hot = run(rules, 24.5, 50.0, memory=dry.memory, start_s=122.0, for_s=60.0)
    assert (hot.speed, hot.reasons[0].rule) == (1.0, Rule.TOO_HOT)


def test_less_air_serves_a_cold_tent_whose_intake_is_as_warm_since_the_lamp_warms_it() -> None:
    rules = make_rules()
    alike = run(rules, 18.0, 60.0, intake=(18.0, 60.0))
    assert (alike.speed, alike.reasons[0].rule) == (0.2, Rule.TOO_COLD)


def test_too_cold_once_locked_out_is_served_when_the_intake_is_no_longer_warmer() -> None:
    rules = make_rules()
    locked_out = run(rules, 18.0, 60.0, intake=(19.0, 60.0))
    assert locked_out.speed == 0.5
    still = run(rules, 18.0, 60.0, intake=(18.1, 60.0), memory=locked_out.memory, start_s=700.0)
    assert still.speed == 0.5
    served = run(rules, 18.0, 60.0, intake=(18.0, 60.0), memory=still.memory, start_s=1400.0)
    assert served.speed == 0.2


def test_moister_intake_air_withholds_the_lowering_of_a_dry_tent() -> None:
    rules = make_rules()
    # The margin is the hysteresis of 4 % at the tent's temperature: 35 % against 40 % is past it.
    assert run(rules, 20.5, 35.0, intake=(20.5, 40.0)).speed == 0.5
    assert run(rules, 20.5, 35.0, intake=(20.5, 38.0)).speed == 0.2


def test_out_of_the_failsafe_heat_rules_without_a_second_delay() -> None:
    rules = make_rules()
    blind = decide(day(130.0), Readings(None), rules, run(rules, for_s=0.0).memory)
    assert blind.reasons[0].rule is Rule.SENSOR_FAILSAFE
    seen = decide(day(132.0), air_is(132.0, 24.5), rules, blind.memory)
    assert (seen.speed, seen.reasons[0].rule) == (1.0, Rule.TOO_HOT)


def test_a_restarted_controller_that_was_blind_stays_in_failsafe_until_a_reading_comes() -> None:
    rules = make_rules()
    blind = decide(night(130.0), Readings(None), rules, run(rules, for_s=0.0).memory)
    restored = Memory.restore(blind.memory.snapshot(130.0), 5.0, away_s=20.0)
    restarted = decide(night(5.0), Readings(None), rules, restored)
    assert (restarted.speed, restarted.reasons[0].rule) == (0.7, Rule.SENSOR_FAILSAFE)
    assert decide(night(7.0), air_is(7.0), rules, restarted.memory).speed == 0.0


def test_a_snapshot_of_an_older_version_is_taken_up_all_the_same() -> None:
    snapshot = run(make_rules(), 24.5).memory.snapshot(600.0)
    del snapshot["in_failsafe"]
    assert Memory.restore(snapshot, 5.0, 0.0).overrides[0] is not None


def test_noise_around_the_cut_out_limit_does_not_start_its_delay_anew() -> None:
    rules = make_rules(lamp_is_ours=True)
    memory = Memory()
    for i in range(156):
        at_s = 2.0 * i
        t = 35.3 if i % 2 else 34.8
        decision = decide(day(at_s), air_is(at_s, t, 40.0), rules, memory)
        memory = decision.memory
    assert not decision.lamp_on


def test_a_lamp_is_not_cut_while_the_tent_is_below_the_limit() -> None:
    rules = make_rules(lamp_is_ours=True)
    hot = run(rules, 35.5, 40.0, for_s=10.0)
    assert run(rules, 34.5, 40.0, memory=hot.memory, start_s=12.0, for_s=900.0).lamp_on


@pytest.mark.parametrize(
    "part",
    [
        {"hold": {"speed": 9.0, "left_s": 600.0}},
        {"hold": {"speed": 0.5, "left_s": float("inf")}},
        {"hold": {"speed": float("nan"), "left_s": 600.0}},
        {"lamp_cut": {"age_s": -1e15, "is_cut": True}},
        {"switched_age_s": float("nan"), "speed": 0.0},
    ],
)
def test_a_scrambled_snapshot_is_refused(part: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="not a decision snapshot"):
        Memory.restore(Memory().snapshot(0.0) | part, 100.0, 10.0)


def test_a_lamp_that_is_cut_stays_dark_when_the_air_is_as_it_was_before() -> None:
    rules, memory = make_rules(lamp_is_ours=True), Memory()
    lit = []
    for at_s in range(0, 1200, 2):
        t = 36.0 if 300 <= at_s < 640 else 34.5
        decision = decide(Now(float(at_s), True, True), air_is(float(at_s), t, 40.0), rules, memory)
        memory = decision.memory
        lit.append(decision.lamp_on)
    assert lit.index(False) == 300
    assert not any(lit[300:])
