"""The kinds of alarm, each with its priority, its delays, and what to do about it.

An alarm is something a person must act on (ANSI/ISA-18.2); everything else is an event. Priorities
follow from what is lost and how soon. The on-delay of 60 s for temperatures is from memory of the
same practice; the others are engineering judgement.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

OR_SENSOR = "or_sensor"
"""Why of an alarm that a sensor which reads otherwise than it did would show as well."""


class Priority(StrEnum):
    """How soon a person is needed."""

    LOW = "low"  # some day
    MEDIUM = "medium"  # today
    HIGH = "high"  # now

    @property
    def rank(self) -> int:
        """0 for the lowest."""
        return ("low", "medium", "high").index(self.value)


@dataclass(frozen=True, slots=True)
class AlarmKind:
    """One alarm.

    Attributes
    ----------
    name : str
        What it is called everywhere.
    priority : Priority
        How soon a person is needed.
    on_delay_s : float
        How long its condition must hold before it is raised [s].
    off_delay_s : float
        How long it must be gone before it is cleared [s].
    title : str
        What is the matter, in a few words.
    response : str
        What to do.
    responses : mapping of str to str
        What to do instead where the condition says more; see `Condition.why`.
    dark_responses : mapping of str to str
        What to do instead of either while the lamp is dark, by the same reason.
    bridged_s : float
        Returns no longer than this don't put off its raise: noise at a limit [s].
    graver : tuple of str
        The alarms of the same matter that are worse, gravest first: while one stands, this one is
        not sent, and what to do is what that says.
    afterwards : str
        What to do when it is over.
    """

    name: str
    priority: Priority
    on_delay_s: float
    off_delay_s: float
    title: str
    response: str
    responses: Mapping[str, str] = field(default_factory=dict)
    dark_responses: Mapping[str, str] = field(default_factory=dict)
    bridged_s: float = 0.0
    graver: tuple[str, ...] = ()
    afterwards: str = ""

    def response_to(self, why: str, *, is_dark: bool = False) -> str:
        """What to do, by the reason given and by whether the lamp is dark."""
        if is_dark and why in self.dark_responses:
            return self.dark_responses[why]
        return self.responses.get(why, self.response)


_LOW, _MEDIUM, _HIGH = Priority.LOW, Priority.MEDIUM, Priority.HIGH

KINDS: tuple[AlarmKind, ...] = (
    AlarmKind(
        "fire_hazard",
        _HIGH,
        10.0,
        300.0,
        "so hot that cables, lamp and fabric can catch fire",
        "cut the tent's power at its breaker or at a plug outside of it, and leave it off until "
        "you know why; with smoke or a smell of burning leave the house and call the fire service",
        afterwards="Leave the power off until you know why it was so hot",
    ),
    AlarmKind(
        "severe_heat",
        _HIGH,
        60.0,
        300.0,
        "far too hot",
        "switch the lamp off and open the tent; then look why the air did not carry the heat away",
        dark_responses={
            "": "open the tent, and see that the lamp is dark as it should be; then look what "
            "heats tent or room, and why the air did not carry the heat away"
        },
        graver=("fire_hazard",),
    ),
    AlarmKind(
        "heat",
        _MEDIUM,
        60.0,
        300.0,
        "hotter than the heat warning",
        "dim or raise the lamp, or let cooler air in; see 'lungwort now' for what holds the fan",
        dark_responses={
            "": "let cooler air in, or cool the room; see 'lungwort now' for what holds the fan"
        },
        graver=("fire_hazard", "severe_heat"),
    ),
    AlarmKind(
        "cold",
        _MEDIUM,
        600.0,
        600.0,
        "too cold for the crop",
        "warm the room; more or less air does not heat a tent",
    ),
    AlarmKind(
        "severe_humidity",
        _HIGH,
        1800.0,
        600.0,
        "so damp that grey mould germinates",
        "open the tent, water less, look for wet leaves and take off what is mouldy",
    ),
    AlarmKind(
        "high_humidity",
        _MEDIUM,
        1800.0,
        600.0,
        "so damp that mould can grow",
        "water less, thin out the leaves, or dry the room's air",
        graver=("severe_humidity",),
    ),
    AlarmKind(
        "condensation",
        _MEDIUM,
        900.0,
        600.0,
        "water condenses on the fabric",
        "warm the room or dry the air; look for drips near plugs and the lamp, and where there are "
        "any cut the power before you touch them",
    ),
    AlarmKind(
        "high_co2",
        _HIGH,
        300.0,
        300.0,
        "more carbon dioxide than people may work in for a day",
        "leave the room and open its windows from outside or in passing; close bottles and put out "
        "flames; go in again when the value has fallen. lungwort doses none and can't end this",
    ),
    AlarmKind(
        "tent_sensor",
        _HIGH,
        0.0,
        60.0,
        "no reading from the tent can be trusted; the fan runs at its failsafe speed",
        "check the sensor's wires, and replace it; 'lungwort events' says how it began",
    ),
    AlarmKind(
        "sensor",
        _LOW,
        600.0,
        60.0,
        "a sensor has failed or disagrees with its twin",
        "compare it with a good thermometer and hygrometer, check its wires, and replace it where "
        "it is wrong; 'lungwort events' says how it began",
    ),
    AlarmKind(
        "fan_not_turning",
        _HIGH,
        0.0,
        10.0,
        "the fan does not turn though it should",
        "cut its power before you touch it; look for something in its way, then plug and relay",
    ),
    AlarmKind(
        "less_air",
        _MEDIUM,
        300.0,
        600.0,
        "less air passes through the tent than the fan should move, or more heat is set free",
        "look, in this order: does the fan turn (cut its power before you touch it), is the filter "
        "loaded, is the duct kinked or off; then whether lamp.power and fan in the config are "
        "right, nothing else gives off heat or steam, and the intake's sensor hangs where the air "
        "comes in",
        {
            OR_SENSOR: "look, in this order: does the fan turn (cut its power before you touch "
            "it), is the filter loaded, is the duct kinked or off; then hang the tent's and the "
            "intake's sensor side by side for an hour, and compare"
        },
    ),
    AlarmKind(
        "reduced_flow",
        _MEDIUM,
        0.0,
        0.0,
        "the fan moves less air than it did at the same speeds",
        "look, in this order: is the filter loaded, is the duct kinked or off, is the fan dusty "
        "(cut its power before you touch it), does it turn as fast as it did; 'lungwort learn' "
        "says how much air it moves, and with --filter-changed what is usual begins anew",
    ),
    AlarmKind(
        "reduced_transpiration",
        _MEDIUM,
        0.0,
        0.0,
        "the air takes up far less moisture in the tent than it did",
        "look, in this order: do the plants wilt, are pots or reservoir empty, does a dripper or "
        "pump fail; then hang the tent's and the intake's sensor side by side for an hour, and "
        "compare. After a harvest it is as it should be: it ends within a week",
    ),
    AlarmKind(
        "little_rise",
        _MEDIUM,
        3600.0,
        600.0,
        "the lit tent is hardly warmer, or moister, than the air that it draws in",
        "look, in this order: is the door closed, is the duct in its place, is the lamp lit and "
        "not dimmed; then whether the tent's sensor hangs where it did, and whether lamp.power and "
        "fan in the config are right",
    ),
    AlarmKind(
        "sensor_drift",
        _LOW,
        0.0,
        0.0,
        "the tent's and the intake's sensor no longer differ as they did",
        "see whether each hangs where it did; if so, hang both side by side for an hour with a "
        "good thermometer or hygrometer; correct the offset of the one that is off in the config, "
        "or replace it. If they agree, the room around the tent became warmer or colder beside "
        "the air drawn in",
    ),
    AlarmKind(
        "fan_turning_when_off",
        _LOW,
        0.0,
        10.0,
        "the fan turns though it should rest",
        "a relay's contact may be welded, or its wire loose: pull the fan's plug before you touch "
        "it, and have an electrician look at the relay",
    ),
    AlarmKind(
        "lamp_lit_out_of_hours",
        _MEDIUM,
        900.0,
        60.0,
        "the lamp is lit out of its hours",
        "set the lamp's timer, or the hours in the config; where both are right its contact may "
        "be welded: pull the lamp's plug, and replace timer or relay",
    ),
    AlarmKind(
        "lamp_dark_in_hours",
        _MEDIUM,
        900.0,
        60.0,
        "the lamp is dark in its hours",
        "unplug the lamp before you touch it; then look at its timer and its fuse; the photocell "
        "may be covered",
    ),
    AlarmKind(
        "lamp_cut",
        _HIGH,
        0.0,
        60.0,
        "the lamp was cut to save the crop from heat",
        "find out why the air did not carry the heat away before it is lit again",
    ),
    AlarmKind(
        "ventilation_limit",
        _MEDIUM,
        3600.0,
        600.0,
        "too hot or too moist for an hour, whatever the fan does",
        "see that the fan turns and moves air; then dim the lamp, cool or dry the room, water less",
        {
            "warm_intake": "cool the room, dim the lamp, or wait for the evening: the intake air "
            "is too warm to help",
            "moist_intake": "dry the room, or take the air from elsewhere: the intake air is too "
            "moist to help",
            "weak_fan": "dim the lamp, or get a stronger fan ('lungwort size' says how strong): "
            "the intake air is cool enough and the air carries off what it should",
            "cold": "warm the room, which dries its air, too: it is too cold as well, and the fan "
            "was slowed against that",
            "resting": "nothing, or give its override more `worth`, or the fan more starts: it "
            "rests, as more air is not worth its power or its next start is not due",
            "wet_tent": "water less, thin out the leaves, or get a stronger fan: the intake air is "
            "dry enough and the air carries off what it should",
        },
        {
            "": "see that the fan turns and moves air; then cool or dry the room, water less",
            "warm_intake": "cool the room, or take the air from elsewhere: the intake air is too "
            "warm to help",
            "weak_fan": "get a stronger fan ('lungwort size' says how strong): the intake air is "
            "cool enough and the air carries off what it should",
        },
        bridged_s=120.0,
    ),
    AlarmKind(
        "output",
        _HIGH,
        30.0,
        60.0,
        "a pin can't be driven or read",
        "see 'lungwort events'; another program may have taken the pin; restart the machine",
    ),
    AlarmKind(
        "record",
        _MEDIUM,
        300.0,
        60.0,
        "nothing can be recorded",
        "free some space, or look whether the card has turned read-only; the air is kept right",
    ),
    AlarmKind(
        "clock",
        _LOW,
        900.0,
        60.0,
        "the machine's clock is wrong; the fan hours go on meanwhile",
        "give the machine network for its time, or set its clock",
    ),
    AlarmKind(
        "config",
        _LOW,
        0.0,
        0.0,
        "the edited config was refused; the last good one stays in force",
        "run 'lungwort check' on it",
    ),
)

BY_NAME: dict[str, AlarmKind] = {kind.name: kind for kind in KINDS}
