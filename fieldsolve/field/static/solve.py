"""Static fields to a requested accuracy: `solve_static`."""
from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldsolve.bounds import check_bounds, check_by_name, is_finite_number
from fieldsolve.field.adaptivity.goals import checked_points, goal_names
from fieldsolve.field.adaptivity.refinement import MAX_UNKNOWNS, order_for, refine
from fieldsolve.field.linear_algebra.solvers import LinearSolver, choose_solver
from fieldsolve.field.static.field import StaticField
from fieldsolve.field.static.goals import static_goals
from fieldsolve.field.static.solution import StaticProblem, solve_on_mesh
from fieldsolve.field.system.coefficients import has_magnet
from fieldsolve.renamed import refuse_old_keywords
from geometries.cross_section import AxialStrip, CrossSection, check_cross_section
from geometries.errors import InputError
from geometries.keywords import known_keywords


@refuse_old_keywords
@known_keywords
def solve_static(section: CrossSection | AxialStrip, currents: Mapping[str, float] | None = None, *, applied_field: float = 0.0,
                 face_field: float = 0.0, accuracy: float = 1e-3, points: Iterable[tuple[float, float]] = (),
                 goals: Iterable[str] = (), open_radius: float | None = None, max_unknowns: int = MAX_UNKNOWNS,
                 linear_solver: str | LinearSolver | None = None) -> StaticField:
    """Field of coils with given currents, of magnets and of permeable bodies in a uniform field.

    Parameters
    ----------
    section : CrossSection or AxialStrip
        Coils and bodies in open space, or a slice of an infinitely long arrangement.
    currents : mapping of str to float, optional
        Ampere per turn by part name; a coil that is not named carries none.  Where there is no magnet and no applied field, one of
        them must carry some, unless `goals` are inductances.
    applied_field : float
        Uniform field along z in tesla.
    face_field : float
        Of a strip: tangential field H_z on its outer face in A/m.
    accuracy : float
        Relative bound on the error of every goal: self and mutual inductances, axial forces, peaks in the bores, mean B in
        permeable and magnetized bodies, B on the axis over the section's height and at `points`.
    points : iterable of (float, float)
        Places (r, z) in metres where B is a goal.
    goals : str or iterable of str
        Only the goals whose names begin with these words, such as "inductance" or "peak bore"; default all.
    open_radius : float, optional
        Radius of the meshed air in metres, default 1.6 times the extent of the parts; open space beyond is exact.
    max_unknowns : int
        Where the refinement stops.
    linear_solver : str or LinearSolver, optional
        "cholmod", "superlu", or an object, see `LinearSolver`; default CHOLMOD where cvxopt is installed, else SuperLU.

    Returns
    -------
    StaticField
        Data: reading, copying and pickling it solves nothing.

    Raises
    ------
    InputError, GeometryError, MeshError, SolveError

    Warns
    -----
    AccuracyWarning
        Where the accuracy was not reached; the result says so too.

    Notes
    -----
    Where metal saturates the field is found by Newton's method with a line search.

    Examples
    --------
    >>> import fieldsolve as fs, geometries as geo
    >>> coil = geo.solenoid(turns=8, bore_radius=15.6e-3, wire_diameter=3.0e-3, pitch=3.3e-3)
    >>> field = fs.solve_static(geo.CrossSection([coil]), currents={"coil": 1000.0}, accuracy=1e-3)
    >>> print(f"{field.peak_field('bore').value:.3f} T, {1e6 * field.inductance('coil').value:.3f} uH")
    0.314 T, 1.635 uH
    """
    problem = _checked(section, currents, applied_field, face_field)
    points, goals = checked_points(points), goal_names(goals)
    _check_driven(problem, goals)
    solver = choose_solver(linear_solver)
    return StaticField(refine(section, lambda mesh: solve_on_mesh(problem, mesh, solver),
                              lambda solved: static_goals(solved, points, goals), accuracy,
                              open_radius=open_radius, max_unknowns=max_unknowns, order=order_for(accuracy)))


def _checked(section, currents, applied_field, face_field) -> StaticProblem:
    check_cross_section(section)
    check_by_name("currents", currents, "{'coil': 1000.0}")
    currents = dict(currents or {})
    for name, current in currents.items():
        part = section.part(name)
        if not part.is_coil:
            raise InputError(f"currents: {name} is a {part.shape}, not a coil; a body carries no given current")
        if not is_finite_number(current):
            raise InputError(f"currents: {name} = {current!r} is not a finite number of amperes")
        check_bounds(f"currents: {name}", current, "A")
    check_bounds("applied_field", applied_field, "T")
    check_bounds("face_field", face_field, "A/m")
    strip = isinstance(section, AxialStrip)
    if face_field and not strip:
        raise InputError("face_field belongs to an AxialStrip; in open space give applied_field in tesla")
    if strip and applied_field:
        raise InputError("a strip has no open space: give face_field in A/m instead of applied_field")
    if strip and section.inner_radius > 0:
        raise InputError(f"inner_radius = {section.inner_radius:g} m: at rest the flux within is not determined; begin the strip at r = 0")
    return StaticProblem(section, currents, float(applied_field), float(face_field))


def _check_driven(problem: StaticProblem, goals: tuple[str, ...]) -> None:
    """Refuse a field that is zero everywhere, unless only inductances are wanted of it, which need no current."""
    driven = any(problem.currents.values()) or problem.applied_field or problem.face_field or has_magnet(problem.section)
    if not driven and not (goals and all(goal.startswith("inductance") for goal in goals)):
        raise InputError("nothing drives the field, it is zero everywhere: give currents= with a current other than 0, such as "
                         "currents={'coil': 1000.0}, or applied_field=, or a magnet; for inductances alone goals='inductance'")
