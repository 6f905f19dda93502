"""Cautions of the wiring, each said where it is met."""

from __future__ import annotations

FIRST = (
    "Unplug the Pi before you touch its header, and look at each wire twice before you plug it in "
    "again: a wire one pin off can put 5 V on a GPIO, which ends the Pi. Mains power kills and "
    "starts fires: a licensed electrician does all mains wiring, and local codes come before "
    "anything written here."
)
MAINS = (
    "Mains power kills and starts fires: a licensed electrician does this wiring, by local codes, "
    "behind a residual-current device (RCD, GFCI) and a fuse or breaker of the right size, in a "
    "closed box with strain relief on every cable."
)
MAINS_FAN = (
    f"If the fan runs on mains: {MAINS[0].lower()}{MAINS[1:]} The capacitor of an AC motor can "
    "stay charged after its plug is pulled: leave its terminals shut."
)
SOLID_STATE = (
    "A solid-state relay is no substitute: it needs a heat sink, lets some current through while "
    "off, has no normally closed contact, and when it fails stays on as a rule."
)
WELDED = (
    "A relay's contact can weld shut, and then the lamp stays lit whatever lungwort says: only a "
    "thermostat of its own, before the relay, still cuts it."
)
MAINS_CONTROL = (
    "Of a fan that runs on mains first read whether its control wires are isolated from the mains; "
    "if that is not said, leave it to a licensed electrician."
)
WATER = (
    "Water and electricity: keep boxes, plugs and the Pi outside the tent, above the height water "
    "can reach and out of the spray; let every cable hang in a drip loop."
)
SENSOR_WATER = (
    "Only the sensor and its cable belong into the tent, hung in a drip loop and out of the spray; "
    "no plug, box or Pi."
)
HEAT = (
    "A lamp is hot and can start a fire: hang it by two hangers, either of which bears it alone, "
    "and keep fabric, leaves and cables away from it. Nothing here keeps it from burning "
    "something; put a smoke alarm into the room."
)
ONLY_3V3 = "3.3 V only: a higher voltage on a GPIO ends the Pi."
MOVING = (
    "The fan starts without warning: guard on, and its supply unplugged while hands, hair or "
    "sleeves are near."
)
FOUR_WIRE = (
    "Never tie the PWM wire to a GPIO: the fan itself pulls it up, to as much as 5.25 V, and a "
    "GPIO bears 3.3 V. The transistor keeps the two apart, and `active_low: true` undoes its "
    "inversion."
)
BARE_FOUR_WIRE = (
    "This config ties the fan's PWM wire to the GPIO itself. The fan may pull it up to 5.25 V, a "
    "GPIO bears 3.3 V, and while the Pi starts the fan stands still. Put a transistor in between "
    'and set `active_low: true` (README, "Four-wire fans").'
)
BOARDS_FOR_5V = (
    "Relay boards made for 5 V pull their input up to 5 V: the 3.3 V of a GPIO may not release "
    "them, and their 5 V reaches the GPIO. Take a board made for 3.3 V, or put a transistor in "
    "front, and try that it drops out as well as pulls in."
)
PHASE_CUT = (
    "No phase-cut dimmer before the fan: it can overheat the motor and start a fire, and a fan "
    "with electronics of its own must never see one."
)
