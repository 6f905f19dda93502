"""A simulated tent, room, weather and rig.

Imports `controller`; `controller` comes here inside the commands that simulate only.
"""
