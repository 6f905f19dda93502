"""`lungwort sensors`: which sensors this machine has, and their lines for the config."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from controller.commands.arguments import HelpPage

if TYPE_CHECKING:
    from controller.sensors.discover import Discovery, FoundConverter, FoundSensor

SENSORS_HELP = "list the sensors of this machine, with their lines for the config"
SENSORS_DESCRIPTION = """\
List the sensors that the kernel shows on this machine, each read once, with the lines to put under
`sensors` in the config, and converters for a fan's 0-10 V input. Whatever is missing must first be
made known to the kernel: the command says how for every chip it knows. A DHT22 or DHT11 read by
Python (`driver: dht22`) can't be found, since it answers only on the GPIO that the config names.
"""

_EXAMPLES = """\
examples:
  lungwort sensors
  lungwort sensors --json
"""


def add(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the program's parser."""
    parser = subparsers.add_parser(
        "sensors",
        help=SENSORS_HELP,
        description=SENSORS_DESCRIPTION,
        epilog=_EXAMPLES,
        formatter_class=HelpPage,
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, in SI units")
    parser.add_argument(
        "--sysfs",
        type=Path,
        default=Path("/sys"),
        metavar="DIRECTORY",
        help="where sysfs is mounted (default: /sys)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Run the command."""
    from controller.sensors.discover import discover

    discovery = discover(args.sysfs)
    if args.json:
        import json

        print(json.dumps(as_json(discovery), ensure_ascii=False))
    else:
        from controller.tables import terminal_width

        print(as_text(discovery, terminal_width()))
    return 0 if discovery.sensors else 1


def as_json(discovery: Discovery) -> dict[str, object]:
    """The sensors in SI, units in the keys."""
    return {
        "sensors": [
            {
                "chip": sensor.chip,
                "role": sensor.role,
                "driver": sensor.driver,
                "device": sensor.device,
                "temperature_c": sensor.measurement and sensor.measurement.temperature_c,
                "humidity_pct": sensor.measurement and sensor.measurement.humidity_pct,
                "co2_ppm": sensor.measurement and sensor.measurement.co2_ppm,
                "problem": sensor.problem or None,
            }
            for sensor in discovery.sensors
        ],
        "converters": [converter._asdict() for converter in discovery.converters],
        "others": list(discovery.others),
    }


def as_text(discovery: Discovery, width: int) -> str:
    """The sensors for people: a block of YAML to paste, or how to make the kernel read one.

    Prose keeps to `width` columns; what is to be pasted stays whole.
    """
    lines = ["sensors:"] if discovery.sensors else ["The kernel shows no sensor of air here."]
    for number, sensor in enumerate(discovery.sensors, 1):
        lines += _block(number, sensor)
    for converter in discovery.converters:
        lines += ["", *_converter_block(converter)]
    if discovery.others:
        lines += ["", f"# No sensors of air: {', '.join(discovery.others)}."]
    if not discovery.sensors:
        lines += ["", *_how_to_enable(width)]
    return "\n".join(lines)


def _converter_block(converter: FoundConverter) -> list[str]:
    """Lines for `fan`, as comments: the fan may be driven otherwise."""
    channel = "" if converter.channels == 1 else ", channel: 0"
    return [
        "# A converter, for a fan with a 0-10 V input, behind a stage ('lungwort wiring'):",
        "# fan:",
        "#   drive: dac",
        f"#   dac: {{device: {converter.device}{channel}, raw_full: 4095}}  # 4095: all of 12 bits",
    ]


def _block(number: int, sensor: FoundSensor) -> list[str]:
    from controller.tables import wrapped

    place = {
        "tent": "tent: among the plants; intake: in the air drawn in",
        "leaf": "looking at leaves; recorded and shown, decides nothing",
    }
    alone = ["  # temperature alone: only beside a sensor that measures humidity too"]
    return [
        f"  # {sensor.chip}: {_reading(sensor)}",
        *(alone if sensor.is_alone else ()),
        *(wrapped(sensor.care, 79, first="  # ", rest="  # ") if sensor.care else ()),
        f"  - name: sensor_{number}",
        f"    role: {sensor.role}  # {place[sensor.role]}",
        f"    driver: {sensor.driver}",
        f'    device: "{sensor.device}"',
    ]


def _reading(sensor: FoundSensor) -> str:
    from controller import display

    if sensor.measurement is None:
        return f"not read: {sensor.problem}"
    temperature_c, humidity_pct, co2_ppm = sensor.measurement
    words = [display.temperature(temperature_c, "si")]
    if humidity_pct is not None:
        words.append(display.humidity(humidity_pct))
    if co2_ppm is not None:
        words.append(f"CO2 {co2_ppm:.0f} ppm")
    return ", ".join(words) + " just now"


def _how_to_enable(width: int) -> list[str]:
    from controller.kernel_sensors import I2C_PARTS, KERNEL_SENSORS
    from controller.tables import wrapped

    lines = wrapped(
        "What makes the kernel read one, in /boot/firmware/config.txt, then reboot (I²C sensors "
        "need dtparam=i2c_arm=on as well; the overlays' README on the Pi has the last word):",
        width,
    )
    column = max(len(row.chip) for row in KERNEL_SENSORS)
    lines += [f"  {row.chip:{column}}  {row.overlay}" for row in KERNEL_SENSORS if row.overlay]
    lines += [
        "",
        *wrapped(
            f"Of these we know no overlay. Each start names to the kernel what {I2C_PARTS} lists, "
            "once lungwort is installed as a service; so install it, write the line once, and "
            "reboot:",
            width,
        ),
    ]
    lines += [
        f"  {row.chip:{column}}  echo {row.new_device} | sudo tee -a {I2C_PARTS}"
        for row in KERNEL_SENSORS
        if not row.overlay
    ]
    return lines
