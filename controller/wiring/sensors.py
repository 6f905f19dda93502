"""The sensors on the wiring sheet: each DHT with its data wire, those on the I²C bus together."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from controller import display
from controller.kernel_sensors import is_one_wire_dht, known_sensor, name_to_kernel
from controller.wiring import cautions
from controller.wiring.header import (
    BY_GPIO,
    GROUND,
    I2C_SCL,
    I2C_SDA,
    V3_3,
    Supplies,
)
from controller.wiring.pins import gpio_wire, pin_notes, supply_wire
from controller.wiring.sheet import Part, State

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.sensors import Sensor

_CARD = "a card that shades it from the lamp, with air all round it"


def sensor_parts(settings: Settings, supplies: Supplies) -> list[Part]:
    """Every sensor of the config."""
    parts: list[Part] = []
    on_the_bus: list[Sensor] = []
    for sensor in settings.sensors:
        if sensor.driver == "simulated":
            title = f"Sensor {sensor.name} ({_place(sensor)}), simulated: nothing to wire"
            parts.append(Part(_key(sensor), sensor.name, title))
        elif sensor.driver in ("dht22", "dht11") and sensor.pin is not None:
            parts.append(_dht(settings, sensor, sensor.pin, supplies))
        elif is_one_wire_dht(sensor.device):
            parts.append(_kernel_dht(settings, sensor, supplies))
        elif sensor.driver == "w1":
            parts.append(_thermometer(sensor))
        else:
            on_the_bus.append(sensor)
    if on_the_bus:
        parts.append(_i2c(settings, on_the_bus, supplies))
    return parts


def _key(sensor: Sensor) -> str:
    return f"sensors.{sensor.name}"


def _place(sensor: Sensor) -> str:
    places = {
        "tent": "among the plants",
        "intake": "in the air drawn in",
        "leaf": "looking at leaves from a hand's breadth",
    }
    return places[sensor.role]


def _states(settings: Settings, sensors: Sequence[Sensor]) -> tuple[State, ...]:
    failsafe = settings.failsafe
    if all(sensor.role == "leaf" for sensor in sensors):
        return (State("wire off", "nothing changes", "leaf temperatures decide nothing"),)
    if all(sensor.role == "intake" for sensor in sensors):
        does = "nothing is locked out"
        why = "lungwort can't tell then whether more air would help"
    else:
        does = f"fan {display.speed(failsafe.speed)}"
        why = f"the failsafe, after {display.duration(failsafe.stale_after_s)} without a reading"
    return (State("wire off", does, why),)


def _dht(settings: Settings, sensor: Sensor, gpio: int, supplies: Supplies) -> Part:
    return _with_data_wire(
        settings,
        sensor,
        gpio,
        supplies,
        title=f"Sensor {sensor.name} ({_place(sensor)}), {sensor.driver.upper()} on GPIO {gpio}, "
        "read by Python",
        notes=(
            "The kernel reads it better, and on a Pi 5 only the kernel does well: "
            f"`dtoverlay=dht11,gpiopin={gpio}` with `driver: iio`.",
        ),
    )


def _kernel_dht(settings: Settings, sensor: Sensor, supplies: Supplies) -> Part:
    device = sensor.device or ""
    title = f"Sensor {sensor.name} ({_place(sensor)}), {device}, read by the kernel"
    numbered = re.fullmatch(r"dht(?:11|22)@([0-9])", device)
    if numbered is None:
        return Part(
            _key(sensor),
            sensor.name,
            title,
            supply="3.3 V of the header, pin 1 or 17, and any ground.",
            pull="4.7 to 10 kΩ from data to 3.3 V; a module with three pins as a rule has it.",
            overlays=("dtoverlay=dht11,gpiopin=GPIO",),
            states=_states(settings, (sensor,)),
            cautions=(cautions.ONLY_3V3, cautions.SENSOR_WATER),
            notes=(
                "The config doesn't say its GPIO beyond doubt (behind the @ the kernel writes it "
                "in hexadecimal, from memory), so this sheet can't show its wires: data goes to "
                "the GPIO that the overlay's `gpiopin` names.",
            ),
        )
    gpio = int(numbered[1])
    overlay = f"dtoverlay=dht11,gpiopin={gpio}"
    return _with_data_wire(settings, sensor, gpio, supplies, title=title, overlays=(overlay,))


def _thermometer(sensor: Sensor) -> Part:
    """A DS18B20: which GPIO its bus is on, only the overlay says."""
    return Part(
        _key(sensor),
        sensor.name,
        f"Sensor {sensor.name} ({_place(sensor)}), DS18B20 {sensor.device} on the 1-Wire bus, "
        "read by the kernel",
        supply="3.3 V of the header, pin 1 or 17, and any ground: all three wires, not two.",
        pull="4.7 kΩ from data to 3.3 V, one for all thermometers of the bus.",
        overlays=("dtoverlay=w1-gpio,gpiopin=GPIO",),
        states=(State("wire off", "nothing changes", "the other sensors of its place go on"),),
        buy=("the thermometer with a cable, up to some metres (common practice, no source)", _CARD),
        cautions=(cautions.ONLY_3V3, cautions.SENSOR_WATER),
        notes=(
            "The config doesn't say the bus's GPIO, so this sheet can't show its wires: data goes "
            "to the GPIO that the overlay's `gpiopin` names, 4 without it (from memory). Take one "
            "that nothing else here uses.",
        ),
    )


def _with_data_wire(
    settings: Settings,
    sensor: Sensor,
    gpio: int,
    supplies: Supplies,
    *,
    title: str,
    overlays: tuple[str, ...] = (),
    notes: tuple[str, ...] = (),
) -> Part:
    near = BY_GPIO[gpio]
    return Part(
        key=_key(sensor),
        name=sensor.name,
        title=title,
        wires=(
            gpio_wire(gpio, f"data of sensor {sensor.name}", "data"),
            supply_wire(supplies, V3_3, near, f"supply of sensor {sensor.name}"),
            supply_wire(supplies, GROUND, near, f"ground of sensor {sensor.name}"),
        ),
        supply="3.3 V of the header; fed with 5 V it would pull its data wire up to 5 V.",
        pull="4.7 to 10 kΩ from data to 3.3 V; a module with three pins as a rule has it.",
        overlays=overlays,
        states=_states(settings, (sensor,)),
        buy=(
            "the sensor, best on a module with its resistor; a cable of three wires, up to some "
            "metres",
            _CARD,
        ),
        cautions=(cautions.ONLY_3V3, cautions.SENSOR_WATER),
        notes=(*pin_notes(gpio), *notes),
    )


def _i2c(settings: Settings, sensors: Sequence[Sensor], supplies: Supplies) -> Part:
    names = ", ".join(f"{sensor.name} ({sensor.device}, {_place(sensor)})" for sensor in sensors)
    near = BY_GPIO[I2C_SDA]
    whose = f"sensor {sensors[0].name}" if len(sensors) == 1 else "each sensor"
    overlays, notes = _i2c_overlays(sensors)
    return Part(
        key=", ".join(map(_key, sensors)),
        name=sensors[0].name if len(sensors) == 1 else "I²C sensors",
        title=f"Sensor{'s' * (len(sensors) > 1)} on the I²C bus, read by the kernel: {names}",
        wires=(
            gpio_wire(I2C_SDA, f"SDA of {whose}", "SDA"),
            gpio_wire(I2C_SCL, f"SCL of {whose}", "SCL"),
            supply_wire(supplies, V3_3, near, f"supply of {whose}"),
            supply_wire(supplies, GROUND, near, f"ground of {whose}"),
        ),
        supply="3.3 V of the header.",
        pull="None to add: 1.8 kΩ on the Pi pull GPIO 2 and 3 up to 3.3 V.",
        overlays=("dtparam=i2c_arm=on", *overlays),
        states=_states(settings, sensors),
        buy=(
            "the sensor on a module for 3.3 V; a cable of four wires, a metre or so at most "
            "(common practice, no source)",
            _CARD,
        ),
        cautions=(cautions.ONLY_3V3, cautions.SENSOR_WATER),
        notes=notes,
    )


def _i2c_overlays(sensors: Sequence[Sensor]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    overlays, notes = [], []
    for sensor in sensors:
        device = sensor.device or ""
        address = re.fullmatch(r"[0-9]+-00([0-9a-f]{2})", device)
        known = known_sensor(sensor.driver, device)
        if known is not None and known.care:
            notes.append(f"{sensor.name}, a {known.chip}: {known.care}")
        if known is not None and known.overlay is not None:
            overlays.append(known.overlay)
        elif known is not None:
            notes.append(
                f"{sensor.name} has no overlay that we know of (from memory; first look for it in "
                "/boot/firmware/overlays/README). Without one, once: "
                f"{name_to_kernel(known.new_device)}."
            )
        elif address:
            overlays.append(f"dtoverlay=i2c-sensor,KIND,addr=0x{address[1]}")
            notes.append(
                f"Of {sensor.name} the config says only its address, 0x{address[1]}: for KIND "
                "write what it is, such as sht4x."
            )
        else:
            notes.append(
                f"Which overlay {sensor.name} ({device}) takes, and whether it is on the I²C bus "
                "at all, /boot/firmware/overlays/README on the Pi says."
            )
    return tuple(overlays), tuple(notes)
