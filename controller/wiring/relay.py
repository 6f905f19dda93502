"""A relay module: its wires, its resistor and what its contact must bear."""

from __future__ import annotations

from controller import display
from controller.wiring.header import BY_GPIO, GROUND, V5, Supplies
from controller.wiring.pins import gpio_wire, supply_wire
from controller.wiring.sheet import Wire

_MAINS_V = (230.0, 120.0)

SUPPLY = (
    "The module's coil from 5 V of the header (a small coil takes 0.1 A or less); what it switches "
    "has a supply of its own and touches the Pi nowhere."
)


def relay_wires(gpio: int, supplies: Supplies) -> tuple[Wire, ...]:
    """Input, supply and ground of a relay module."""
    near = BY_GPIO[gpio]
    return (
        gpio_wire(gpio, "input (IN) of the relay module", "IN"),
        supply_wire(supplies, V5, near, "supply (VCC) of the relay module", "VCC"),
        supply_wire(supplies, GROUND, near, "ground (GND) of the relay module", "GND"),
    )


def relay_to_buy(active_low: bool) -> str:
    """The module, in general terms."""
    level = "low" if active_low else "high"
    return (
        f"relay module with a 5 V coil and an isolated input made for 3.3 V, energised by a "
        f"{level} level"
    )


def contact_to_buy(power_w: float | None, of_a: str, starting: str) -> str:
    """What the contact must bear; a rule of thumb, as the starting current depends on the make."""
    running = ""
    if power_w:
        amperes = [f"{_amperes(power_w / volts)} at {volts:.0f} V" for volts in _MAINS_V]
        running = f" ({display.power(power_w)} are {' or '.join(amperes)} while it runs)"
    return (
        f"a contact for the voltage and for the starting current of {of_a}, {starting}{running}: "
        "rated for such loads, 10 A at 250 V AC or more (common practice, no source); for a DC "
        "load a contact rated for DC"
    )


def _amperes(amperes: float) -> str:
    return f"{amperes:.1f} A" if amperes >= 1.0 else f"{amperes:.2f} A"
