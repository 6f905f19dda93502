"""Opens the sensors of a config as a running array."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from controller.clock import Clock
from controller.kernel_sensors import measures
from controller.sensors.array import SensorArray, WatchedSensor
from controller.sensors.data_sheets import profile_of
from controller.sensors.dht import DhtDriver, DhtProcess
from controller.sensors.driver import Driver, ErrorKind, SensorError
from controller.sensors.hwmon import HwmonDriver
from controller.sensors.iio import IioDriver
from controller.sensors.pollers import InlinePoller, Poller, ThreadedPoller
from controller.sensors.w1 import W1Driver

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.sensors import Sensor

DHT_PERIOD_S = 2.5
KERNEL_PERIOD_S = 2.0


def read_period_s(sensor: Sensor) -> float:
    """From one measurement to the next [s]."""
    return DHT_PERIOD_S if sensor.driver in ("dht22", "dht11") else KERNEL_PERIOD_S


DriverFactory = Callable[["Sensor"], Driver]


def open_driver(
    sensor: Sensor, sysfs_root: Path = Path("/sys"), dht_process: DhtProcess | None = None
) -> Driver:
    """Open the driver that the configuration names.

    Parameters
    ----------
    sensor : Sensor
        One entry of `sensors`.
    sysfs_root : Path
        Where sysfs is mounted.
    dht_process : DhtProcess, optional
        Who reads a DHT; without it a process of its own.

    Returns
    -------
    Driver
        Ready to read. A DHT's process is only started by the first read.

    Raises
    ------
    SensorError
        When the device is not there, with what to do about it.
    """
    if sensor.driver in ("dht22", "dht11"):
        if sensor.pin is None:
            raise SensorError(ErrorKind.UNSUPPORTED, f"{sensor.name} has no pin in the config")
        return DhtDriver(sensor.driver, sensor.pin, process=dht_process)
    if sensor.driver == "simulated":
        raise SensorError(
            ErrorKind.UNSUPPORTED,
            f"{sensor.name} is simulated and there is nothing to simulate it: "
            "run with --simulate, or name a real driver",
        )
    if sensor.device is None:
        raise SensorError(ErrorKind.UNSUPPORTED, f"{sensor.name} has no device in the config")
    return open_kernel_driver(sensor.driver, sensor.device, sensor.role, sysfs_root)


def open_kernel_driver(driver: str, device: str, role: str, sysfs_root: Path) -> Driver:
    """Open a sensor that the kernel reads; see `open_driver`."""
    if driver == "w1":
        return W1Driver(device, sysfs_root)
    wanted = measures(driver, device, role)
    if driver == "iio":
        return IioDriver(device, sysfs_root, wanted)
    return HwmonDriver(device, sysfs_root, has_humidity="humidity" in wanted)


def open_sensors(
    settings: Settings,
    clock: Clock,
    *,
    make_driver: DriverFactory | None = None,
    inline: bool = False,
) -> SensorArray:
    """Start reading every sensor of a tent.

    A sensor that cannot be opened is no reason not to start: it is reported as failed, the fan runs
    at its failsafe speed, and the device is looked for again and again.

    Parameters
    ----------
    settings : Settings
        The tent.
    clock : Clock
        Paces the threads.
    make_driver : callable
        Opens the driver of one sensor; a simulation gives its own, without it `open_driver` does.
    inline : bool
        True to read in the caller's thread whenever a sensor is due, which is deterministic and
        right for simulated sensors only; False for one thread per sensor.

    Returns
    -------
    SensorArray
        To be polled once a tick and closed at the end.
    """

    opens = make_driver or partial(open_driver, dht_process=DhtProcess())

    def poller_for(sensor: Sensor) -> Poller:
        period_s = read_period_s(sensor)
        opener = partial(opens, sensor)
        if inline:
            return InlinePoller(opener, period_s)
        return ThreadedPoller(opener, period_s, clock, sensor.name)

    return SensorArray(
        [
            WatchedSensor(
                sensor.name, sensor.role, sensor.driver, profile_of(sensor), poller_for(sensor)
            )
            for sensor in settings.sensors
        ],
        settings.failsafe.stale_after_s,
    )
