"""Too little carbon dioxide while the lamp is lit asks for air, where the intake has more of it."""

from __future__ import annotations

import pytest
from decision_builders import DAY, Decided, day, decide, make_rules, night
from hypothesis import given, settings
from hypothesis import strategies as st

import controller.control
from controller.config import settings_from_text
from controller.control import (
    CALM,
    OVERRIDES,
    Memory,
    Now,
    OverrideState,
    Reading,
    Readings,
    ReasonStatus,
    Rule,
    Rules,
)
from controller.control.override_state import OverrideStates
from controller.control.thresholds import Wish
from controller.control.wish import speed_range
from controller.daemon.tick_events import decision_events
from controller.wording import reason_words

LIMIT_PPM, HYSTERESIS_PPM, DELAY_S, SPEED = 300.0, 40.0, 300.0, 0.6


def air(
    at_s: float,
    co2_ppm: float | None,
    intake_ppm: float | None = None,
    temperature_c: float = 22.0,
    humidity_pct: float = 55.0,
) -> Readings:
    intake = None if intake_ppm is None else Reading(at_s, 20.0, 50.0, intake_ppm)
    return Readings(Reading(at_s, temperature_c, humidity_pct, co2_ppm), intake)


def run(
    *stretches: tuple[float, float | None],
    rules: Rules | None = None,
    intake_ppm: float | None = None,
    temperature_c: float = 22.0,
    humidity_pct: float = 55.0,
    lit: bool = True,
) -> Decided:
    """Decide every ten seconds through stretches of (seconds, ppm); gives the last decision."""
    memory, at_s, decided = Memory(), 0.0, None
    for for_s, co2_ppm in stretches:
        until_s = at_s + for_s
        while at_s < until_s:
            readings = air(at_s, co2_ppm, intake_ppm, temperature_c, humidity_pct)
            now = day(at_s) if lit else night(at_s)
            decided = decide(now, readings, rules or make_rules(), memory)
            memory, at_s = decided.memory, at_s + 10.0
    assert decided is not None
    return decided


def test_stale_air_waits_out_its_delay_and_then_gets_its_speed() -> None:
    waiting, engaged = run((300.0, 280.0)), run((320.0, 280.0))
    assert (waiting.speed, waiting.rule) == (0.5, Rule.SCHEDULE)
    assert (Rule.TOO_STALE, ReasonStatus.DELAYED) in [(r.rule, r.status) for r in waiting.reasons]
    assert (engaged.speed, engaged.rule) == (SPEED, Rule.TOO_STALE)


def test_it_lets_go_once_back_by_the_hysteresis() -> None:
    assert run((400.0, 280.0), (60.0, 339.0)).rule is Rule.TOO_STALE
    assert run((400.0, 280.0), (60.0, 341.0)).rule is Rule.SCHEDULE


@pytest.mark.parametrize("co2_ppm", [None, LIMIT_PPM, 420.0, 5000.0])
def test_air_with_enough_or_not_measured_is_never_stale(co2_ppm: float | None) -> None:
    decided = run((3600.0, co2_ppm))
    assert (decided.speed, decided.rule, decided.memory.overrides) == (0.5, Rule.SCHEDULE, CALM)


def test_a_sensor_that_falls_silent_lets_the_fan_go_at_once() -> None:
    assert run((400.0, 280.0), (10.0, None)).memory.overrides is CALM


def test_the_event_of_a_sensor_that_fell_silent_has_no_value() -> None:
    rules, before = make_rules(), run((400.0, 280.0))
    after = controller.control.decide(day(410.0), air(410.0, None), rules, before.memory)
    (event,) = decision_events(
        before.memory, before.memory, after, air(410.0, None), (before.reasons, ())
    )
    assert event.name == "override.released"
    assert (event.data["value"], event.data["limit"], event.data["unit"]) == (None, 300.0, "ppm")


def test_dark_leaves_take_up_none() -> None:
    assert run((3600.0, 150.0), lit=False).memory.overrides is CALM


def test_an_intake_that_has_no_more_locks_it_out_and_says_so() -> None:
    decided = run((400.0, 280.0), intake_ppm=270.0)
    assert (decided.speed, decided.rule) == (0.5, Rule.SCHEDULE)
    (stale,) = [reason for reason in decided.reasons if reason.rule is Rule.TOO_STALE]
    assert stale.status is ReasonStatus.LOCKED_OUT
    assert reason_words(stale) == (
        "too stale, CO2 280 ppm (limit 300 ppm), locked out because the intake air is no richer in "
        "CO2 (270 ppm, tent 280 ppm)"
    )
    assert stale.as_dict()["intake_unit"] == "ppm"


def test_without_a_sensor_at_the_intake_air_richer_than_outdoors_is_locked_out_beside_it() -> None:
    rules = make_rules(day=DAY._replace(low_co2_ppm=600.0))
    (stale,) = [r for r in run((400.0, 500.0), rules=rules).reasons if r.rule is Rule.TOO_STALE]
    assert (stale.status, stale.intake, stale.inside) == (ReasonStatus.LOCKED_OUT, 420.0, 500.0)


def test_an_intake_without_a_sensor_is_taken_to_have_outdoor_air() -> None:
    """420 ppm: NOAA Global Monitoring Laboratory, Mauna Loa, mean of 2023 (from memory)."""
    engaged = OverrideState(0.0, engaged=True, locked_out=True)
    memory = Memory(overrides=(*[None] * 7, engaged))
    decided = decide(day(10.0), air(10.0, 290.0), make_rules(), memory)
    assert (decided.speed, decided.rule) == (SPEED, Rule.TOO_STALE)
    assert reason_words(decided.reasons[0]) == "too stale, CO2 290 ppm (limit 300 ppm)"


@pytest.mark.parametrize(
    ("temperature_c", "humidity_pct"), [(19.0, 55.0), (22.0, 30.0), (19.0, 30.0)]
)
def test_a_cold_or_dry_tent_gets_the_scheduled_speed_and_no_more(
    temperature_c: float, humidity_pct: float
) -> None:
    """Else a tent whose fan is slowed all winter would starve; much air would make it colder."""
    tent = {"temperature_c": temperature_c, "humidity_pct": humidity_pct}
    assert run((900.0, 420.0), **tent).speed == 0.2  # type: ignore[arg-type]
    stale = run((900.0, 280.0), **tent)  # type: ignore[arg-type]
    assert (stale.speed, stale.rule) == (0.5, Rule.TOO_STALE)


def test_heat_goes_before_it() -> None:
    decided = run((900.0, 280.0), temperature_c=26.0)
    assert (decided.speed, decided.rule) == (1.0, Rule.TOO_HOT)
    assert (Rule.TOO_STALE, ReasonStatus.ENGAGED) in [(r.rule, r.status) for r in decided.reasons]


def test_quiet_hours_cap_it() -> None:
    rules = make_rules(quiet_speed=0.3, day_speed=0.2)
    memory = Memory(overrides=(*[None] * 7, OverrideState(0.0, engaged=True)))
    quiet = Now(10.0, lamp_on=True, in_fan_hours=True, is_quiet=True)
    decided = decide(quiet, air(10.0, 280.0), rules, memory)
    assert (decided.speed, decided.rule) == (0.3, Rule.QUIET)


def engaged(*rules: Rule) -> OverrideStates:
    return tuple(
        OverrideState(0.0, engaged=True) if kind.rule in rules else None for kind in OVERRIDES
    )


BASE = Wish(0.3, Rule.SCHEDULE)


@pytest.mark.parametrize(
    ("states", "most", "expected"),
    [
        (engaged(Rule.TOO_STALE), 1.0, None),  # heat and moisture are calm: its own speed
        (engaged(Rule.TOO_HOT), 1.0, (0.3, 0.3, 1.0)),
        (engaged(Rule.TOO_HOT, Rule.TOO_STALE), 1.0, (0.6, 0.3, 1.0)),
        (engaged(Rule.TOO_HOT, Rule.TOO_STALE), 0.4, (0.4, 0.3, 0.4)),
        (engaged(Rule.TOO_HUMID, Rule.TOO_COLD, Rule.TOO_STALE), 1.0, (0.3, 0.3, 0.9)),
    ],
)
def test_the_law_may_choose_from_what_stale_air_asks_for_up(
    states: OverrideStates, most: float, expected: tuple[float, float, float] | None
) -> None:
    assert speed_range(BASE, states, make_rules(day_speed=0.3), most) == expected


SCD41 = """
tent: {name: t, width: 80 cm, depth: 80 cm, height: 160 cm}
place: {timezone: Europe/Berlin, units: si}
lamp: {power: 100 W, photoperiod: {on: 06:00, off: 22:00}}
fan: {drive: pwm, pin: 18, free_flow: 200 m3/h, max_pressure: 200 Pa, power: 20 W}
schedule: {day_speed: 40 %, night_speed: 20 %}
sensors:
  - {name: canopy, role: tent, driver: iio, device: scd41}
  - {name: room, role: intake, driver: dht22, pin: 17}
targets:
  day: {temperature: [18 °C, 24 °C], humidity: [40 %, 70 %], vpd: [0.6 kPa, 1.6 kPa]}
"""


def test_by_the_modulating_law_the_row_that_keeps_the_speed_up_is_named() -> None:
    rules = Rules.from_settings(settings_from_text(SCD41).settings)._replace(ramp_s=0.0)
    assert rules.modulation is not None
    memory = Memory(overrides=engaged(Rule.TOO_HOT, Rule.TOO_STALE))
    # Hardly too hot, by an intake that is hardly cooler: no more is worth its power.
    readings = Readings(Reading(10.0, 24.1, 55.0, 280.0), Reading(10.0, 24.0, 55.0))
    decided = decide(day(10.0), readings, rules, memory)
    assert (decided.speed, decided.rule) == (0.7, Rule.TOO_STALE)


ppm = st.one_of(st.none(), st.integers(150, 800).map(float))
instants = st.tuples(
    st.sampled_from([10.0, 60.0, 400.0]), st.integers(170, 270), st.integers(25, 85), ppm, ppm,
    st.booleans(),
)  # fmt: skip


@settings(max_examples=40)
@given(st.lists(instants, min_size=1, max_size=12))
def test_whatever_the_air_co2_only_ever_adds_air_and_only_in_the_light(
    steps: list[tuple[float, int, int, float | None, float | None, bool]],
) -> None:
    """Beside the same air without its CO2: never less, the same in the dark, capped when cold."""
    rules = make_rules()
    with_co2, without, at_s = Memory(), Memory(), 0.0
    for gap_s, tenths_c, humidity_pct, co2_ppm, intake_ppm, lit in steps:
        at_s += gap_s
        now = day(at_s) if lit else night(at_s)
        readings = air(at_s, co2_ppm, intake_ppm, tenths_c / 10.0, float(humidity_pct))
        assert readings.tent is not None
        plain = readings._replace(tent=readings.tent._replace(co2_ppm=None))
        seen = decide(now, readings, rules, with_co2)
        blind = decide(now, plain, rules, without)
        with_co2, without = seen.memory, blind.memory
        assert seen.memory.overrides[:7] == blind.memory.overrides[:7]
        assert blind.speed <= seen.speed <= max(blind.speed, SPEED)
        state = seen.memory.overrides[7]
        if state is None or not state.engaged or state.locked_out:
            assert seen.speed == blind.speed
        if not lit or co2_ppm is None:
            assert state is None
        if state is not None and not state.locked_out and state.engaged:
            assert co2_ppm is not None
            assert co2_ppm < (420.0 if intake_ppm is None else intake_ppm)
