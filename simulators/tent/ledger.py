"""The books of a tent: what went in and out, for holding the model against itself."""

from __future__ import annotations

from controller.air.constants import LATENT_J_PER_KG
from simulators.tent.step import StepRows, linearisation


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

    def enter(
        self,
        rows: StepRows,
        wet: bool,
        state: tuple[float, float, float],
        outside: tuple[float, float, float],
        forcing: tuple[float, float, float, float],
    ) -> None:
        """Enter one step, from the integrals of the exact solution.

        Parameters
        ----------
        rows : StepRows
            The step.
        wet : bool
            Whether the fabric was.
        state : tuple of float
            Air and contents [°C] and humidity ratio at its start.
        outside : tuple of float
            Room [°C], intake [°C] and its humidity ratio.
        forcing : tuple of float
            What the linearisations left over; see `Row`.
        """
        p, dt = rows.physics, rows.dt_s
        table = rows.wet_rows if wet else rows.dry_rows
        room_c, intake_c, intake_ratio = outside
        drawn = (rows.heat_w(room_c, intake_c), intake_ratio)
        air_ks = table.air_integral.value(state, drawn, forcing)
        ratio_s = table.ratio_integral.value(state, drawn, forcing)
        total = rows.flow_m3_s + p.infiltration_m3_s
        rest, rest_change, film, film_change = forcing
        slopes = linearisation(p.pressure_pa)
        evaporated = (
            rows.exchange.per_vpd_kg_s_pa
            * (slopes.per_k_pa * air_ks - slopes.per_ratio_pa * ratio_s)
            + (rest + 0.5 * rest_change) * dt
        )
        condensed = p.film_kg_s * ratio_s - (film + 0.5 * film_change) * dt if wet else 0.0
        self.lamp_j += dt * rows.source_w
        self.wall_j += p.wall_w_per_k * (air_ks - (room_c + p.walls_k) * dt)
        self.air_j += p.heat_capacity_j_m3_k * total * (air_ks - intake_c * dt)
        self.evaporation_j += LATENT_J_PER_KG * evaporated
        self.condensation_j += p.fabric_inside_share * LATENT_J_PER_KG * condensed
        self.transpired_kg += evaporated
        self.carried_out_kg += p.density_kg_m3 * total * (ratio_s - intake_ratio * dt)
        self.condensed_kg += condensed
