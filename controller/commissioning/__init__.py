"""Commissioning: proving on the real rig that sensors, fan and air do what the config says.

`comparison`, `decay` and `air_change` are pure; `watch` looks at the rig, `talk` speaks with the
person; the `*_step` files are the three steps, `procedure` walks through them and `report` writes
down what came out.
"""
