"""Every device that a tick uses, on the wires of a rig."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.daemon.edges import Edges
from controller.outputs import open_outputs
from controller.sensors.open_sensors import open_sensors

if TYPE_CHECKING:
    from controller.clock import Clock
    from controller.config import Settings
    from simulators.rig.simulated_rig import Rig


def open_on_rig(
    rig: Rig, settings: Settings, clock: Clock, fan_speed: float | None = None
) -> Edges:
    """Open real gpiozero devices on a rig's mock pins, and its sensors; closing them ends the rig.

    Parameters
    ----------
    rig : Rig
        The simulated tent and its wires.
    settings : Settings
        The tent's settings.
    clock : Clock
        The rig's.
    fan_speed : float or None
        Speed until the first tick, 0-1; the failsafe's when not given.

    Raises
    ------
    HardwareError
        If a pin can't be used.
    """
    outputs = open_outputs(
        settings,
        pin_factory=rig.pin_factory,
        pwm_root=rig.sysfs_root / "class" / "pwm",
        iio_root=rig.sysfs_root / "bus" / "iio" / "devices",
        fan_speed=fan_speed,
    )
    sensors = open_sensors(settings, clock, make_driver=rig.driver_factory, inline=True)

    def close() -> None:
        sensors.close()
        outputs.close()
        rig.close()

    return Edges.joined(sensors, outputs, close)
