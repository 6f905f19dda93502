"""Alarms: what needs a person, told once, until it is over (in the sense of ISA-18.2)."""
