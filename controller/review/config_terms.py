"""What a review needs of each config that was in force: bands, powers, prices, schedule."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.record import ConfigRow

# Joules per kilowatt-hour.
J_PER_KWH = 3.6e6


class BandLimits(NamedTuple):
    """The band of one quantity, both limits inside it."""

    low: float
    high: float


class Bands(NamedTuple):
    """The bands of one phase, day or night."""

    temperature_c: BandLimits
    humidity_pct: BandLimits
    vpd_pa: BandLimits


class Terms(NamedTuple):
    """One config as a review sees it.

    Attributes
    ----------
    settings : Settings
        The config itself.
    day, night : Bands
        The bands while the lamp is lit and while it is dark.
    fan_w : float or None
        The fan's electrical power at full speed [W], as a rehearsal takes it: by its flow and
        pressure, where the config does not say; None if it does not say these either.
    fan_w_is_assumed : bool
        Whether the config does not give it.
    lamp_w : float
        The lamp's [W].
    scheduled_open, scheduled_shut : float
        Mean cube of the speed that the schedule alone would run in the fan hours or shut,
        purges included: the share of `fan_w` it would draw.
    price_per_kwh : float or None
        The price of energy, in `currency`.
    """

    settings: Settings
    day: Bands
    night: Bands
    fan_w: float | None
    fan_w_is_assumed: bool
    lamp_w: float
    scheduled_open: float
    scheduled_shut: float
    price_per_kwh: float | None
    currency: str

    @property
    def floor_m2(self) -> float:
        """The tent's floor area [m²]."""
        return self.settings.tent.width_m * self.settings.tent.depth_m

    @classmethod
    def from_settings(cls, settings: Settings) -> Terms:
        """Take what a review needs out of checked settings."""
        from controller.airflow.rig import Ducting

        plan = settings.schedule
        return cls(
            settings=settings,
            day=_bands(settings.targets.day),
            night=_bands(settings.targets.night),
            fan_w=Ducting.from_settings(settings).power_w(),
            fan_w_is_assumed=settings.fan.power_w is None,
            lamp_w=settings.lamp.power_w,
            scheduled_open=_cube_with_flushes(plan.day_speed, settings),
            scheduled_shut=_cube_with_flushes(plan.night_speed, settings),
            price_per_kwh=settings.energy.price_per_kwh,
            currency=settings.energy.currency,
        )

    def bands(self, lit: bool) -> Bands:
        """The bands of a phase."""
        return self.day if lit else self.night


def _bands(targets: object) -> Bands:
    def limits(name: str) -> BandLimits:
        low, high = getattr(targets, name)
        return BandLimits(float(low), float(high))

    return Bands(limits("temperature_c"), limits("humidity_pct"), limits("vpd_pa"))


def _cube_with_flushes(speed: float, settings: Settings) -> float:
    purge = settings.schedule.purge
    if purge is None or purge.every_s <= 0:
        return speed**3
    share = min(1.0, purge.length_s / purge.every_s)
    return float((1.0 - share) * speed**3 + share * max(speed, purge.speed) ** 3)


def lamp_rises_k(terms: Terms) -> tuple[float, float] | None:
    """How far the lamp lifts the tent above its intake air at full flow, surely and likely [K].

    For intake air at the top of the day band; None if the config does not let expect anything.
    """
    from controller.expectation import ExpectedRise

    expected = ExpectedRise.from_settings(terms.settings)
    if expected is None:
        return None
    intake_pct = expected.plan.intake_rh_pct.best
    steady = expected.steady(1.0, True, terms.day.temperature_c.high, intake_pct)
    return None if steady is None else (steady.best_k - steady.planted_doubt_k, steady.best_k)


class TermsOfRecord(NamedTuple):
    """The terms of every config that readings of the period refer to.

    Attributes
    ----------
    by_config : dict
        Terms by the config's id in the record; 0 stands for readings that name none.
    present : Terms
        Those of the config file that the review was started with.
    unreadable : tuple of int
        Configs in the record that this version cannot read; the present one stands in.
    """

    by_config: dict[int, Terms]
    present: Terms
    unreadable: tuple[int, ...]

    def in_force(self, config_id: int | None) -> Terms:
        """The terms a reading was taken under."""
        return self.by_config.get(config_id or 0, self.present)


def terms_of_record(
    used: Iterable[int | None], configs: Sequence[ConfigRow], settings: Settings, sha256: str
) -> TermsOfRecord:
    """Read the configs that were in force.

    Parameters
    ----------
    used : iterable of int or None
        The ids that the period's readings carry.
    configs : sequence of ConfigRow
        All configs of the record.
    settings : Settings
        The present config, also the stand-in for one that cannot be read.
    sha256 : str
        The hash of its text: a config of the same text need not be read again.
    """
    from controller.config import ConfigError, settings_from_text

    present = Terms.from_settings(settings)
    by_hash = {sha256: present}
    rows = {row.id: row for row in configs}
    by_config: dict[int, Terms] = {0: present}
    unreadable = []
    for config_id in sorted({i for i in used if i}):
        row = rows.get(config_id)
        if row is None:
            unreadable.append(config_id)
            by_config[config_id] = present
            continue
        if row.sha256 not in by_hash:
            try:
                loaded = settings_from_text(row.yaml, f"config {config_id} of the record")
                by_hash[row.sha256] = Terms.from_settings(loaded.settings)
            except (ConfigError, ValueError):
                unreadable.append(config_id)
                by_config[config_id] = present
                continue
        by_config[config_id] = by_hash[row.sha256]
    return TermsOfRecord(by_config, present, tuple(unreadable))
