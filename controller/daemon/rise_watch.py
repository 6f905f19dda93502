"""The tent's rise over its intake air, compared with the expected one once a minute."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.config import Settings
    from controller.control import Reading, Readings
    from controller.expectation import Air, ExpectedRise, Judgement, Settling

COMPARES_EVERY_S = 60.0
# A judgement older than this is no longer given [s].
_STALE_S = 180.0


class RiseWatch:
    """Expected and observed rise of one tent; starts over with every config.

    Parameters
    ----------
    settings : Settings
        The config in force. Without fan figures, lamp power or intake sensor there is no judgement,
        and the model is not even imported.
    """

    def __init__(self, settings: Settings) -> None:
        self._settings: Settings | None = settings
        self._expected: ExpectedRise | None = None
        self._settling: Settling | None = None
        self._judgement: Judgement | None = None
        self._judged_s = 0.0
        self._since_s: float | None = None
        self._at_s = 0.0
        self._speed = 0.0
        self._speed_s = 0.0
        self._fastest = 0.0

    def step(self, now_s: float, readings: Readings, speed: float, lit: bool) -> Judgement | None:
        """Add one tick and give the latest judgement; None where there is none.

        Parameters
        ----------
        now_s : float
            Monotonic time [s].
        readings : Readings
            Trusted readings.
        speed : float
            Commanded from now on, 0–1.
        lit : bool
            Whether the lamp is lit, as sensed or scheduled.
        """
        if self._since_s is None:
            self._since_s = now_s
        else:
            self._speed_s += self._speed * (now_s - self._at_s)
            self._fastest = max(self._fastest, self._speed)
        self._at_s, self._speed = now_s, speed
        elapsed_s = now_s - self._since_s
        if elapsed_s >= COMPARES_EVERY_S:
            mean_speed = min(1.0, self._speed_s / elapsed_s)
            self._compare(now_s, readings, mean_speed, lit)
            self._since_s, self._speed_s, self._fastest = now_s, 0.0, 0.0
        if self._judgement is None or now_s - self._judged_s > _STALE_S:
            return None
        return self._judgement

    def _compare(self, now_s: float, readings: Readings, speed: float, lit: bool) -> None:
        from controller.expectation import ExpectedRise, Seen, judge

        if self._settings is not None:
            self._expected = ExpectedRise.from_settings(self._settings)
            self._settings = None
        if self._expected is None:
            return
        tent, intake = _air(readings.tent), _air(readings.intake)
        observed = Seen(now_s, tent, intake, speed, self._fastest, lit)
        self._settling, judgement = judge(self._expected, self._settling, observed)
        if judgement is not None:
            self._judgement, self._judged_s = judgement, now_s


def _air(reading: Reading | None) -> Air | None:
    from controller.expectation import Air

    return None if reading is None else Air(reading.temperature_c, reading.humidity_pct)
