"""A tent that gets dangerously hot although its fan does all that it can: a warning of `check`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import display
from controller.commands.check_starts import Starts
from controller.config.problems import Problem
from controller.fire_hazard import DANGEROUS_C

if TYPE_CHECKING:
    from controller.config import Loaded


def heat_danger(loaded: Loaded, name: str, starts: Starts) -> Problem | None:
    """The warning of a tent that got dangerously hot in the rehearsed week; None for another.

    Parameters
    ----------
    loaded : Loaded
        A checked config.
    name : str
        The file as it was named.
    starts : Starts
        What the rehearsed week showed.
    """
    from controller.config.yaml_parser import read

    if starts.hottest_c <= DANGEROUS_C:
        return None
    settings = loaded.settings
    dangerous = display.temperature(DANGEROUS_C, settings.units)
    size = display.volume(settings.tent.volume_m3, settings.units)
    return Problem(
        name,
        *read(loaded.text, name).place(("lamp", "power")),
        f"in a rehearsed week of May the tent gets hotter than {dangerous}: a lamp of "
        f"{display.power(settings.lamp.power_w)} in {size} is too much for this fan, plants "
        "die, and cables, drivers and fabric are made for less: a fire hazard",
        "the lamp's true power and the tent's true measures, or a weaker lamp, or a stronger fan "
        "(`lungwort size`); and a thermostat of its own that cuts the lamp",
    )
