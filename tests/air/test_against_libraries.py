"""The air functions against psychrolib (the same equations) and CoolProp (real gas)."""

import csv
import itertools
from pathlib import Path

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import air

REFERENCE = Path(__file__).parents[1] / "reference" / "psychro_reference.csv"
with REFERENCE.open(encoding="utf-8", newline="") as file:
    ROWS = [
        {key: float(value) for key, value in row.items() if key != "source"}
        for row in csv.DictReader(file)
    ]

# The range that the project promises, on a grid and at random.
TEMPERATURES_C = [-5.0, -2.5, -0.1, 0.0, 0.01, 0.1, 2.5, 5.0, 10.0, 18.0, 25.0, 33.0, 40.0, 45.0]
HUMIDITIES_PCT = [5.0, 12.5, 30.0, 50.0, 65.0, 80.0, 95.0, 100.0]
ELEVATIONS_M = [0.0, 400.0, 1000.0, 1700.0, 2500.0]


@pytest.fixture(autouse=True)
def _si_units():
    psychrolib.SetUnitSystem(psychrolib.SI)


def two_wet_bulbs(t_c, w, pressure_pa):
    """Whether a wet bulb above 0 °C and an iced one below both fit: the equations jump at 0."""
    return t_c >= 0.0 and air.humidity_ratio_of_wet_bulb(
        t_c, 0.0, pressure_pa
    ) <= w <= air.humidity_ratio_of_wet_bulb(t_c, -1e-9, pressure_pa)


def assert_is_psychrolibs_air(t_c, rh_pct, elevation_m):
    pressure_pa = psychrolib.GetStandardAtmPressure(elevation_m)
    w, bulb_c, dew_c, e_pa, h, v, _ = psychrolib.CalcPsychrometricsFromRelHum(
        t_c, rh_pct / 100.0, pressure_pa
    )
    assert air.pressure_at_elevation_pa(elevation_m) == pytest.approx(pressure_pa, rel=1e-12)
    ours = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    # The same equations: 1e-6, a thousandth of what is promised. psychrolib stops its own
    # searches for dew point and wet bulb at 0.001 K.
    assert ours.vapour_pressure_pa == pytest.approx(e_pa, rel=1e-6)
    assert ours.humidity_ratio_kg_per_kg == pytest.approx(w, rel=1e-6)
    assert ours.enthalpy_j_per_kg == pytest.approx(h, rel=1e-6, abs=0.01)
    assert ours.specific_volume_m3_per_kg == pytest.approx(v, rel=1e-6)
    assert ours.density_kg_per_m3 == pytest.approx(
        psychrolib.GetMoistAirDensity(t_c, w, pressure_pa), rel=1e-6
    )
    assert ours.vpd_pa == pytest.approx(
        psychrolib.GetVaporPressureDeficit(t_c, w, pressure_pa), rel=1e-6, abs=1e-6
    )
    assert ours.dew_point_c == pytest.approx(dew_c, abs=0.002)
    if two_wet_bulbs(t_c, w, pressure_pa):
        # psychrolib returns whichever its bisection meets; both satisfy its equation.
        assert ours.wet_bulb_c >= 0.0
        assert psychrolib.GetHumRatioFromTWetBulb(
            t_c, ours.wet_bulb_c, pressure_pa
        ) == pytest.approx(w, rel=1e-6)
    else:
        assert ours.wet_bulb_c == pytest.approx(bulb_c, abs=0.002)


@pytest.mark.parametrize("t_c", TEMPERATURES_C)
def test_air_is_psychrolibs_air_on_the_grid(t_c):
    for rh_pct, elevation_m in itertools.product(HUMIDITIES_PCT, ELEVATIONS_M):
        assert_is_psychrolibs_air(t_c, rh_pct, elevation_m)


@given(t_c=st.floats(-5.0, 45.0), rh_pct=st.floats(5.0, 100.0), elevation_m=st.floats(0.0, 2500.0))
def test_air_is_psychrolibs_air_anywhere_in_the_promised_range(t_c, rh_pct, elevation_m):
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert_is_psychrolibs_air(t_c, rh_pct, elevation_m)


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r['t_C']}C-{r['rh_pct']}-{r['altitude_m']}m")
def test_air_is_that_of_the_reference_table(row):
    ours = air.state_from(row["pressure_Pa"], temperature_c=row["t_C"], humidity_pct=row["rh_pct"])
    # psychrolib, printed to eight digits.
    assert ours.vpd_pa == pytest.approx(row["vpd_psychrolib_Pa"], rel=1e-6)
    assert ours.humidity_ratio_kg_per_kg == pytest.approx(row["w_psychrolib_kg_kgda"], rel=1e-6)
    assert ours.enthalpy_j_per_kg == pytest.approx(row["h_psychrolib_J_kgda"], rel=1e-6)
    assert ours.specific_volume_m3_per_kg == pytest.approx(row["v_psychrolib_m3_kgda"], rel=1e-6)
    assert ours.density_kg_per_m3 == pytest.approx(row["rho_psychrolib_kg_m3"], rel=1e-6)
    assert 1000.0 * ours.absolute_humidity_kg_per_m3 == pytest.approx(
        row["abs_humidity_psychrolib_g_m3"], rel=1e-6
    )
    assert ours.dew_point_c == pytest.approx(row["tdp_psychrolib_C"], abs=0.002)
    assert ours.wet_bulb_c == pytest.approx(row["twb_psychrolib_C"], abs=0.002)
    assert_within_the_real_gas_bounds(
        ours,
        dew_c=row["tdp_coolprop_C"],
        w=row["w_coolprop_kg_kgda"],
        h=row["h_coolprop_J_kgda"],
        v=row["v_coolprop_m3_kgda"],
        bulb_c=row["twb_coolprop_C"],
        vpd_pa=row["vpd_coolprop_Pa"],
    )


def assert_within_the_real_gas_bounds(ours, dew_c, w, h, v, bulb_c, vpd_pa):
    """See tests/reference/README.md for what a perfect gas may differ by."""
    assert ours.dew_point_c == pytest.approx(dew_c, abs=0.05)
    assert ours.humidity_ratio_kg_per_kg == pytest.approx(w, rel=6e-3)
    assert ours.enthalpy_j_per_kg == pytest.approx(h, abs=1000.0)
    assert ours.specific_volume_m3_per_kg == pytest.approx(v, rel=1e-3)
    assert ours.wet_bulb_c == pytest.approx(bulb_c, abs=0.05)
    assert ours.vpd_pa == pytest.approx(vpd_pa, rel=6e-3)


@pytest.mark.parametrize(
    ("t_c", "rh_pct", "elevation_m"),
    list(
        itertools.product((7.5, 16.0, 22.0, 29.0, 37.0, 44.0), (25.0, 60.0, 90.0), (300.0, 1500.0))
    ),
)
def test_air_stays_within_the_bounds_of_real_gas(t_c, rh_pct, elevation_m):
    humid_air = pytest.importorskip("CoolProp.HumidAirProp")
    pressure_pa = air.pressure_at_elevation_pa(elevation_m)

    def coolprop(key):
        given_state = ("T", t_c + 273.15, "R", rh_pct / 100.0, "P", pressure_pa)
        return humid_air.HAPropsSI(key, *given_state)

    partial_pa = coolprop("P_w")
    assert_within_the_real_gas_bounds(
        air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct),
        dew_c=coolprop("D") - 273.15,
        w=coolprop("W"),
        h=coolprop("H"),
        v=coolprop("V"),
        bulb_c=coolprop("B") - 273.15,
        vpd_pa=partial_pa * (100.0 / rh_pct - 1.0),
    )
