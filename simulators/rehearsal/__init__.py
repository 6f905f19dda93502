"""Rehearsals: the daemon's decisions on a simulated tent, a season in seconds."""
