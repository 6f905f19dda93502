"""Hourly weather for the air around a tent: files that ship here, and those a user brings.

>>> from simulators.weather import load_weather
>>> weather = load_weather("coastal-city-2013-07")
>>> 36.0 < max(weather.temperatures_c) < 38.0
True
"""

from simulators.weather.files import SHIPPED, load_weather
from simulators.weather.series import Weather, WeatherError
from simulators.weather.typical_year import TypicalYear

__all__ = ["SHIPPED", "TypicalYear", "Weather", "WeatherError", "load_weather"]
