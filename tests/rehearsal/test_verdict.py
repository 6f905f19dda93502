"""The verdict of a rehearsal: only what the run shows, for tents of every kind."""

from __future__ import annotations

import re
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rehearsal_builders import span

from controller.config import Settings, settings_from_text
from simulators.rehearsal import Outcome, rehearse, set_scene
from simulators.rehearsal.choice import choice
from simulators.rehearsal.compare import comparison_lines, difference_lines
from simulators.rehearsal.counts import IntakeMinutes, Minutes
from simulators.rehearsal.fan_trial import FanTrial, try_fans
from simulators.rehearsal.troubles import Trouble, troubles
from simulators.rehearsal.verdict import TentVerdict, verdict

TENT = """\
tent: {{name: t, width: 80 cm, depth: 80 cm, height: 160 cm}}
place: {{timezone: America/New_York}}
room: {{kind: {room}}}
lamp: {{power: {lamp}, photoperiod: {{on: "06:00", off: "22:00"}}}}
fan: {{drive: pwm, pin: 18, free_flow: {flow}, max_pressure: {pressure}, power: 20 W}}
crop: {{kind: pepper, plants: {plants}, stage: flowering}}
schedule: {{day_speed: {day_speed}, night_speed: {night_speed}}}
targets:
  day: {{temperature: {warm}, humidity: {humid}, vpd: [0.01 kPa, 6 kPa]}}
  night: {{temperature: {warm}, humidity: {humid_at_night}, vpd: [0.01 kPa, 6 kPa]}}
{more}
sensors:
  - {{name: canopy, role: tent, driver: dht22, pin: 4}}
  - {{name: room, role: intake, driver: dht22, pin: 17}}
"""
USUAL = {
    "room": "room", "lamp": "150 W", "flow": "200 m³/h", "pressure": "200 Pa", "plants": "2",
    "day_speed": "50 %", "night_speed": "20 %", "warm": "[10 °C, 30 °C]", "humid": "[5 %, 95 %]",
    "humid_at_night": "[5 %, 95 %]", "more": "",
}  # fmt: skip
SPRING = ("airfield-2013", "2013-05-10", 3)
SUMMER = ("coastal-city-2013-07", "2013-07-16", 3)
WINTER = ("airfield-2013", "2013-01-10", 3)


def tent(**given: str) -> Settings:
    return settings_from_text(TENT.format(**USUAL | given)).settings


def judged(settings: Settings, when: tuple[str, str, int]) -> tuple[Outcome, TentVerdict]:
    weather, start_s, until_s = span(*when)
    outcome = rehearse(settings, set_scene(settings, weather, start_s), start_s, until_s)
    trial = try_fans(settings, weather, outcome, seed=1)
    return outcome, verdict(outcome, settings, trial)


def test_a_tent_that_stays_in_band_is_fit() -> None:
    _, shown = judged(tent(), SPRING)
    assert shown.is_fit
    assert shown.text.startswith("The tent is fit on these days: ")
    assert shown.to_json()["out_of_band"] == []


@pytest.mark.parametrize("sensors", ["two", "no intake sensor"])
def test_a_room_hotter_than_the_band_is_what_limits_whatever_is_measured(sensors: str) -> None:
    text = TENT.format(**USUAL | {"warm": "[15 °C, 22 °C]"})
    if sensors != "two":
        text = text.replace("  - {name: room, role: intake, driver: dht22, pin: 17}\n", "")
    outcome, shown = judged(settings_from_text(text).settings, SUMMER)
    phases = (outcome.intake_day, outcome.intake_night)
    hours = sum(phase["temperature"].air.above for phase in phases) / 60.0
    assert shown.sentences[0].startswith(
        f"The room is hotter than the band for {hours:.0f} of 72 h"
    )
    assert "no fan can hold the band" in shown.text
    assert shown.trial is None  # no fan was even tried


def test_a_fan_that_is_too_weak_is_reported_by_how_much_and_such_a_one_does() -> None:
    """The factor, tried by a config of its own: by the fan laws, flow × k and pressure × k²."""
    weak = {"lamp": "400 W", "flow": "60 m³/h", "warm": "[10 °C, 28 °C]"}
    outcome, shown = judged(tent(**weak), SPRING)
    assert outcome.minutes("temperature").above > 0.1 * outcome.minutes("temperature").total
    assert "the fan is too weak" in shown.sentences[0]
    assert shown.trial is not None and shown.trial.factor is not None
    factor = shown.trial.factor
    assert f"{factor:g} times as much air" in shown.sentences[0]
    stronger = weak | {
        "flow": f"{60.0 * factor:.0f} m³/h", "pressure": f"{200.0 * factor**2:.0f} Pa",
        "day_speed": "100 %", "night_speed": "100 %",
    }  # fmt: skip
    _, then = judged(tent(**stronger), SPRING)
    assert not any(t.quantity == "temperature" and t.side == "above" for t in then.troubles)


def test_a_fan_without_figures_is_not_called_weak_but_what_is_assumed_of_it() -> None:
    text = TENT.format(**USUAL | {"lamp": "1200 W", "warm": "[15 °C, 26 °C]"})
    text = text.replace("free_flow: 200 m³/h, max_pressure: 200 Pa, ", "")
    _, shown = judged(settings_from_text(text).settings, ("airfield-2013", "2013-05-10", 1))
    assert ": a fan as is assumed is too weak" in shown.sentences[0]


def test_a_fan_far_too_weak_in_a_hot_room_is_no_less_too_weak() -> None:
    """A room a few kelvins above the band explains no tent that is far hotter still.

    And a twentieth of the air that is needed is too little, though eight times as much is as well.
    """
    weak = tent(lamp="1200 W", flow="15 m³/h", warm="[15 °C, 26 °C]")
    for weather, day in (("coastal-city-2013-07", "2013-07-16"), ("airfield-2013", "2013-05-10")):
        _, shown = judged(weak, (weather, day, 1))
        assert "the fan is too weak" in shown.sentences[0]
        assert "no fan can hold the band" not in shown.text
        is_further = "the tent is further above the room than the room above the band" in shown.text
        assert is_further is (day == "2013-07-16")


@pytest.mark.parametrize(("tent_k", "is_both"), [(1.5, False), (9.0, True)])
def test_a_kelvin_above_a_hot_room_is_what_any_tent_has(tent_k: float, is_both: bool) -> None:
    hot = Trouble("temperature", "above", "", 600.0, 600.0, 600.0, 600.0, 10 * (1 + tent_k), 10.0)
    assert (hot.is_of_both, hot.is_of_the_intake) == (is_both, not is_both)


def test_how_far_the_intake_air_is_out_of_band_is_counted_beside_for_how_long() -> None:
    minutes = IntakeMinutes()
    minutes.count((20.0, 1.0), [25.0] * 5, (21.5, 23.0), 60.0)  # 20 to 24 °C, an hour each
    assert (minutes.air.below, minutes.air.above, minutes.both_above) == (120.0, 60.0, 60.0)
    assert (minutes.air.hours_below, minutes.air.hours_above) == (2.0, 1.0)


def test_a_fan_that_is_only_run_too_slowly_is_not_called_weak() -> None:
    lazy = tent(
        lamp="400 W",
        warm="[10 °C, 28 °C]",
        day_speed="20 %",
        more="overrides: {temperature: {speed: 25 %}, humidity: {speed: 25 %}}",
    )
    _, shown = judged(lazy, SPRING)
    assert "its speeds are what limits the tent" in shown.sentences[0]
    assert "too weak" not in shown.text
    quiet = "overrides: {temperature: {speed: 25 %}, humidity: {speed: 25 %}}\n"
    quiet += 'quiet: {from: "12:00", to: "18:00", speed: 20 %}'
    _, shown = judged(
        tent(lamp="400 W", warm="[10 °C, 28 °C]", day_speed="20 %", more=quiet), SPRING
    )
    assert "its speeds, with its quiet hours, are what limits the tent" in shown.sentences[0]


@pytest.mark.parametrize(
    ("full_h", "blames"), [(33.0, True), (36.0, True), (37.5, False), (40.0, False), (41.0, False)]
)
def test_speeds_are_blamed_only_where_full_speed_takes_away_much_of_what_is_not_the_rooms(
    full_h: float, blames: bool
) -> None:
    def week(above_h: float) -> Outcome:
        outcome = Outcome(0.0, 604_800.0)
        outcome.day["temperature"] = Minutes(0.0, (168.0 - above_h) * 60.0, above_h * 60.0)
        outcome.intake_day["temperature"] = IntakeMinutes(
            Minutes(0.0, 135.0 * 60.0, 33.0 * 60.0), 0.0, 33.0 * 60.0
        )
        return outcome

    full = week(full_h)
    shown = verdict(week(40.0), tent(), FanTrial(0.05, full, None, full))
    assert "In 33 of them the room is hotter" in shown.text
    assert "In the other hours, at full speed all the time this fan would" in shown.text
    # In the same measure as the hours that it is set against.
    assert f"leave {max(0.0, full_h - 33.0):g} h" in shown.text or full_h == 33.0
    assert ("so its speeds are what limits the tent" in shown.text) is blames
    assert ("so its speeds are not what limits the tent" in shown.text) is not blames


def test_a_room_that_is_too_cold_is_no_matter_of_the_fan() -> None:
    _, shown = judged(tent(room="attic", warm="[20 °C, 30 °C]"), WINTER)
    assert shown.sentences[0].startswith("The room is colder than the band for ")
    assert "fan" not in shown.text


def test_a_tent_that_is_too_humid_at_night_hears_so() -> None:
    moist = tent(plants="9", night_speed="0 %", humid_at_night="[5 %, 75 %]")
    outcome, shown = judged(moist, SPRING)
    assert [t.words for t in shown.troubles] == ["too humid at night"]
    hours = outcome.night["humidity"].above / 60.0
    assert shown.troubles[0].out_min == pytest.approx(hours * 60.0)
    assert "of 24 dark hours" in shown.sentences[0]


def test_what_is_left_comes_second() -> None:
    _, shown = judged(tent(warm="[15 °C, 22 °C]", humid_at_night="[5 %, 40 %]"), SUMMER)
    assert len(shown.sentences) == 2
    assert shown.sentences[1].startswith("Next: too humid")


def _hot_noon_of_a_cold_dry_day(warned_min: float) -> Outcome:
    """One lit hour 0.5 K too hot; eleven lit ones too cold by 4 K and all of them 20 % too dry."""
    outcome = Outcome(0.0, 43_200.0, heat_warning_min=warned_min)
    outcome.day["temperature"] = Minutes(660.0, 0.0, 60.0, 44.0, 0.5)
    outcome.day["humidity"] = Minutes(720.0, 0.0, 0.0, 240.0, 0.0)
    return outcome


def test_a_little_heat_is_not_what_limits_a_tent_that_is_cold_and_dry_all_day() -> None:
    """As a review of the same days tells it; and each of the three is told."""
    shown = verdict(_hot_noon_of_a_cold_dry_day(0.0), tent())
    assert shown.text == (
        "Too cold for 11 of 12 hours. Next: too dry for 12 of 12 hours; too hot for 1 of 12 hours."
    )
    shown = verdict(_hot_noon_of_a_cold_dry_day(30.0), tent())  # flowers drop
    assert shown.sentences[0].startswith("Too hot for 1 of 12 hours")


@pytest.mark.parametrize(
    ("left_min", "end"),
    [
        (30.0, "with 8 times as much air for 30 min: the fan is too weak."),
        (
            290.0,
            "with 8 times as much air for 4.8 h: the lamp is too strong for this tent and room.",
        ),
    ],
)
def test_heat_that_has_the_lamp_cut_is_not_called_no_matter_of_the_fan(
    left_min: float, end: str
) -> None:
    """A cut lamp cools the tent: with more air it burns longer, and the tent may be hotter."""
    cut, stronger = _hot_noon_of_a_cold_dry_day(0.0), _hot_noon_of_a_cold_dry_day(0.0)
    cut.lamp_cut_min, stronger.lamp_cut_min = 300.0, left_min
    shown = verdict(cut, tent(), FanTrial(0.05, cut, None, stronger))
    assert shown.sentences[0] == f"The lamp was cut for heat for 5 of 12 lit hours, {end}"
    assert shown.sentences[1].startswith("Too cold for 11 of 12 hours; too dry for ")
    fine = Outcome(0.0, 43_200.0, lamp_cut_min=300.0)
    for name in fine.day:
        fine.day[name] = Minutes(0.0, 720.0, 0.0)
    assert verdict(fine, tent()).is_fit is False


minutes = st.builds(
    Minutes,
    below=st.floats(0.0, 500.0),
    within=st.floats(1.0, 500.0),
    above=st.floats(0.0, 500.0),
)


@st.composite
def outcomes(draw: st.DrawFn) -> Outcome:
    """Counts that a run might have left: the two out of band at once are no more than either."""
    outcome = Outcome(0.0, 86_400.0)
    for phase, intake in (
        (outcome.day, outcome.intake_day),
        (outcome.night, outcome.intake_night),
    ):
        for name in phase:
            phase[name] = draw(minutes)
        for name in intake:
            air, tent_air = draw(minutes), phase[name]
            intake[name] = IntakeMinutes(
                air,
                draw(st.floats(0.0, min(air.below, tent_air.below))),
                draw(st.floats(0.0, min(air.above, tent_air.above))),
            )
    return outcome


@given(outcomes())
def test_a_verdict_claims_no_more_than_the_counts(outcome: Outcome) -> None:
    shown = verdict(outcome, tent())
    shares = [
        part / phase[name].total
        for phase in (outcome.day, outcome.night)
        for name in phase
        for part in (phase[name].below, phase[name].above)
        if phase[name].total
    ]
    assert shown.is_fit is not any(share > 0.05 for share in shares)
    assert 1 <= len(shown.sentences) <= 2
    assert "too weak" not in shown.text  # nothing was tried
    if "no fan can hold the band" in shown.text:
        hot = shown.troubles[0]
        assert (hot.quantity, hot.side) == ("temperature", "above")
        assert hot.both_min >= 0.5 * hot.out_min > 0.0
        # Where it is not nearly all of the time, the hours that it is said of are named.
        assert hot.both_min >= 0.9 * hot.out_min or "of them the room is hotter" in shown.text
    for trouble in troubles(outcome):
        assert 0.0 <= trouble.both_min <= trouble.out_min <= trouble.total_min


def test_a_comparison_says_when_outside_air_was_no_help_only_where_a_run_can_tell() -> None:
    quiet, locked = Outcome(0.0, 86_400.0), Outcome(0.0, 86_400.0)
    locked.locked_out_min = 90.0
    for run in (quiet, locked):
        for phase in (run.day, run.night):
            for name in phase:
                phase[name] = Minutes(0.0, 720.0, 0.0)
    rows = "\n".join(comparison_lines([("a", quiet), ("b", locked)], tent()))
    assert "Outside air no help" in rows
    assert "1 h 30 min" in rows
    assert "no help" not in "\n".join(comparison_lines([("a", quiet), ("b", quiet)], tent()))


@cache
def _run(day_speed: str) -> tuple[Settings, Outcome]:
    settings = tent(day_speed=day_speed)
    weather, start_s, until_s = span("airfield-2013", "2013-05-10", 2)
    return settings, rehearse(settings, set_scene(settings, weather, start_s), start_s, until_s)


def test_there_is_nothing_to_choose_between_the_same_and_something_between_others() -> None:
    (one, first), (other, second) = _run("50 %"), _run("100 %")
    same = choice([first, first], ["a", "b"], [one, one])
    assert same.alike
    assert same.text.startswith("Nothing to choose between these 2: ")
    two = choice([first, second], ["a", "b"], [one, other])
    assert not two.alike
    assert two.text.startswith("Least harm, ")


def _hot_day(excess_k: float) -> Outcome:
    """Out of band all day by so much."""
    outcome = Outcome(0.0, 86_400.0)
    for phase in (outcome.day, outcome.night):
        for name in phase:
            phase[name] = Minutes(0.0, 720.0, 0.0)
        phase["temperature"] = Minutes(0.0, 0.0, 720.0, 0.0, 12.0 * excess_k)
    outcome.peak.value = outcome.trough.value = 30.0
    return outcome


def test_of_two_days_wholly_out_of_band_the_one_less_far_out_is_better() -> None:
    """By hand: 24 h at 5 K are 120 K h, at 2 K 48 K h."""
    far, near = _hot_day(5.0), _hot_day(2.0)
    assert far.share_within == near.share_within
    preferred = choice([far, near], ["far", "near"], [tent(), tent()])
    assert (preferred.best, preferred.alike) == (1, False)
    assert preferred.text.startswith(
        "Least harm, 48, as far as a model can tell: near; in band 67% of the time. "
        "The other: 120, in band 67%."
    )
    rows = "\n".join(comparison_lines([("far", far), ("near", near)], tent()))
    assert re.search(r"Too hot, excess +120 K h +48\.0 K h", rows)
    assert "  72.0 K h less too hot" in difference_lines(far, near, tent(), "near")
    alike = choice([near, _hot_day(2.01)], ["near", "as near"], [tent(), tent()])
    assert alike.alike


@pytest.mark.parametrize(
    ("left_k", "judgement"),
    [(4.9, "not what limits the tent"), (4.4, ""), (3.6, "too weak"), (1.0, "too weak")],
)
def test_a_fan_is_not_called_no_matter_where_more_air_takes_away_a_quarter(
    left_k: float, judgement: str
) -> None:
    """1.2 kW and 17 m³/h, where `size` asks for 1400: eight times as much took away 28 %."""
    day, stronger = _hot_day(5.0), _hot_day(left_k)
    hot = Trouble("temperature", "above", "", 1440.0, 0.0, 0.0, 1440.0, 120.0, 0.0)
    trial = FanTrial(17.0 / 3600.0, day, None, stronger)
    assert trial.judgement(hot) == judgement
    assert (judgement or "at full speed") in verdict(day, tent(), trial).sentences[0]
