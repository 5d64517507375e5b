"""The plain way to the same fields: scikit-fem assembles the forms of `weak_form`, scipy's default `spsolve` solves."""
from __future__ import annotations

import math
import time

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import spsolve
from skfem import BilinearForm
from skfem.assembly import CellBasis, FacetBasis
from skfem.element import ElementTriP2
from skfem.mesh import MeshTri2

from fieldsolve.constants import NU_0
from fieldsolve.field.fem import weak_forms
from fieldsolve.field.linear_algebra.cholesky import one_thread
from fieldsolve.field.system import coefficients
from geometries.cross_section import CrossSection
from geometries.mesh import OUTER, Mesh


def plain(section: CrossSection, mesh: Mesh, coil: str, rate: complex = 0.0) -> tuple[complex, float, float]:
    """Flux linkage per ampere of a coil in H as `assembled`, and the seconds of processor time of assembly and solve."""
    with one_thread():
        start = time.process_time()
        matrix, load = assembled(section, mesh, coil, rate)
        ready = time.process_time()
        u = spsolve(matrix, load)
        return 2 * math.pi * (load @ u), ready - start, time.process_time() - ready


def assembled(section: CrossSection, mesh: Mesh, coil: str, rate: complex) -> tuple[csc_matrix, np.ndarray]:
    """K + rate M, rate j omega at a frequency, and the load of one ampere per turn of a coil spread evenly over its section."""
    whole = MeshTri2(mesh.nodes.T.copy(), mesh.triangles.T.copy(), sort_t=False, validate=False)
    inner, outer = (CellBasis(whole, ElementTriP2(), elements=np.flatnonzero(chosen), intorder=weak_forms.ORDER)
                    for chosen in (mesh.region != OUTER, mesh.region == OUTER))

    def over(basis: CellBasis, values: np.ndarray) -> np.ndarray:
        return np.broadcast_to(values[basis.tind, None], basis.dx.shape)
    nu, sigma = coefficients.reluctivity(section, mesh), coefficients.conductivity(section, mesh)
    matrix = weak_forms.curl.assemble(inner, nu=over(inner, nu)) + weak_forms.kelvin.assemble(outer, nu=over(outer, nu))
    matrix = matrix + _arc.assemble(FacetBasis(whole, ElementTriP2(), facets=_arc_facets(whole, mesh), intorder=weak_forms.ORDER),
                                    radius=mesh.open_radius)
    if rate:
        matrix = matrix + rate * weak_forms.conduction.assemble(inner, sigma=over(inner, sigma))
    part = section.part(coil)
    zone = CellBasis(whole, ElementTriP2(), elements=mesh.part_triangles(coil), intorder=weak_forms.ORDER)
    density = sum(zone_of.turns for zone_of in part.zones) / zone.dx.sum()
    return matrix.tocsc(), weak_forms.current.assemble(zone, density=density)


@BilinearForm
def _arc(u, v, w):
    """The term of open space on the arc: (nu_0 / R) r^3 u v."""
    return NU_0 / w.radius * w.x[0]**3 * u * v


def _arc_facets(whole: MeshTri2, mesh: Mesh) -> np.ndarray:
    """Numbers of the facets of scikit-fem's mesh, which numbers nodes its own way, that make up the arc."""
    r, z = whole.p
    on_arc = np.abs(np.hypot(r, z - mesh.centre) / mesh.open_radius - 1) < 1e-9
    return np.flatnonzero(on_arc[whole.facets].all(axis=0))
