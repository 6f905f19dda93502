"""The record of one tent: an SQLite file with its readings, events, configs and saved state."""
