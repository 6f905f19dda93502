"""The one place where the fan's speed is chosen.

`decide` is a pure function, called every tick by the daemon and every simulated minute by a
rehearsal or a replay. It walks the priority list of `Rule` from the bottom: the schedule (or a
purge) is the base, too cold or too dry lowers it, too humid and too hot raise it, a failed
sensor or a person's hold replaces it. Minimum times, the least speed of the motor and the ramp
then stand between that wish and the command.
"""

from __future__ import annotations

from functools import partial

from controller import air
from controller.decision.actuate import actuate, motor_speed
from controller.decision.compared import potential, values
from controller.decision.memory import LampCut, Memory
from controller.decision.rules import Limits, Rules, Told, Wish, tell
from controller.decision.settled import Settled
from controller.decision.types import (
    Hold,
    Now,
    Quantity,
    Reading,
    Readings,
    Reason,
    Rule,
    Standing,
)
from controller.decision.watches import (
    CALM,
    LASTS_S,
    RAISES,
    SIDES,
    WATCHES,
    Watch,
    Watches,
    step_watch,
    step_withheld,
)

_AT_ONCE = (0.0,) * len(WATCHES)


class Decision:
    """What to do now, why, and what to remember.

    The reasons are put into words and numbers when first asked for: a rehearsal takes half a
    million decisions a year and asks for few of them.

    Parameters
    ----------
    speed : float
        Fan speed commanded, 0-1.
    lamp_on : bool
        Whether the lamp is to be lit; a command only where the lamp is ours to switch.
    reasons : Told
        The ruling reason first, then the others by priority; or what gives them.
    memory : Memory
        To be handed to the next decision; the same object when nothing changed.
    """

    __slots__ = ("_reasons", "lamp_on", "memory", "speed")

    def __init__(
        self,
        speed: float,
        lamp_on: bool,
        reasons: Told,
        memory: Memory,
    ) -> None:
        self.speed = speed
        self.lamp_on = lamp_on
        self._reasons = reasons
        self.memory = memory

    @property
    def reasons(self) -> tuple[Reason, ...]:
        """The ruling reason first, then the others by priority."""
        self._reasons = reasons = tell(self._reasons)
        return reasons

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Decision):
            return NotImplemented
        return (self.speed, self.lamp_on, self.reasons, self.memory) == (
            other.speed,
            other.lamp_on,
            other.reasons,
            other.memory,
        )

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return f"Decision({self.speed!r}, {self.lamp_on!r}, {self.reasons!r}, {self.memory!r})"


def decide(now: Now, readings: Readings, rules: Rules, memory: Memory) -> Decision:
    """Choose the fan's speed.

    Parameters
    ----------
    now : Now
        The instant, already looked up in the schedule.
    readings : Readings
        What is known of the air in the tent and at the intake.
    rules : Rules
        The settings, worked out.
    memory : Memory
        What the last decision left; `Memory()` at a first start.

    Returns
    -------
    Decision
        Speed, lamp, reasons and the new memory.
    """
    now_s = now.monotonic_s
    tent = readings.tent
    limits = rules.day if now.lamp_on else rules.night
    base = rules.base[now.window_open + 2 * now.purge_on]
    watches = memory.watches
    if tent is not None and now_s - tent.monotonic_s <= rules.stale_after_s:
        intake = readings.intake
        if intake is not None and now_s - intake.monotonic_s > rules.stale_after_s:
            intake = None
        standing = memory.standing(rules, limits, base)
        if standing is not None and standing.stands(now_s, tent, intake):
            reasons = (
                base.reasons
                if watches is CALM
                else partial(_reasons, base, standing.ruling, watches, tent, intake, limits, rules)
            )
            return Decision(memory.ramp.to_speed, now.lamp_on, reasons, memory)
        # Whoever comes out of the failsafe has waited long enough: a second delay, at the
        # scheduled speed, would only let the fan go slow and fast again.
        delays_s = _AT_ONCE if memory.in_failsafe else rules.delays_s
        watches = _step_watches(tent, intake, limits, rules, delays_s, watches, now_s)
        cut = _step_lamp(tent.temperature_c, now_s, rules, memory.lamp_cut)
        wish = _combine(base, watches, tent, intake, limits, rules)
        in_failsafe = False
    else:
        cut = _step_lamp(None, now_s, rules, memory.lamp_cut)
        wish, in_failsafe = _without_reading(now, tent, rules, memory)
        if in_failsafe:
            watches = CALM
    wish, hold = _with_hold(wish, now_s, memory.hold)
    speed, reasons, ramp, switched_s = actuate(wish, now_s, rules, memory.ramp, memory.switched_s)
    settled = memory.settled if ramp is memory.ramp else None  # nothing stands while it moves
    if (
        not in_failsafe
        and tent is not None
        and hold is None
        and cut is None
        and ramp.from_speed == ramp.to_speed == motor_speed(wish.speed, rules)
    ):
        settled = _settle(settled, limits, base, wish.rule, rules, watches, now_s)
    started_s = now_s if memory.started_s is None else memory.started_s
    memory = memory.followed_by(
        Memory(started_s, watches, ramp, switched_s, cut, hold, in_failsafe, settled)
    )
    return Decision(speed, now.lamp_on and not memory.lamp_is_cut, reasons, memory)


def _settle(
    settled: Settled | None,
    limits: Limits,
    base: Wish,
    ruling: Rule,
    rules: Rules,
    watches: Watches,
    now_s: float,
) -> Settled:
    """Note within which bounds this decision stands."""
    if (
        settled is not None
        and settled.is_for(rules, limits, base, watches)
        and now_s < settled.until_s
    ):
        return settled
    return Settled(rules, limits, base, ruling, watches, now_s)


def _step_watches(
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
    delays_s: tuple[float, ...],
    watches: Watches,
    now_s: float,
) -> Watches:
    found = zip(watches, SIDES, values(tent, intake), limits, strict=True)
    stepped: list[Watch | None] = []
    changed = False
    for i, (before, side, value, threshold) in enumerate(found):
        excess = side * (value - threshold)
        if before is None and excess <= 0.0:  # as nearly always: calm, and stays so
            stepped.append(None)
            continue
        watch = step_watch(
            before,
            excess=excess,
            deadband=rules.deadbands[i],
            delay_s=delays_s[i],
            lasts_s=LASTS_S[i],
            now_s=now_s,
        )
        if watch is not None and watch.engaged:
            offered, margin = potential(i, tent, intake, rules)
            watch = step_withheld(watch, raises=RAISES[i], potential=offered, margin=margin)
        changed = changed or watch is not before
        stepped.append(watch)
    if not changed:
        return watches
    return tuple(stepped) if any(stepped) else CALM


def _combine(
    base: Wish,
    watches: Watches,
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
) -> Wish:
    """Let the engaged watches lower and raise the base; keep every reason, by priority."""
    if watches is CALM:
        return base
    floor, ceiling = 0.0, 1.0
    for i, watch in enumerate(watches):
        if watch is not None and _acts(i, watches):
            if RAISES[i]:
                floor = max(floor, rules.speeds[i])
            else:
                ceiling = min(ceiling, rules.speeds[i])
    speed = max(floor, min(base.speed, ceiling))
    # The ruling row is the highest one that asked for just this speed.
    ruling = base.rule
    if floor > 0.0 and floor >= min(base.speed, ceiling):
        ruling = _first_rule(watches, rules.speeds, floor, raises=True)
    elif ceiling < base.speed:
        ruling = _first_rule(watches, rules.speeds, ceiling, raises=False)
    why = partial(_reasons, base, ruling, watches, tent, intake, limits, rules)
    return Wish(speed, ruling, why)


def _reasons(
    base: Wish,
    ruling: Rule,
    watches: Watches,
    tent: Reading,
    intake: Reading | None,
    limits: Limits,
    rules: Rules,
) -> tuple[Reason, ...]:
    """Give the reason of every watch that isn't calm, and the schedule's; the ruling one first."""
    reasons = _watch_reasons(watches, tent, intake, limits, rules)
    ordered: list[Reason] = []
    for reason in (*reasons, *tell(base.reasons)):
        standing = reason.standing
        if standing in (Standing.RULING, Standing.ENGAGED):
            rules_here = reason.rule is ruling and not any(
                r.standing is Standing.RULING for r in ordered
            )
            standing = Standing.RULING if rules_here else Standing.ENGAGED
        ordered.append(
            reason if standing is reason.standing else reason._replace(standing=standing)
        )
    ordered.sort(key=lambda reason: reason.standing is not Standing.RULING)
    return tuple(ordered)


def _acts(index: int, watches: Watches) -> bool:
    """Whether a watch moves the speed: engaged, served by outside air, and not undone by heat."""
    watch, kind = watches[index], WATCHES[index]
    if watch is None or not watch.engaged or watch.withheld:
        return False
    # Hot air is dry because it is hot: less air would make it hotter, and so drier still.
    return kind.rule is not Rule.TOO_DRY or watches[0] is None


def _first_rule(watches: Watches, speeds: tuple[float, ...], speed: float, *, raises: bool) -> Rule:
    for i, kind in enumerate(WATCHES):
        if _acts(i, watches) and kind.raises is raises and speeds[i] == speed:
            return kind.rule
    raise AssertionError("a floor or ceiling always comes from a watch")


def _watch_reasons(
    watches: Watches, tent: Reading, intake: Reading | None, limits: Limits, rules: Rules
) -> list[Reason]:
    found = values(tent, intake)
    reasons = []
    for i, (kind, watch) in enumerate(zip(WATCHES, watches, strict=True)):
        if watch is None:
            continue
        reason = Reason(
            kind.rule,
            Standing.ENGAGED if watch.engaged else Standing.DELAYED,
            kind.quantity,
            found[i],
            limits[i],
            kind.unit,
            until_s=_delay_ends_s(watch, rules.delays_s[i], tent.monotonic_s),
        )
        if watch.withheld and intake is not None:
            reason = _withheld_reason(reason, tent, intake, rules.pressure_pa)
        reasons.append(reason)
    return reasons


def _delay_ends_s(watch: Watch, delay_s: float, now_s: float) -> float | None:
    """When a delay ends; None once it has, and the watch only waits for its value to come back."""
    ends_s = watch.since_s + delay_s
    return None if watch.engaged or ends_s <= now_s else ends_s


def _withheld_reason(reason: Reason, tent: Reading, intake: Reading, pressure_pa: float) -> Reason:
    if reason.quantity is Quantity.TEMPERATURE:
        outside, inside = intake.temperature_c, tent.temperature_c
    else:
        outside, inside = (
            1000.0 * air.humidity_ratio(r.temperature_c, r.humidity_pct, pressure_pa)
            for r in (intake, tent)
        )
    return reason._replace(standing=Standing.WITHHELD, intake=outside, inside=inside)


def _step_lamp(
    temperature_c: float | None, now_s: float, rules: Rules, cut: LampCut | None
) -> LampCut | None:
    """Cut a lamp of ours that cooks the tent; free it when it is cool and the time is up."""
    if not rules.lamp_is_ours:
        return None
    if cut is not None and cut.is_cut:
        # A blind controller gives the light back after the hold-off: the fan then runs at its
        # failsafe speed, and weeks of darkness kill a crop as surely as heat.
        cool = temperature_c is None or temperature_c <= rules.cut_above_c - rules.deadbands[0]
        return None if cool and now_s - cut.since_s >= rules.cut_hold_off_s else cut
    if temperature_c is None:
        return cut
    is_above = temperature_c > rules.cut_above_c
    if cut is None:
        if not is_above:
            return None
        cut = LampCut(now_s)
    elif temperature_c <= rules.cut_above_c - rules.deadbands[0]:
        return None
    # As with a watch: noise around the limit doesn't start the delay anew.
    if is_above and now_s - cut.since_s >= rules.cut_delay_s:
        cut = LampCut(now_s, is_cut=True)
    return cut


def _without_reading(
    now: Now, tent: Reading | None, rules: Rules, memory: Memory
) -> tuple[Wish, bool]:
    """Keep to the schedule while a first reading may still come; then the failsafe speed.

    Gives the wish and whether it is the failsafe's.
    """
    now_s = now.monotonic_s
    started_s = now_s if memory.started_s is None else memory.started_s
    age_s = now_s - (started_s if tent is None else tent.monotonic_s)
    if tent is None and age_s <= rules.stale_after_s and not memory.in_failsafe:
        return rules.base[now.window_open + 2 * now.purge_on], False
    reason = Reason(
        Rule.SENSOR_FAILSAFE,
        Standing.RULING,
        value=None if tent is None else age_s,
        limit=rules.stale_after_s,
        unit="s",
    )
    return Wish(rules.failsafe_speed, Rule.SENSOR_FAILSAFE, (reason,)), True


def _with_hold(wish: Wish, now_s: float, hold: Hold | None) -> tuple[Wish, Hold | None]:
    if hold is None or now_s >= hold.until_s:
        return wish, None
    reason = Reason(
        Rule.MANUAL_HOLD, Standing.RULING, value=hold.speed, limit=hold.speed, until_s=hold.until_s
    )
    others = tuple(
        r._replace(standing=Standing.ENGAGED) if r.standing is Standing.RULING else r
        for r in tell(wish.reasons)
    )
    return Wish(hold.speed, Rule.MANUAL_HOLD, (reason, *others)), hold
