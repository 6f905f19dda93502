"""The text of a config from answers, with comments that say what each line is for."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

from controller import display
from controller.config.lookup import field_at, markers
from controller.config.quantities import RefusedError, Text
from controller.kernel_sensors import KERNEL_SENSORS
from controller.new_config.questions import UNKNOWN, Answers, sides_of
from controller.wording import default_bands_words, heat_effect

if TYPE_CHECKING:
    import datetime

    from controller.config import Settings

_PLAIN = re.compile(r"[A-Za-z0-9][A-Za-z0-9 °/³²%.+_-]*|[0-9]{1,2}:[0-9]{2}")
_YAML_WORDS = {"yes", "no", "on", "off", "true", "false", "null", "none", "y", "n"}
_DAY_S = 86_400.0
_MARGIN_S = 900.0


def config_text(answers: Answers) -> str:
    """The config that the answers describe; it still has to pass the config's checks.

    Parameters
    ----------
    answers : mapping of str to str
        One for each question that applies, and `name`, what to call the tent.
    """
    parts = (_tent, _lamp, _fan, _duct, _schedule, _sensors, _crop)
    return _HEAD + "\n\n".join(part(answers) for part in parts) + "\n"


def bands_comment(settings: Settings) -> str:
    """The bands in force as lines that can be made the person's own.

    Parameters
    ----------
    settings : Settings
        Those of the config without these lines.
    """
    targets, units = settings.targets, settings.units

    def degrees(c: float) -> str:
        return display.temperature(c, units)

    lines = [
        f"# The bands are {default_bands_words(settings)}.",
        "# Check that they are right for your plants: most are common practice. To write others,",
        "# take the `#:` away.",
        "#: targets:",
    ]
    for phase, band, when in (
        ("day", targets.day, "the lamp is lit"),
        ("night", targets.night, "it is dark"),
    ):
        lines += [
            f"#:   {phase}: # while {when}",
            f"#:     temperature: [{', '.join(map(degrees, band.temperature_c))}]",
            f"#:     humidity: [{', '.join(map(display.humidity, band.humidity_pct))}]",
            f"#:     vpd: [{', '.join(map(display.vpd, band.vpd_pa))}]",
        ]
    effect = heat_effect(settings)
    lines.append(
        f"#:   heat_warning: {degrees(targets.heat_warning_c)} # above it you are warned"
        + (f": {effect}" if effect else "")
    )
    return "\n" + "\n".join(lines) + "\n"


_HEAD = """\
# A config of lungwort, begun with `lungwort new`. Every key with its default is in the file
# config/all-keys.yaml that comes with lungwort. Lines behind `#:` are not in force.
#
# Check it:           lungwort check FILE
# How to wire it:     lungwort wiring FILE
# Is the fan enough?  lungwort size FILE
# Try it, unwired:    lungwort rehearse FILE
#
# Mains power, heat and water can hurt people: read the cautions of `lungwort wiring` first.

"""


def _scalar(text: str) -> str:
    """A text as YAML takes it back, in quotes where it must be."""
    if _PLAIN.fullmatch(text) and text.lower() not in _YAML_WORDS and text == text.strip():
        return text
    return json.dumps(text, ensure_ascii=False)


def _name(text: str) -> str:
    """A name, in quotes unless it can be nothing but a text."""
    plain = re.fullmatch(r"[a-z][a-z0-9_-]*", text) and text not in _YAML_WORDS
    return text if plain else json.dumps(text, ensure_ascii=False)


def _tent(answers: Answers) -> str:
    sea_level = "0 ft" if answers["units"] == "us" else "0 m"
    width, depth, height = map(_scalar, sides_of(answers["size"]))
    return f"""\
tent:
  name: {_name(answers["name"])} # its record is called after it
  width: {width} # inside measures
  depth: {depth}
  height: {height}
  elevation: {sea_level} # above sea level; thin air carries less heat

place:
  timezone: {_scalar(answers["timezone"])} # the lamp times below are local clock times
  units: {_scalar(answers["units"])} # what lungwort shows; written may be any"""


def _lamp(answers: Answers) -> str:
    lit = lit_s(answers)
    same = "\n    same_means: always # on and off are equal: lit day and night" if not lit else ""
    return f"""\
lamp:
  power: {_scalar(answers["lamp_power"])} # what it draws; all of it ends up as heat in the tent
  photoperiod:
    on: {_scalar(answers["lights_on"])}
    off: {_scalar(answers["lights_off"])}{same}
  switched_by: own_timer # a plug timer, set to these hours; relay: lungwort switches the lamp"""


def _fan(answers: Answers) -> str:
    lines = ["fan:", f"  drive: {answers['fan_drive']} # {_DRIVE_WORDS[answers['fan_drive']]}"]
    if answers["fan_drive"] == "dac":
        lines += [
            "  dac: # on the I2C bus, with a stage behind it that makes 0 to 10 V of 0 to 3.3 V",
            "    device: mcp4725 # what the kernel calls it, or its bus address, such as 1-0060",
            "    raw_full: 4095 # its value at full speed; 4095 is all of 12 bits",
        ]
    else:
        lines.append(
            f"  pin: {_scalar(answers['fan_pin'])} # BCM number, not the pin of the header"
        )
    if answers["fan_drive"] == "relay":
        lines.append("  contact: normally_closed # a dead Pi leaves the fan running")
    if answers["fan_drive"] == "hardware_pwm":
        lines.append("  active_low: true # through a transistor: undriven, the fan runs full speed")
    if answers["fan_drive"] != "relay":
        lines.append("  min_speed: 20 % # the slowest that turns the motor; try yours")
    known = answers["fan_flow"] != UNKNOWN
    us = answers["units"] == "us"
    flow = _scalar(answers["fan_flow"]) if known else "100 cfm" if us else "170 m³/h"
    lines += [
        f"  {'' if known else '#: '}free_flow: {flow} # data sheet: nothing attached",
        f"  #: max_pressure: {'0.3 inH2O' if us else '70 Pa'} # data sheet: outlet closed",
        "  #: power: 15 W # at full speed, for what it costs",
    ]
    return "\n".join(lines)


def _duct(answers: Answers) -> str:
    us = answers["units"] == "us"
    return f"""\
#: duct: # and filter: they take from the fan's flow, as `lungwort size` then says
#:   diameter: {"4 in" if us else "10 cm"}
#:   length: {"6 ft" if us else "2 m"}
#:   bends: 1 # of 90°
#:   filter: # carbon filter, when new
#:     pressure_drop: {"0.3 inH2O" if us else "70 Pa"}
#:     flow: {"100 cfm" if us else "170 m³/h"} # at which its data sheet says so"""


_DRIVE_WORDS = {
    "relay": "on or off",
    "pwm": "a two-wire DC fan through a MOSFET",
    "hardware_pwm": "a four-wire fan with a 25 kHz speed wire",
    "dac": "an EC fan with a 0-10 V input",
}


def _schedule(answers: Answers) -> str:
    margin = f"{int(_margin_s(answers) // 60)} min"
    return f"""\
schedule: # the fan hours: from pre-run before lights-on to run-on after lights-off
  pre_run: {margin}
  run_on: {margin}
  day_speed: 100 % # in the fan hours{"; slower may do, `lungwort size` says" * _is_pwm(answers)}
  night_speed: 0 % # outside them; heat and moisture start the fan all the same"""


def _is_pwm(answers: Answers) -> bool:
    return answers["fan_drive"] != "relay"


def _sensors(answers: Answers) -> str:
    kind, pin = answers["sensor"], answers.get("sensor_pin", "")
    by_name = {name: row.driver for row in KERNEL_SENSORS for name in row.names}
    address = {
        "dht22": f"    driver: dht22\n    pin: {_scalar(pin)}",
        "dht22_kernel": f"    driver: iio # the kernel reads it\n    device: dht11@{pin}",
    }.get(kind)
    if address is None:
        address = f"    driver: {by_name[kind]} # the kernel reads it\n    device: {kind}"
    return f"""\
sensors:
  - name: canopy # at leaf height, in the shade, out of the fan's draught
    role: tent
{address}
# A second one where the tent draws its air, with `role: intake`, tells when more air can't help."""


def _crop(answers: Answers) -> str:
    return f"""\
crop: # for the water it gives off, and for its bands
  kind: {answers["crop"]}
  plants: {_scalar(answers["plants"])}
  stage: {answers["stage"]}"""


def lit_s(answers: Answers) -> float:
    """Length of the photoperiod [s]; 0 where both times are equal.

    Raises
    ------
    RefusedError
        If an answer is no clock time.
    """
    return (_clock_s(answers["lights_off"]) - _clock_s(answers["lights_on"])) % _DAY_S


def _clock_s(text: str) -> float:
    info = field_at(("lamp", "photoperiod", "on"))
    assert info is not None
    (marker,) = (marker for marker in markers(info) if isinstance(marker, Text))
    time: datetime.time = marker.read(text)
    return time.hour * 3600.0 + time.minute * 60.0 + time.second


def _margin_s(answers: Answers) -> float:
    """Pre-run and run-on: a quarter of an hour each, or what a long photoperiod leaves of it."""
    try:
        lit = lit_s(answers)
    except RefusedError:
        return _MARGIN_S  # the checks say what is wrong with the time
    return _MARGIN_S if not lit else min(_MARGIN_S, (_DAY_S - lit) // 120.0 * 60.0)
