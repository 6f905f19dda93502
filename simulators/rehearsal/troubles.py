"""What is out of band in a rehearsed tent, for how long, and how much of it is its room's own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from controller.review.compare import foremost, weighted
from simulators.rehearsal.counts import IntakeMinutes, Minutes
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.summary import TOO_WORDS

Side = Literal["below", "above"]

# Engineering judgement, no source: so much of the lit or dark hours out of band is worth a word,
# and where the intake air is out of band for so much of a trouble's time, it is what limits.
SMALL_SHARE = 0.05
_MOST_OF_IT = 0.9
# With less of its excess the room is not what limits, though it be out of band itself.
_SHARE_OF_THE_INTAKE = 0.5
# Any tent with a lamp and plants is so far above its intake air [K], [%] (likewise).
_LEAST_ON_TOP = {"temperature": 2.0, "humidity": 10.0}
# VPD is told only where nothing else is wrong.
_ORDER: tuple[tuple[str, Side], ...] = (
    ("temperature", "above"),
    ("temperature", "below"),
    ("humidity", "above"),
    ("humidity", "below"),
    ("vpd", "above"),
    ("vpd", "below"),
)


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
    def kind(self) -> tuple[str, str]:
        """Quantity and side."""
        return self.quantity, self.side

    @property
    def weight(self) -> float:
        """Minutes out of band, weighted by how far [min]."""
        return weighted(self.kind, self.out_min, self.excess)

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
    all_troubles = list(_troubles(outcome))
    if not all_troubles:
        return ()
    weights = {trouble.kind: trouble.weight for trouble in all_troubles}
    first = foremost(
        weights,
        [kind for kind in weights if kind[0] == "temperature"],
        outcome.heat_warning_min >= 1.0,
    )
    return tuple(sorted(all_troubles, key=lambda trouble: (trouble.kind != first, -trouble.weight)))


def _troubles(outcome: Outcome) -> Iterator[Trouble]:
    is_out = False
    for quantity, side in _ORDER:
        if quantity == "vpd" and is_out:
            return  # it follows from the others
        big = [
            phase[quantity].total > 0.0
            and _out(phase[quantity], side) > SMALL_SHARE * phase[quantity].total
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
