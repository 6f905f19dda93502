"""The errors of recorded sensors, found out of the record of a rehearsal, whose truth is known."""

from __future__ import annotations

from pathlib import Path

import pytest
from rehearsal_builders import CHILLIES, span

from controller.config import settings_from_text
from controller.control.plausibility import Role
from controller.record import RecordReader
from controller.tent_physics import TentPhysics
from simulators.fan import Fan
from simulators.records import simulated_record
from simulators.rehearsal import Outcome, rehearse, rehearse_fully, scene_in, set_scene
from simulators.rehearsal.recorded import RecordedAir, knots, recorded_outcome
from simulators.rehearsal.recorded_errors import RecordedErrors, intervals, recorded_errors
from simulators.rehearsal.senses import sensor_model
from simulators.sensor_error import Look

# With fixed speeds, since sensors' errors hardly move the energy of the modulating law.
LOADED = settings_from_text(CHILLIES + "overrides: {law: fixed}\n", "chillies.yaml")
SETTINGS = LOADED.settings
PHYSICS = TentPhysics.from_settings(SETTINGS)
NONE: dict[Role, tuple[float, float]] = {"tent": (0.0, 0.0), "intake": (0.0, 0.0)}


class Lived:
    """Three recorded days with the sensors of a seed."""

    def __init__(self, path: Path, seed: int) -> None:
        weather, self.start_s, self.until_s = span("airfield-2013", "2013-06-10", 3)
        scene = set_scene(SETTINGS, weather, self.start_s)
        self.path = path
        record = simulated_record(path, round(self.start_s * 1000))
        self.outcome = rehearse_fully(LOADED, scene, self.start_s, self.until_s, record, seed=seed)
        record.close()

    def errors(self) -> RecordedErrors:
        with RecordReader(self.path) as reader:
            lived = intervals(reader.readings(0, 1 << 60))
            fan = Fan(SETTINGS, PHYSICS.density_kg_m3)
            return recorded_errors(lived, SETTINGS, PHYSICS, fan)

    def replayed(self, seed: int, errors: RecordedErrors | None, from_h: float = 0.0) -> Outcome:
        start_s = self.start_s + 3600.0 * from_h
        with RecordReader(self.path) as reader:
            readings = reader.readings(round(start_s * 1000), 1 << 60)
            air = RecordedAir(knots(readings), PHYSICS.pressure_pa)
            scene = scene_in(SETTINGS, PHYSICS, air, ())
            if errors is not None:
                errors.begin(scene.tent, start_s)
            return rehearse(SETTINGS, scene, start_s, self.until_s, seed=seed, errors=errors)

    def recorded(self, from_h: float) -> Outcome:
        fan = Fan(SETTINGS, PHYSICS.density_kg_m3)
        start_s = self.start_s + 3600.0 * from_h
        with RecordReader(self.path) as reader:
            rows = reader.readings(round(start_s * 1000) + 1, 1 << 60)
            return recorded_outcome(rows, [], SETTINGS, fan.power_w, start_s, self.until_s)


@pytest.fixture(scope="module")
def second(tmp_path_factory: pytest.TempPathFactory) -> Lived:
    return Lived(tmp_path_factory.mktemp("second") / "lived.sqlite3", 2)


@pytest.mark.parametrize("seed", range(1, 3))
def test_a_replay_with_the_same_config_does_what_was_recorded(
    tmp_path: Path, second: Lived, seed: int
) -> None:
    lived = second if seed == 2 else Lived(tmp_path / "lived.sqlite3", seed)
    errors = lived.errors()
    tent, room = (sensor_model(SETTINGS, sensor, seed, 60.0) for sensor in SETTINGS.sensors)
    # The intake's own error moves the simulated tent as well, nearly one to one.
    assert errors.mean_k == pytest.approx(tent.bias_k - room.bias_k, abs=0.1)
    # Another seed, to draw other sensors, which are not to matter.
    was, again = lived.recorded(8.0), lived.replayed(seed + 100, errors, 8.0)
    # Readings within some hundredths of a kelvin of the recorded ones; where they lie right at a
    # limit, an override begins some minutes sooner or later, and some last for an hour or two.
    assert again.fan.energy_kwh == pytest.approx(was.fan.energy_kwh, rel=0.07)
    assert again.fan.hours == pytest.approx(was.fan.hours, rel=0.01)
    for name in ("temperature", "humidity", "vpd"):
        total = was.day[name].total
        assert again.day[name].above == pytest.approx(was.day[name].above, abs=0.05 * total)


def test_with_sensors_of_its_own_it_would_not(second: Lived) -> None:
    used = [second.replayed(seed, None).fan.energy_kwh for seed in (1, 3)]
    assert max(abs(kwh / second.outcome.fan.energy_kwh - 1.0) for kwh in used) > 0.15


def test_minutes_are_counted_by_what_the_recorded_sensors_would_read(second: Lived) -> None:
    replayed = second.replayed(1, second.errors())
    with RecordReader(second.path) as reader:
        rows = list(reader.readings(0, 1 << 60))
    read = [row.tent_temperature_c for row in rows if row.tent_temperature_c is not None]
    assert replayed.peak.value == pytest.approx(max(read), abs=0.1)
    high_c = SETTINGS.targets.day.temperature_c[1]
    above = sum(1 for row in rows if row.lamp_on and (row.tent_temperature_c or 0.0) > high_c)
    assert replayed.day["temperature"].above == pytest.approx(above, rel=0.02)


def place_of(text: str, role: Role) -> Look:
    flat = RecordedErrors([60.0 * i for i in range(1, 100)], [0.4] * 99, [-2.0] * 99, NONE)
    place = flat.sense(settings_from_text(text, "tried.yaml").settings, role, 0.0)
    assert place is not None
    return place


def test_what_was_read_at_the_intake_is_read_again() -> None:
    place = place_of(CHILLIES, "intake")
    for minute in range(100):
        true_c, true_pct = 20.0 + 0.1 * minute, 60.0 - 0.3 * minute
        seen = place(60.0 * minute, true_c, true_pct)
        assert seen == (60.0 * minute, true_c, true_pct, None)


def test_what_the_tent_read_beyond_the_model_is_read_beyond_it_again() -> None:
    assert place_of(CHILLIES, "tent")(600.0, 20.0, 60.0) == (600.0, 20.4, 58.0, None)


def test_a_correction_tried_on_old_days_shifts_what_is_read() -> None:
    text = CHILLIES.replace("pin: 17}", "pin: 17, temperature_offset: 0.8 K}")
    assert place_of(text, "intake")(0.0, 20.0, 60.0) == (0.0, 20.8, 60.0, None)


def test_where_nothing_tells_of_the_errors_their_mean_stands() -> None:
    errors = RecordedErrors([60.0, 120.0], [0.2, 0.4], [1.0, 3.0], NONE)
    assert errors.at(59.0) == (0.2, 1.0)
    assert errors.at(60.0) == (0.4, 3.0)
    assert errors.at(7200.0) == pytest.approx((0.3, 2.0))
    assert (errors.spread_k, errors.spread_pct) == pytest.approx((0.1, 1.0))
