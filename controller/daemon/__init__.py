"""The daemon: the tick, the loop around it, and what belongs to an unattended service."""
