"""Sub-steps in compiled form (`substeps.c`), where it was built with the package and all metal obeys the law of Johnson and Cook."""
from __future__ import annotations

from dataclasses import fields

import numpy as np

from fieldsolve.errors import SolveError
from fieldsolve.materials.flow_stress import JohnsonCook
from fieldsolve.materials.flow_stress.power_law import STRAIN_FLOOR
from fieldsolve.motion.constitutive.return_mapping import ITERATIONS, MOLTEN_FLOOR, ROUNDING, SUBSTEP_TOLERANCE
from fieldsolve.motion.plastic_flow.moving_cells import HALF_SHAPE_TABLE, SCATTER_TABLE
from fieldsolve.motion.plastic_flow.solid import Solid

try:
    import fieldsolve.motion.plastic_flow._substeps as _substeps
except ImportError:             # no compiler was at hand: the form in numpy does the same
    _substeps = None

FOLDED, NOT_CONVERGED = 1, 2        # how a call of the compiled form ends early


class CompiledSubsteps:
    """The arrays that the compiled form works on, in its order.

    viscosity  (linear, quadratic) bulk viscosity
    """

    def __init__(self, solid: Solid, viscosity: tuple[float, float]):
        law, scaling, (cells, nodes) = solid.flow_stress, solid.mass_scaling, (len(solid.density), len(solid.mass))
        self.solid, self.viscosity = solid, viscosity
        self.law = tuple(np.ascontiguousarray(getattr(law, entry.name), dtype=float) for entry in fields(law))
        self.frame = solid.frame[0], np.ascontiguousarray(solid.frame[1].imag)
        self.pairs = tuple(np.ascontiguousarray(values) for values in (scaling.first, scaling.second, scaling.pair_mass))
        points = (4, cells)
        self.space = (np.empty(points), np.empty(points), np.empty(points), np.empty(cells), np.empty(points, dtype=np.uint8),
                      np.empty(4 * cells + 1, dtype=complex))
        self.sizes = nodes, cells, int(solid.mesh.on_axis.sum()), len(solid.corner_table), len(scaling.pair_mass)

    def advance(self, run, count: int, dt: float) -> bool:
        """`count` sub-steps of a run of `explicit_step`, in place; False where they end before at a cell that is inside out.

        Raises SolveError where the return to the flow stress does not converge.
        """
        solid, cells = self.solid, run.cells
        arrays = (
            run.positions, run.velocities, run.acceleration, run.first_force, run.force_rate,
            solid.mass, run.inverse_mass, run.axis, solid.corners, solid.corner_table,
            cells.maps, cells.radius_and_jacobian, cells.weights, cells.volume,
            run.normal, run.shear, run.hoop, run.plastic_strain, run.strain_rate,
            run.von_mises_stress, run.enthalpy, run.temperature, run.inverse_heat_capacity,
            run.viscous, run.plastic_work, run.viscous_work, run.heating, run.heat_share,
            run.length, run.sound, solid.density, solid.bulk, run.twice_shear,
            run.return_stiffness, solid.reference_geometry.volume, *self.frame, *self.pairs,
            *self.law, HALF_SHAPE_TABLE, SCATTER_TABLE, *self.space,
        )
        numbers = (dt, run.elapsed, 2 * np.pi, SUBSTEP_TOLERANCE, ROUNDING, float(ITERATIONS), STRAIN_FLOOR, MOLTEN_FLOOR, *self.viscosity)
        done, end, run.elapsed, work = _substeps.advance(count, arrays, numbers, self.sizes)
        run.count, run.work = run.count + done, run.work + work
        if end == NOT_CONVERGED:
            raise SolveError(f"the return to the flow stress did not converge in {ITERATIONS} iterations: largest trial stress "
                             f"{self.space[0].max():g} Pa; a shorter step may help")
        return end != FOLDED


def compiled_substeps(solid: Solid, viscosity: tuple[float, float]) -> CompiledSubsteps | None:
    """The compiled form for a solid, or None where there is none."""
    return CompiledSubsteps(solid, viscosity) if _substeps and isinstance(solid.flow_stress, JohnsonCook) else None
