"""A config and days for rehearsal tests."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from simulators.weather import Weather, load_weather

CHILLIES = """\
tent: {name: chillies, width: 32 in, depth: 32 in, height: 63 in}
place: {timezone: America/New_York}
lamp: {power: 150 W, photoperiod: {on: "06:00", off: "22:00"}}
fan: {drive: pwm, pin: 18, free_flow: 110 cfm, max_pressure: 1.2 inH2O, power: 30 W}
duct: {diameter: 4 in, length: 6 ft, bends: 2, filter: {pressure_drop: 0.3 inH2O, flow: 110 cfm}}
crop: {kind: pepper, plants: 4, stage: flowering}
schedule: {day_speed: 50 %, night_speed: 20 %}
energy: {price: 0.17, currency: USD}
sensors:
  - {name: canopy, role: tent, driver: dht22, pin: 4}
  - {name: room, role: intake, driver: dht22, pin: 17}
"""

# Too hot asks for less than the schedule gives, and a fan that has stopped rests for long.
LAZY = (
    CHILLIES.replace("pin: 18,", "pin: 18, min_off: 20 min,").replace(
        "day_speed: 50 %, night_speed: 20 %", "pre_run: 0 min, day_speed: 100 %, night_speed: 0 %"
    )
    + "overrides: {temperature: {speed: 80 %}}\n"
)


def span(weather: str, first: str, days: int) -> tuple[Weather, float, float]:
    """Weather that covers some days of New York, and their bounds."""
    zone = ZoneInfo("America/New_York")
    start = dt.datetime.fromisoformat(first).replace(tzinfo=zone)
    start_s, until_s = start.timestamp(), (start + dt.timedelta(days=days)).timestamp()
    series = load_weather(weather).covering(start_s, until_s)
    return series, start_s, until_s
