"""The model of one tent: heat, moisture and CO2 of its air, stepped exactly."""

from simulators.tent.tent import Tent

__all__ = ["Tent"]
