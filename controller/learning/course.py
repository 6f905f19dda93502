"""The record as the model takes it: a course of five-minute blocks, in segments without a gap."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil
from typing import NamedTuple

from controller import air
from controller.control import Rule
from controller.control.forecast import Leaves, MoistAir, tangent
from controller.fire_hazard import DANGEROUS_C
from controller.learning.fan_flow import SPEED_STEPS
from controller.learning.wet_fabric import film_after
from controller.record.rows import ReadingRow
from controller.tent_physics import TentPhysics

BLOCK_S = 300.0
"""Readings are compared as means over about so long [s]."""

STEP_S = 60.0
"""The model's steps are no longer [s]; half as long ones change no peak by 0.01 K (tests)."""

LONGEST_GAP_S = 1800.0
"""A longer pause begins a new segment [s]."""

SETTLING_S = 12 * 3600.0
"""Contents, which no sensor sees, need as long to be as the model has them [s]."""

# The model knows no mist, and no sensor here is good beyond it.
_WETTEST_PCT = 97.0


class Step(NamedTuple):
    """What acts on the tent for a minute or less.

    Attributes
    ----------
    length_s : float
        How long [s].
    intake_c, intake_ratio : float
        The air drawn in [°C], [kg/kg].
    lit : float
        Share of it with the lamp lit.
    speed_step : int
        Speed while the fan was on, in `SPEED_STEPS`.
    on : float
        Share of it with the fan on.
    opened_m3_s : float
        Air beside fan and leakage, as through an open door: for what is only supposed [m³/s].
    """

    length_s: float
    intake_c: float
    intake_ratio: float
    lit: float
    speed_step: int
    on: float
    opened_m3_s: float = 0.0


class Block(NamedTuple):
    """Some minutes of the record.

    Attributes
    ----------
    at_s : float
        Its end [Unix s].
    steps : tuple of Step
        What acted.
    tent_c, tent_pct : float
        What the tent's sensors read on average.
    lit, dark : Leaves
        What the config's plants give off about that state.
    counts : bool
        Whether it is held against the model.
    wet_until : tuple of two float or None
        Where water stood on the fabric, of which the model knows nothing: what the tent's sensors
        read at its end [°C], [%].
    """

    at_s: float
    steps: tuple[Step, ...]
    tent_c: float
    tent_pct: float
    lit: Leaves
    dark: Leaves
    counts: bool
    wet_until: tuple[float, float] | None = None


class Course(NamedTuple):
    """What is known of some days of a tent.

    Attributes
    ----------
    segments : tuple of tuple of Block
        Without gaps, in order of time.
    speed_steps : frozenset of int
        All speeds in them.
    """

    segments: tuple[tuple[Block, ...], ...]
    speed_steps: frozenset[int]

    def blocks(self) -> Iterator[Block]:
        """All blocks in order of time."""
        for segment in self.segments:
            yield from segment

    @property
    def counted(self) -> int:
        """How many blocks are held against the model."""
        return sum(block.counts for block in self.blocks())

    @property
    def wet(self) -> int:
        """How many have water on the fabric."""
        return sum(block.wet_until is not None for block in self.blocks())


def course(rows: Iterable[ReadingRow], physics: TentPhysics) -> Course:
    """Bring readings into the form in which the model takes them.

    Parameters
    ----------
    rows : iterable of ReadingRow
        In order of time, written under configs that are alike in all that the model knows.
    physics : TentPhysics
        Of the config.
    """
    segments: list[list[Block]] = []
    steps: list[Step] = []
    tent: list[tuple[float, float, float]] = []
    until_s = began_s = -1e18
    is_sound = True
    film_kg, is_wet = 0.0, False
    for row in rows:
        intake_c, intake_pct = row.intake_temperature_c, row.intake_humidity_pct
        if intake_c is None or intake_pct is None:
            continue
        at_s = row.at_ms / 1000.0
        from_s = at_s - row.interval_s
        if from_s - until_s > LONGEST_GAP_S:
            segments.append([])
            steps, tent, began_s = [], [], from_s
            is_sound = True
        elif from_s - until_s > STEP_S and steps:  # what is not known went on as it was
            steps += _cut(steps[-1]._replace(length_s=from_s - until_s))
        until_s = at_s
        steps += _cut(_step(row, intake_c, intake_pct, physics.pressure_pa))
        if row.tent_temperature_c is not None and row.tent_humidity_pct is not None:
            tent_c, tent_pct = row.tent_temperature_c, row.tent_humidity_pct
            tent.append((row.interval_s, tent_c, tent_pct))
            film_kg = film_after(film_kg, physics, row.interval_s, (tent_c, tent_pct), intake_c)
        is_wet = is_wet or film_kg > 0.0
        is_sound = is_sound and row.rule != Rule.SENSOR_FAILSAFE.value
        if sum(step.length_s for step in steps) >= BLOCK_S - 1e-6:
            block = _block(at_s, _merged(steps), tent, physics)
            if block is not None:
                settled = at_s - began_s >= SETTLING_S
                counts = block.counts and settled and is_sound and not is_wet
                wet_until = tent[-1][1:] if is_wet else None
                segments[-1].append(block._replace(counts=counts, wet_until=wet_until))
                steps, tent, is_sound, is_wet = [], [], True, False
    kept = tuple(tuple(segment) for segment in segments if segment)
    speeds = {step.speed_step for segment in kept for block in segment for step in block.steps}
    return Course(kept, frozenset(speeds))


def _step(row: ReadingRow, intake_c: float, intake_pct: float, pressure_pa: float) -> Step:
    on = min(1.0, row.fan_on_s / row.interval_s)
    speed = min(1.0, row.fan_speed / on) if on > 0.0 else 0.0
    return Step(
        row.interval_s,
        intake_c,
        air.humidity_ratio(intake_c, intake_pct, pressure_pa),
        min(1.0, row.lamp_on_s / row.interval_s),
        round(speed * SPEED_STEPS),
        on,
    )


def _cut(step: Step) -> list[Step]:
    parts = ceil(step.length_s / STEP_S - 1e-9)
    return [step] if parts <= 1 else [step._replace(length_s=step.length_s / parts)] * parts


def _merged(steps: list[Step]) -> tuple[Step, ...]:
    """Short intervals put together, so that a record of seconds costs no more than of minutes."""
    merged: list[Step] = []
    for step in steps:
        last = merged[-1] if merged else None
        if last is None or last.length_s + step.length_s > STEP_S + 1e-6:
            merged.append(step)
            continue
        length_s = last.length_s + step.length_s
        a, b = last.length_s / length_s, step.length_s / length_s
        on = a * last.on + b * step.on
        turned = a * last.on * last.speed_step + b * step.on * step.speed_step
        merged[-1] = Step(
            length_s,
            a * last.intake_c + b * step.intake_c,
            a * last.intake_ratio + b * step.intake_ratio,
            a * last.lit + b * step.lit,
            round(turned / on) if on > 0.0 else 0,
            on,
        )
    return tuple(merged)


def _block(
    at_s: float,
    steps: tuple[Step, ...],
    tent: list[tuple[float, float, float]],
    physics: TentPhysics,
) -> Block | None:
    """A block; None where the tent's sensors had nothing to say, so that it goes on."""
    read_s = sum(length_s for length_s, _, _ in tent)
    span_s = sum(step.length_s for step in steps)
    if read_s <= 0.0:
        return None
    tent_c = sum(length_s * c for length_s, c, _ in tent) / read_s
    tent_pct = sum(length_s * pct for length_s, _, pct in tent) / read_s
    lit = any(step.lit > 0.0 for step in steps)
    dark = any(step.lit < 1.0 for step in steps)
    nothing = Leaves(0.0, 0.0, 0.0)
    return Block(
        at_s,
        steps,
        tent_c,
        tent_pct,
        leaf_line(physics, True, tent_c, tent_pct) if lit else nothing,
        leaf_line(physics, False, tent_c, tent_pct) if dark else nothing,
        read_s >= 0.5 * span_s
        and span_s <= 2.0 * BLOCK_S
        and tent_pct <= _WETTEST_PCT
        and tent_c < DANGEROUS_C,  # hotter, neither leaves nor sensors are what they are taken for
    )


def leaf_line(physics: TentPhysics, lit: bool, air_c: float, humidity_pct: float) -> Leaves:
    """What the plants give off, as a tangent at a measured state.

    About what was measured, transpiration is as good as straight, and the model becomes linear.
    """
    ratio = air.humidity_ratio(air_c, humidity_pct, physics.pressure_pa)
    saturation_pa = air.saturation_vapour_pressure_pa(air_c)
    vpd_pa = saturation_pa * (1.0 - humidity_pct / 100.0)
    water = physics.transpiration_kg_s
    here = water(lit, air_c, vpd_pa)
    per_k = (water(lit, air_c + 0.5, vpd_pa) - here) / 0.5
    per_pa = (water(lit, air_c, vpd_pa + 50.0) - here) / 50.0
    saturation_per_k = 2.0 * (air.saturation_vapour_pressure_pa(air_c + 0.5) - saturation_pa)
    return tangent(
        MoistAir(air_c, ratio), physics.pressure_pa, here, per_k, per_pa, saturation_per_k
    )
