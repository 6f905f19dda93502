"""What stands on the charts of the air."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller import air
from controller.charts.canvas import save
from controller.charts.content import AirChart, CropBand, PlottedReading
from controller.charts.psychrometric import psychrometric_chart
from controller.charts.vpd import vpd_chart

DAY = CropBand("day band", True, (21.0, 24.0), (40.0, 70.0), (600.0, 1600.0))
NIGHT = CropBand("night band", False, (16.0, 20.0), (40.0, 80.0), (300.0, 1600.0))


def a_chart(**changes):
    content = {
        "title": "Test tent",
        "pressure_pa": 95_000.0,
        "state": air.state_from(95_000.0, temperature_c=22.0, humidity_pct=55.0),
        "bands": (DAY, NIGHT),
        "readings": (PlottedReading(23.0, 60.0, True), PlottedReading(18.0, 70.0, False)),
        "readings_name": "Thursday",
    }
    return AirChart(**{**content, **changes})


@given(st.floats(10.0, 35.0), st.floats(300.0, 1000.0), st.floats(1100.0, 2500.0))
def test_every_point_of_a_bands_outline_is_in_the_band(low_c, low_pa, high_pa):
    band = CropBand("b", True, (low_c, low_c + 4.0), (40.0, 75.0), (low_pa, high_pa))
    for t_c, low_pct, high_pct in band.outline():
        assert low_c <= t_c <= low_c + 4.0 + 1e-9
        for rh_pct in (low_pct, high_pct):
            assert 40.0 <= rh_pct <= 75.0
            assert low_pa - 1e-6 <= air.vpd_pa(t_c, rh_pct) <= high_pa + 1e-6


def test_a_band_whose_limits_exclude_each_other_has_no_outline():
    # 40-50 % at 30 °C is a VPD of 2.1 kPa and more.
    assert CropBand("b", True, (30.0, 32.0), (40.0, 50.0), (300.0, 1000.0)).outline() == []


@given(st.floats(-30.0, 75.0), st.floats(1.0, 100.0))
def test_whatever_is_shown_fits_the_axes(t_c, rh_pct):
    content = a_chart(readings=(PlottedReading(t_c, rh_pct, True),))
    low_c, high_c = content.temperatures_c()
    assert low_c < t_c < high_c
    assert air.humidity_ratio(t_c, rh_pct, 95_000.0) < content.highest_ratio()


@pytest.mark.parametrize("draw", [psychrometric_chart, vpd_chart])
def test_everything_on_a_chart_is_named(draw):
    figure = draw(a_chart())
    (axes,) = figure.axes
    names = {text.get_text() for text in axes.get_legend().get_texts()}
    assert names == {
        "day band",
        "night band",
        "Thursday, lit",
        "Thursday, dark",
        "air at 22.0 °C, 55 %",
    }
    written = {text.get_text() for text in axes.texts}
    assert {"day band", "night band"} <= written
    assert axes.get_title(loc="left") == "Test tent"
    assert "°C" in axes.get_xlabel()


def test_curves_say_their_humidity_or_vpd():
    written = {text.get_text() for text in psychrometric_chart(a_chart()).axes[0].texts}
    assert {"100 %", "50 %", "VPD 0.8 kPa", "15 °C"} <= written
    written = {text.get_text() for text in vpd_chart(a_chart()).axes[0].texts}
    assert {"0.4 kPa", "1.0 kPa", "1.6 kPa"} <= written


@pytest.mark.parametrize("draw", [psychrometric_chart, vpd_chart])
def test_us_axes_are_in_fahrenheit(draw):
    (axes,) = draw(a_chart(units="us")).axes
    assert "°F" in axes.get_xlabel()
    assert axes.get_xlim() == pytest.approx((50.0, 104.0))


@pytest.mark.parametrize("draw", [psychrometric_chart, vpd_chart])
def test_an_empty_chart_is_still_a_chart(draw):
    content = a_chart(state=None, bands=(), readings=())
    assert draw(content).axes[0].get_legend() is None


@pytest.mark.parametrize(
    ("t_c", "rh_pct", "elevation_m"),
    [(-60.0, 70.0, 0.0), (80.0, 100.0, -400.0), (80.0, 10.0, 2500.0), (60.0, 5.0, 11_000.0)],
)
@pytest.mark.parametrize("draw", [psychrometric_chart, vpd_chart])
def test_air_at_the_ends_of_all_ranges_can_be_drawn(draw, t_c, rh_pct, elevation_m, tmp_path):
    pressure_pa = air.pressure_at_elevation_pa(elevation_m)
    state = air.state_from(pressure_pa, temperature_c=t_c, humidity_pct=rh_pct)
    content = AirChart("extreme", pressure_pa, state=state)
    save(draw(content), tmp_path / "a.svg")


def test_the_same_chart_is_the_same_file(tmp_path):
    for name in ("a.svg", "b.svg"):
        save(vpd_chart(a_chart()), tmp_path / name)
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()
