"""The field of one coil with all other metal taken away, on the same mesh: what the change of an impedance is measured against."""
from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldsolve.constants import NU_0
from fieldsolve.field.harmonic.gmres import harmonic_operator
from fieldsolve.field.linear_algebra.solvers import factorize
from fieldsolve.field.linear_algebra.symmetric import full_matrix
from fieldsolve.field.system import magnetostatic
from fieldsolve.field.system.eddy_current import EddySystem


def solve_isolated_coil(eddy: EddySystem, name: str, omega: float) -> np.ndarray:
    """Field of one ampere in a coil when all else is air; shape (n,).

    That of a line current or a stranded winding is real and the same at every frequency; in solid turns the current is
    redistributed by itself.
    """
    part = eddy.section.part(name)
    load, nu = eddy.unit_loads[name], np.full(len(eddy.nu), NU_0)
    local = eddy.stiffness_local if np.array_equal(nu, eddy.nu) else magnetostatic.stiffness_local(eddy.mesh, nu)
    stiffness = magnetostatic.assemble_stiffness(eddy.mesh, local)
    if part.stranded or not part.zones:
        return factorize(stiffness, solver=eddy.linear_solver).solve(load)
    own, turns = np.zeros(len(nu), dtype=bool), eddy.turns_of(name)
    own[eddy.mesh.part_triangles(name)] = True
    isolated = replace(eddy, nu=nu, stiffness_local=local, stiffness=stiffness, full_stiffness=full_matrix(stiffness),
                       turn_regions=eddy.turn_regions[turns], turn_coil=tuple(name for _ in turns))
    return harmonic_operator(isolated.with_conductivity(np.where(own, eddy.sigma, 0.0)), omega).solve(load.astype(complex))
