"""Whether a rehearsed tent is fit, and what limits it: only what the run shows."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from controller import display
from controller.airflow import Ducting
from controller.display import hours_and_minutes
from controller.review.phrases import excess_words
from simulators.fan import Fan
from simulators.rehearsal.counts import QUANTITIES, IntakeMinutes, Minutes
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.rehearse import rehearse
from simulators.rehearsal.scene import set_scene
from simulators.rehearsal.summary import TOO_WORDS

if TYPE_CHECKING:
    from controller.config import Settings
    from simulators.weather import Weather

Side = Literal["below", "above"]

# Engineering judgement, no source: so much of the lit or dark hours out of band is worth a word,
# and where the intake air is out of band for so much of a trouble's time, it is what limits.
_SMALL_SHARE = 0.05
_MOST_OF_IT = 0.9
# Of what is not the room's own, full speed must take away so much for the speeds to be to blame.
_SHARE_BY_SPEED = 0.5
# With less of its excess the room is not what limits, though it be out of band itself; and a fan
# is too weak where more air takes away so much of what comes on top.
_SHARE_OF_THE_INTAKE = 0.5
_SHARE_BY_FLOW = 0.5
# Any tent with a lamp and plants is so far above its intake air [K], [%] (likewise).
_LEAST_ON_TOP = {"temperature": 2.0, "humidity": 10.0}
# Fans tried, as multiples of the flow of the config's own.
_FACTORS = (1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0, 8.0)
# In the order in which they are told: heat first, VPD only where nothing else is wrong.
_ORDER: tuple[tuple[str, Side], ...] = (
    ("temperature", "above"),
    ("temperature", "below"),
    ("humidity", "above"),
    ("humidity", "below"),
    ("vpd", "above"),
    ("vpd", "below"),
)
# What is wrong with a room in which nothing comes of more of its air.
_ROOM_WORDS = {
    ("temperature", "above"): (
        "hotter than",
        "no fan can hold the band then; cooler intake air would",
    ),
    ("temperature", "below"): ("colder than", "its air only cools the tent"),
    ("humidity", "above"): ("more humid than", "its air alone can't dry the tent so far"),
    ("humidity", "below"): ("drier than", "its air only dries the tent"),
}


class Trouble(NamedTuple):
    """A quantity that is out of band on one side for long enough to be worth a word.

    Attributes
    ----------
    quantity : str
        Which.
    side : {"below", "above"}
        Where.
    when : str
        "" for both phases, else " by day" or " at night".
    out_min, intake_min, both_min, total_min : float
        For how long the tent's air was so, the intake air by itself, both at once; of how long
        [min].
    excess, intake_excess : float
        How far the tent's air was out of band, and the intake's by itself, times for how long
        [K·h, %·h or Pa·h].
    """

    quantity: str
    side: Side
    when: str
    out_min: float
    intake_min: float
    both_min: float
    total_min: float
    excess: float
    intake_excess: float

    @property
    def words(self) -> str:
        """Such as "too humid at night"."""
        return TOO_WORDS[self.quantity][self.side == "above"] + self.when

    @property
    def is_of_the_intake(self) -> bool:
        """Whether the intake air itself is out of band for nearly all of it, and as far."""
        return self.both_min >= _MOST_OF_IT * self.out_min and not self.is_beyond_the_intake

    @property
    def is_beyond_the_intake(self) -> bool:
        """Whether most of how far the tent is above its band comes on top of its intake air."""
        return (
            self.side == "above"
            and self.intake_excess < _SHARE_OF_THE_INTAKE * self.excess
            and self.excess - self.intake_excess >= self.usual_excess
        )

    @property
    def usual_excess(self) -> float:
        """How far any tent with a lamp and plants stands above its intake air, times for how long.

        In the unit of `excess`.
        """
        return _LEAST_ON_TOP.get(self.quantity, 0.0) * self.out_min / 60.0

    @property
    def is_of_both(self) -> bool:
        """Whether the intake air is out of band for most of the time, and the tent far beyond."""
        return self.is_beyond_the_intake and self.both_min >= 0.5 * self.out_min > 0.0

    def again(self, outcome: Outcome) -> float:
        """For how long another run has the same trouble, in the same phase [min]."""
        return sum(
            _out(phase[self.quantity], self.side) for phase, _ in _phases(outcome, self.when)
        )

    def own_excess(self, outcome: Outcome) -> float:
        """How far another run is above the band in the same phase, less the intake air's excess."""
        phases = _phases(outcome, self.when)
        excess = sum(phase[self.quantity].hours_above for phase, _ in phases)
        return max(0.0, excess - self.intake_excess)


class FanTrial(NamedTuple):
    """The same days with the fan always at full speed: this one, and one that is stronger.

    Attributes
    ----------
    flow_m3_s : float
        What this fan delivers at full speed, through its duct and filter [m³/s].
    full : Outcome
        With this fan.
    factor : float or None
        The least flow tried, as a multiple, that leaves hardly any trouble beyond the intake air's.
    stronger : Outcome
        With a fan of that factor, or of the largest tried.
    """

    flow_m3_s: float
    full: Outcome
    factor: float | None
    stronger: Outcome

    def is_too_weak(self, trouble: Trouble) -> bool:
        """Whether more air takes away much of how far a tent is above its band of its own."""
        full = trouble.own_excess(self.full)
        left = (1.0 - _SHARE_BY_FLOW) * full
        return full >= trouble.usual_excess and trouble.own_excess(self.stronger) < left


class TentVerdict(NamedTuple):
    """A verdict in words, and the figures it rests on."""

    sentences: tuple[str, ...]
    is_fit: bool
    troubles: tuple[Trouble, ...]
    trial: FanTrial | None = None

    @property
    def text(self) -> str:
        """The sentences in a row."""
        return " ".join(self.sentences)

    def to_json(self) -> dict[str, Any]:
        """As `lungwort rehearse --json` gives it."""
        trial = self.trial
        return {
            "text": self.text,
            "fit": self.is_fit,
            "out_of_band": [
                {
                    "quantity": trouble.quantity,
                    "side": trouble.side,
                    "when": trouble.when.split()[-1] if trouble.when else "always",
                    "minutes": round(trouble.out_min, 3),
                    "of_minutes": round(trouble.total_min, 3),
                    "intake_minutes": round(trouble.intake_min, 3),
                    "minutes_with_intake": round(trouble.both_min, 3),
                    "at_full_speed_minutes": None
                    if trial is None
                    else round(trouble.again(trial.full), 3),
                }
                for trouble in self.troubles
            ],
            "stronger_fan_factor": None if trial is None else trial.factor,
        }


def _out(minutes: Minutes, side: Side) -> float:
    return minutes.below if side == "below" else minutes.above


def _excess(minutes: Minutes, side: Side) -> float:
    return minutes.hours_below if side == "below" else minutes.hours_above


def _both(minutes: IntakeMinutes, side: Side) -> float:
    return minutes.both_below if side == "below" else minutes.both_above


_Phase = tuple[dict[str, Minutes], dict[str, IntakeMinutes]]


def _phases(outcome: Outcome, when: str) -> list[_Phase]:
    """The tent's minutes and the intake's, of the phases meant."""
    lit = (outcome.day, outcome.intake_day)
    dark = (outcome.night, outcome.intake_night)
    return {" by day": [lit], " at night": [dark]}.get(when, [lit, dark])


def troubles(outcome: Outcome) -> tuple[Trouble, ...]:
    """What is out of band for long enough to be worth a word, the gravest first."""
    return tuple(_troubles(outcome))


def _troubles(outcome: Outcome) -> Iterator[Trouble]:
    is_out = False
    for quantity, side in _ORDER:
        if quantity == "vpd" and is_out:
            return  # it follows from the others
        big = [
            phase[quantity].total > 0.0
            and _out(phase[quantity], side) > _SMALL_SHARE * phase[quantity].total
            for phase in (outcome.day, outcome.night)
        ]
        if not any(big):
            continue
        is_out = True
        is_whole = all(big) or not (outcome.day[quantity].total and outcome.night[quantity].total)
        when = "" if is_whole else " by day" if big[0] else " at night"
        phases = _phases(outcome, when)
        yield Trouble(
            quantity,
            side,
            when,
            sum(_out(tent[quantity], side) for tent, _ in phases),
            sum(_out(air[quantity].air, side) for _, air in phases if quantity in air),
            sum(_both(air[quantity], side) for _, air in phases if quantity in air),
            sum(tent[quantity].total for tent, _ in phases),
            sum(_excess(tent[quantity], side) for tent, _ in phases),
            sum(_excess(air[quantity].air, side) for _, air in phases if quantity in air),
        )


def verdict(outcome: Outcome, settings: Settings, trial: FanTrial | None = None) -> TentVerdict:
    """Say whether a tent is fit on the days of a run, and what limits it.

    Parameters
    ----------
    outcome : Outcome
        Of the run.
    settings : Settings
        The tent's.
    trial : FanTrial or None
        What a fan can do at most; without it nothing is said of that.
    """
    all_troubles = troubles(outcome)
    if not all_troubles:
        least = min(
            phase[name].share_within
            for phase in (outcome.day, outcome.night)
            for name in QUANTITIES
            if phase[name].total
        )
        share = "all the time" if least > 0.995 else f"for {least:.0%} of the hours or more"
        sentence = (
            "The tent is fit on these days: temperature, humidity and VPD are each in band "
            f"{share}, lit and dark."
        )
        return TentVerdict((sentence,), True, ())
    # The first is what limits; of the others, the longest is what would be left.
    rest = sorted(all_troubles[1:], key=lambda trouble: -trouble.out_min)
    sentences = [_sentence(all_troubles[0], settings, trial)]
    if rest:
        sentences.append(_rest_words(rest[0]))
    return TentVerdict(tuple(sentences), False, all_troubles, trial)


def _of(minutes: float, trouble: Trouble) -> str:
    """Such as "142 of 168 h"."""
    hours = {" by day": " lit hours", " at night": " dark hours"}.get(trouble.when, " hours")
    return f"{_count(minutes)} of {_count(trouble.total_min)}{hours}"


def _count(minutes: float) -> str:
    hours = minutes / 60.0
    return f"{hours:.1f}".removesuffix(".0") if hours < 9.95 else f"{hours:.0f}"


def _sentence(trouble: Trouble, settings: Settings, trial: FanTrial | None) -> str:
    key = (trouble.quantity, trouble.side)
    if trouble.is_of_the_intake and key in _ROOM_WORDS:
        how, end = _ROOM_WORDS[key]
        return f"The room is {how} the band for {_of(trouble.intake_min, trouble)}: {end}."
    words = TOO_WORDS[trouble.quantity][trouble.side == "above"]
    start = f"{words[0].upper()}{words[1:]} for {_of(trouble.out_min, trouble)}"
    says_fan = trial is not None and trouble.side == "above" and trouble.quantity != "vpd"
    if key in _ROOM_WORDS and trouble.both_min >= 0.5 * trouble.out_min:
        how, end = _ROOM_WORDS[key]
        room = f"{start}. In {_count(trouble.both_min)} of them the room is {how} the band"
        if trouble.is_of_both:
            room += ", but the tent is further above the room than the room above the band"
            if trial is None or not says_fan:
                return f"{room}."
            return f"{room}: {_own_excess_words(trouble, settings, trial)}."
        room += f": {end}."
        if trial is None or not says_fan:
            return room
        words = _fan_words(trouble, settings, trial, beyond_min=trouble.both_min)
        return f"{room} In the other hours, {words}."
    if key in _ROOM_WORDS and trouble.both_min >= 30.0:
        start += f", {_count(trouble.both_min)} of them with a room that is so itself"
    if trial is None or not says_fan:
        return f"{start}."
    return f"{start}: {_fan_words(trouble, settings, trial)}."


def _own_excess_words(trouble: Trouble, settings: Settings, trial: FanTrial) -> str:
    """What more air would leave of how far a tent is above its band, beyond its room's own."""
    before = max(0.0, trouble.excess - trouble.intake_excess)
    after, strong = (trouble.own_excess(run) for run in (trial.full, trial.stronger))
    own, full, stronger = (
        excess_words(trouble.quantity, excess, settings.units) for excess in (before, after, strong)
    )
    if after <= (1.0 - _SHARE_BY_SPEED) * before:
        return (
            f"of {own} more than the room's, at full speed all the time this fan would leave "
            f"{full}, so {_speeds(settings)} are what limits the tent"
        )
    limits = "too weak" if trial.is_too_weak(trouble) else "not what limits the tent"
    return (
        f"{_fan(settings)} is {limits}; of {own} more than the room's it would leave {full} at "
        f"full speed all the time, {display.flow(trial.flow_m3_s, settings.units)}, and "
        f"{_FACTORS[-1]:g} times as much air {stronger}"
    )


def _fan_words(
    trouble: Trouble, settings: Settings, trial: FanTrial, *, beyond_min: float = 0.0
) -> str:
    """What more air would leave of a trouble, beyond the minutes that are the room's own."""
    full, strong = (
        _left(max(0.0, trouble.again(run) - beyond_min)) for run in (trial.full, trial.stronger)
    )
    if _is_enough(trouble, trial.full):
        start = "at full speed all the time this fan would"
        gain_min = trouble.out_min - trouble.again(trial.full)
        if gain_min >= _SHARE_BY_SPEED * (trouble.out_min - trouble.both_min):
            return f"{start} leave {full}, so {_speeds(settings)} are what limits the tent"
        return f"{start} still leave {full}, so its speeds are not what limits the tent"
    flow = display.flow(trial.flow_m3_s, settings.units)
    start = f"at full speed all the time it moves {flow} and would leave {full}"
    if trial.factor is not None:
        return f"{_fan(settings)} is too weak; {start}, {trial.factor:g} times as much air {strong}"
    limits = "too weak" if trial.is_too_weak(trouble) else "not what limits the tent"
    return (
        f"{_fan(settings)} is {limits}; {start}, {_FACTORS[-1]:g} times as much air still {strong}"
    )


def _fan(settings: Settings) -> str:
    """Of a fan whose figures nobody gave nothing is known but what is assumed."""
    return "the fan" if Ducting.from_settings(settings).has_fan else "a fan as is assumed"


def _speeds(settings: Settings) -> str:
    return "its speeds" if settings.quiet is None else "its speeds, with its quiet hours,"


def _left(minutes: float) -> str:
    if minutes < 0.5:
        return "none of it"
    return f"{_count(minutes)} h" if minutes >= 60.0 else hours_and_minutes(minutes)


def _rest_words(trouble: Trouble) -> str:
    what = TOO_WORDS[trouble.quantity][trouble.side == "above"]
    words = f"Next: {what} for {_of(trouble.out_min, trouble)}"
    if trouble.is_of_the_intake and (trouble.quantity, trouble.side) in _ROOM_WORDS:
        words += ", as the room's own air is"
    return f"{words}."


def _is_enough(trouble: Trouble, outcome: Outcome) -> bool:
    """Whether hardly any trouble is left but what the intake air's own time accounts for."""
    return trouble.again(outcome) <= trouble.both_min + _SMALL_SHARE * trouble.total_min


class _StrongerFan(Fan):
    """A fan that moves a multiple of the config's through the same rig, at the same W per m³/h."""

    def __init__(self, settings: Settings, density_kg_m3: float, factor: float) -> None:
        super().__init__(settings, density_kg_m3)
        self._factor = factor

    def flow_m3_s(self, speed: float) -> float:
        return self._factor * super().flow_m3_s(speed)

    def power_w(self, speed: float) -> float:
        return self._factor * super().power_w(speed)


def try_fans(
    settings: Settings,
    weather: Weather,
    outcome: Outcome,
    *,
    seed: int,
    full: Outcome | None = None,
    progress: Callable[[float], None] = lambda _done: None,
) -> FanTrial | None:
    """Rehearse the days of an outcome with more air, where that may help.

    Parameters
    ----------
    settings, weather, seed
        As for the outcome.
    outcome : Outcome
        Of the config.
    full : Outcome or None
        With the fan always at full speed, where that has been rehearsed already.
    progress : callable
        Told what share is done, 0–1.

    Returns
    -------
    FanTrial or None
        None where nothing is wrong that more air might help.
    """
    all_troubles = troubles(outcome)
    if not all_troubles or all_troubles[0].is_of_the_intake or all_troubles[0].side == "below":
        return None
    trouble = all_troubles[0]
    if trouble.quantity == "vpd":
        return None
    done = 0.0

    def run(factor: float) -> Outcome:
        nonlocal done
        scene = set_scene(settings, weather, outcome.start_s)
        fan = _StrongerFan(settings, scene.tent.physics.density_kg_m3, factor)
        tried = rehearse(
            settings,
            scene._replace(fan=fan),
            outcome.start_s,
            outcome.until_s,
            policy="always_on",
            seed=seed,
        )
        done += 0.2
        progress(min(1.0, done))
        return tried

    full = full or run(1.0)
    physics = set_scene(settings, weather, outcome.start_s).tent.physics
    flow = Fan(settings, physics.density_kg_m3).flow_m3_s(1.0)
    if _is_enough(trouble, full) and not trouble.is_of_both:
        return FanTrial(flow, full, None, full)
    strongest = run(_FACTORS[-1])
    if trouble.is_of_both or not _is_enough(trouble, strongest):
        return FanTrial(flow, full, None, strongest)
    factor, best = _FACTORS[-1], strongest
    low, high = 0, len(_FACTORS) - 1
    while low < high:
        middle = (low + high) // 2
        tried = run(_FACTORS[middle])
        if _is_enough(trouble, tried):
            high, factor, best = middle, _FACTORS[middle], tried
        else:
            low = middle + 1
    return FanTrial(flow, full, factor, best)
