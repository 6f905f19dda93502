"""Tent and room together: what one gives the other takes, and neither makes the other swing."""

from __future__ import annotations

from array import array
from itertools import pairwise
from math import cos, floor, pi
from typing import Any, NamedTuple

import pytest
from examples import examples
from hypothesis import Phase, given
from hypothesis import strategies as st
from tent_builders import sized_tent

from controller import air
from controller.tent_physics import TentPhysics
from simulators.intake import RoomAir
from simulators.room import KINDS, Kind, Room, RoomBooks
from simulators.tent import Tent
from simulators.tent.ledger import TentLedger
from simulators.weather import Weather

HOUR, DAY = 3600.0, 86_400.0
# To shrink a failing example of simulated days would take longer than to look at it.
QUICK = (Phase.explicit, Phase.reuse, Phase.generate)


def daily_weather(mean_c: float, swing_k: float, humidity_pct: float) -> Weather:
    """Weeks of the same day: coldest at half past two, with the same vapour all day."""
    vapour_pa = air.vapour_pressure_pa(mean_c - swing_k, humidity_pct)
    times = array("d", [HOUR * hour for hour in range(-24 * 40, 24 * 12)])
    temperatures = [mean_c - swing_k * cos(2.0 * pi * (t / DAY - 0.1)) for t in times]
    vapours = array("d", [vapour_pa] * len(times))
    return Weather("daily", times, array("d", temperatures), vapours, array("l", range(len(times))))


class Household(NamedTuple):
    """A tent in a room, the same weather every day, the fan at one flow all the time."""

    kind: Kind
    physics: TentPhysics
    weather: Weather
    flow_m3_h: float
    tick_s: float = 60.0
    room_step_s: float = 1800.0
    lit_h: float = 16.0
    fan_heat_w: float = 0.0


class Knot(NamedTuple):
    """The air around the tent where two lines of it meet: [°C], [g/kg], [%]."""

    air_c: float
    ratio_g: float
    humidity_pct: float


class Lived(NamedTuple):
    """What came of some days: the knots, the last day's peak [°C], tent, its start, and the room.

    The tent's start is air and contents [°C] and humidity ratio, the room's air [°C] and humidity
    ratio; `due` is what the tent gave off since the last knot [J], [kg].
    """

    knots: list[Knot]
    peak_c: float
    tent: Tent
    tent_start: tuple[float, float, float]
    room: Room
    room_start: tuple[float, float]
    due: tuple[float, float]


def live(home: Household, days: float) -> Lived:
    physics, tick_s = home.physics, home.tick_s
    room = Room(home.kind, home.weather, 0.0, physics.pressure_pa, home.room_step_s)
    room_start = room.air_c, room.ratio
    intake = RoomAir(room)
    tent = Tent(physics, intake.air_c, intake.ratio)
    tent.ledger = TentLedger()
    start = tent.air_c, tent.contents_c, tent.humidity_ratio
    knots, peak_c = [], -99.0
    for tick in range(int(days * DAY / tick_s)):
        at_s = tick * tick_s
        if at_s >= intake.until_s:
            intake.go_on(at_s, tent.outflow.take())
            knots.append(Knot(intake.air_c, 1000.0 * intake.ratio, intake.humidity_pct))
        middle_s = at_s + 0.5 * tick_s - intake.from_s
        room_c = intake.air_c + intake.air_c_s * middle_s
        ratio = max(0.0, intake.ratio + intake.ratio_s * middle_s)
        lit = at_s % DAY < home.lit_h * HOUR
        flow = home.flow_m3_h / 3600.0
        tent.advance(flow, lit, tick_s, room_c, room_c, ratio, home.fan_heat_w)
        if at_s >= (days - 1.0) * DAY:
            peak_c = max(peak_c, tent.air_c)
    due = tent.outflow.take()
    return Lived(knots, peak_c, tent, start, room, room_start, (due.heat_j, due.water_kg))


def swing(values: list[float]) -> float:
    """How large a swing from knot to knot and back lasts for five of them and more."""
    steps = [after - before for before, after in pairwise(values)]
    swings = [
        min(map(abs, steps[i : i + 4]))
        for i in range(len(steps) - 3)
        if all(a * b < 0.0 for a, b in pairwise(steps[i : i + 4]))
    ]
    return max(swings, default=0.0)


volumes = st.floats(0.2, 20.0)
flows = st.one_of(st.floats(10.0, 300.0), st.floats(300.0, 3000.0))
weathers = st.builds(
    daily_weather, st.floats(0.0, 32.0), st.floats(0.0, 8.0), st.floats(20.0, 95.0)
)
tents = st.builds(sized_tent, volumes, st.floats(0.0, 500.0), st.floats(0.0, 4.0))
households = st.builds(
    Household,
    kind=st.sampled_from(list(KINDS)),
    physics=tents,
    weather=weathers,
    flow_m3_h=flows,
    tick_s=st.sampled_from([20.0, 60.0, 300.0]),
    room_step_s=st.sampled_from([900.0, 1800.0]),
    lit_h=st.sampled_from([16.0, 24.0]),
    fan_heat_w=st.floats(0.0, 20.0),
)


@examples(16, phases=QUICK)
@given(households)
def test_nothing_swings_or_breaks_and_all_books_close(home: Household) -> None:
    days = 2.0
    lived = live(home, days)
    assert swing([knot.air_c for knot in lived.knots]) < 0.05
    assert swing([knot.ratio_g for knot in lived.knots]) < 0.1
    assert all(0.0 <= knot.humidity_pct <= 95.0 + 1e-9 for knot in lived.knots)
    _hold_books(lived)


def _hold_books(lived: Lived) -> None:
    """The room took what the tent's own ledger says; each closes, and so do both together."""
    tent, room, books, ledger = lived.tent, lived.room, lived.room.books, lived.tent.ledger
    assert ledger is not None
    p, r = tent.physics, room.physics
    due_j, due_kg = lived.due
    turned_over_j = ledger.lamp_j + abs(books.lost_j) + books.heating_j + 1e4
    turned_over_kg = ledger.transpired_kg + abs(books.lost_kg) + books.condensed_kg + 1e-2
    given_j = ledger.wall_j + ledger.air_j
    assert abs(given_j - books.tent_j - due_j) < 1e-6 * turned_over_j
    assert abs(ledger.carried_out_kg - books.tent_kg - due_kg) < 1e-6 * turned_over_kg

    (air_c, contents_c, ratio), (room_c, room_ratio) = lived.tent_start, lived.room_start
    stored_j = p.air_capacity_j_k * (tent.air_c - air_c)
    stored_j += p.contents_capacity_j_k * (tent.contents_c - contents_c)
    stored_j += r.heat_j_k * (room.air_c - room_c)
    latent_j = ledger.evaporation_j - ledger.condensation_j
    came_j = ledger.lamp_j + books.heating_j - latent_j - books.lost_j - due_j
    assert abs(came_j - stored_j) < 1e-6 * turned_over_j

    stored_kg = p.density_kg_m3 * p.volume_m3 * (tent.humidity_ratio - ratio)
    stored_kg += tent.film_kg + tent.drained_kg + r.air_kg * (room.ratio - room_ratio)
    came_kg = ledger.transpired_kg - books.lost_kg - books.condensed_kg - due_kg
    assert abs(came_kg - stored_kg) < 1e-6 * turned_over_kg


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("flow_m3_h", [286.0, 405.0, 3000.0])
def test_the_air_around_comes_to_rest_where_nothing_changes(kind: Kind, flow_m3_h: float) -> None:
    """Here a room of half-hour steps used to blow up, and well below to swing for ever."""
    weather = daily_weather(24.0, 0.0, 60.0)
    home = Household(kind, sized_tent(2.88, 278.0), weather, flow_m3_h, lit_h=24.0)
    lived = live(home, 8.0)
    for name in ("air_c", "ratio_g"):
        values = [getattr(knot, name) for knot in lived.knots]
        assert swing(values) == 0.0
        # The slow year of the house goes on.
        assert abs(values[-1] - values[-48]) < 0.3
    _hold_books(lived)


@pytest.mark.parametrize("kind", KINDS)
def test_half_hours_say_what_minutes_say(kind: Kind) -> None:
    """The reference: steps so short that what is given off in one hardly depends on it.

    When the lamp has been switched, a half-hour's line ends where it would have without; what the
    leaves give off more or less by then comes with the next one.
    """
    weather = daily_weather(24.0, 5.0, 70.0)
    home = Household(kind, sized_tent(2.88, 278.0), weather, 400.0)
    coarse, fine = live(home, 3.0), live(home._replace(room_step_s=60.0), 3.0)
    assert coarse.peak_c == pytest.approx(fine.peak_c, abs=0.15)
    pairs = [(knot, fine.knots[30 * i + 29]) for i, knot in enumerate(coarse.knots)][48:]
    off_k = [abs(ours.air_c - theirs.air_c) for ours, theirs in pairs]
    off_pct = [abs(ours.humidity_pct - theirs.humidity_pct) for ours, theirs in pairs]
    assert max(off_k) < 0.35
    assert sum(off_pct) / len(off_pct) < 0.8
    # Two lines after each of the four times the lamp was switched.
    assert sum(off > 2.0 for off in off_pct) <= 8


@examples(10, phases=QUICK)
@given(
    kind=st.sampled_from(list(KINDS)),
    volume_m3=volumes,
    flow_m3_h=st.floats(20.0, 1500.0),
    stronger=st.floats(1.1, 4.0),
    lamp_w_m2=st.floats(150.0, 500.0),
    weather=weathers,
)
def test_more_flow_never_makes_the_day_hotter_where_the_room_is_cooler(
    kind: Kind,
    volume_m3: float,
    flow_m3_h: float,
    stronger: float,
    lamp_w_m2: float,
    weather: Weather,
) -> None:
    """The lamp's heat ends up in the room whatever the flow, and so does the fan's, held equal."""
    physics = sized_tent(volume_m3, lamp_w_m2, leaf_area_index=0.5)
    home = Household(kind, physics, weather, flow_m3_h, tick_s=300.0)
    weak, strong = live(home, 3.0), live(home._replace(flow_m3_h=stronger * flow_m3_h), 3.0)
    warmest_c = max(knot.air_c for knot in weak.knots[-48:])
    if weak.peak_c > warmest_c:
        assert strong.peak_c <= weak.peak_c + 0.05


def test_what_was_given_off_is_asked_for_once() -> None:
    tent = Tent(sized_tent(1.0), 22.0, 0.008)
    assert tent.outflow.take() == (0.0,) * 6
    tent.advance(0.03, True, 60.0, 20.0, 20.0, 0.008)
    assert tent.outflow.take().heat_j > 0.0
    again: Any = tent.outflow.take()
    assert (again.heat_j, again.water_kg) == pytest.approx((0.0, 0.0), abs=1e-9)


@pytest.mark.parametrize("tick_s", [60.0, 700.0, 3600.0, 7200.0])
def test_a_room_keeps_step_with_ticks_of_any_length(tick_s: float) -> None:
    home = Household("closet", sized_tent(1.0), daily_weather(20.0, 3.0, 60.0), 150.0, tick_s)
    lived = live(home, 2.0)
    last_s = (floor(2.0 * DAY / tick_s) - 1) * tick_s
    # The end of the last line lies ahead; the books reach to its beginning.
    assert lived.room.at_s <= last_s < lived.room.at_s + lived.room.step_s
    _hold_books(lived)


def test_walls_and_heating_are_in_the_books() -> None:
    damp = Room("cellar", daily_weather(28.0, 0.0, 85.0), 0.0, air.STANDARD_PRESSURE_PA)
    cold = Room("room", daily_weather(-10.0, 0.0, 70.0), 0.0, air.STANDARD_PRESSURE_PA)
    assert damp.books == cold.books == RoomBooks()  # the days before are not in them
    damp_start, cold_start = damp.ratio, cold.air_c
    for _ in range(48):
        damp.step(tent_kg_s=1e-4)
        cold.step(tent_w=100.0)
    assert damp.books.condensed_kg > 0.0
    stored_kg = damp.physics.air_kg * (damp.ratio - damp_start)
    came_kg = damp.books.tent_kg - damp.books.lost_kg - damp.books.condensed_kg
    assert damp.books.tent_kg == pytest.approx(1e-4 * DAY)
    assert came_kg == pytest.approx(stored_kg, abs=1e-9)
    assert cold.books.heating_j > 0.0
    stored_j = cold.physics.heat_j_k * (cold.air_c - cold_start)
    came_j = cold.books.tent_j + cold.books.heating_j - cold.books.lost_j
    assert came_j == pytest.approx(stored_j, abs=1e-3)
