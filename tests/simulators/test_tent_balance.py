"""What goes into a tent comes out of it or stays: energy and water over a year."""

from __future__ import annotations

from math import pi, sin

import pytest
from tent_builders import pepper_tent

from simulators.tent import Tent
from simulators.tent.ledger import TentLedger

# A year of 73 days: the seasons come and go as in a long one.
DAYS = 73
YEAR_MINUTES = DAYS * 1440


def test_energy_and_water_close_over_a_year() -> None:
    physics = pepper_tent(infiltration_m3_s=0.0003)
    tent = Tent(physics, 18.0, 0.009)
    tent.ledger = ledger = TentLedger()
    start = (tent.air_c, tent.contents_c, tent.humidity_ratio)
    wet = 0
    for step in range(0, YEAR_MINUTES, 5):
        hour = step / 60.0 % 24.0
        year = sin(2 * pi * step / YEAR_MINUTES)
        room_c = 18.0 + 6.0 * year + 4.0 * sin(2 * pi * hour / 24.0)
        ratio = 0.009 + 0.003 * year
        lit = hour < 16.0
        flow = 0.03 if lit and step // 35 % 2 else 0.0
        tent.advance(flow, lit, 300.0, room_c, room_c, ratio)
        wet += tent.film_kg > 0.0
    assert wet > 200  # the wet branch and its edges have been through this too

    stored_j = physics.air_capacity_j_k * (
        tent.air_c - start[0]
    ) + physics.contents_capacity_j_k * (tent.contents_c - start[1])
    out_j = ledger.wall_j + ledger.air_j + ledger.evaporation_j - ledger.condensation_j
    assert ledger.lamp_j == pytest.approx(144.0 * 16 * 3600 * DAYS, rel=1e-9)
    assert abs(ledger.lamp_j - out_j - stored_j) < 1e-6 * ledger.lamp_j

    mass = physics.density_kg_m3 * physics.volume_m3
    stored_kg = mass * (tent.humidity_ratio - start[2])
    balance = ledger.transpired_kg - ledger.carried_out_kg - ledger.condensed_kg - stored_kg
    assert ledger.transpired_kg > 20.0
    assert abs(balance) < 1e-6 * ledger.transpired_kg
    assert ledger.condensed_kg == pytest.approx(tent.film_kg + tent.drained_kg, rel=1e-9)
