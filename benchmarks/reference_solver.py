"""The reference solver: scikit-fem assembles the forms of `weak_forms`, scipy's `spsolve` with its defaults solves."""
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
from fieldsolve.field.linear_algebra.blas_threads import one_thread
from fieldsolve.field.system import coefficients
from geometries.cross_section import CrossSection
from geometries.mesh import EXTERIOR, Mesh


def solve_reference(section: CrossSection, mesh: Mesh, coil: str, rate: complex = 0.0) -> tuple[complex, float, float]:
    """Flux linkage per ampere of a coil in H as `assembled`, and the seconds of processor time of assembly and solve."""
    with one_thread():
        start = time.process_time()
        matrix, load = assemble_reference(section, mesh, coil, rate)
        ready = time.process_time()
        u = spsolve(matrix, load)
        return 2 * math.pi * (load @ u), ready - start, time.process_time() - ready


def assemble_reference(section: CrossSection, mesh: Mesh, coil: str, rate: complex) -> tuple[csc_matrix, np.ndarray]:
    """K + rate M, rate j omega at a frequency, and the load of one ampere per turn of a coil spread evenly over its section."""
    skfem_mesh = MeshTri2(mesh.nodes.T.copy(), mesh.triangles.T.copy(), sort_t=False, validate=False)
    inner, outer = (CellBasis(skfem_mesh, ElementTriP2(), elements=np.flatnonzero(chosen), intorder=weak_forms.ORDER)
                    for chosen in (mesh.region != EXTERIOR, mesh.region == EXTERIOR))

    def over(basis: CellBasis, values: np.ndarray) -> np.ndarray:
        return np.broadcast_to(values[basis.tind, None], basis.dx.shape)
    nu, sigma = coefficients.linear_reluctivity(section, mesh), coefficients.conductivity(section, mesh)
    matrix = weak_forms.curl.assemble(inner, nu=over(inner, nu)) + weak_forms.kelvin.assemble(outer, nu=over(outer, nu))
    matrix = matrix + _arc.assemble(FacetBasis(skfem_mesh, ElementTriP2(), facets=_arc_facets(skfem_mesh, mesh), intorder=weak_forms.ORDER),
                                    radius=mesh.open_radius)
    if rate:
        matrix = matrix + rate * weak_forms.conduction.assemble(inner, sigma=over(inner, sigma))
    part = section.part(coil)
    zone = CellBasis(skfem_mesh, ElementTriP2(), elements=mesh.part_triangles(coil), intorder=weak_forms.ORDER)
    density = sum(zone_of.turns for zone_of in part.zones) / zone.dx.sum()
    return matrix.tocsc(), weak_forms.current.assemble(zone, density=density)


@BilinearForm
def _arc(u, v, w):
    """The term of open space on the arc: (nu_0 / R) r^3 u v."""
    return NU_0 / w.radius * w.x[0]**3 * u * v


def _arc_facets(skfem_mesh: MeshTri2, mesh: Mesh) -> np.ndarray:
    """Numbers of the facets of scikit-fem's mesh, which numbers nodes its own way, that make up the arc."""
    r, z = skfem_mesh.p
    on_arc = np.abs(np.hypot(r, z - mesh.centre) / mesh.open_radius - 1) < 1e-9
    return np.flatnonzero(on_arc[skfem_mesh.facets].all(axis=0))
