"""Why a decision came out as it did: every figure of every reason."""

from __future__ import annotations

from dataclasses import replace

import pytest
from decision_builders import NIGHT, air_is, day, decide, make_rules, night

import controller.control
from controller.config import settings_from_text
from controller.control import Hold, Memory, Quantity, Readings, Reason, ReasonStatus, Rule
from controller.control.forecast import Outlook, Worth
from controller.control.modulation import HeatStage, SpeedChoice, SpeedRange
from controller.control.reasons import worsening
from controller.control.thresholds import Limits, Rules
from controller.control.types import SpeedForecast

AT_ONCE = (0.0,) * 8


def test_the_schedule_gives_its_speed_as_value_and_limit() -> None:
    decision = decide(day(0.0), air_is(0.0), make_rules(), Memory())
    assert decision.reasons == (Reason(Rule.SCHEDULE, ReasonStatus.DECIDING, value=0.5, limit=0.5),)


@pytest.mark.parametrize(("now", "scheduled"), [(day, 0.5), (night, 0.1)])
def test_a_purge_stands_before_the_schedule_it_raises(now, scheduled) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(night_speed=0.1)
    decision = decide(now(0.0, purge=True), air_is(0.0), rules, Memory())
    assert decision.reasons == (
        Reason(Rule.PURGE, ReasonStatus.DECIDING, value=0.8, limit=0.8),
        Reason(Rule.SCHEDULE, ReasonStatus.ENGAGED, value=scheduled, limit=scheduled),
    )


def test_the_failsafe_gives_the_age_of_the_last_reading() -> None:
    rules = make_rules()
    late = decide(day(500.0), air_is(300.0), rules, Memory(started_s=0.0))
    assert late.reasons == (
        Reason(Rule.SENSOR_FAILSAFE, ReasonStatus.DECIDING, value=200.0, limit=120.0, unit="s"),
    )
    never = decide(day(500.0), Readings(None), rules, Memory(started_s=0.0))
    assert never.reasons[0].value is None


def test_a_first_start_without_a_reading_gives_the_schedule_alone() -> None:
    decision = decide(day(0.0), Readings(None), make_rules(), Memory())
    assert [reason.rule for reason in decision.reasons] == [Rule.SCHEDULE]


def test_a_delay_says_when_it_ends_and_an_engaged_override_does_not() -> None:
    rules = make_rules()
    first = decide(day(10.0), air_is(10.0, 25.0, 45.0), rules, Memory())
    assert first.reasons[1] == Reason(
        Rule.TOO_HOT, ReasonStatus.DELAYED, Quantity.TEMPERATURE, 25.0, 24.0, "°C", until_s=70.0
    )
    # Past its delay but back inside the limit: it waits for its value only.
    over = decide(day(70.0), air_is(70.0, 23.5, 45.0), rules, first.memory)
    assert (over.reasons[1].status, over.reasons[1].until_s) == (ReasonStatus.DELAYED, None)
    engaged = decide(day(72.0), air_is(72.0, 25.0, 45.0), rules, over.memory)
    assert (engaged.reasons[0].status, engaged.reasons[0].until_s) == (ReasonStatus.DECIDING, None)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct", "rule", "quantity", "value", "limit", "unit"),
    [
        (12.0, 60.0, Rule.TOO_COLD, Quantity.TEMPERATURE, 12.0, 15.0, "°C"),
        (22.0, 84.0, Rule.TOO_HUMID, Quantity.HUMIDITY, 84.0, 80.0, "%"),
        (15.5, 79.0, Rule.TOO_HUMID, Quantity.VPD, 370.0, 400.0, "Pa"),
        (22.0, 39.0, Rule.TOO_DRY, Quantity.HUMIDITY, 39.0, 40.0, "%"),
    ],
)
def test_an_override_gives_its_quantity_its_value_and_the_limit_of_the_phase(
    temperature_c: float,
    humidity_pct: float,
    rule: Rule,
    quantity: Quantity,
    value: float,
    limit: float,
    unit: str,
) -> None:
    """By night; VPD by hand: es(15.5 °C) = 1761 Pa (Magnus), times 0.21."""
    rules = make_rules(
        night_speed=0.4, delays_s=AT_ONCE, night=NIGHT._replace(low_vpd_pa=400.0, high_vpd_pa=9e3)
    )
    reason = decide(night(0.0), air_is(0.0, temperature_c, humidity_pct), rules, Memory()).reasons[
        0
    ]
    assert (reason.rule, reason.quantity, reason.limit, reason.unit) == (
        rule, quantity, limit, unit,
    )  # fmt: skip
    assert reason.value == pytest.approx(value, rel=0.01)
    assert (reason.intake, reason.inside) == (None, None)


def test_an_override_in_service_shows_no_airs_though_the_intake_is_known() -> None:
    rules = make_rules(delays_s=AT_ONCE)
    served = decide(day(0.0), air_is(0.0, 25.0, 45.0, (15.0, 50.0)), rules, Memory()).reasons[0]
    assert (served.rule, served.status, served.intake) == (
        Rule.TOO_HOT,
        ReasonStatus.DECIDING,
        None,
    )


def test_heat_that_is_locked_out_shows_both_temperatures() -> None:
    rules = make_rules(delays_s=AT_ONCE)
    decision = decide(day(0.0), air_is(0.0, 31.0, 45.0, (31.5, 40.0)), rules, Memory())
    hot = next(reason for reason in decision.reasons if reason.rule is Rule.TOO_HOT)
    assert (hot.status, hot.intake, hot.inside) == (ReasonStatus.LOCKED_OUT, 31.5, 31.0)
    assert hot.as_dict()["intake_unit"] == "°C"


def test_moisture_that_is_locked_out_shows_both_humidity_ratios_in_grams() -> None:
    """W = 0.622 pw / (p − pw); pw of 30 °C at 50 % is 2123 Pa, of 22 °C at 76 % 2010 Pa."""
    rules = make_rules(delays_s=AT_ONCE)
    decision = decide(day(0.0), air_is(0.0, 22.0, 76.0, (30.0, 50.0)), rules, Memory())
    humid = next(reason for reason in decision.reasons if reason.rule is Rule.TOO_HUMID)
    assert humid.status is ReasonStatus.LOCKED_OUT
    assert humid.intake == pytest.approx(13.3, abs=0.1)
    assert humid.inside == pytest.approx(12.6, abs=0.1)
    assert humid.as_dict()["intake_unit"] == "g/kg"


def test_rows_that_do_not_decide_follow_in_the_order_of_priority() -> None:
    rules = make_rules(delays_s=AT_ONCE)
    decision = decide(day(0.0, purge=True), air_is(0.0, 18.0, 30.0), rules, Memory())
    assert [(reason.rule, reason.status) for reason in decision.reasons] == [
        (Rule.TOO_COLD, ReasonStatus.DECIDING),
        (Rule.TOO_DRY, ReasonStatus.ENGAGED),
        (Rule.PURGE, ReasonStatus.ENGAGED),
        (Rule.SCHEDULE, ReasonStatus.ENGAGED),
    ]


def test_a_delayed_row_never_stands_for_the_deciding_one() -> None:
    """Too humid by humidity is delayed still, by VPD it is engaged."""
    rules = make_rules(delays_s=(60.0, 900.0, 0.0, 900.0, 60.0, 120.0, 120.0, 300.0))
    decision = decide(day(0.0), air_is(0.0, 22.0, 80.0), rules, Memory())
    assert [(reason.quantity, reason.status) for reason in decision.reasons] == [
        (Quantity.VPD, ReasonStatus.DECIDING),
        (Quantity.HUMIDITY, ReasonStatus.DELAYED),
        (None, ReasonStatus.ENGAGED),
    ]


def test_a_hold_gives_its_speed_and_its_end_and_leaves_the_rest_asking() -> None:
    memory = Memory(hold=Hold(0.3, until_s=900.0))
    decision = decide(day(0.0), air_is(0.0), make_rules(), memory)
    assert decision.reasons == (
        Reason(Rule.MANUAL_HOLD, ReasonStatus.DECIDING, value=0.3, limit=0.3, until_s=900.0),
        Reason(Rule.SCHEDULE, ReasonStatus.ENGAGED, value=0.5, limit=0.5),
    )


def test_a_rest_not_yet_over_says_how_long_it_has_lasted_and_when_it_ends() -> None:
    rules = make_rules(min_on_s=70.0, min_off_s=120.0)
    decision = decide(day(100.0), air_is(100.0), rules, Memory(switched_s=40.0))
    assert decision.reasons[-1] == Reason(
        Rule.SCHEDULE, ReasonStatus.LIMITING, value=60.0, limit=120.0, unit="s", until_s=160.0
    )


def test_what_waits_for_a_rest_to_end_is_named_by_its_quantity() -> None:
    rules = make_rules(min_off_s=120.0, delays_s=AT_ONCE)
    decision = decide(night(100.0), air_is(100.0, 17.0, 90.0), rules, Memory(switched_s=40.0))
    limiting = decision.reasons[-1]
    assert (limiting.rule, limiting.status) == (Rule.TOO_HUMID, ReasonStatus.LIMITING)
    assert limiting.quantity is Quantity.HUMIDITY


def test_a_run_not_yet_over_says_how_long_it_has_lasted_and_when_it_ends() -> None:
    rules = make_rules(min_on_s=70.0, min_off_s=120.0)
    on = decide(day(40.0), air_is(40.0), rules, Memory())
    decision = decide(night(60.0), air_is(60.0), rules, on.memory)
    assert decision.reasons[-1] == Reason(
        Rule.SCHEDULE, ReasonStatus.LIMITING, value=20.0, limit=70.0, unit="s", until_s=110.0
    )


def test_a_blind_controller_on_hold_names_the_failsafe_as_asking() -> None:
    memory = replace(Memory(started_s=0.0), hold=Hold(0.3, until_s=9000.0))
    decision = decide(day(500.0), Readings(None), make_rules(), memory)
    assert [(reason.rule, reason.status) for reason in decision.reasons] == [
        (Rule.MANUAL_HOLD, ReasonStatus.DECIDING),
        (Rule.SENSOR_FAILSAFE, ReasonStatus.ENGAGED),
    ]


@pytest.mark.parametrize(("now", "limit"), [(day, 70.0), (night, 80.0)])
def test_the_limit_is_that_of_the_phase(now, limit) -> None:  # type: ignore[no-untyped-def]
    rules = make_rules(delays_s=AT_ONCE)
    decision = decide(now(0.0), air_is(0.0, 22.0, 85.0), rules, Memory())
    humid = next(r for r in decision.reasons if r.quantity is Quantity.HUMIDITY)
    assert humid.limit == limit


def test_a_moist_intake_is_said_in_grams_a_kilogram() -> None:
    """Against the reference library psychrolib, at the rules' pressure."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    rules = make_rules(delays_s=AT_ONCE)
    decision = decide(day(0.0), air_is(0.0, 22.0, 80.0, (23.0, 90.0)), rules, Memory())
    humid = next(r for r in decision.reasons if r.quantity is Quantity.HUMIDITY)
    assert humid.status is ReasonStatus.LOCKED_OUT
    for given, t, rh in ((humid.intake, 23.0, 0.90), (humid.inside, 22.0, 0.80)):
        expected = 1000.0 * psychrolib.GetHumRatioFromRelHum(t, rh, rules.pressure_pa)
        assert given == pytest.approx(expected, rel=5e-4)


CHOICE = SpeedChoice(
    0.0, 0.6, True, SpeedRange(0.2, 0.5, 1.0), HeatStage(0),
    Outlook(24.5, 70.0, 900.0), Outlook(24.25, 66.0, 990.0), 8.0, 25.0,
)  # fmt: skip


def forecasts(delay_s: float, temperature_c: float, humidity_pct: float) -> dict[object, object]:
    """What the reasons say of a modulated speed, by the quantity of each override."""
    rules = make_rules(delays_s=(delay_s,) * 8)
    now, readings = day(0.0), air_is(0.0, temperature_c, humidity_pct)
    decision = controller.control.decide(now, readings, rules, Memory())
    decision = decision._replace(memory=replace(decision.memory, choice=CHOICE))
    given = controller.control.reasons(decision, now, readings, rules)
    return {reason.quantity: reason.forecast for reason in given if reason.quantity is not None}


def test_a_modulated_speed_says_what_it_brings_and_what_the_fastest_would() -> None:
    said = forecasts(0.0, 25.0, 99.0)
    assert said[Quantity.TEMPERATURE] == SpeedForecast(0.6, 1.0, 24.5, 24.25, 8.0)
    assert said[Quantity.HUMIDITY] == SpeedForecast(0.6, 1.0, 70.0, 66.0, 8.0)
    assert said[Quantity.VPD] == SpeedForecast(0.6, 1.0, 900.0, 990.0, 8.0)
    assert said[Quantity.DEW_POINT] is None


def test_nothing_is_forecast_of_an_override_that_waits_or_asks_for_less() -> None:
    assert forecasts(60.0, 25.0, 55.0) == {Quantity.TEMPERATURE: None}
    assert set(forecasts(0.0, 12.0, 55.0).values()) == {None}


# Too hot, humid, low in VPD, near the dew point; too cold, dry, high in VPD; CO2.
LIMITS = Limits(24.0, 70.0, 800.0, 2.0, 18.0, 45.0, 1600.0, 0.0)
DRY_NIGHT = CHOICE._replace(
    lit=False,
    outlook=Outlook(24.5, 46.0, 1650.0),
    outlook_at_high=Outlook(24.25, 42.0, 1800.0),
)
VPD_TOO_HIGH = (Rule.TOO_DRY, Quantity.VPD, 1800.0, 1600.0, "Pa")


@pytest.mark.parametrize(
    ("choice", "worth", "expected"),
    [
        # By hand: 0.25 K × 10 W/K gained, 3 % × 1 W/% and 150 Pa × 0.03 W/Pa lost.
        (DRY_NIGHT, Worth(10.0, 1.0, 0.03), VPD_TOO_HIGH),
        (DRY_NIGHT, Worth(10.0, 2.0, 0.03), (Rule.TOO_DRY, Quantity.HUMIDITY, 42.0, 45.0, "%")),
        (DRY_NIGHT, Worth(60.0, 1.0, 0.03), None),  # 15 W gained: only its power holds the fan
        # Just as much gained as lost, 4.6875 W: its power holds the fan.
        (DRY_NIGHT, Worth(18.75, 0.0, 0.03125), None),
        (DRY_NIGHT._replace(lit=True, heat=HeatStage.FAR_OVER), Worth(10.0, 1.0, 0.03), None),
        # The worst of both, though humidity strays as well, and was out of its band before.
        (
            DRY_NIGHT._replace(outlook=Outlook(24.5, 43.0, 1650.0)),
            Worth(10.0, 1.0, 0.03),
            VPD_TOO_HIGH,
        ),
        (DRY_NIGHT, Worth(1.0, 0.1, 0.003), VPD_TOO_HIGH),
        # Hotter by hot intake air is neither too cold nor too dry.
        (
            DRY_NIGHT._replace(
                outlook=Outlook(24.5, 46.0, 1550.0), outlook_at_high=Outlook(25.0, 46.0, 1500.0)
            ),
            Worth(10.0, 1.0, 0.03),
            None,
        ),
        # Heat alone counts in the light and near the warning, not where one of both is missing.
        (DRY_NIGHT._replace(heat=HeatStage.FAR_OVER), Worth(10.0, 1.0, 0.03), VPD_TOO_HIGH),
        (DRY_NIGHT._replace(lit=True, heat=HeatStage.NONE), Worth(10.0, 1.0, 0.03), VPD_TOO_HIGH),
        (CHOICE, Worth(10.0, 1.0, 0.03), None),
    ],
)
def test_what_holds_the_fan_where_its_power_does_not_is_named(
    choice: SpeedChoice, worth: Worth, expected: tuple[object, ...] | None
) -> None:
    assert worsening(choice, LIMITS, worth) == expected


MODULATED = """
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Berlin}
lamp: {power: 100 W, photoperiod: {on: 06:00, off: 22:00}}
fan: {drive: pwm, pin: 18, free_flow: 200 m3/h, max_pressure: 200 Pa, power: 20 W}
sensors:
  - {name: canopy, role: tent, driver: hwmon, device: sht4x}
  - {name: room, role: intake, driver: dht22, pin: 17}
"""


@pytest.mark.parametrize(("choice", "named"), [(DRY_NIGHT, Rule.TOO_DRY), (None, None)])
def test_the_reason_of_a_slowed_fan_names_what_more_air_would_do(
    choice: SpeedChoice | None, named: Rule | None
) -> None:
    law = Rules.from_settings(settings_from_text(MODULATED).settings).modulation
    assert law is not None
    rules = make_rules(delays_s=AT_ONCE)._replace(night=LIMITS)
    now, readings = night(0.0), air_is(0.0, 27.0, 55.0)
    decision = controller.control.decide(now, readings, rules, Memory())
    decision = decision._replace(memory=replace(decision.memory, choice=choice))
    rules = rules._replace(modulation=law._replace(worth=Worth(10.0, 1.0, 0.03)))
    given = controller.control.reasons(decision, now, readings, rules)
    forecast = next(reason for reason in given if reason.rule is Rule.TOO_HOT).forecast
    worsens = None if forecast is None else forecast.worsens
    assert (None if worsens is None else worsens.rule) is named
