"""An invented heat wave, for demonstrations; the file beside this was written by this module.

python -m simulators.weather.heat_wave > simulators/weather/invented-heat-wave.csv
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from math import cos, exp, pi

DAYS = 14
START = dt.datetime(2031, 7, 1, tzinfo=dt.UTC)
HEADER = (
    "# INVENTED: no such weather was ever observed; a made-up heat wave for demonstrations",
    "time_utc,temperature_c,dew_point_c",
)


def lines() -> Iterator[str]:
    """Give the file, line by line.

    Days of 27 °C rise to 38 °C on the ninth and break with a storm on the eleventh; the warmest
    hour is 15:00, the coldest 03:00, of a clock four hours behind UTC.
    """
    yield from HEADER
    for hour in range(DAYS * 24 + 1):
        day = hour / 24.0
        surge = 1.0 / (1.0 + exp(-(day - 5.0))) / (1.0 + exp(4.0 * (day - 10.6)))
        local = (hour - 4) % 24
        wave = cos(2.0 * pi * (local - 15.0) / 24.0)
        temperature_c = 22.0 + 8.5 * surge + (5.0 + 2.5 * surge) * wave
        dew_c = 15.0 + 5.5 * surge - 0.8 * wave
        time = (START + dt.timedelta(hours=hour)).strftime("%Y-%m-%dT%H:%M:%SZ")
        yield f"{time},{temperature_c:.2f},{dew_c:.2f}"


if __name__ == "__main__":
    print("\n".join(lines()))
