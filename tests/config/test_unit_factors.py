"""The table of units against pint, which is the reference for every one of them."""

import pint
import pytest

from controller import units
from controller.unit_factors import FACTORS

USED = sorted(
    {(unit, kind.si) for kind in units.KINDS.values() for unit in kind.spellings.values()}
)


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry(cache_folder=None)


@pytest.mark.parametrize(("unit", "si"), USED)
def test_every_unit_of_the_config_is_as_pint_says(
    registry: pint.UnitRegistry, unit: str, si: str
) -> None:
    factor, offset = FACTORS[unit, si]
    for number in (0.0, 1.0, -40.0, 12.5, 1234.5):
        expected = float(registry.Quantity(number, unit).to(si).magnitude)
        assert number * factor + offset == pytest.approx(expected, rel=1e-12, abs=1e-12)
