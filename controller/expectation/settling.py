"""The observed rise against the expected one, while the tent settles from what was before. Pure.

A tent follows its fan and its lamp within minutes, its pots within hours, and a room that cools
leaves it warm for a while. So what is expected now begins at what was observed before, as far as
that was beyond it, and comes to the steady rise from there; and heat stored in the contents may
come back, or still go in. Nothing is said before there is something to compare.
"""

from __future__ import annotations

import math
from dataclasses import astuple
from typing import NamedTuple

from controller import air
from controller.air.constants import LATENT_J_PER_KG
from controller.expectation.rise import Air, ExpectedRise, Figure, humidity_ratios

SETTLES_S = 900.0
"""Time to 63 % in which air, fabric and lamp of a tent follow, at most (engineering judgement, no
source; a simulated tent with its fan at rest takes five to ten minutes)."""

CONTENTS_S = 9000.0
"""The same of pots and wet soil (engineering judgement, no source: 25 kg of wet soil per square
metre of floor, 110 kJ/(m² K), at 12 W/(m² K))."""

# Contents are no further from the air than that [K] (engineering judgement: a lamp's day of it).
_MOST_STORED_K = 8.0
# Longer without a look, and what was stored is not known any more [s].
_FORGOTTEN_S = 1800.0


class Seen(NamedTuple):
    """What is known of a stretch of some minutes at most.

    Attributes
    ----------
    at_s : float
        Its end, on any clock that runs on [s].
    tent, intake : Air or None
        Trusted readings.
    speed : float
        Mean commanded speed, 0–1.
    fastest : float
        Highest commanded speed, 0–1.
    lit : bool
        Whether the lamp is lit, as far as is known.
    """

    at_s: float
    tent: Air | None
    intake: Air | None
    speed: float
    fastest: float
    lit: bool


class Judgement(NamedTuple):
    """The observed rise beside the expected one.

    Attributes
    ----------
    observed_k : float
        Tent less intake [K].
    low_k, best_k, high_k : float
        Expected: at least, likely and at most, every doubt included [K].
    excess_k : float
        How far the observed rise is above `high_k`, a change of the intake air allowed for [K];
        negative below it.
    lack_k : float
        How far it is below `low_k` [K]; negative above it.
    lit : bool
        Whether the lamp is lit, as far as is known.
    speed : float
        Mean commanded speed, 0–1.
    air_share : float or None
        Share of the expected air that would leave the tent as it is, about; see `ExpectedRise`.
    """

    observed_k: float
    low_k: float
    best_k: float
    high_k: float
    excess_k: float
    lack_k: float
    lit: bool
    speed: float
    air_share: float | None = None

    @property
    def has_less_air(self) -> bool:
        """Whether less air passes through the lit tent than the commanded fan should move."""
        return self.lit and self.speed > 0.0 and self.excess_k > 0.0

    @property
    def has_heat_while_dark(self) -> bool:
        """Whether something heats the tent while its lamp should be dark."""
        return not self.lit and self.excess_k > 0.0

    @property
    def has_little_rise(self) -> bool:
        """Whether the lit lamp hardly warms the tent: it is open, or the lamp is not lit."""
        return self.lit and self.lack_k > 0.0


class Settling(NamedTuple):
    """What is remembered of the time before.

    Attributes
    ----------
    at_s : float
        When it was [s].
    contents_c : float
        Slow mean of the tent's temperature, near that of its contents [°C].
    lit_share : float
        Slow mean of the lamp, 0–1.
    intake_c, intake_ratio : float
        Means of the intake's temperature and humidity ratio over the last minutes [°C], [kg/kg].
    slowest, fastest : float
        Lowest and highest speed that the present air may be of, 0–1.
    high_k, low_k : float
        What was expected at most and at least, as far as it was observed too [K].
    film_kg : float
        Water that may stand on the fabric [kg].
    """

    at_s: float
    contents_c: float
    lit_share: float
    intake_c: float
    intake_ratio: float
    slowest: float
    fastest: float
    high_k: float
    low_k: float
    film_kg: float = 0.0


def judge(
    expected: ExpectedRise, before: Settling | None, seen: Seen
) -> tuple[Settling | None, Judgement | None]:
    """Hold what is seen against what was to be expected.

    Parameters
    ----------
    expected : ExpectedRise
        Of the config in force.
    before : Settling or None
        From the call before; None at the start.
    seen : Seen
        What is known now.

    Returns
    -------
    tuple of (Settling or None, Judgement or None)
        What to hand in next time; and None where nothing can be said.
    """
    if seen.tent is None or seen.intake is None:
        return before, None  # a sensor silent for a moment changes nothing in the tent
    tent_c, intake_c = seen.tent.temperature_c, seen.intake.temperature_c
    try:
        pressure_pa = expected.plan.pressure_pa
        inside, outside, full = humidity_ratios(seen.tent, seen.intake, pressure_pa)
    except ValueError:  # beyond what the air functions know
        return _gone_on(before, seen), None
    past_s = math.inf if before is None else seen.at_s - before.at_s
    is_first = before is None or not 0.0 <= past_s <= _FORGOTTEN_S
    if before is None or is_first:
        # Nothing is known of what was before: all that is seen may come from there.
        rise_k = tent_c - intake_c
        lit_share, speed, fastest = float(seen.lit), seen.speed, seen.fastest
        before = Settling(
            seen.at_s, tent_c, lit_share, intake_c, outside, speed, fastest, rise_k, rise_k
        )
        past_s = 0.0
    fast, slow = math.exp(-past_s / SETTLES_S), math.exp(-past_s / CONTENTS_S)
    contents_c, lit_share = _slow_means(before, seen.lit, tent_c, slow)
    lagging_c = intake_c + (before.intake_c - intake_c) * fast
    lagging = outside + (before.intake_ratio - outside) * fast
    # A fan that goes on and off moves neither heat nor moisture at their mean: those of a pause may
    # still be there, or one that runs whenever the tent is hot may have carried off the most.
    slowest = min(seen.speed, seen.speed + (before.slowest - seen.speed) * fast)
    fastest = max(seen.fastest, seen.speed + (before.fastest - seen.speed) * fast)
    cool = expected.steady(min(1.0, fastest), seen.lit, *seen.intake)
    likely = expected.steady(seen.speed, seen.lit, *seen.intake)
    hot = expected.steady(slowest, seen.lit, *seen.intake)
    if cool is None or likely is None or hot is None:
        return _gone_on(before, seen), None
    # What comes out of the contents, or still goes in.
    by_pots_w = expected.contents_w_per_k * (contents_c - tent_c)
    by_lamp_w = expected.lamp_stored_w * (lit_share - float(seen.lit))
    stored_w = Figure(by_pots_w + by_lamp_w, abs(by_pots_w) + abs(by_lamp_w))
    # A percent of humidity is most in the warmer air; and where the intake's moisture has just
    # changed, the tent's may still be of before.
    gain = Figure(
        inside - 0.5 * (outside + lagging),
        math.hypot(0.01 * expected.accuracy_pct * full, 0.5 * (outside - lagging)),
    )
    film_kg, drying_w = _wet_fabric(expected, before, past_s, seen.intake, tent_c, inside, gain)
    low_k, best_k, high_k = astuple(
        expected.limits_k((cool, likely, hot), seen.lit, stored_w, gain, drying_w)
    )
    if is_first:
        # The first look: what is beyond the steady rise may be heat that the contents still hold,
        # or still lack.
        beyond_k = max(0.0, before.high_k - high_k) - max(0.0, low_k - before.low_k)
        per_k = likely.w_per_k / expected.contents_w_per_k
        contents_c += max(-_MOST_STORED_K, min(_MOST_STORED_K, beyond_k * per_k))
    # From what was before, as far as that was beyond.
    high_k += max(0.0, before.high_k - high_k) * fast
    low_k -= max(0.0, low_k - before.low_k) * fast
    observed_k = tent_c - intake_c
    if tent_c > expected.reads_to_c and observed_k < low_k:
        return _gone_on(before, seen), None  # the air may be as much hotter as is expected
    excess_k = tent_c - max(intake_c, lagging_c) - high_k
    air_share = expected.air_share(likely, seen.lit, observed_k, inside - outside)
    if air_share is not None and air_share >= 1.0:
        # Heat and moisture as measured take all the air that is expected, and more: no less came
        # through, however far the tent is above what its plants would leave. What is beyond says
        # how clearly, so that an alarm that stands ends.
        excess_k = min(excess_k, (1.0 - air_share) * observed_k)
    judgement = Judgement(
        observed_k,
        low_k,
        best_k,
        high_k,
        excess_k,
        low_k - (tent_c - min(intake_c, lagging_c)),
        seen.lit,
        seen.speed,
        air_share,
    )
    after = Settling(
        seen.at_s,
        contents_c,
        lit_share,
        lagging_c,
        lagging,
        slowest,
        fastest,
        min(high_k, observed_k),
        max(low_k, observed_k),
        film_kg,
    )
    return after, judgement


def _wet_fabric(
    expected: ExpectedRise,
    before: Settling,
    past_s: float,
    intake: Air,
    tent_c: float,
    inside: float,
    gain: Figure,
) -> tuple[float, float]:
    """Water that may stand on the fabric [kg], and the heat that the room gives to dry it [W].

    Negative where it condenses: the heat that this gives to the room.

    Fabric between two equal films is midway between tent and room, and takes from each side half
    of the heat that its water evaporates with: after a night at saturation a tent is warmer than a
    balance by its moisture alone lets expect. What may have condensed counts: a humidity sensor
    may read too little.
    """
    fabric_c = 0.5 * (tent_c + intake.temperature_c)
    saturated = air.humidity_ratio(fabric_c, 100.0, expected.plan.pressure_pa)
    dries_kg_s = expected.film_kg_s * (saturated - inside)
    condensed_kg = past_s * (expected.film_kg_s * gain.doubt - dries_kg_s)
    film_kg = min(expected.film_limit_kg, max(0.0, before.film_kg + condensed_kg))
    is_wet = film_kg > 0.0 or dries_kg_s < 0.0
    return film_kg, 0.5 * LATENT_J_PER_KG * dries_kg_s if is_wet else 0.0


def _slow_means(before: Settling, lit: bool, tent_c: float, slow: float) -> tuple[float, float]:
    """The contents' temperature [°C] and the lamp's share, `slow` of what was before left."""
    return (
        tent_c + (before.contents_c - tent_c) * slow,
        float(lit) + (before.lit_share - float(lit)) * slow,
    )


def _gone_on(before: Settling | None, seen: Seen) -> Settling | None:
    """What is remembered through air of which nothing can be said, as in a tent far too hot.

    Its contents take up heat as in any other, and give it back when it can be judged again.
    """
    if before is None or seen.tent is None or not 0.0 <= seen.at_s - before.at_s <= _FORGOTTEN_S:
        return None
    slow = math.exp(-(seen.at_s - before.at_s) / CONTENTS_S)
    contents_c, lit_share = _slow_means(before, seen.lit, seen.tent.temperature_c, slow)
    return before._replace(at_s=seen.at_s, contents_c=contents_c, lit_share=lit_share)
