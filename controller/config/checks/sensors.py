"""Sensors: what their drivers need, and whether all together they measure the air."""

from __future__ import annotations

from collections.abc import Iterator

from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath
from controller.kernel_sensors import known_sensor, measures

DHT = ("dht22", "dht11")
KERNEL = ("iio", "hwmon", "w1")


def _sensor_address(view: CheckedConfig) -> Iterator[Objection]:
    """A DHT needs its pin, a kernel sensor its name."""
    for index, sensor in enumerate(view.settings.sensors):
        base: KeyPath = ("sensors", index)
        driver, pin, device = (*base, "driver"), (*base, "pin"), (*base, "device")
        if sensor.driver in DHT and sensor.pin is None:
            yield Objection(
                driver, f"the {sensor.driver} `{sensor.name}` has no pin", "`pin`, e.g. 4", (pin,)
            )
        if sensor.driver in KERNEL and sensor.device is None:
            yield Objection(
                driver,
                f"the {sensor.driver} sensor `{sensor.name}` has no device",
                "`device`, the kernel's name of it, e.g. "
                + ("28-0316a2795cd1" if sensor.driver == "w1" else "sht4x"),
                (device,),
            )
        if sensor.driver not in DHT and sensor.pin is not None:
            yield Objection(
                pin, f"{sensor.driver} uses no pin", "`device` alone", (driver,), is_warning=True
            )
        if sensor.driver not in KERNEL and sensor.device is not None:
            yield Objection(
                device, f"{sensor.driver} uses no device", "no `device`", (driver,), is_warning=True
            )


def _sensors_as_a_whole(view: CheckedConfig) -> Iterator[Objection]:
    """At least one sensor in the tent; every name once."""
    sensors = view.settings.sensors
    if all(sensor.role != "tent" for sensor in sensors):
        yield Objection(
            ("sensors",),
            "no sensor measures the tent",
            "at least one with `role: tent`",
            tuple(("sensors", index, "role") for index in range(len(sensors))),
        )
    yield from _humidity_somewhere(view)
    names: dict[str, int] = {}
    devices: dict[tuple[str, str], int] = {}
    for index, sensor in enumerate(sensors):
        path: KeyPath = ("sensors", index, "name")
        if view.is_sound(path) and names.setdefault(sensor.name, index) != index:
            line = view.line(("sensors", names[sensor.name], "name"))
            yield Objection(
                path, f"the name `{sensor.name}` is taken already in line {line}", "another name"
            )
        if sensor.device is None or sensor.driver not in KERNEL:
            continue
        first = devices.setdefault((sensor.driver, sensor.device), index)
        if first != index:
            yield Objection(
                ("sensors", index, "device"),
                f"`{sensor.device}` is read already by sensor `{sensors[first].name}`",
                _how_to_tell_twins(sensor.driver, sensor.device),
                (("sensors", index), ("sensors", first)),
            )


def _how_to_tell_twins(driver: str, device: str) -> str:
    """How two sensors of one kind can be had, in words."""
    known = known_sensor(driver, device)
    if known is not None and len(known.addresses) == 1:
        return f"a sensor of another kind: a {known.chip} has one address, and no bus holds two"
    first, second = known.addresses[:2] if known is not None and known.addresses else (0x44, 0x45)
    return (
        "the bus address of each where two are of one kind, e.g. "
        f"1-00{first:02x} and 1-00{second:02x}"
    )


def _humidity_somewhere(view: CheckedConfig) -> Iterator[Objection]:
    """Thermometers do not replace a sensor of air: without humidity there is no VPD, no failsafe.

    A place whose humidity failed would otherwise be run on temperature alone, with mould unseen.
    """
    for role, place in (("tent", "the tent"), ("intake", "the intake")):
        there = [(i, s) for i, s in enumerate(view.settings.sensors) if s.role == role]
        asked = [measures(s.driver, s.device, s.role) for _, s in there]
        for (index, sensor), quantities in zip(there, asked, strict=True):
            if "leaf" in quantities:
                yield Objection(
                    ("sensors", index, "role"),
                    f"the infrared thermometer `{sensor.name}` sees surfaces, not air",
                    "`role: leaf`",
                    (("sensors", index, "device"),),
                )
        if there and not any("humidity" in quantities for quantities in asked):
            index = there[0][0]
            yield Objection(
                ("sensors", index),
                f"nothing measures the humidity of {place}: `{there[0][1].name}` is a thermometer, "
                "which may only stand beside a sensor of temperature and humidity",
                f"another sensor with `role: {role}` that measures humidity too",
                tuple(("sensors", i, name) for i, _ in there for name in ("role", "driver")),
            )


RULES = (_sensor_address, _sensors_as_a_whole)
