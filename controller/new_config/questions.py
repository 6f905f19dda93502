"""What `lungwort new` asks: each question with its default and the reason for it.

Answers are texts by key, as the person wrote them, so that a tent given in inches stays in inches.
Whether they fit, the config's own checks say; see `controller.new_config.answers`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import NamedTuple, get_args, get_type_hints

from controller import plants, pwm_pins, units
from controller.config.lookup import field_at, markers
from controller.config.quantities import RefusedError, Text
from controller.config.sections.room import Crop, Stage

Answers = Mapping[str, str]

UNKNOWN = "unknown"
KERNEL_DHT_PINS = range(4, 10)
_USUAL_PPFD = 300.0  # µmol/m²s: herbs and greens do well in it (common practice, no source)
_I2C_AND_ID_PINS = range(4)
_BETWEEN_SIDES = re.compile(r"\s*[×*x]\s*|\s+by\s+", re.IGNORECASE)  # no unit has an x


class Question(NamedTuple):
    """One question.

    Attributes
    ----------
    key : str
        Names its answer; with dashes, its flag.
    text : str
        What is asked.
    example : str
        What stands for the answer in the help.
    default : callable
        The answer taken when none is given, from the answers before.
    why : callable
        Why that is the default, or why it is asked; one sentence.
    choices : dict
        The answers there are, each with what it means; empty where any text may do.
    read : callable
        The answer in the form that is kept; RefusedError for one that can't be meant.
    applies : callable
        Whether it is asked at all, by the answers before.
    """

    key: str
    text: str
    example: str
    default: Callable[[Answers], str]
    why: Callable[[Answers], str]
    choices: Mapping[str, str] = {}
    read: Callable[[str, Answers], str] = lambda text, _: text
    applies: Callable[[Answers], bool] = lambda _: True

    @property
    def flag(self) -> str:
        """Its flag on the command line."""
        return f"--{self.key.replace('_', '-')}"


def read_size(text: str, _: Answers) -> str:
    """Width × depth × height; a unit written once, at the end, goes for all three."""
    sides = [side for side in _BETWEEN_SIDES.split(text.strip()) if side]
    if len(sides) != 3:
        raise RefusedError(
            f"{text!r} is not a size of three sides",
            "width × depth × height, e.g. 70 × 70 × 150 cm",
        )
    # "34 × 34 × 5 ft 10 in" leaves open which unit is meant; the checks then ask for it.
    last = re.fullmatch(r"[0-9.]+\s*([^0-9]+)", sides[2])
    unit = last[1].strip() if last else ""
    whole = [side if re.search(r"[^0-9.\s]", side) else f"{side} {unit}".strip() for side in sides]
    return " × ".join(whole)


def sides_of(size: str) -> list[str]:
    """The three sides of a size that `read_size` gave."""
    return size.split(" × ")


def read_flow(text: str, _: Answers) -> str:
    """A flow, or the word for not known."""
    return UNKNOWN if text.strip().lower() in (UNKNOWN, "none", "?", "-") else text.strip()


def read_fan_pin(text: str, _: Answers) -> str:
    """A pin of the fan that no bus of the Pi needs."""
    return _free_of_buses(text)


def read_sensor_pin(text: str, answers: Answers) -> str:
    """A pin of the sensor; read by the kernel, one whose number is in the sensor's name."""
    pin = _free_of_buses(text)
    if answers["sensor"] == "dht22_kernel" and int(pin) not in KERNEL_DHT_PINS:
        raise RefusedError(
            f"the kernel names a sensor on GPIO {pin} in hexadecimal, which is easily mistaken",
            "GPIO 4 to 9",
        )
    return pin


def _free_of_buses(text: str) -> str:
    info = field_at(("fan", "pin"))
    assert info is not None
    (marker,) = (marker for marker in markers(info) if isinstance(marker, Text))
    pin: int = marker.read(text)
    if pin in _I2C_AND_ID_PINS:
        raise RefusedError(
            f"GPIO {pin} belongs to an I2C bus (2 and 3 to sensors, 0 and 1 to add-on boards)",
            "GPIO 4 to 27",
        )
    return str(pin)


def _size(answers: Answers) -> str:
    return "30 in × 30 in × 60 in" if answers["units"] == "us" else "70 cm × 70 cm × 150 cm"


def _floor_m2(answers: Answers) -> float:
    width, depth, _ = sides_of(answers["size"])
    try:
        return max(0.04, units.parse(width, "length") * units.parse(depth, "length"))
    except ValueError:  # the checks say what is wrong with the size
        return 0.5


def _lamp_power(answers: Answers) -> str:
    """What gives the usual light on this floor, to ten watts."""
    per_w = plants.lamp_ppfd(1.0, _floor_m2(answers))
    return f"{max(10, 10 * math.ceil(_USUAL_PPFD / per_w / 10.0 - 1e-9)):g} W"


def _fan_pin(answers: Answers) -> str:
    if answers["fan_drive"] == "hardware_pwm":
        wanted = [18, *(pin for pin in pwm_pins.ANY_PI if pin != 18)]
    else:
        wanted = [17, 27]
    return str(next(pin for pin in wanted if str(pin) != answers.get("sensor_pin")))


def _fan_pin_why(answers: Answers) -> str:
    if answers["fan_drive"] == "hardware_pwm":
        return f"Of every Pi's pins only {pwm_pins.ON_ANY_PI} give these pulses."
    return "GPIO 9 to 27 are pulled down while the Pi starts, which rests the relay or MOSFET."


def _sensor_pin(answers: Answers) -> str:
    return next(str(pin) for pin in KERNEL_DHT_PINS if str(pin) != answers.get("fan_pin"))


_CROP_WORDS = {
    "pepper": "sweet or hot",
    "tomato": "kept small",
    "lettuce": "and other salads",
    "herbs": "mixed: parsley, mint, thyme",
    "other": "none of these",
}
_CROPS = get_args(get_type_hints(Crop)["kind"])

QUESTIONS: tuple[Question, ...] = (
    Question(
        "units",
        "In which units shall lungwort speak to you?",
        "UNITS",
        lambda _: "si",
        lambda _: "You may write any quantity in any unit, whatever you choose here.",
        {"si": "°C, cm, m³/h, Pa", "us": "°F, in, cfm, inH2O"},
    ),
    Question(
        "timezone",
        "In which time zone does the tent stand?",
        "ZONE",
        lambda _: "UTC",
        lambda _: "The lamp's hours are local clock times; the default is this machine's zone.",
    ),
    Question(
        "size",
        "How big is the tent inside: width × depth × height?",
        "SIZE",
        _size,
        lambda _: "Its floor and walls decide how much air it needs; the default is a small one.",
        read=read_size,
    ),
    Question(
        "lamp_power",
        "How much power does the lamp draw, as its label says?",
        "POWER",
        _lamp_power,
        lambda _: f"The default gives about {_USUAL_PPFD:.0f} µmol/m²s on this floor, from an LED.",
    ),
    Question(
        "lights_on",
        "When does the lamp go on?",
        "TIME",
        lambda _: "06:00",
        lambda _: "In summer, an evening hour would keep the lamp out of the afternoon's heat.",
    ),
    Question(
        "lights_off",
        "When does it go off?",
        "TIME",
        lambda _: "22:00",
        lambda _: "16 h of light suit greens and herbs (common practice, no source).",
    ),
    Question(
        "fan_drive",
        "How is the fan driven?",
        "DRIVE",
        lambda _: "relay",
        lambda _: "A relay suits any fan and, as written here, lets it run when the Pi is dead.",
        {
            "relay": "on or off; the wiring of a mains fan is for an electrician",
            "pwm": "a two-wire DC fan through a MOSFET; it stands with a dead Pi",
            "hardware_pwm": "a four-wire DC fan with a 25 kHz wire, through a transistor",
            "dac": "an EC fan with a 0-10 V input; its mains is for an electrician",
        },
    ),
    Question(
        "fan_pin",
        "On which GPIO (BCM number)?",
        "PIN",
        _fan_pin,
        _fan_pin_why,
        read=read_fan_pin,
        applies=lambda answers: answers["fan_drive"] != "dac",
    ),
    Question(
        "fan_flow",
        "How much air does it move with nothing attached, as its data sheet says?",
        "FLOW",
        lambda _: UNKNOWN,
        lambda _: "Without it lungwort says what the tent needs, not whether the fan is enough.",
        read=read_flow,
    ),
    Question(
        "sensor",
        "What measures the air in the tent?",
        "SENSOR",
        lambda _: "sht4x",
        lambda _: "The kernel reads what is on this bus without gaps, on every Pi.",
        {
            "sht4x": "on the I2C bus, read by the kernel, as are the next five",
            "sht3x": "its predecessor, as good",
            "bme280": "measures pressure too, which lungwort doesn't need",
            "aht20": "cheap; 'lungwort sensors' says how the kernel reads it",
            "hdc100x": "HDC1000 to HDC1080",
            "scd41": "measures CO2 too, and warms itself; else as the aht20",
            "dht22": "on a pin, read by Python; loses many readings",
            "dht22_kernel": "on a pin, read by the kernel; the better way on a Pi 5",
        },
    ),
    Question(
        "sensor_pin",
        "On which GPIO is its data wire?",
        "PIN",
        _sensor_pin,
        lambda _: "Any free GPIO from 4 up will do; up to 9 the kernel can read it, too.",
        read=read_sensor_pin,
        applies=lambda answers: answers["sensor"].startswith("dht"),
    ),
    Question(
        "crop",
        "What grows in it?",
        "CROP",
        lambda _: "herbs",
        lambda _: "Leaves give off water and take up CO2, each kind its own.",
        {kind: _CROP_WORDS.get(kind, "") for kind in _CROPS},
    ),
    Question(
        "plants",
        "How many plants?",
        "NUMBER",
        lambda _: "4",
        lambda _: "Their leaf area follows from kind, number and stage; a rough figure will do.",
    ),
    Question(
        "stage",
        "How far are they?",
        "STAGE",
        lambda _: "vegetative",
        lambda _: "Name the stage you plan for: the leafiest needs the most air.",
        dict.fromkeys(get_args(Stage), ""),
    ),
)
BY_KEY: Mapping[str, Question] = {question.key: question for question in QUESTIONS}
