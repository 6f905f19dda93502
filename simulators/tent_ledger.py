"""The books of a tent: what went in and out, for holding the model against itself."""

from __future__ import annotations


class TentLedger:
    """What went in and out of a tent since the ledger was opened; for balances.

    Attributes
    ----------
    lamp_j, wall_j, air_j, evaporation_j, condensation_j : float
        Heat from lamp and fan; out through the walls; out with the air; into vapour; what the
        air got back from water condensing [J].
    transpired_kg, carried_out_kg, condensed_kg : float
        Water from the plants; out with the air less what came in; onto the fabric, less what
        dried off it [kg].
    """

    __slots__ = (
        "air_j",
        "carried_out_kg",
        "condensation_j",
        "condensed_kg",
        "evaporation_j",
        "lamp_j",
        "transpired_kg",
        "wall_j",
    )

    def __init__(self) -> None:
        self.lamp_j = self.wall_j = self.air_j = 0.0
        self.evaporation_j = self.condensation_j = 0.0
        self.transpired_kg = self.carried_out_kg = self.condensed_kg = 0.0
