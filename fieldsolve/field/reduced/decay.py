"""How fast eddy currents die away: the eigenvalues of M' x = tau K x, by Lanczos steps, on meshes that bound their errors.

With all coils open (I = 0) the field obeys K u + M' u_t = 0, so that u = sum of x_k exp(-t / tau_k).  An eigenvalue is stationary in its
field, so its error is of the order of the square of the field's.
"""
from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np

from fieldsolve.bounds import check_accuracy
from fieldsolve.estimate import Estimate
from fieldsolve.field.adaptivity.error_bounds import typical_reduction
from fieldsolve.field.harmonic.problem import HarmonicProblem
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.field.system.bordered_operator import conduction_product, factorize_bordered
from fieldsolve.field.system.eddy_current import EddySystem, eddy_system
from fieldsolve.field.transient.meshing import companion_mesh_at, mesh_at
from geometries.cross_section import AxialStrip, CrossSection, Section
from geometries.errors import AccuracyWarning, InputError, SolveError
from geometries.keywords import known_keywords
from geometries.mesher import mesh_section
from geometries.outlines import rectangle
from geometries.parts import Zone

NEGLIGIBLE = 1e-9           # of the longest time: what is shorter is a time of no metal
TOLERANCE = 1e-6            # of the residual: the eigenvalues err by no more than that, in general by its square
VECTORS = 40                # of Lanczos' basis at least: the turns of a coil decay nearly alike
SAFETY_FACTOR = 2.0
MIN_REDUCTION, MAX_REDUCTION = 0.1, 0.5     # of the error from the coarser mesh to the finer one, that are trusted
MAX_MESHES = 4
REFINEMENT = 4.0            # of the mesh's accuracy from one to the next
MAX_UNKNOWNS = 120_000


@known_keywords
def decay_times(section: Section, *, count: int = 6, accuracy: float = 1e-4,
                linear_solver: str | LinearSolver | None = None) -> tuple[Estimate, ...]:
    """The longest times with which eddy currents in a section die away, while no coil carries a net current.

    Parameters
    ----------
    section : CrossSection or AxialStrip
        Bodies and coils of metals without B-H curves.  Coils are open; rings and bodies are closed on themselves.  On the outer face of a
        strip H = 0: that of a long arrangement in a long coil that is open.
    count : int, optional
        How many times, 1 to 50.
    accuracy : float, optional
        Relative, of each of them.
    linear_solver : str or LinearSolver, optional
        As for `solve_shot`.

    Returns
    -------
    tuple of Estimate
        Seconds, longest first; fewer than `count` where the metal has fewer.

    Raises
    ------
    InputError
        For metal with a B-H curve, a strip that does not begin on the axis, and a section without metal.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> ball = geo.sphere(radius=10e-3, material=fs.Material(conductivity=58e6))
    >>> slowest = fs.decay_times(geo.CrossSection([ball]), count=1, accuracy=1e-3)[0]
    >>> print(f"{1e6 * slowest:.0f} us")                        # mu_0 sigma a^2 / pi^2
    738 us
    """
    check_accuracy(accuracy)
    _check(section, count)
    solver = choose_solver(linear_solver)
    section = _short_slice(section, count) if isinstance(section, AxialStrip) else section
    coarse = decay_constants(eddy_system(section, mesh_section(section), solver), count)
    if not len(coarse):
        raise InputError("section: it holds no solid metal, in which eddy currents could die away")
    frequency, mesh_accuracy = 1 / (2 * math.pi * float(coarse[-1])), accuracy
    for _ in range(MAX_MESHES):
        found = _on_two_meshes(section, frequency, mesh_accuracy, count, solver)
        worst = max(time.error / time.value for time in found)
        if worst <= accuracy:
            return found
        mesh_accuracy /= REFINEMENT
    warnings.warn(f"accuracy = {accuracy:g} was not reached: the error of a decay time is about {worst:.1e} of it", AccuracyWarning,
                  stacklevel=2)
    return found


def _on_two_meshes(section: Section, frequency: float, accuracy: float, count: int, solver: LinearSolver) -> tuple[Estimate, ...]:
    """Decay times on a mesh for a frequency, with error bounds from its coarser companion."""
    faces = {"outer": 1.0} if isinstance(section, AxialStrip) else None
    problem = HarmonicProblem(section, {}, {}, 0.0 if faces else 1.0, faces)
    fine = mesh_at(problem, frequency, accuracy, linear_solver=solver, max_unknowns=MAX_UNKNOWNS)
    companion = companion_mesh_at(problem, fine, linear_solver=solver)
    times, others = (decay_constants(eddy_system(section, mesh, solver), count) for mesh in (fine.mesh, companion.mesh))
    rho = min(max(typical_reduction(companion.reductions.values()).ratio, MIN_REDUCTION), MAX_REDUCTION)
    return tuple(Estimate(float(time), SAFETY_FACTOR * rho / (1 - rho) * abs(float(time - other)), "s")
                 for time, other in zip(times, others, strict=False))


def decay_constants(system: EddySystem, count: int) -> np.ndarray:
    """The longest `count` decay times of a system in seconds, longest first; (k,), k less than `count` where the metal has fewer.

    (M - C D C^T) x = tau K x: stranded coils and the solid turns of the system's border are open.
    """
    from scipy.sparse.linalg import ArpackNoConvergence, LinearOperator, eigsh

    size = system.mesh.size
    if not system.sigma.any():
        return np.zeros(0)
    with one_thread():
        operator = factorize_bordered(system, 0.0)
        conduction = LinearOperator((size, size), matvec=lambda x: conduction_product(system, x.ravel()), dtype=float)
        inverse = LinearOperator((size, size), matvec=lambda x: operator.solve(x.ravel()), dtype=float)
        start = operator.solve(conduction_product(system, np.cos(np.arange(size, dtype=float))))
        try:
            times = eigsh(conduction, k=count, M=system.full_stiffness, Minv=inverse, which="LA", tol=TOLERANCE, v0=start,
                          ncv=min(max(VECTORS, 4 * count), size - 1), return_eigenvectors=False)
        except ArpackNoConvergence as failure:
            raise SolveError(f"the {count} longest decay times were not found: {failure}") from failure
    times = np.sort(times)[::-1]
    return times[times > NEGLIGIBLE * times[0]]


def _short_slice(strip: AxialStrip, count: int) -> AxialStrip:
    """The same strip so low that fields which change with height decay faster than the first `count` that do not."""
    walls = [zone.outline.bounds[1] - zone.outline.bounds[0] for part in strip.parts for zone in part.zones]
    height = min(walls) / count

    def lowered(zone: Zone) -> Zone:
        r_min, r_max, *_ = zone.outline.bounds
        return replace(zone, outline=rectangle(r_min, r_max, -0.5 * height, 0.5 * height))
    parts = [replace(part, zones=tuple(lowered(zone) for zone in part.zones)) for part in strip.parts]
    return AxialStrip(parts, inner_radius=strip.inner_radius, outer_radius=strip.outer_radius)


def _check(section: Section, count: int) -> None:
    if not isinstance(section, CrossSection | AxialStrip):
        raise InputError(f"section = {section!r}: give a CrossSection or an AxialStrip")
    if isinstance(section, AxialStrip) and section.inner_radius > 0:
        raise InputError(f"section: the strip begins at r = {section.inner_radius:g} m: let it begin on the axis, inner_radius=0, so that "
                         "the flux in the bore is part of it")
    if not isinstance(count, int) or not 1 <= count <= 50:
        raise InputError(f"count = {count!r}: give a whole number from 1 to 50")
    for part in section.parts:
        for zone in part.zones:
            if zone.material is not None and zone.material.bh_curve is not None:
                raise InputError(f"{part.name}: {zone.material.name} has a B-H curve, with which nothing decays at one rate: give the "
                                 "metal a relative_permeability")
