"""The fan and its tachometer on the wiring sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller import display
from controller.kernel_sensors import name_to_kernel
from controller.outputs.failures import failure_notes, fan_failures
from controller.pwm_pins import ANY_PI, BLOCKS
from controller.wiring import cautions
from controller.wiring.header import BY_GPIO, GROUND, I2C_SCL, I2C_SDA, V3_3, Supplies
from controller.wiring.pins import gpio_wire, pin_notes, resting_pull, supply_wire
from controller.wiring.relay import SUPPLY, contact_to_buy, relay_to_buy, relay_wires
from controller.wiring.sheet import Part, State, Wire

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.fan import (
        CurrentSwitchConfig,
        FanConfig,
        TachometerConfig,
    )

_OWN_SUPPLY = (
    "A DC supply of its own, of the voltage on the fan's label; its − is joined to the Pi's ground "
    "and nothing else of it to the Pi."
)
_DC_SUPPLY_TO_BUY = (
    "supply for the fan: its voltage, half as much current again as its label says, double "
    "insulated (class II); a fuse for the cable in its + wire, unless it limits its own current"
)


def fan_part(settings: Settings, supplies: Supplies) -> Part:
    """The fan, by the way it is driven."""
    drives = {
        "relay": _on_a_relay,
        "pwm": _behind_a_mosfet,
        "hardware_pwm": _four_wire,
        "dac": _on_a_dac,
    }
    return drives[settings.fan.drive](settings, supplies)


def _states(settings: Settings) -> tuple[State, ...]:
    return tuple(
        State(
            row.name,
            "not known" if row.speed is None else display.fan(row.speed),
            row.why,
        )
        for row in fan_failures(settings)
    )


def _notes(settings: Settings) -> tuple[str, ...]:
    pins = () if settings.fan.drive == "dac" else pin_notes(settings.fan.gpio)
    return (*pins, *failure_notes(settings))


def _on_a_relay(settings: Settings, supplies: Supplies) -> Part:
    fan = settings.fan
    closed = fan.contact == "normally_closed"
    return Part(
        key="fan",
        name="fan relay",
        title=f"Fan, switched by a relay on GPIO {fan.gpio}",
        wires=relay_wires(fan.gpio, supplies),
        supply=SUPPLY,
        pull=resting_pull(fan.gpio, rests_high=fan.active_low),
        contact=(
            "The fan's live or + wire through COM and NC, the normally closed contact: the fan "
            "runs while nothing energises the relay."
            if closed
            else "The fan's live or + wire through COM and NO, the normally open contact: the fan "
            "stands while nothing energises the relay."
        ),
        states=_states(settings),
        buy=(
            relay_to_buy(fan.active_low),
            contact_to_buy(fan.power_w, "a motor", "several times the running one"),
            "a closed box, earthed or double insulated, with strain relief, if it switches mains",
        ),
        cautions=(
            cautions.MAINS_FAN,
            cautions.SOLID_STATE,
            cautions.BOARDS_FOR_5V,
            cautions.PHASE_CUT,
            cautions.MOVING,
            cautions.WATER,
        ),
        notes=_notes(settings),
    )


def _behind_a_mosfet(settings: Settings, supplies: Supplies) -> Part:
    fan = settings.fan
    near = BY_GPIO[fan.gpio]
    gate = (
        "input of the inverting stage before the MOSFET"
        if fan.active_low
        else "gate of the MOSFET, through 100 to 220 Ω"
    )
    return Part(
        key="fan",
        name="fan MOSFET",
        title=f"Fan, two-wire DC behind a MOSFET, software PWM on GPIO {fan.gpio}, "
        f"{display.frequency(fan.resolved_frequency_hz)}",
        wires=(
            gpio_wire(fan.gpio, gate, "input" if fan.active_low else "gate, 220 Ω"),
            supply_wire(
                supplies, GROUND, near, "source of the MOSFET, and − of the fan's supply", "source"
            ),
        ),
        supply=_OWN_SUPPLY,
        pull=resting_pull(fan.gpio, rests_high=False).replace("the input", "the gate", 1)
        if not fan.active_low
        else resting_pull(fan.gpio, rests_high=False),
        states=_states(settings),
        buy=(
            "N-channel MOSFET that is fully on at a gate of 3 V, for twice the fan's voltage and "
            "three times its current (common practice, no source), or a module with one",
            "resistors of 220 Ω and 10 kΩ; a fast diode across the fan, cathode at +, for its "
            "current",
            _DC_SUPPLY_TO_BUY,
        ),
        cautions=(
            "Only for a DC fan of low voltage; nothing here ever switches mains.",
            cautions.ONLY_3V3,
            cautions.MOVING,
            cautions.WATER,
        ),
        notes=_notes(settings),
    )


_NOT_EC = (
    "A fan with a 0-10 V input is not wired like this: a filter and a stage to 10 V come between "
    'pin and fan (README, "EC fans").'
)


def _four_wire(settings: Settings, supplies: Supplies) -> Part:
    fan = settings.fan
    return Part(
        key="fan",
        name="fan PWM",
        title=f"Fan, four-wire DC, hardware PWM on GPIO {fan.gpio}, "
        f"{display.frequency(fan.resolved_frequency_hz)}",
        wires=_four_wire_wires(fan, supplies),
        supply=_OWN_SUPPLY,
        pull=(
            "10 kΩ from the gate to ground keeps the transistor off while nothing drives it; the "
            "fan pulls its own PWM wire up."
            if fan.active_low
            else "None; the fan pulls its own PWM wire up."
        ),
        circuit=_circuit(fan) if fan.active_low else (),
        overlays=(pwm_overlay(fan.gpio),),
        states=_states(settings),
        buy=(
            *(
                (
                    "N-channel MOSFET that is fully on at a gate of 3 V, or NPN transistor, for "
                    "30 V and 0.1 A or more",
                    "resistors: 1 kΩ (4.7 kΩ before a base) and 10 kΩ",
                )
                if fan.active_low
                else ()
            ),
            _DC_SUPPLY_TO_BUY,
        ),
        cautions=(
            cautions.FOUR_WIRE if fan.active_low else cautions.BARE_FOUR_WIRE,
            cautions.MAINS_CONTROL,
            cautions.MOVING,
            cautions.WATER,
        ),
        notes=(_NOT_EC, *_pwm_notes(fan), *_notes(settings)),
    )


def _on_a_dac(settings: Settings, supplies: Supplies) -> Part:
    fan = settings.fan
    assert fan.dac is not None
    inverts = fan.dac.runs_at_no_voltage
    near = BY_GPIO[I2C_SDA]
    return Part(
        key="fan",
        name="fan converter",
        title=f"Fan, EC with a 0-10 V input, on the converter {fan.dac.device}, output "
        f"{fan.dac.channel}",
        wires=(
            supply_wire(supplies, V3_3, near, "supply of the converter (VDD)", "VDD"),
            gpio_wire(I2C_SDA, "data of the converter (SDA)", "SDA"),
            gpio_wire(I2C_SCL, "clock of the converter (SCL)", "SCL"),
            supply_wire(
                supplies, GROUND, near, "ground of the converter, and − of the stage's", "GND"
            ),
        ),
        supply=(
            "12 to 24 V DC of its own for the stage that makes 0 to 10 V; its − is joined to the "
            "Pi's ground and to the − of the fan's control input, and to nothing of the mains."
        ),
        pull=(
            "The stage inverts: 0 V from the converter gives 10 V to the fan, and so full speed "
            "with a dead Pi."
            if inverts
            else "The stage amplifies: no voltage from the converter gives none to the fan."
        ),
        overlays=("dtparam=i2c_arm=on",),
        states=_states(settings),
        buy=(
            "converter (DAC) on I²C for 3.3 V that the kernel drives",
            f"stage from the converter's range to 0-10 V{', inverting' if inverts else ''}: an "
            "operational amplifier for 12 V or more with two resistors, or a module for it",
        ),
        cautions=(
            cautions.MAINS_CONTROL,
            "Nothing but the stage's output goes to the fan's 0-10 V input: 10 V at any pin of the "
            "Pi or the converter destroys it. Measure 0 and 10 V before the fan is joined.",
            cautions.MOVING,
            cautions.WATER,
        ),
        notes=(
            "What the kernel calls your converter, and the overlay that loads its driver, stand in "
            "/boot/firmware/overlays/README; `lungwort sensors` lists it. One without an overlay "
            f"is named to the kernel once, an MCP4725 by {name_to_kernel('mcp4725 0x60')} (from "
            "memory).",
            "Many converters can store the value they start with (the driver's `store_eeprom`, "
            "from memory): store that of full speed.",
            *_notes(settings),
        ),
    )


def _four_wire_wires(fan: FanConfig, supplies: Supplies) -> tuple[Wire, ...]:
    near = BY_GPIO[fan.gpio]
    if not fan.active_low:
        ground = "− of the fan's supply"
        return (
            gpio_wire(fan.gpio, "PWM wire of the fan", "PWM"),
            supply_wire(supplies, GROUND, near, ground, "− of supply"),
        )
    ground = "source of the transistor (or emitter), and − of the fan's supply"
    return (
        gpio_wire(
            fan.gpio,
            "gate of the transistor, through 1 kΩ (or base, through 4.7 kΩ); its drain (or "
            "collector) goes to the fan's PWM wire",
            "gate, 1 kΩ",
        ),
        supply_wire(supplies, GROUND, near, ground, "source"),
    )


def _circuit(fan: FanConfig) -> tuple[str, ...]:
    """The transistor between GPIO and PWM wire."""
    return (
        f"GPIO {fan.gpio} ─[1 kΩ]─┬─ gate  drain ─ PWM wire",
        "             [10 kΩ]  N-MOSFET",
        "ground ─────────┴─ source ─── − of supply",
    )


def pwm_overlay(gpio: int) -> str:
    """The line of `config.txt` that gives a pin to the PWM hardware."""
    (function,) = {block.pins[gpio].function for block in BLOCKS if gpio in block.pins}
    return f"dtoverlay=pwm,pin={gpio},func={function}"


def _pwm_notes(fan: FanConfig) -> tuple[str, ...]:
    notes = [
        "On a Pi up to 4 the analogue sound uses the same PWM hardware: no `dtparam=audio=on` "
        "beside this overlay (its README on the Pi, from memory)."
    ]
    if fan.gpio not in ANY_PI:
        notes.insert(0, f"Only a Pi 5 has hardware PWM on GPIO {fan.gpio}.")
    return tuple(notes)


def tachometer_part(tachometer: TachometerConfig, supplies: Supplies) -> Part:
    """The fan's speed signal."""
    gpio = tachometer.pin
    ground = "− of the fan's supply, unless joined already"
    return Part(
        key="fan.tachometer",
        name="tachometer",
        title=f"Tachometer of the fan on GPIO {gpio}",
        wires=(
            gpio_wire(gpio, "tachometer wire of the fan (open collector)", "tacho"),
            supply_wire(supplies, GROUND, BY_GPIO[gpio], ground, "− of supply"),
        ),
        pull=(
            f"None for a short cable: lungwort switches on the pull-up of GPIO {gpio} (about "
            "50 kΩ to 3.3 V). A long one wants 4.7 to 10 kΩ to 3.3 V beside it, never to 5 or 12 V."
        ),
        states=(State("wire off", "a stalled fan goes unnoticed", "the wire only listens"),),
        cautions=(
            f"{cautions.ONLY_3V3} The wire must be an open collector: measure it, with a resistor "
            "of 10 kΩ to 3.3 V and the fan running, before you join it.",
        ),
        notes=pin_notes(gpio),
    )


def current_switch_part(switch: CurrentSwitchConfig, supplies: Supplies) -> Part:
    """The switch that sees whether the fan draws current."""
    gpio = switch.pin
    near = BY_GPIO[gpio]
    other = (
        supply_wire(supplies, GROUND, near, "its other side", "contact")
        if switch.active_low
        else supply_wire(supplies, V3_3, near, "its other side", "contact")
    )
    return Part(
        key="fan.current_switch",
        name="current switch",
        title=f"Current switch of the fan on GPIO {gpio}",
        wires=(gpio_wire(gpio, "contact of the current switch", "contact"), other),
        pull=(
            f"None for a short cable: lungwort switches on the pull-up of GPIO {gpio} (about "
            "50 kΩ to 3.3 V)."
            if switch.active_low
            else "10 kΩ from the GPIO to ground, so that an open contact reads low."
        ),
        states=(State("wire off", "a fan without supply goes unnoticed", "the wire only listens"),),
        buy=(
            "current-operated switch for alternating or direct current as the fan's is, that "
            "closes well below the fan's least current, with a contact isolated from it (a split "
            "core around one conductor needs no wire cut)",
        ),
        cautions=(
            f"If the fan runs on mains: {cautions.MAINS[0].lower()}{cautions.MAINS[1:]}",
            "Only the isolated contact goes to the Pi; of a switch that is not isolated the Pi "
            f"would be at mains. {cautions.ONLY_3V3}",
        ),
        notes=(
            "It sees a tripped fuse, a pulled plug, a dead or welded relay. A fan that is blocked "
            "draws current, too, and goes unnoticed.",
            *pin_notes(gpio),
        ),
    )
