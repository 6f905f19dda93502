"""Pins and buses, the fan's drive and the lamp's relay, and what Pi and kernel can do with them."""

from __future__ import annotations

import re
from collections.abc import Iterator

from controller import display, pwm_pins
from controller.config import messages as wording
from controller.config.checks.sensors import DHT, KERNEL
from controller.config.checks.view import CheckedConfig, Objection
from controller.config.yaml_tree import KeyPath
from controller.kernel_sensors import i2c_address, known_sensor

# lgpio times software PWM itself and takes 10 kHz at most.
SOFTWARE_PWM_MAX_HZ = 10_000.0

_DRIVE: KeyPath = ("fan", "drive")
_FAN_PIN: KeyPath = ("fan", "pin")
_ACTIVE_LOW: KeyPath = ("fan", "active_low")
_DAC: KeyPath = ("fan", "dac")
_CURRENT_PIN: KeyPath = ("fan", "current_switch", "pin")
# With this drive GPIO 14 and 15 are a Pi 5's, whose console has a socket of its own (from memory).
_PWM = "hardware_pwm"
_I2C_PINS, _SERIAL_PINS = (2, 3), (14, 15)
# As it comes without an address pin wired (Microchip DS22039, from memory).
_FIRST_OF_MCP4725 = 0x60
_ONE_WIRE_PIN = 4
# An address on the bus of GPIO 2 and 3, or a chip that speaks nothing else.
_ON_I2C = re.compile(
    r"1-00[0-9a-f]{2}|(?:sht|bme|bmp|hdc|htu|hts|si70|aht)[0-9a-z]*", re.IGNORECASE | re.ASCII
)


def _pins(view: CheckedConfig) -> list[tuple[KeyPath, int]]:
    """Every GPIO that is used, with the key that claims it."""
    settings = view.settings
    pins: list[tuple[KeyPath, int]] = []
    if settings.fan.pin is not None and settings.fan.drive != "dac":
        pins.append((_FAN_PIN, settings.fan.pin))
    if settings.fan.tachometer is not None:
        pins.append((("fan", "tachometer", "pin"), settings.fan.tachometer.pin))
    if settings.fan.current_switch is not None:
        pins.append((_CURRENT_PIN, settings.fan.current_switch.pin))
    if settings.lamp.pin is not None and settings.lamp.switched_by != "own_timer":
        pins.append((("lamp", "pin"), settings.lamp.pin))
    for index, sensor in enumerate(settings.sensors):
        if sensor.pin is not None and sensor.driver in DHT:
            pins.append((("sensors", index, "pin"), sensor.pin))
        # The kernel names a DHT by its GPIO, as device trees do in hexadecimal (from memory), so
        # only up to 9 is the number beyond doubt.
        overlay = re.fullmatch(r"dht(?:11|22)@([0-9])", sensor.device or "")
        if overlay and sensor.driver in KERNEL:
            pins.append((("sensors", index, "device"), int(overlay[1])))
    return pins


def _one_device_a_pin(view: CheckedConfig) -> Iterator[Objection]:
    """Two devices cannot share a GPIO."""
    taken: dict[int, KeyPath] = {}
    pins = [item for item in _pins(view) if view.is_sound(item[0])]
    for path, pin in sorted(pins, key=lambda item: view.source.place(item[0])):
        if pin in taken:
            first = taken[pin]
            yield Objection(
                path,
                f"GPIO {pin} is taken already by `{wording.dotted(first)}` "
                f"in line {view.line(first)}",
                "a pin of its own for each device",
                (("lamp", "switched_by"),) if "lamp" in (path[0], first[0]) else (),
            )
        else:
            taken[pin] = path


def _is_on_i2c(driver: str, device: str) -> bool:
    known = known_sensor(driver, device)
    return bool(_ON_I2C.fullmatch(device)) if known is None else known.is_on_i2c


def _pins_of_the_pi(view: CheckedConfig) -> Iterator[Objection]:
    """The I²C bus and the serial console have pins that they share with nobody."""
    bus = next(
        (
            (index, sensor)
            for index, sensor in enumerate(view.settings.sensors)
            if sensor.driver in KERNEL and _is_on_i2c(sensor.driver, sensor.device or "")
        ),
        None,
    )
    for path, pin in _pins(view):
        if pin in _I2C_PINS and (bus is not None or view.settings.fan.drive == "dac"):
            what, place = ("the fan's converter", _DAC)
            if bus is not None:
                what, place = f"sensor `{bus[1].name}`", ("sensors", bus[0])
            yield Objection(
                path,
                f"GPIO {pin} is taken by the I²C bus, which {what} is on",
                "another pin, e.g. one of GPIO 4 to 13 or 16 to 27",
                (place,),
                is_warning=True,
            )
        elif pin in _SERIAL_PINS and not (path == _FAN_PIN and view.settings.fan.drive == _PWM):
            yield Objection(
                path,
                f"GPIO {pin} belongs to the serial console, if that is on: what the Pi says while "
                "it starts would switch what hangs on it",
                "another pin, or the console turned off (`raspi-config`, Interface Options)",
                is_warning=True,
            )


def _pulled_up_by_the_board(view: CheckedConfig) -> Iterator[Objection]:
    """An output that a high level drives can't rest on a pin that the board pulls up."""
    fan, lamp = view.settings.fan, view.settings.lamp
    outputs = [
        (_FAN_PIN, fan.pin, fan.drive in ("relay", "pwm") and not fan.active_low),
        (("lamp", "pin"), lamp.pin, lamp.switched_by == "relay" and not lamp.active_low),
    ]
    for path, pin, is_driven_high in outputs:
        if pin in _I2C_PINS and is_driven_high and not _bus_users(view):
            yield Objection(
                path,
                f"1.8 kΩ on the board pull GPIO {pin} up, so that what hangs on it is on from "
                "power-on until the first tick, and no pull-down helps",
                "a GPIO from 9 up",
                is_warning=True,
            )


def _bus_users(view: CheckedConfig) -> list[tuple[KeyPath, str, int | None]]:
    """What is on the I²C bus of GPIO 2 and 3: key, name in words, and address if it is known."""
    settings = view.settings
    users: list[tuple[KeyPath, str, int | None]] = []
    if settings.fan.drive == "dac" and settings.fan.dac is not None:
        device = settings.fan.dac.device
        address = _FIRST_OF_MCP4725 if device == "mcp4725" else i2c_address("iio", device)
        users.append((_DAC, "the fan's converter", address))
    for index, sensor in enumerate(settings.sensors):
        if sensor.driver in KERNEL and _is_on_i2c(sensor.driver, sensor.device or ""):
            address = i2c_address(sensor.driver, sensor.device)
            users.append((("sensors", index), f"sensor `{sensor.name}`", address))
    return users


def _one_device_an_address(view: CheckedConfig) -> Iterator[Objection]:
    """Two chips that answer at one address are read as one, if at all."""
    taken: dict[int, tuple[KeyPath, str]] = {}
    devices: set[str] = set()
    for path, name, address in _bus_users(view):
        device = view.settings.sensors[int(path[1])].device if path[0] == "sensors" else None
        if address is None or device in devices:  # the same name twice is refused as such
            continue
        devices.add(device or "")
        if address not in taken:
            taken[address] = path, name
            continue
        first, other = taken[address]
        yield Objection(
            path,
            f"{other} and {name} both answer at address 0x{address:02x} of the I²C bus",
            "another address for one of them, by its address pin and `addr=` in its overlay, and "
            "that bus address as `device`, or another kind of sensor",
            (path, first),
            is_warning=True,
        )


def _one_wire_pin(view: CheckedConfig) -> Iterator[Objection]:
    """The 1-Wire bus is on GPIO 4 unless its overlay says otherwise (from memory)."""
    on_bus = next((s for s in view.settings.sensors if s.driver == "w1"), None)
    if on_bus is None:
        return
    for path, pin in _pins(view):
        if pin == _ONE_WIRE_PIN:
            yield Objection(
                path,
                f"GPIO {pin} is the 1-Wire bus's, which `{on_bus.name}` is on, unless its overlay "
                "names another",
                "another pin here, or there, e.g. `dtoverlay=w1-gpio,gpiopin=5`",
                is_warning=True,
            )


def _frequency(view: CheckedConfig) -> Iterator[Objection]:
    """A PWM frequency and pin that the drive can give."""
    fan = view.settings.fan
    path: KeyPath = ("fan", "frequency")
    if fan.drive == "pwm" and fan.resolved_frequency_hz > SOFTWARE_PWM_MAX_HZ:
        yield Objection(
            path,
            f"software PWM cannot give {display.frequency(fan.resolved_frequency_hz)}",
            f"{display.frequency(SOFTWARE_PWM_MAX_HZ)} at most, or `drive: hardware_pwm`",
            (_DRIVE,),
        )
    if fan.drive == "hardware_pwm" and fan.pin in pwm_pins.ONLY_PI_5:
        yield Objection(
            ("fan", "pin"),
            f"only a Pi 5 has hardware PWM on GPIO {fan.pin}",
            f"a Pi 5, or one of GPIO {pwm_pins.ON_ANY_PI}",
            (_DRIVE,),
            is_warning=True,
        )
    elif fan.drive == "hardware_pwm" and fan.pin not in (None, *pwm_pins.ANY_PI):
        yield Objection(
            ("fan", "pin"),
            f"GPIO {fan.pin} has no hardware PWM",
            f"{pwm_pins.CHOICE}, or `drive: pwm`",
            (_DRIVE,),
        )
    if fan.drive in ("relay", "dac") and fan.frequency_hz is not None:
        what = "relay" if fan.drive == "relay" else "voltage"
        yield Objection(
            path, f"a {what} has no frequency", "no `frequency`, or `drive: pwm`", (_DRIVE,), True
        )
    if fan.drive != "relay" and fan.contact == "normally_closed":
        yield Objection(
            ("fan", "contact"),
            "only a relay has contacts, so a dead Pi may leave this fan standing",
            "`drive: relay`, or a pull resistor that runs the fan and no `contact`",
            (_DRIVE,),
            is_warning=True,
        )


def _fan_address(view: CheckedConfig) -> Iterator[Objection]:
    """A fan hangs on a pin, or on a converter."""
    fan = view.settings.fan
    if fan.drive != "dac":
        if fan.pin is None:
            yield Objection(_DRIVE, "the fan has no pin", "`fan.pin`, e.g. 17", (_FAN_PIN,))
        if fan.dac is not None:
            yield Objection(
                _DAC, f"`drive: {fan.drive}` uses no converter", "no `dac`, or `drive: dac`",
                (_DRIVE,), is_warning=True,
            )  # fmt: skip
        return
    if fan.pin is not None:
        yield Objection(
            _FAN_PIN, "a fan on a converter has no pin", "no `pin`", (_DRIVE,), is_warning=True
        )
    if fan.active_low:
        yield Objection(
            _ACTIVE_LOW,
            "a converter has no level that is low",
            "`dac.raw_full` below `dac.raw_off`, if a stage behind it inverts",
            (_DRIVE,),
            is_warning=True,
        )
    if fan.dac is None:
        yield Objection(
            _DRIVE,
            "the fan has no converter",
            "`dac: {device: mcp4725, raw_full: 4095}` under `fan`, with the kernel's name of yours",
            (_DAC,),
        )
    elif fan.dac.raw_full == fan.dac.raw_off:
        yield Objection(
            (*_DAC, "raw_full"),
            "full speed and off are the same voltage",
            "another value, e.g. 4095 with a converter of 12 bits",
            ((*_DAC, "raw_off"),),
        )


def _current_switch(view: CheckedConfig) -> Iterator[Objection]:
    """A current switch stands in for a tachometer."""
    fan = view.settings.fan
    if fan.current_switch is not None and fan.tachometer is not None:
        yield Objection(
            _CURRENT_PIN[:-1],
            "the tachometer tells more than the current: the current switch is not asked",
            "one of them",
            (("fan", "tachometer"),),
            is_warning=True,
        )


def _four_wire_fan(view: CheckedConfig) -> Iterator[Objection]:
    """A fan on hardware PWM runs when nothing drives its wire, behind a transistor that inverts."""
    fan = view.settings.fan
    if fan.drive == "hardware_pwm" and not fan.active_low:
        yield Objection(
            view.written(_ACTIVE_LOW, _DRIVE),
            "the kernel holds this pin low from power-on to the first tick, which without "
            "`active_low` stops the fan, for ever if lungwort can't start; and on a four-wire "
            "fan's own wire the GPIO meets up to 5.25 V",
            "a transistor between the pin and the fan's wire (before a 0-10 V input a stage that "
            'inverts), and `active_low: true`; see "Four-wire fans" and "EC fans" in the README',
            (_DRIVE, _ACTIVE_LOW),
            is_warning=True,
        )


def _lamp_pin(view: CheckedConfig) -> Iterator[Objection]:
    """A lamp relay or photocell hangs on a pin, a plug timer on none."""
    lamp = view.settings.lamp
    switched_by: KeyPath = ("lamp", "switched_by")
    pin: KeyPath = ("lamp", "pin")
    if lamp.switched_by != "own_timer" and lamp.pin is None:
        what = "the lamp relay" if lamp.switched_by == "relay" else "the photocell"
        yield Objection(switched_by, f"{what} has no pin", "`lamp.pin`, e.g. 23", (pin,))
    if lamp.switched_by == "own_timer" and lamp.pin is not None:
        yield Objection(
            pin,
            "a lamp on its own timer uses no pin",
            "no `pin`, or `switched_by: relay` or `photocell`",
            (switched_by,),
            is_warning=True,
        )


RULES = (
    _one_device_a_pin,
    _pins_of_the_pi,
    _pulled_up_by_the_board,
    _one_device_an_address,
    _one_wire_pin,
    _frequency,
    _fan_address,
    _current_switch,
    _four_wire_fan,
    _lamp_pin,
)
