"""The sensors that Linux reads by itself: how each is called, and what makes the kernel read it.

One row a chip; what its data sheet promises stands in `controller.sensors.data_sheets`. Names: the
drivers of Linux 6.12. Overlays: the README of the overlays on a Raspberry Pi
(/boot/firmware/overlays/README), from memory, as are addresses.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from controller.config import Settings

AIR = frozenset({"temperature", "humidity"})

# Parts on the bus of GPIO 2 and 3 that the kernel knows of no overlay for, a line each; at each
# start systemd/70-lungwort.rules has the kernel read them.
I2C_PARTS = "/etc/lungwort/i2c-1"


class KernelSensor(NamedTuple):
    """One kind of sensor with a driver in the kernel.

    Attributes
    ----------
    chip : str
        What is printed on it or its sheet.
    driver : {"hwmon", "iio", "w1"}
        Where Linux shows it: the `driver` of the config.
    names : tuple of str
        What the kernel calls it, or its driver; the first is the one to write as `device`.
    overlay : str or None
        Line of /boot/firmware/config.txt that makes the kernel read it; None where there is none.
    new_device : str
        Without an overlay: name and address, as the I2C bus's `new_device` takes them and a line of
        `I2C_PARTS`.
    measures : frozenset of str
        "temperature", "humidity", "co2"; "leaf" is the temperature of a surface that it looks at.
    addresses : tuple of int
        On the I²C bus, the one it has as it comes first, then those that it can be given.
    care : str
        What is particular about it, in a sentence or two; "" where nothing is.
    """

    chip: str
    driver: Literal["hwmon", "iio", "w1"]
    names: tuple[str, ...]
    overlay: str | None = None
    new_device: str = ""
    measures: frozenset[str] = AIR
    addresses: tuple[int, ...] = ()
    care: str = ""

    @property
    def is_on_i2c(self) -> bool:
        """Whether it hangs on the I²C bus."""
        return bool(self.addresses)


_CALIBRATES_ITSELF = (
    "By itself it takes the least CO2 of some days for that of fresh air, and plants draw a lit "
    "tent below that. As installed, lungwort turns this off at each start; look that `cat "
    "/sys/bus/iio/devices/iio:device*/calibration_auto_enable` says 0, and hold it against outdoor "
    "air, about 420 ppm, now and then."
)

KERNEL_SENSORS: tuple[KernelSensor, ...] = (
    KernelSensor(
        "DHT22 or DHT11", "iio", ("dht11", "dht22", "am2302"), "dtoverlay=dht11,gpiopin=4"
    ),
    KernelSensor(
        "SHT3x", "hwmon", ("sht3x",), "dtoverlay=i2c-sensor,sht3x", addresses=(0x44, 0x45)
    ),
    KernelSensor(
        "SHT4x", "hwmon", ("sht4x",), "dtoverlay=i2c-sensor,sht4x", addresses=(0x44, 0x45)
    ),
    KernelSensor("SHTC3", "hwmon", ("shtc3",), "dtoverlay=i2c-sensor,shtc3", addresses=(0x70,)),
    KernelSensor(
        "AHT10", "hwmon", ("aht10",), "dtoverlay=i2c-sensor,aht10", addresses=(0x38, 0x39)
    ),
    KernelSensor("AHT20", "hwmon", ("aht20",), new_device="aht20 0x38", addresses=(0x38,)),
    # On I2C, whatever its name: no kin of the DHT22's.
    KernelSensor("DHT20", "hwmon", ("dht20",), new_device="dht20 0x38", addresses=(0x38,)),
    # Its driver names the device by its address; `sysfs.devices` knows the driver's name too.
    KernelSensor(
        "HDC1000 to HDC1080",
        "iio",
        ("hdc100x", "hdc1000", "hdc1008", "hdc1010", "hdc1050", "hdc1080"),
        "dtoverlay=i2c-sensor,hdc100x",
        addresses=(0x40, 0x41, 0x42, 0x43),
    ),
    KernelSensor("HTU21D", "iio", ("htu21",), "dtoverlay=i2c-sensor,htu21", addresses=(0x40,)),
    KernelSensor("Si7020", "iio", ("si7020",), "dtoverlay=i2c-sensor,si7020", addresses=(0x40,)),
    KernelSensor(
        "BME280", "iio", ("bme280",), "dtoverlay=i2c-sensor,bme280", addresses=(0x76, 0x77)
    ),
    KernelSensor(
        "BME680", "iio", ("bme680",), "dtoverlay=i2c-sensor,bme680", addresses=(0x76, 0x77)
    ),
    KernelSensor(
        "SCD30",
        "iio",
        ("scd30",),
        new_device="scd30 0x61",
        measures=AIR | {"co2"},
        addresses=(0x61,),
        care="It holds the bus's clock for up to 150 ms, which the I²C of a Pi up to 4 bears "
        "badly: `dtparam=i2c_arm_baudrate=50000` beside it (from memory). " + _CALIBRATES_ITSELF,
    ),
    KernelSensor(
        "SCD40 or SCD41",
        "iio",
        ("scd4x", "scd40", "scd41"),
        new_device="scd41 0x62",
        measures=AIR | {"co2"},
        addresses=(0x62,),
        # scd4x.c waits for the next measurement, of one in 5 s, at each value.
        care="One reading of it takes 15 s: keep `failsafe.stale_after` at a minute or more. "
        + _CALIBRATES_ITSELF,
    ),
    KernelSensor(
        "DS18B20",
        "w1",
        ("28-",),
        "dtoverlay=w1-gpio,gpiopin=4",
        measures=frozenset({"temperature"}),
    ),
    KernelSensor(
        "MLX90614",
        "iio",
        ("mlx90614",),
        new_device="mlx90614 0x5a",
        addresses=(0x5A,),
        measures=frozenset({"leaf"}),
    ),
)

_BY_NAME = {name: row for row in KERNEL_SENSORS for name in row.names}


def known_sensor(driver: str, device: str | None) -> KernelSensor | None:
    """Give the row of a sensor of the config; None where its names say nothing of its kind.

    Parameters
    ----------
    driver : str
        `driver` of the config.
    device : str or None
        `device` of the config: "sht4x", "dht11@4"; "1-0044" says nothing of the kind.
    """
    if driver == "w1":
        return _BY_NAME["28-"]
    if driver not in ("iio", "hwmon"):
        return None
    # "dht11@4" is one certain dht11.
    return _BY_NAME.get((device or "").partition("@")[0].lower())


def is_one_wire_dht(device: str | None) -> bool:
    """Whether a device of the config is a DHT22 or DHT11 that the kernel reads by its one wire."""
    known = known_sensor("iio", device)
    return known is not None and known.chip == "DHT22 or DHT11"


def i2c_address(driver: str, device: str | None) -> int | None:
    """Where a device of the config answers on the bus of GPIO 2 and 3, as it comes.

    By its bus address, such as "1-0044", else by its kind; None where neither tells.
    """
    written = re.fullmatch(r"1-00([0-9a-f]{2})", device or "", re.ASCII)
    if written is not None:
        return int(written[1], 16)
    known = known_sensor(driver, device)
    return known.addresses[0] if known is not None and known.addresses else None


def measures(driver: str, device: str | None, role: str) -> frozenset[str]:
    """What a sensor of the config is to be asked for.

    Of a device that its name does not tell the kind of, temperature and humidity are asked for:
    a lone thermometer behind an address would leave the tent without humidity, unseen.
    """
    known = known_sensor(driver, device)
    if known is not None:
        return known.measures
    return frozenset({"leaf"}) if role == "leaf" else AIR


def measures_co2(settings: Settings, role: str) -> bool:
    """Whether a sensor of the config measures carbon dioxide in one place."""
    return any(
        "co2" in measures(sensor.driver, sensor.device, sensor.role)
        for sensor in settings.sensors
        if sensor.role == role
    )


def how_to_enable(sensor: KernelSensor) -> str:
    """What makes the kernel read it, in words."""
    if sensor.overlay is None:
        return (
            f"dtparam=i2c_arm=on and, once, {name_to_kernel(sensor.new_device)} (from memory there "
            "is no overlay for it; look in /boot/firmware/overlays/README first)"
        )
    bus = "dtparam=i2c_arm=on and " if sensor.is_on_i2c else ""
    return f"{bus}{sensor.overlay}"


def name_to_kernel(new_device: str) -> str:
    """The command that names a part to the kernel, from the next start on for good.

    Parameters
    ----------
    new_device : str
        Its name and address, as the I2C bus's `new_device` takes them.
    """
    return f"`echo {new_device} | sudo tee -a {I2C_PARTS}` and a reboot"
