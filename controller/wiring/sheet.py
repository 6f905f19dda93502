"""The wiring sheet of a config: its parts, their wires, and what to know of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from controller.wiring.header import I2C_SCL, I2C_SDA, HeaderPin, Supplies

if TYPE_CHECKING:
    from controller.config import Settings


class Wire(NamedTuple):
    """A wire from the header to a part.

    Attributes
    ----------
    pin : HeaderPin
        Where it begins.
    goes_to : str
        Where it ends, and through what.
    short : str
        The same in a word or two, for the drawing.
    """

    pin: HeaderPin
    goes_to: str
    short: str

    @property
    def is_of_bus(self) -> bool:
        """Whether it is a line of the I²C bus, which any number of parts share."""
        return self.pin.gpio in (I2C_SDA, I2C_SCL) and self.short in ("SDA", "SCL")


class State(NamedTuple):
    """What a part does while lungwort doesn't drive it.

    Attributes
    ----------
    name : str
        When, such as "Pi dead, no power".
    does : str
        What it does then.
    why : str
        What makes it so; may be empty.
    """

    name: str
    does: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the rig.

    Attributes
    ----------
    key : str
        The config's section of it, such as `fan.tachometer`.
    name : str
        A word or two, such as "fan".
    title : str
        What it is, in a line.
    wires : tuple of Wire
        From the header; none for what is not wired to the Pi.
    supply, pull, contact : str
        Where its power comes from, its pull resistor, its relay contact; empty where there is none.
    circuit : tuple of str
        Lines of a small circuit diagram; none where the wires say enough.
    overlays : tuple of str
        Lines for `/boot/firmware/config.txt`.
    states : tuple of State
        What it does with the Pi dead, starting and stopped.
    buy, cautions, notes : tuple of str
        What to buy, what to take care of, what else to know.
    """

    key: str
    name: str
    title: str
    wires: tuple[Wire, ...] = ()
    supply: str = ""
    pull: str = ""
    contact: str = ""
    circuit: tuple[str, ...] = ()
    overlays: tuple[str, ...] = ()
    states: tuple[State, ...] = ()
    buy: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """The wiring of one tent.

    Attributes
    ----------
    tent : str
        Its name.
    parts : tuple of Part
        Fan, tachometer, lamp, sensors.
    """

    tent: str
    parts: tuple[Part, ...]

    @property
    def wires(self) -> tuple[tuple[Part, Wire], ...]:
        """Every wire with its part, by the number of its header pin."""
        every = ((part, wire) for part in self.parts for wire in part.wires)
        return tuple(sorted(every, key=lambda item: item[1].pin.number))

    @property
    def clashes(self) -> tuple[str, ...]:
        """GPIOs that two parts lay claim to, which the config's checks can't all know."""
        users: dict[int, list[str]] = {}
        bus_only: dict[int, bool] = {}
        for part, wire in self.wires:
            if wire.pin.gpio is not None:
                users.setdefault(wire.pin.gpio, []).append(part.name)
                bus_only[wire.pin.gpio] = bus_only.get(wire.pin.gpio, True) and wire.is_of_bus
        return tuple(
            f"GPIO {gpio} is wanted by {' and '.join(names)}: they can't share it. Give one "
            "another pin."
            for gpio, names in sorted(users.items())
            if len(names) > 1 and not bus_only[gpio]
        )

    @property
    def shared(self) -> tuple[str, ...]:
        """Supply pins and bus lines that several parts hang on."""
        users: dict[int, list[str]] = {}
        for part, wire in self.wires:
            if wire.pin.gpio is None or wire.is_of_bus:
                users.setdefault(wire.pin.number, []).append(part.name)
        return tuple(
            f"Pin {number} feeds {' and '.join(names)}: join their wires at a terminal strip."
            for number, names in sorted(users.items())
            if len(names) > 1
        )

    @property
    def overlays(self) -> tuple[str, ...]:
        """The lines for `/boot/firmware/config.txt`, each once."""
        return tuple(dict.fromkeys(line for part in self.parts for line in part.overlays))


def wiring_sheet(settings: Settings) -> Sheet:
    """The wiring sheet of a config.

    Parameters
    ----------
    settings : Settings
        A checked config.
    """
    from controller.wiring.fan import current_switch_part, fan_part, tachometer_part
    from controller.wiring.lamp import lamp_part
    from controller.wiring.sensors import sensor_parts

    supplies = Supplies()
    parts = [fan_part(settings, supplies)]
    if settings.fan.tachometer is not None:
        parts.append(tachometer_part(settings.fan.tachometer, supplies))
    if settings.fan.current_switch is not None:
        parts.append(current_switch_part(settings.fan.current_switch, supplies))
    parts.append(lamp_part(settings, supplies))
    parts += sensor_parts(settings, supplies)
    return Sheet(settings.tent.name, tuple(parts))
