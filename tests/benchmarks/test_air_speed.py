"""What the physics costs one control tick.

Figures are printed and never asserted. Run by itself:
``pytest tests/benchmarks/test_air_speed.py --benchmark-only -n0``. The control tick has some 5 µs
for it on a desktop core; a Pi 3 is about ten times slower (from memory).
"""

from controller import air


def test_physics_of_one_tick(benchmark):
    def tick():
        # Tent: VPD and dew point; intake: its dew point, to tell whether its air could help.
        air.vpd_pa(24.3, 61.5)
        air.dew_point_c(24.3, 61.5)
        air.dew_point_c(20.1, 48.0)

    benchmark(tick)


def test_saturation_vapour_pressure(benchmark):
    assert benchmark(air.saturation_vapour_pressure_pa, 24.3) > 3000.0


def test_dew_point(benchmark):
    assert 16.0 < benchmark(air.dew_point_c, 24.3, 61.5) < 17.0


def test_wet_bulb(benchmark):
    assert 18.0 < benchmark(air.wet_bulb_c, 24.3, 61.5, 101_325.0) < 20.0


def test_whole_state_from_dew_point_and_vpd(benchmark):
    state = benchmark(air.state_from, 101_325.0, dew_point_c=14.0, vpd_pa=1200.0)
    assert 20.0 < state.temperature_c < 25.0
