"""What is expected while the tent still settles from what was before."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tent_bodies import CONFIG

from controller.config import settings_from_text
from controller.expectation import Air, ExpectedRise, Judgement, Seen, Settling, judge

MADE = ExpectedRise.from_settings(settings_from_text(CONFIG).settings)
assert MADE is not None
EXPECTED: ExpectedRise = MADE
FINE = Air(21.5, 50.0)
ROOM = Air(20.5, 50.0)


class Watch:
    """Looks once a minute."""

    def __init__(self) -> None:
        self.at_s = 0.0
        self.settling: Settling | None = None

    def look(
        self,
        minutes: int,
        tent: Air | None = FINE,
        intake: Air | None = ROOM,
        speed: float = 1.0,
        lit: bool = True,
    ) -> list[Judgement | None]:
        seen = []
        for _ in range(minutes):
            self.at_s += 60.0
            look = Seen(self.at_s, tent, intake, speed, speed, lit)
            self.settling, judgement = judge(EXPECTED, self.settling, look)
            seen.append(judgement)
        return seen


def less_air(judgements: list[Judgement | None]) -> list[bool]:
    return [one is not None and one.has_less_air for one in judgements]


def test_a_tent_as_expected_hears_so() -> None:
    last = Watch().look(120)[-1]
    assert last is not None
    assert last.low_k <= last.observed_k <= last.high_k
    assert not (last.has_less_air or last.has_little_rise or last.has_heat_while_dark)


def test_a_tent_that_stays_hot_in_the_light_has_less_air() -> None:
    watch = Watch()
    watch.look(120)
    assert all(less_air(watch.look(60, Air(29.0, 50.0)))[30:])


@pytest.mark.parametrize(
    ("tent", "intake"),
    [(Air(34.0, 20.0), Air(30.0, 30.0)), (Air(13.0, 40.0), Air(10.0, 60.0))],
    ids=["warm", "cold"],
)
def test_air_that_measured_heat_and_moisture_account_for_is_not_less(
    tent: Air, intake: Air
) -> None:
    """Its plants give off less than the least supposed, so it is hotter; the flow is all there."""
    last = Watch().look(240, tent, intake)[-1]
    assert last is not None and last.air_share is not None
    assert last.observed_k > last.high_k
    assert last.air_share > 1.0
    assert not last.has_less_air
    assert last.excess_k < -0.5  # by which a standing alarm would end


def test_without_one_of_the_sensors_nothing_is_said() -> None:
    watch = Watch()
    assert watch.look(5, tent=None) == [None] * 5
    assert watch.look(5, intake=None) == [None] * 5


def test_a_tent_that_was_hot_before_the_fan_began_has_its_time() -> None:
    """At rest 8 K are no wonder; with the fan they go within minutes, not at once."""
    watch = Watch()
    watch.look(240, Air(28.5, 50.0), speed=0.0)
    falling = [Air(20.5 + 8.0 * 0.8**minute + 1.0, 50.0) for minute in range(30)]
    assert not any(less_air([watch.look(1, tent)[0] for tent in falling]))


def test_what_a_tent_too_hot_to_be_judged_stored_is_not_forgotten() -> None:
    """Four hours at 74 °C in the light: its pots give that back for hours of the night."""
    watch = Watch()
    watch.look(60, Air(52.0, 22.0), Air(48.0, 25.0))
    assert watch.look(240, Air(74.0, 8.0), Air(62.0, 13.0)) == [None] * 240
    cooling = [Air(48.0 + 2.5 * 0.99**minute, 22.0) for minute in range(180)]
    looks = [watch.look(1, tent, Air(48.0, 25.0), lit=False)[0] for tent in cooling]
    assert looks[-1] is not None
    assert not any(one is not None and one.has_heat_while_dark for one in looks)


def test_nothing_is_concluded_from_the_first_look() -> None:
    """After a start nobody knows what was before: it may all be left over."""
    watch = Watch()
    seen = less_air(watch.look(90, Air(29.0, 50.0)))
    assert not seen[0]
    assert seen[-1]


def test_a_room_that_is_aired_leaves_the_tent_warm_for_a_while() -> None:
    watch = Watch()
    watch.look(240)
    cooling = [Air(17.0 + 5.0 * 0.85**minute, 50.0) for minute in range(40)]
    seen = [watch.look(1, tent, Air(16.5, 55.0))[0] for tent in cooling]
    assert not any(less_air(seen))


def test_a_fan_that_goes_on_and_off_is_not_taken_at_its_mean() -> None:
    """Heat and moisture gather while it rests, and the little it runs finds them gone."""
    watch = Watch()
    watch.look(120)
    seen = []
    for _ in range(20):
        seen += watch.look(3, Air(23.4, 68.0), speed=0.0)
        seen += watch.look(2, Air(22.6, 58.0), speed=1.0)
    assert not any(less_air(seen))


def test_a_fan_that_runs_whenever_the_tent_is_hot_carries_off_more_than_at_its_mean() -> None:
    """As an override by a relay does: never blamed on an open tent or a dark lamp."""
    watch = Watch()
    watch.look(240, Air(22.0, 50.0))
    seen = []
    for _ in range(30):
        seen += watch.look(1, Air(23.2, 50.0), speed=1.0)
        seen += watch.look(4, Air(22.2, 50.0), speed=0.0)
    assert not any(judgement is not None and judgement.has_little_rise for judgement in seen)


def test_fabric_wet_from_a_night_takes_half_of_its_heat_from_the_room() -> None:
    def morning(night_pct: float) -> tuple[Judgement, Judgement]:
        watch = Watch()
        watch.look(240, Air(20.4, night_pct), speed=0.0, lit=False)
        damp, later = watch.look(60, Air(21.0, 75.0))[-1], watch.look(240)[-1]
        assert damp is not None
        assert later is not None
        return damp, later

    (damp, dry_later), (after_dry, later) = morning(100.0), morning(70.0)
    # Saturated at 20.75 °C is 15.4 g/kg, 75 % at 21 °C 11.7 (ASHRAE Fundamentals 2017, ch. 1, table
    # 2): 5.76 m² at 3 W/m²K dry at 0.064 g/s, and the room gives half of 156 W.
    by_hand_k = 0.5 * 156.0 / EXPECTED.steady(1.0, True, 20.5, 50.0).w_per_k  # type: ignore[union-attr]
    assert damp.high_k - after_dry.high_k == pytest.approx(by_hand_k, rel=0.3)
    assert damp.low_k == after_dry.low_k
    assert dry_later.high_k == later.high_k


def test_a_lit_lamp_that_does_not_warm_an_open_tent() -> None:
    watch = Watch()
    seen = watch.look(240, ROOM, Air(20.5, 50.0), speed=0.3)
    assert seen[-1] is not None
    assert seen[-1].has_little_rise


def test_pots_that_were_warm_before_the_first_look_are_no_other_heat() -> None:
    """Started in the evening: what eight hours of lamp left in pots and walls comes out till dawn.

    Contents of 110 kJ/K and 12 W/K for each square metre, walls and leaks of 15 W/K: with the fan
    at rest the air stays between contents and room, and all of it cools in hours.
    """
    floor_m2, walls_w_k = 0.64, 15.0
    exchange_w_k, contents_j_k = 12.0 * floor_m2, 110e3 * floor_m2
    share = exchange_w_k / (exchange_w_k + walls_w_k)
    watch, contents_k, looks = Watch(), 6.0, []
    for _ in range(480):
        looks += watch.look(1, Air(20.5 + share * contents_k, 50.0), speed=0.0, lit=False)
        contents_k -= 60.0 * exchange_w_k * (1.0 - share) * contents_k / contents_j_k
    assert not any(one is not None and one.has_heat_while_dark for one in looks)
    # A heater that goes on at night is one all the same.
    seen = watch.look(60, Air(26.0, 40.0), speed=0.0, lit=False)
    assert seen[-1] is not None and seen[-1].has_heat_while_dark


def test_water_that_condenses_on_the_fabric_took_its_heat_though_no_air_carries_it() -> None:
    """Twelve large plants, 1.3 kW, 19 m³/h: as simulated, it settles 26 K above its intake air.

    Much of what evaporates ends on the fabric: by what the air carries off it should be 31 K.
    """
    text = CONFIG.replace("power: 150 W", "power: 1303 W")
    text = text.replace("pepper, plants: 4, stage: flowering", "other, leaf_area: 4.2 m²")
    text = text.replace("190 m³/h, max_pressure: 250 Pa", "19 m³/h, max_pressure: 427 Pa")
    text = text.replace("80 cm, depth: 80 cm, height: 160 cm", "93 cm, depth: 48 cm, height: 67 cm")
    expected, settling = ExpectedRise.from_settings(settings_from_text(text).settings), None
    assert expected is not None
    for minute in range(300):
        seen = Seen(60.0 * minute, Air(56.3, 62.2), Air(30.4, 94.8), 1.0, 1.0, True)
        settling, judgement = judge(expected, settling, seen)
        assert judgement is None or judgement.lack_k < 1.0, minute  # where alarm and review begin


def test_a_sensor_at_the_end_of_its_range_shows_no_open_tent() -> None:
    """60 °C of a sensor that reads no further may be 90 °C, with a lamp as strong as expected."""
    settings = settings_from_text(
        CONFIG.replace("driver: dht22, pin: 4", "driver: dht11, pin: 4").replace(
            "power: 150 W", "power: 2 kW"
        )
    ).settings
    expected, settling, shown = ExpectedRise.from_settings(settings), None, []
    assert expected is not None
    for minute in range(240):
        seen = Seen(60.0 * minute, Air(60.0, 10.0), ROOM, 0.1, 0.1, True)
        settling, judgement = judge(expected, settling, seen)
        shown.append(judgement is not None and judgement.has_little_rise)
    assert not any(shown)


def test_heat_in_the_dark_that_no_pot_can_store() -> None:
    watch = Watch()
    watch.look(240)
    cooling = watch.look(60, Air(20.9, 52.0), lit=False)
    assert not any(one is not None and one.has_heat_while_dark for one in cooling)
    heated = watch.look(400, Air(25.0, 55.0), lit=False)
    assert heated[-1] is not None
    assert heated[-1].has_heat_while_dark


@given(
    st.lists(
        st.tuples(
            st.floats(-30.0, 60.0), st.floats(0.0, 100.0), st.floats(-30.0, 60.0),
            st.floats(0.0, 100.0), st.floats(0.0, 1.0), st.booleans(), st.floats(-10.0, 1e5),
        ),
        max_size=12,
    )
)  # fmt: skip
def test_whatever_is_seen_the_limits_are_in_order(
    looks: list[tuple[float, float, float, float, float, bool, float]],
) -> None:
    settling, at_s = None, 0.0
    for tent_c, tent_pct, intake_c, intake_pct, speed, lit, past_s in looks:
        at_s += past_s
        seen = Seen(at_s, Air(tent_c, tent_pct), Air(intake_c, intake_pct), speed, speed, lit)
        settling, judgement = judge(EXPECTED, settling, seen)
        if judgement is not None:
            assert judgement.low_k <= judgement.best_k <= judgement.high_k
