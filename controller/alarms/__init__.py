"""Alarms: what needs a person's action, sent once until it is over (in the sense of ISA-18.2)."""
