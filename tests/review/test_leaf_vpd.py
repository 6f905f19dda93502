"""The VPD of the leaves beside that of the air: modelled, and only where the config says enough."""

from __future__ import annotations

import json
import math
from pathlib import Path

import jsonschema
import psychrolib
import pytest
from review_records import CONFIG, HandRecord
from scipy.constants import Stefan_Boltzmann
from scipy.optimize import brentq

from controller.review.views.glyphs import Glyphs
from controller.review.views.json_schema import schema
from controller.review.views.json_view import document
from controller.review.views.page.tables import air_table
from controller.review.views.terminal import screen

psychrolib.SetUnitSystem(psychrolib.SI)

PLANTED = CONFIG + "crop: {kind: pepper, leaf_area: 1.2 m²}\n"


def lived(record: HandRecord) -> None:
    record.stretch("00:00", "06:00", lit=False, temperature=20.0, vpd=800.0)
    record.stretch("06:00", "22:00", lit=True, temperature=24.0, vpd=1200.0)
    record.stretch("22:00", "24:00", lit=False, temperature=20.0, vpd=800.0)


def leaf_vpd_pa(air_c: float, vpd_pa: float, ppfd: float) -> float:
    """Of a pepper leaf, by scipy and psychrolib; constants as `controller.plants` names them."""
    vapour = psychrolib.GetSatVapPres(air_c) - vpd_pa

    def left_w(leaf_c: float) -> float:
        deficit = psychrolib.GetSatVapPres(leaf_c) - vapour
        stomata = 0.015 + (0.42 - 0.015) * ppfd / (ppfd + 150.0) / (1.0 + deficit / 2000.0)
        mol = deficit / 101_325.0 / (1.0 / stomata + 1.0)
        radiated = 1.9 * Stefan_Boltzmann * ((leaf_c + 273.15) ** 4 - (air_c + 273.15) ** 4)
        warmed = 29.3 * 0.93 * (leaf_c - air_c)
        return float(0.7 * ppfd / 4.6 - 2.45e6 * 0.018015 * mol - radiated - warmed)

    leaf_c = brentq(left_w, air_c - 15.0, air_c + 15.0)
    return float(psychrolib.GetSatVapPres(leaf_c) - vapour)


def test_it_is_that_of_a_leaf_in_balance_with_the_recorded_air(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, PLANTED)
    lived(record)
    leaf = record.review().figures.leaf_vpd
    # 150 W × 2.4 µmol/J × 85 % over 0.64 m², shared by 1.2 m² of leaves (Monsi & Saeki, k 0.7).
    depth = 0.7 * 1.2 / 0.64
    ppfd = 150.0 * 2.4 * 0.85 / 0.64 * (1.0 - math.exp(-depth)) / depth
    lit, dark = leaf_vpd_pa(24.0, 1200.0, ppfd), leaf_vpd_pa(20.0, 800.0, 0.0)
    assert leaf is not None
    assert leaf.day_mean == pytest.approx(lit, rel=1e-3)
    assert leaf.night_mean == pytest.approx(dark, rel=1e-3)
    assert leaf.mean == pytest.approx((16.0 * lit + 8.0 * dark) / 24.0, rel=1e-3)
    assert leaf.day_mean < 1200.0  # under a weak lamp leaves are cooler than the air


def test_it_is_shown_beside_that_of_the_air_and_marked_as_modelled(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, PLANTED)
    lived(record)
    review = record.review()
    assert review.figures.leaf_vpd is not None
    mean = f"{review.figures.leaf_vpd.mean / 1000.0:.2f} kPa"  # type: ignore[operator]
    text = "\n".join(screen(review, [], Glyphs()))
    assert any("Leaf VPD, modelled" in line and mean in line for line in text.splitlines())
    assert "Leaf VPD, modelled" in air_table(review)
    made = json.loads(json.dumps(document(review)))
    jsonschema.validate(made, schema())
    assert made["leaf_vpd_estimate"]["day_mean_pa"] > made["leaf_vpd_estimate"]["night_mean_pa"]
    assert made["days"][0]["leaf_vpd_estimate"] == made["leaf_vpd_estimate"]


@pytest.mark.parametrize(
    "config",
    [CONFIG, CONFIG + "crop: {kind: pepper, leaf_area: 0 m²}\n"],
    ids=["no crop", "no leaves"],
)
def test_it_is_silent_where_the_config_does_not_describe_the_leaves(
    tmp_path: Path, config: str
) -> None:
    record = HandRecord(tmp_path, config)
    lived(record)
    review = record.review()
    assert document(review)["leaf_vpd_estimate"] is None
    assert "Leaf VPD" not in "\n".join(screen(review, [], Glyphs()))
    assert "Leaf VPD" not in air_table(review)


def test_it_is_silent_without_recorded_humidity(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, PLANTED)
    record.stretch("00:00", "24:00", humidity=None, vpd=None)
    assert record.review().figures.leaf_vpd is None


def test_it_is_silent_of_a_time_that_the_config_described_in_part(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, CONFIG)
    record.stretch("00:00", "12:00", config_id=1)
    record.config(record.at("12:00"), PLANTED)
    record.stretch("12:00", "24:00", config_id=2)
    assert record.review().figures.leaf_vpd is None
