"""Tomorrow in the tent: what the room's air will be, how far off that may be, what to change.

All of it is pure: `simulators.day_ahead` runs the tent, `from_record` reads files and
`source` the record.
"""
