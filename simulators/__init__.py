"""A simulated tent, room, weather and rig; imports `controller`, never the reverse at import time."""
