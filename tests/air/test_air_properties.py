"""What must hold of the air whatever the numbers: round trips, order, limits, no NaN."""

import itertools
import math
import subprocess
import sys

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from controller import air

temperatures = st.floats(-40.0, 60.0)
humidities = st.floats(1.0, 100.0)
pressures = st.floats(70_000.0, 105_000.0)
anything = st.floats(allow_nan=True, allow_infinity=True)

QUANTITIES = ("temperature_c", "humidity_pct", "dew_point_c", "vpd_pa", "wet_bulb_c")


@given(st.floats(-100.0, 200.0))
@example(0.01)
@example(0.0)
@example(-100.0)
@example(200.0)
def test_dew_point_undoes_saturation(t_c):
    e_pa = air.saturation_vapour_pressure_pa(t_c)
    assert air.dew_point_of_vapour_pressure_c(e_pa) == pytest.approx(t_c, abs=1e-7)


@given(temperatures, humidities)
def test_humidity_comes_back_from_the_dew_point(t_c, rh_pct):
    dew_c = air.dew_point_c(t_c, rh_pct)
    back_pct = 100.0 * air.saturation_vapour_pressure_pa(dew_c)
    assert back_pct / air.saturation_vapour_pressure_pa(t_c) == pytest.approx(rh_pct, rel=1e-6)


@given(temperatures, humidities, pressures)
def test_humidity_comes_back_from_the_humidity_ratio(t_c, rh_pct, pressure_pa):
    w = air.humidity_ratio(t_c, rh_pct, pressure_pa)
    assert air.humidity_pct_from_ratio(t_c, w, pressure_pa) == pytest.approx(rh_pct, rel=1e-9)


@pytest.mark.parametrize("pair", list(itertools.combinations(QUANTITIES, 2)), ids="+".join)
@given(t_c=st.floats(-5.0, 45.0), rh_pct=st.floats(5.0, 99.0), pressure_pa=pressures)
def test_any_two_quantities_give_the_same_air(pair, t_c, rh_pct, pressure_pa):
    there = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    back = air.state_from(pressure_pa, **{name: getattr(there, name) for name in pair})
    assert back.temperature_c == pytest.approx(t_c, abs=1e-4)
    assert back.humidity_pct == pytest.approx(rh_pct, abs=1e-3)
    if "wet_bulb_c" not in pair:
        assert back.wet_bulb_c == pytest.approx(there.wet_bulb_c, abs=1e-4)
    for name in pair:
        assert getattr(back, name) == getattr(there, name)


@given(temperatures, temperatures, humidities, pressures)
def test_warmer_air_of_the_same_humidity_has_more_of_everything(a_c, b_c, rh_pct, pressure_pa):
    cool_c, warm_c = sorted((a_c, b_c))
    assume(warm_c - cool_c > 1e-3)
    for function in (air.dew_point_c, air.vapour_pressure_pa, air.absolute_humidity_kg_per_m3):
        assert function(cool_c, rh_pct) < function(warm_c, rh_pct)
    for function in (air.humidity_ratio, air.wet_bulb_c):
        assert function(cool_c, rh_pct, pressure_pa) < function(warm_c, rh_pct, pressure_pa)
    assert air.vpd_pa(cool_c, rh_pct) <= air.vpd_pa(warm_c, rh_pct)


@given(temperatures, humidities, humidities, pressures)
def test_damper_air_of_the_same_temperature_has_more_vapour_and_less_deficit(
    t_c, a_pct, b_pct, pressure_pa
):
    dry_pct, high_humidity_pct = sorted((a_pct, b_pct))
    assume(high_humidity_pct - dry_pct > 1e-3)
    dry = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=dry_pct)
    damp = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=high_humidity_pct)
    assert dry.dew_point_c < damp.dew_point_c
    assert dry.wet_bulb_c < damp.wet_bulb_c
    assert dry.humidity_ratio_kg_per_kg < damp.humidity_ratio_kg_per_kg
    assert dry.enthalpy_j_per_kg < damp.enthalpy_j_per_kg
    assert dry.vpd_pa > damp.vpd_pa
    # Vapour is lighter than the air whose place it takes.
    assert dry.density_kg_per_m3 > damp.density_kg_per_m3


@given(temperatures, humidities, pressures)
def test_wet_bulb_lies_between_dew_point_and_temperature(t_c, rh_pct, pressure_pa):
    state = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    assert state.dew_point_c - 1e-6 <= state.wet_bulb_c <= state.temperature_c


@given(temperatures, pressures)
def test_full_air_is_at_its_dew_point_and_wet_bulb_without_deficit(t_c, pressure_pa):
    state = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=100.0)
    assert state.dew_point_c == pytest.approx(t_c, abs=1e-6)
    assert state.wet_bulb_c == pytest.approx(t_c, abs=1e-6)
    assert state.vpd_pa == pytest.approx(0.0, abs=1e-6)


@given(st.floats(1.0, 60.0), humidities, pressures)
def test_wet_bulb_closes_the_energy_balance_of_adiabatic_saturation(t_c, rh_pct, pressure_pa):
    # ASHRAE Fundamentals 2017 ch. 1 eq. 31: h + (W_s* - W) h_w* = h_s*, liquid at 4.186 kJ/(kg K).
    state = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    bulb_c, w = state.wet_bulb_c, state.humidity_ratio_kg_per_kg
    assume(bulb_c >= 0.0)
    w_full = air.humidity_ratio(bulb_c, 100.0, pressure_pa)
    before = state.enthalpy_j_per_kg + (w_full - w) * 4186.0 * bulb_c
    assert before == pytest.approx(air.enthalpy_j_per_kg(bulb_c, w_full), rel=1e-6, abs=0.5)


@given(temperatures, humidities)
def test_a_leaf_at_air_temperature_sees_the_airs_own_deficit(t_c, rh_pct):
    assert air.leaf_vpd_pa(t_c, rh_pct, t_c) == pytest.approx(
        air.vpd_pa(t_c, rh_pct), rel=1e-9, abs=1e-9
    )


@given(temperatures, st.floats(1.0, 99.0))
def test_a_leaf_below_the_dew_point_has_a_negative_deficit(t_c, rh_pct):
    dew_c = air.dew_point_c(t_c, rh_pct)
    assert (
        air.leaf_vpd_pa(t_c, rh_pct, dew_c - 0.1) < 0.0 < air.leaf_vpd_pa(t_c, rh_pct, dew_c + 0.1)
    )


def test_more_vapour_than_air_can_hold_is_reported_as_more_than_100_percent():
    w_warm = air.humidity_ratio(30.0, 90.0, 101_325.0)
    assert air.humidity_pct_from_ratio(20.0, w_warm, 101_325.0) > 100.0


FUNCTIONS = {
    "saturation_vapour_pressure_pa": 1,
    "dew_point_of_vapour_pressure_c": 1,
    "vapour_pressure_pa": 2,
    "dew_point_c": 2,
    "vpd_pa": 2,
    "leaf_vpd_pa": 3,
    "humidity_ratio": 3,
    "humidity_ratio_of_vapour_pressure": 2,
    "vapour_pressure_of_humidity_ratio_pa": 2,
    "humidity_pct_from_ratio": 3,
    "humidity_ratio_of_wet_bulb": 3,
    "wet_bulb_c": 3,
    "enthalpy_j_per_kg": 2,
    "specific_volume_m3_per_kg": 3,
    "density_kg_per_m3": 3,
    "absolute_humidity_kg_per_m3": 2,
    "pressure_at_elevation_pa": 1,
}


@pytest.mark.parametrize("name", FUNCTIONS)
@given(data=st.data())
def test_no_function_ever_returns_nan(name, data):
    near = st.floats(-110.0, 210.0) | st.floats(0.0, 130_000.0) | anything
    arguments = [data.draw(near) for _ in range(FUNCTIONS[name])]
    try:
        result = getattr(air, name)(*arguments)
    except ValueError as error:
        assert "from" in str(error) and "to" in str(error) and "got" in str(error)
    else:
        assert math.isfinite(result)


RANGES = {
    "temperature_c": st.floats(-65.0, 85.0),
    "humidity_pct": st.floats(0.0, 100.0),
    "dew_point_c": st.floats(-105.0, 85.0),
    "vpd_pa": st.floats(0.0, 50_000.0),
    "wet_bulb_c": st.floats(-65.0, 85.0),
}


@pytest.mark.parametrize("pair", list(itertools.combinations(QUANTITIES, 2)), ids="+".join)
@given(data=st.data(), pressure_pa=st.floats(20_000.0, 120_000.0) | anything)
def test_every_state_is_whole_and_in_order_or_refused(pair, data, pressure_pa):
    given_two = {name: data.draw(RANGES[name] | anything, label=name) for name in pair}
    try:
        state = air.state_from(pressure_pa, **given_two)
    except ValueError:
        return
    assert all(map(math.isfinite, state))
    assert 0.0 <= state.humidity_pct <= 100.0
    assert state.vpd_pa >= 0.0
    assert state.dew_point_c - 1e-3 <= state.wet_bulb_c <= state.temperature_c + 1e-6


def test_between_wet_and_iced_bulb_the_wet_one_is_reported():
    # 3.4 °C, 50 %: water on the bulb cools it to 0.003 °C, ice to -0.24 °C (psychrolib's choice).
    assert air.wet_bulb_c(3.4, 50.0, 101_325.0) == pytest.approx(0.003, abs=1e-3)
    iced = air.humidity_ratio_of_wet_bulb(3.4, -0.2363, 101_325.0)
    assert air.humidity_pct_from_ratio(3.4, iced, 101_325.0) == pytest.approx(50.0, abs=0.02)


@pytest.mark.parametrize("position", [0, 1, 2])
@pytest.mark.parametrize("name", [name for name, count in FUNCTIONS.items() if count == 3])
def test_nan_in_any_place_is_refused(name, position):
    arguments = [20.0, 50.0, 100_000.0]
    if name == "leaf_vpd_pa":
        arguments = [20.0, 50.0, 20.0]
    elif name not in ("humidity_ratio", "wet_bulb_c"):
        arguments = [20.0, 0.01, 100_000.0]
    assert math.isfinite(getattr(air, name)(*arguments))
    arguments[position] = math.nan
    with pytest.raises(ValueError, match="got nan"):
        getattr(air, name)(*arguments)


@pytest.mark.parametrize(
    ("call", "named_range"),
    [
        (lambda: air.saturation_vapour_pressure_pa(200.5), "-100 to 200 °C"),
        (lambda: air.dew_point_c(20.0, 100.5), "0 to 100 %"),
        (lambda: air.dew_point_c(20.0, 0.0), "to 100 %"),
        (lambda: air.vpd_pa(20.0, -0.1), "0 to 100 %"),
        (lambda: air.humidity_ratio(20.0, 50.0, 10.0), "20000 to 120000 Pa"),
        (lambda: air.humidity_ratio(110.0, 100.0, 101_325.0), "total pressure of 101325 Pa"),
        (lambda: air.humidity_pct_from_ratio(20.0, -1e-9, 101_325.0), "0 to 10 kg/kg"),
        (lambda: air.pressure_at_elevation_pa(12_000.0), "-5000 to 11000 m"),
    ],
)
def test_out_of_range_is_refused_and_the_range_named(call, named_range):
    with pytest.raises(ValueError, match=named_range):
        call()


@pytest.mark.parametrize(
    ("given_two", "why"),
    [
        ({"temperature_c": 20.0, "dew_point_c": 21.0}, "dew point .* above the temperature"),
        ({"temperature_c": 20.0, "wet_bulb_c": 21.0}, "wet bulb .* above the temperature"),
        ({"dew_point_c": 20.0, "wet_bulb_c": 19.0}, "dew point .* above the wet bulb"),
        ({"temperature_c": 20.0, "wet_bulb_c": 2.0}, "too cold for air at 20 °C"),
        ({"temperature_c": 20.0, "vpd_pa": 2500.0}, "needs air warmer than 20 °C"),
        ({"humidity_pct": 100.0, "vpd_pa": 0.0}, "say the same"),
        ({"humidity_pct": 100.0, "vpd_pa": 5.0}, "contradict"),
        ({"humidity_pct": 60.0, "vpd_pa": 0.0}, "contradict"),
        ({"humidity_pct": 5.0, "wet_bulb_c": 40.0}, "hotter than 80 °C"),
        ({"vpd_pa": 5000.0, "wet_bulb_c": 5.0}, "less than no vapour"),
        ({"temperature_c": 20.0}, "exactly two"),
        ({"temperature_c": 20.0, "humidity_pct": 5.0, "vpd_pa": 1000.0}, "got 3"),
    ],
)
def test_impossible_pairs_are_refused_with_the_reason(given_two, why):
    with pytest.raises(ValueError, match=why):
        air.state_from(101_325.0, **given_two)


def test_a_refusal_can_be_reported_in_fahrenheit():
    with pytest.raises(air.ImpossibleAirError) as caught:
        air.state_from(101_325.0, temperature_c=20.0, dew_point_c=25.0)
    shown = caught.value.tell(lambda t_c: f"{t_c * 1.8 + 32:.0f} °F")
    assert shown.startswith("the dew point (77 °F) is above the temperature (68 °F)")


def test_the_air_needs_nothing_but_the_standard_library():
    # On a 512 MB Pi the daemon imports this first.
    code = (
        "import sys; import controller.air; "
        "print([m for m in sys.modules if m.split('.')[0] not in sys.stdlib_module_names "
        "and m.split('.')[0] not in ('controller', '__main__')])"
    )
    run = subprocess.run(
        [sys.executable, "-I", "-S", "-c", "import sys; sys.path.insert(0, '.'); " + code],
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == "[]"
