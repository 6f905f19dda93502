"""The lamp on the wiring sheet: its relay, its photocell, or no wire at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.wiring import cautions
from controller.wiring.header import BY_GPIO, GROUND, V3_3, Supplies
from controller.wiring.pins import gpio_wire, is_pulled_up, pin_notes, resting_pull, supply_wire
from controller.wiring.relay import SUPPLY, contact_to_buy, relay_to_buy, relay_wires
from controller.wiring.sheet import Part, State

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.config.sections.lamp import Lamp


_THERMOSTAT_TO_BUY = "a thermostat of its own that cuts the lamp, rated for it"


def lamp_part(settings: Settings, supplies: Supplies) -> Part:
    """The lamp, by who switches it."""
    lamp = settings.lamp
    if lamp.switched_by == "relay" and lamp.pin is not None:
        return _on_a_relay(lamp, lamp.pin, supplies)
    if lamp.switched_by == "photocell" and lamp.pin is not None:
        return _with_a_photocell(lamp, lamp.pin, supplies)
    return Part(
        key="lamp",
        name="lamp",
        title="Lamp, on a timer of its own: no wire to the Pi",
        supply=f"A plug timer set to the config's hours, {_hours(lamp)}.",
        states=(
            State("Pi dead, no power", "lamp as its timer has it", "the Pi has no part in it"),
        ),
        buy=(
            _timer_to_buy(lamp),
            f"{_THERMOSTAT_TO_BUY}; lungwort can't",
        ),
        cautions=(cautions.MAINS, cautions.HEAT, cautions.WATER),
    )


def _hours(lamp: Lamp) -> str:
    hours = lamp.photoperiod
    if hours.lights_on == hours.lights_off:
        return "always on" if hours.same_means == "always" else "always off"
    return f"{hours.lights_on:%H:%M} to {hours.lights_off:%H:%M} local time"


def _timer_to_buy(lamp: Lamp) -> str:
    return "plug timer with " + contact_to_buy(
        lamp.power_w, "a lamp driver", "for a moment many times the running one"
    )


def _on_a_relay(lamp: Lamp, gpio: int, supplies: Supplies) -> Part:
    return Part(
        key="lamp",
        name="lamp relay",
        title=f"Lamp, switched by a relay on GPIO {gpio}",
        wires=relay_wires(gpio, supplies),
        supply=SUPPLY,
        pull=resting_pull(gpio, rests_high=lamp.active_low),
        contact=(
            "The lamp's live wire through COM and NO, the normally open contact: it is dark while "
            "nothing energises the relay."
        ),
        states=_relay_states(lamp, gpio),
        buy=(
            relay_to_buy(lamp.active_low),
            contact_to_buy(
                lamp.power_w, "a lamp driver", "for a moment many times the running one"
            ),
            "a closed box, earthed or double insulated, with strain relief",
            _THERMOSTAT_TO_BUY,
        ),
        cautions=(
            cautions.MAINS,
            cautions.HEAT,
            cautions.WELDED,
            cautions.SOLID_STATE,
            cautions.BOARDS_FOR_5V,
            cautions.WATER,
        ),
        notes=pin_notes(gpio),
    )


def _relay_states(lamp: Lamp, gpio: int) -> tuple[State, ...]:
    """As for the fan (`controller.outputs.failures`): a released relay leaves the lamp dark."""
    rests = is_pulled_up(gpio) is lamp.active_low
    own = "up" if is_pulled_up(gpio) else "down"
    return (
        State("Pi dead, no power", "lamp dark", "the relay is released"),
        State(
            "until the first tick",
            "lamp dark" if rests else "not known",
            f"the Pi pulls GPIO {gpio} {own}, which rests the relay"
            if rests
            else f"the Pi pulls GPIO {gpio} {own}, which may drive the relay without the resistor",
        ),
        State("wire off", "lamp dark", "the relay is released"),
        State("stopped on purpose", "lamp dark", "a lamp of lungwort's is parked off, always"),
        State(
            "crashed, can't start", "lamp dark", "parked off; if even that fails, as last driven"
        ),
    )


def _with_a_photocell(lamp: Lamp, gpio: int, supplies: Supplies) -> Part:
    near = BY_GPIO[gpio]
    level = "low" if lamp.active_low else "high"
    resistor = "to 3.3 V" if lamp.active_low else "to ground"
    return Part(
        key="lamp",
        name="photocell",
        title=f"Lamp on a timer of its own, reported by a photocell on GPIO {gpio}",
        wires=(
            gpio_wire(gpio, f"digital output of the photocell, {level} while lit", "output"),
            supply_wire(supplies, V3_3, near, "supply of the photocell"),
            supply_wire(supplies, GROUND, near, "ground of the photocell"),
        ),
        supply="The photocell from 3.3 V of the header; the lamp's timer is set to "
        f"{_hours(lamp)}.",
        pull=(
            f"10 kΩ from the output {resistor}, unless the module drives both levels; lungwort "
            "switches no pull of the Pi on."
        ),
        states=(State("Pi dead, no power", "lamp as its timer has it", "the wire only listens"),),
        buy=("photocell module with a digital output, for 3.3 V", _timer_to_buy(lamp)),
        cautions=(cautions.ONLY_3V3, cautions.MAINS, cautions.HEAT, cautions.WATER),
        notes=pin_notes(gpio),
    )
