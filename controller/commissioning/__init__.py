"""Commissioning: proving on the real rig that sensors, fan and air do what the config says.

`comparison`, `decay`, `air_change` and the judgements in `sensors_step` and `fan_step` are pure.
`watch` looks at the rig and `talk` speaks with the person; `course` says how to go about it,
`procedure` does it, `sites` is where, and `report` writes down what came out.
"""
